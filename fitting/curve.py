"""A logged curve: temperature against time, and what was assumed when it was read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, TypeGuard

import numpy as np
import numpy.typing as npt

from fitting.errors import CurveError

if TYPE_CHECKING:
    import pandas as pd

FloatArray = npt.NDArray[np.float64]

_SPARK_POINTS = 120
_SPARK_WIDTH, _SPARK_HEIGHT = 360.0, 90.0
_PART = 200_000  # readings looked at in one go
_GRID_TOLERANCE = 0.001  # of a step: how far a difference may lie from a whole number of steps


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A reading that was set aside: its time on the curve's clock, what it showed, and why."""

    time_s: float
    temperature_C: float
    why: str


@dataclass(frozen=True, slots=True)
class Cut:
    """Where a curve was cut, seconds on its clock, and why, in a sentence."""

    at_s: float
    why: str


@dataclass(frozen=True, eq=False)
class Curve:
    """Temperature of a cup's content against time.

    Attributes:
        time_s: seconds on the curve's own clock, strictly increasing, shape (n,), finite.
        temperature_C: degrees Celsius, shape (n,), finite.
        resolution_K: step of the reading in kelvin; 0 where no step can be seen.
        source: name of the file, or what else the readings came from.
        guesses: one sentence for each thing that was assumed while reading.
        digest: SHA-256 of the file's bytes in hexadecimal; empty for arrays.
        started: date and time of ``time_s = 0``, where the file gave clock times with a date.
        left_out: readings that were set aside, by rule or by hand; not in ``time_s``.
        cut: where the readings after it are not used; None: the curve is whole.

    Raises:
        CurveError: arrays of unequal shape, empty, not finite, or time not strictly increasing.

    >>> curve = Curve.from_arrays([0, 1, 2], [20.0, 20.1, 20.1])
    >>> len(curve), curve.step_s, curve.duration_s
    (3, 1.0, 2.0)
    """

    time_s: FloatArray
    temperature_C: FloatArray
    resolution_K: float = 0.0
    source: str = ""
    guesses: tuple[str, ...] = ()
    digest: str = ""
    started: datetime | None = None
    left_out: tuple[LeftOut, ...] = ()
    cut: Cut | None = None

    def __post_init__(self) -> None:
        time = _frozen_array(self.time_s, "time", self.source)
        temperature = _frozen_array(self.temperature_C, "temperature", self.source)
        _check_shapes(time, temperature, self.source)
        _check_finite(time, temperature, self.source)
        _check_order(time, self.source)
        if not (np.isfinite(self.resolution_K) and self.resolution_K >= 0):
            raise CurveError(
                f"{_named(self.source)}the reading's step is {self.resolution_K} K; "
                "expected a number of kelvin, 0 or more (0: no step seen)"
            )
        object.__setattr__(self, "time_s", time)
        object.__setattr__(self, "temperature_C", temperature)
        object.__setattr__(self, "guesses", tuple(self.guesses))

    @classmethod
    def from_arrays(
        cls,
        time_s: npt.ArrayLike,
        temperature_C: npt.ArrayLike,
        *,
        resolution_K: float | None = None,
        source: str = "",
        guesses: Iterable[str] = (),
        digest: str = "",
        started: datetime | None = None,
        left_out: Iterable[LeftOut] = (),
    ) -> Curve:
        """Build a curve from two equally long sequences of numbers.

        Nothing is sorted or dropped. ``resolution_K=None`` finds the reading's step from the
        temperatures themselves (`reading_step`).

        Raises:
            CurveError: see `Curve`; also where a value is no number.
        """
        temperature = _frozen_array(temperature_C, "temperature", source)
        step = reading_step(temperature) if resolution_K is None else float(resolution_K)
        time = _frozen_array(time_s, "time", source)
        return cls(
            time, temperature, step, source, tuple(guesses), digest, started, tuple(left_out)
        )

    def __len__(self) -> int:
        return int(self.time_s.size)

    @cached_property
    def step_s(self) -> float:
        """Median interval between readings in seconds; 0 for a single reading."""
        return float(np.median(np.diff(self.time_s))) if len(self) > 1 else 0.0

    @cached_property
    def bend_K(self) -> float | None:
        """Median size of the readings' second differences, K; None for fewer than three."""
        second = np.diff(self.temperature_C, 2)
        return float(np.median(np.abs(second))) if second.size else None

    @property
    def duration_s(self) -> float:
        """Time from the first to the last reading in seconds."""
        return float(self.time_s[-1] - self.time_s[0])

    def window(self, t0: float, t1: float) -> Curve:
        """The readings with ``t0 <= time_s <= t1``, on the same clock.

        Raises:
            CurveError: no reading lies in the window.
        """
        inside = (self.time_s >= t0) & (self.time_s <= t1)
        if not inside.any():
            raise CurveError(
                f"{_named(self.source)}no reading lies between {t0:g} s and {t1:g} s; the curve "
                f"runs from {self.time_s[0]:g} s to {self.time_s[-1]:g} s: choose a window in it"
            )
        return replace(self, time_s=self.time_s[inside], temperature_C=self.temperature_C[inside])

    def to_frame(self) -> pd.DataFrame:
        """The readings as a pandas table with columns ``time_s`` and ``temperature_C``."""
        import pandas as pd

        frame = pd.DataFrame({"time_s": self.time_s, "temperature_C": self.temperature_C})
        frame.attrs.update(source=self.source, digest=self.digest, guesses=list(self.guesses))
        return frame

    def __repr__(self) -> str:
        return (
            f"Curve({len(self)} readings, {self.time_s[0]:g} to {self.time_s[-1]:g} s, "
            f"{self.temperature_C.min():.6g} to {self.temperature_C.max():.6g} °C, "
            f"resolution_K={self.resolution_K:g}, source={self.source!r})"
        )

    def _repr_html_(self) -> str:
        facts = "".join(
            f"<tr><th scope='row'>{name}</th><td>{escape(value)}</td></tr>"
            for name, value in self._facts()
        )
        notes = "".join(f"<li>{escape(guess)}</li>" for guess in self.guesses)
        assumed = f"<p>Assumed while reading:</p><ul>{notes}</ul>" if notes else ""
        return f"<div>{_spark_line(self)}<table>{facts}</table>{assumed}</div>"

    def _facts(self) -> list[tuple[str, str]]:
        step = f"{self.resolution_K:g} K" if self.resolution_K else "none seen"
        facts = [
            ("source", self.source or "arrays"),
            ("readings", f"{len(self)}, every {self.step_s:g} s (median)"),
            ("time", f"{self.time_s[0]:g} to {self.time_s[-1]:g} s"),
            (
                "temperature",
                f"{self.temperature_C.min():.6g} to {self.temperature_C.max():.6g} °C",
            ),
            ("step of the reading", step),
        ]
        if self.left_out:
            facts.append(("set aside", f"{len(self.left_out)} readings"))
        if self.started is not None:
            facts.append(("started", self.started.isoformat(sep=" ")))
        return facts


def reading_step(temperature_C: npt.ArrayLike) -> float:
    """Step of a quantised reading, or 0 where none can be seen.

    The values that occur are sorted, and the smallest difference between neighbours is tried as
    the step: every other difference must be a multiple of it. Where that fails although the same
    values keep coming back, the step is a binary one that was written with few decimals (1/16 K
    as 20.06, 20.12, 20.19) and the mean of the smallest differences is taken. Last comes the
    last decimal in use, up to the fourth.

    Args:
        temperature_C: readings, shape (n,). Any unit of temperature: the step has the same.

    >>> reading_step([20.0, 20.0, 20.1, 20.3, 20.2, 20.2, 20.1])
    0.1
    >>> reading_step([20.06, 20.12, 20.12, 20.19, 20.19, 20.25, 20.31, 20.25, 20.31, 20.12])
    0.0625
    >>> reading_step([20.0, 20.1234567, 20.2571432, 20.3999012])
    0.0
    """
    readings = np.asarray(temperature_C, dtype=np.float64)
    levels = _levels(readings)
    if levels.size < 2 or readings.size < 4:
        return 0.0
    gaps = np.diff(levels)
    near = gaps[gaps < 1.5 * gaps.min()]
    step = float(near.mean())
    off_grid = np.abs(gaps / step - np.round(gaps / step))
    if (near.size > 1 or gaps.size == 1) and off_grid.max() < _GRID_TOLERANCE:
        return float(f"{step:.6g}")
    if levels.size <= readings.size / 2 and off_grid[gaps < 4.5 * step].max() < 0.3:
        return float(f"{step:.4g}")
    for decimals in range(5):
        if np.abs(levels - np.round(levels, decimals)).max() < 2e-9:
            return float(10.0**-decimals)
    return 0.0


def _levels(readings: FloatArray) -> FloatArray:
    """The values that occur, rising; long logs part by part."""
    parts = [
        np.unique(np.round(readings[start : start + _PART], 9))
        for start in range(0, readings.size, _PART)
    ]
    return np.unique(np.concatenate(parts)) if parts else readings


def _is_frozen(values: npt.NDArray[np.generic]) -> TypeGuard[FloatArray]:
    """Whether an array may be shared: of this type, its own memory, and not to be written to."""
    return values.dtype == np.float64 and not values.flags.writeable and values.flags.owndata


def _frozen_array(values: npt.ArrayLike, name: str, source: str) -> FloatArray:
    if isinstance(values, np.ndarray) and _is_frozen(values):
        return values
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise CurveError(
            f"{_named(source)}the {name} values cannot be read as numbers; "
            "expected a sequence of numbers, one per reading"
        ) from None
    array.flags.writeable = False
    return array


def _check_shapes(time: FloatArray, temperature: FloatArray, source: str) -> None:
    if time.ndim != 1 or temperature.ndim != 1 or time.size != temperature.size:
        raise CurveError(
            f"{_named(source)}time has shape {time.shape} and temperature {temperature.shape}; "
            "expected two equally long sequences of numbers"
        )
    if time.size == 0:
        raise CurveError(f"{_named(source)}no readings; expected at least one")


def _check_finite(time: FloatArray, temperature: FloatArray, source: str) -> None:
    for name, values in (("time", time), ("temperature", temperature)):
        bad = np.flatnonzero(~np.isfinite(values))
        if bad.size:
            raise CurveError(
                f"{_named(source)}{name} of reading {bad[0] + 1} is {values[bad[0]]}; "
                "expected a finite number: leave readings without a value out"
            )


def _check_order(time: FloatArray, source: str) -> None:
    back = np.flatnonzero(np.diff(time) <= 0)
    if back.size:
        first = int(back[0])
        raise CurveError(
            f"{_named(source)}time does not increase: reading {first + 1} is at "
            f"{time[first]:.10g} s and reading {first + 2} at {time[first + 1]:.10g} s; "
            "expected strictly increasing time: sort the readings, or average those of equal time"
        )


def _named(source: str) -> str:
    return f"{source}: " if source else ""


def _spark_line(curve: Curve) -> str:
    """A small drawing of the curve, for notebooks."""
    every = max(1, len(curve) // _SPARK_POINTS)
    time, temperature = curve.time_s[::every], curve.temperature_C[::every]
    span_t = float(np.ptp(curve.time_s)) or 1.0
    span_T = float(np.ptp(curve.temperature_C)) or 1.0
    x = (time - curve.time_s[0]) / span_t * (_SPARK_WIDTH - 4) + 2
    y = (curve.temperature_C.max() - temperature) / span_T * (_SPARK_HEIGHT - 4) + 2
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
    label = escape(f"Temperature against time, {curve.source or 'arrays'}", quote=True)
    return (
        f"<svg role='img' aria-label='{label}' width='{_SPARK_WIDTH:.0f}' "
        f"height='{_SPARK_HEIGHT:.0f}'><polyline fill='none' stroke='currentColor' "
        f"points='{points}'/></svg>"
    )
