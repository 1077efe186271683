"""A rise from the extreme reading, its time and a known cooling rate, where no curve was logged.

No curve tells how the heat was released, how far the sensor lagged or what a slow inner wall still
took: usual cups are tried instead (`Course`), each as the closed form of `fitting.responses`, and
weighed by two facts: the reading at the noted time must be the extreme one, within the reading's
uncertainty, and it must have its value. With P the reading that the cup would show without any
heat, R the course of the reading per kelvin of rise, E the extreme at the time t::

    rise = [E − P(t)]/R(t),    weight ∝ prior · exp(−[max |P + rise R − T1| − |E − T1|]²/2u²)

A wall that holds the share a of the heat capacity and takes it with its time constant τ is a source
of its own: a release κ e^(−κ s) reaches the content as

    (1 + a κ/(κ − b')) κ e^(−κ s) − a κ/(κ − b') b' e^(−b' s),    b' = 1/τ,

which integrates to one. (own derivation; the limit without wall and lag is checked in the tests)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from fitting.corrections.result import Correction, total
from fitting.curve import FloatArray
from fitting.errors import CurveError
from fitting.responses import cup_response
from fitting.slow_wall import KINDS

NAME = "extreme-known-loss"
TITLE = "Extreme reading, loss put back with a known cooling rate"
RELEASES = ("fast", "slow")
"""Releases that can be told apart beforehand: solutions that are mixed, solids that dissolve."""

STIRRING_K = 0.3
U_STIRRING_K = 0.4
"""What a stirrer warms a cup by, with no heat but its own (common practice, no source)."""
_FAST_S = (0.6, 1.3, 2.6, 4.1)
_SLOW_S = (6.5, 9.7, 14.3, 21.5, 29.0, 43.0, 64.0, 97.0)
_SECOND_S = (36.0, 75.0)
_SECOND_SHARES = (0.12, 0.27)
_LAGS_S = (3.9, 7.4, 11.9)
_NODES = np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])  # Gauss and Hermite's, for a normal distribution
_NODE_WEIGHT = np.array([1.0, 4.0, 1.0]) / 6
_RARE = 0.1  # walls so rare are tried with their median time only
_TIMES_S = np.unique(np.concatenate([np.arange(3.0, 60.0, 3.0), np.geomspace(60.0, 1500.0, 36)]))


@dataclass(frozen=True, slots=True)
class Course:
    """One way in which a cup may come to its extreme, with its prior weight.

    ``heats``: (time [s], share) of each release; wall share of the heat capacity and its time [s];
    the sensor's lag [s].
    """

    weight: float
    heats: tuple[tuple[float, float], ...]
    wall_share: float
    wall_s: float
    lag_s: float

    def sources(self) -> list[tuple[float, float]]:
        """(time [s], share of the rise) of each first-order source that the content sees."""
        out = []
        for time_s, share in self.heats:
            kappa, b = 1 / time_s, 1 / self.wall_s
            apart = kappa - b
            out.append((time_s, share * (1 + self.wall_share * kappa / apart)))
            out.append((self.wall_s, -share * self.wall_share * kappa / apart))
        return out


def _releases(release: str | None) -> list[tuple[float, tuple[tuple[float, float], ...]]]:
    """Weights and heats; a solid often has a slower remainder. (common practice, no source)"""
    fast: list[tuple[float, tuple[tuple[float, float], ...]]]
    fast = [(1.0 / len(_FAST_S), ((t, 1.0),)) for t in _FAST_S]
    slow: list[tuple[float, tuple[tuple[float, float], ...]]] = []
    for t in _SLOW_S:
        centre = float(np.exp(-0.5 * (np.log(t / 18.0) / 0.8) ** 2))
        slow.append((0.3 * centre, ((t, 1.0),)))
        for second in _SECOND_S:
            for share in _SECOND_SHARES:
                if second > 1.5 * t:
                    slow.append((0.175 * centre, ((t, 1 - share), (second, share))))
    whole = sum(weight for weight, _ in slow)
    slow = [(weight / whole, heats) for weight, heats in slow]
    if release == "fast":
        return fast
    if release == "slow":
        return slow
    return [(0.5 * w, h) for w, h in (*fast, *slow)]


def _walls() -> list[tuple[float, float, float]]:
    """Weight, share of the heat capacity and time [s] of each wall that is tried."""
    out = []
    for kind in KINDS:
        for node, part in zip(_NODES, _NODE_WEIGHT, strict=True):
            share = max(kind.share + float(node) * kind.u_share, 0.0)
            for late, of_time in zip(_NODES, _NODE_WEIGHT, strict=True):
                if kind.weight < _RARE and late != 0.0:
                    continue
                weight = (
                    kind.weight * float(part) * (1.0 if kind.weight < _RARE else float(of_time))
                )
                out.append(
                    (weight, share, 1.013 * kind.time_s * math.exp(float(late) * kind.spread))
                )
    return out


@lru_cache(maxsize=len(RELEASES) + 1)
def courses(release: str | None = None) -> tuple[Course, ...]:
    """All courses that are tried: releases x walls x lags."""
    return tuple(
        Course(weight * of_wall / len(_LAGS_S), heats, share, wall_s, lag)
        for weight, heats in _releases(release)
        for of_wall, share, wall_s in _walls()
        for lag in _LAGS_S
    )


@dataclass(frozen=True, eq=False)
class _Mixture:
    """Courses as sums of first-order sources: ``share`` (courses, keys), keys (time s, lag s)."""

    keys: tuple[tuple[float, float], ...]
    share: FloatArray
    lag: npt.NDArray[np.intp]
    log_weight: FloatArray


@lru_cache(maxsize=len(RELEASES) + 1)
def _mixture(release: str | None) -> _Mixture:
    tried = courses(release)
    keys: dict[tuple[float, float], int] = {}
    for one in tried:
        for time_s, _ in one.sources():
            keys.setdefault((time_s, one.lag_s), len(keys))
    share = np.zeros((len(tried), len(keys)))
    for row, one in enumerate(tried):
        for time_s, part in one.sources():
            share[row, keys[(time_s, one.lag_s)]] += part
    lag = np.array([_LAGS_S.index(one.lag_s) for one in tried])
    return _Mixture(tuple(keys), share, lag, np.log([one.weight for one in tried]))


@dataclass(frozen=True, eq=False)
class _Known:
    """What was read and what is known: temperatures in °C, times in s, rate in 1/s."""

    before_C: float
    extreme_C: float
    after_s: float
    settles_C: float
    rate_per_s: float


def correct_extreme_reading(
    before_C: float,
    extreme_C: float,
    extreme_after_s: float,
    room_C: float,
    rate_per_s: float,
    u_rate_per_s: float,
    *,
    u_room_K: float = 0.5,
    u_extreme_after_s: float = 5.0,
    u_before_K: float = 0.03,
    u_reading_K: float = 0.03,
    release: str | None = None,
) -> Correction:
    """Rise of an insulated cup from two readings and the time of the second.

    Args:
        before_C: temperature before the mixing, °C.
        extreme_C: highest (lowest) reading after it, °C.
        extreme_after_s: when it was read, seconds after the mixing.
        room_C, u_room_K: room temperature, °C, and its standard uncertainty, K.
        rate_per_s, u_rate_per_s: cooling rate after mixing: conductance over heat capacity, 1/s.
        u_extreme_after_s: of the time, s.
        u_before_K, u_reading_K: of the two readings, K.
        release: ``fast``, ``slow``, or None where neither is known.

    Returns:
        a `Correction` named ``extreme-known-loss``; `parts` tell what its uncertainty is made of.

    Raises:
        CurveError: a value is out of its range.
    """
    _check(
        before_C, extreme_C, extreme_after_s, room_C, rate_per_s,
        (u_rate_per_s, u_room_K, u_extreme_after_s, u_before_K, u_reading_K), release,
    )  # fmt: skip
    known = _Known(before_C, extreme_C, extreme_after_s, room_C + STIRRING_K, rate_per_s)
    tried = _mixture(release)
    rise, spread = _weighed(known, tried, u_reading_K, u_extreme_after_s)

    def moved(name: str, by: float) -> float:
        if by == 0.0:
            return 0.0
        values = {key: getattr(known, key) for key in _Known.__dataclass_fields__}
        values[name] = max(values[name] + by, 0.0) if name == "rate_per_s" else values[name] + by
        other, _ = _weighed(_Known(**values), tried, u_reading_K, u_extreme_after_s)
        return abs(other - rise)

    parts = (
        ("temperature before", u_before_K),
        ("extreme reading", u_reading_K),
        ("room and stirring", moved("settles_C", float(np.hypot(u_room_K, U_STIRRING_K)))),
        ("cooling rate", moved("rate_per_s", u_rate_per_s)),
        ("course of release, wall and lag, time of the reading", spread),
    )
    u = total(parts)
    lost = rise - (extreme_C - before_C)
    why = (
        f"{lost:+.3g} K put back for the loss up to {extreme_after_s:.0f} s with a known rate of "
        f"{60 * rate_per_s:.3g} 1/min; the course of the release is not known"
    )
    return Correction(
        NAME, before_C, rise, u, (rise - 1.96 * u, rise + 1.96 * u), rate_per_s, u_rate_per_s,
        known.settles_C, True, why, float("nan"), float("nan"),
        tuple(part for part in parts if part[1] > 0),
    )  # fmt: skip


def _weighed(
    known: _Known, tried: _Mixture, u_reading_K: float, u_after_s: float
) -> tuple[float, float]:
    """Mean rise and standard deviation over the courses, K."""
    at = np.maximum(known.after_s + u_after_s * _NODES, 1.0)
    times = np.concatenate([at, _TIMES_S])
    idle, per_kelvin = _responses(known, tried, times)
    size = np.where(np.abs(per_kelvin[:, :3]) > 0.05, per_kelvin[:, :3], 0.05)
    rises = (known.extreme_C - idle[:, :3]) / size  # courses x nodes
    sign = 1.0 if known.extreme_C >= known.before_C else -1.0
    shown = idle[:, None, :] + rises[:, :, None] * per_kelvin[:, None, :]
    most = np.max(sign * (shown - known.before_C), axis=2)
    beyond = most - sign * (known.extreme_C - known.before_C)
    floor = 5e-4 * abs(known.extreme_C - known.before_C) + 1e-3
    misfit = (beyond / np.hypot(u_reading_K, floor)) ** 2 / 2
    log_weight = tried.log_weight[:, None] + np.log(_NODE_WEIGHT) - misfit
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = float(np.sum(weight * rises))
    return mean, float(np.sqrt(np.sum(weight * (rises - mean) ** 2)))


def _responses(known: _Known, tried: _Mixture, times: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Reading without heat [°C] and course per kelvin of rise, shapes (courses, times)."""
    k = known.rate_per_s
    idle = np.stack(
        [cup_response(times, known.before_C, known.settles_C, k, lag, ()) for lag in _LAGS_S]
    )
    unit = np.stack(
        [cup_response(times, 0.0, 0.0, k, lag, ((1.0, 1 / time_s),)) for time_s, lag in tried.keys]
    )
    return idle[tried.lag], tried.share @ unit


def _check(
    before: float, extreme: float, after: float, room: float, rate: float,
    uncertainties: tuple[float, ...], release: str | None,
) -> None:  # fmt: skip
    for name, value in (("before_C", before), ("extreme_C", extreme), ("room_C", room)):
        if not np.isfinite(value):
            raise CurveError(f"{name} is {value}; expected a temperature in °C")
    if not (np.isfinite(after) and after >= 0):
        raise CurveError(f"extreme_after_s is {after}; expected seconds after the mixing")
    if not (np.isfinite(rate) and 0 <= rate < 0.1):
        raise CurveError(f"rate_per_s is {rate}; expected 1/s, 0 or more and well below 0.1")
    if not all(np.isfinite(u) and u >= 0 for u in uncertainties):
        raise CurveError(f"the uncertainties are {uncertainties}; expected numbers, 0 or more")
    if release is not None and release not in RELEASES:
        raise CurveError(f"release is {release!r}; expected one of {', '.join(RELEASES)} or None")
