"""Lines that a drawing lays through the fore and after periods of a corrected curve.

They show what a correction rests on; they do not make it. With s = t − t_m, t_m the moment of
mixing [s], k the cooling rate [1/s] and T∞ the temperature that the cup tends to [°C]:

- fore line: T = T_before + r s, through T_before at t_m, r by least squares [K/s];
- after line: T = T∞ + a exp(−k s), a by least squares; a straight line where k is not known;
- temperature without loss: T + k ∫ (T − T∞) ds from t_m on (Newton's law of cooling put back).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitting.curve import Curve, FloatArray

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected, Correction

_FALLBACK_SHARE = 0.5  # of the time after mixing, where nothing says when the release was over


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Points of a drawn line: seconds on the curve's clock and °C, shape (n,) each."""

    time_s: FloatArray
    temperature_C: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class DrawnFits:
    """Lines through one curve and what is left of the readings after them.

    ``residual_K`` belongs to ``residual_time_s``: readings of the fore period minus its line, and
    of the after period minus what the method in use lays through it. ``without_loss`` is None where
    no cooling rate is known.
    """

    fore: Line | None
    after: Line
    extrapolated: Line
    without_loss: Line | None
    after_from_s: float
    residual_time_s: FloatArray
    residual_K: FloatArray


def drawn_fits(curve: Curve, corrected: Corrected, method: Correction | None = None) -> DrawnFits:
    """Lines for one method's result (default: the chosen one) on its curve."""
    shown = corrected.chosen if method is None else method
    mixed = corrected.mixed_at_s
    time, temperature = curve.time_s, curve.temperature_C
    start = _after_from(curve, corrected)
    before, after = time < mixed, time >= start
    fore = _fore_line(time[before], temperature[before], mixed, shown.before_C)
    at_after = _after_line(time[after], temperature[after], mixed, shown)
    back = np.linspace(mixed, start, 60)
    k, t_inf = shown.cooling_rate_per_s, shown.t_inf_C
    left = shown.residual_K  # the fit's own where it has one; else of the line drawn here
    lines = [
        (time[-left.size :], left)
        if left.size
        else (time[after], temperature[after] - at_after(time[after]))
    ]
    if fore is not None:
        lines.insert(0, (time[before], temperature[before] - fore(time[before])))
    return DrawnFits(
        fore=None if fore is None else Line(*_ends(fore, float(time[0]), mixed)),
        after=Line(time[after], at_after(time[after])),
        extrapolated=Line(back, at_after(back)),
        without_loss=(
            None if k is None or t_inf is None else _without_loss(curve, mixed, shown, k, t_inf)
        ),
        after_from_s=start,
        residual_time_s=np.concatenate([t for t, _ in lines]),
        residual_K=np.concatenate([r for _, r in lines]),
    )


class _Straight:
    def __init__(self, at_s: float, level_C: float, slope_K_per_s: float) -> None:
        self.at_s, self.level_C, self.slope = at_s, level_C, slope_K_per_s

    def __call__(self, time_s: FloatArray) -> FloatArray:
        return self.level_C + self.slope * (time_s - self.at_s)


class _Cooling:
    def __init__(self, at_s: float, t_inf_C: float, start_K: float, rate_per_s: float) -> None:
        self.at_s, self.t_inf_C, self.start_K, self.rate = at_s, t_inf_C, start_K, rate_per_s

    def __call__(self, time_s: FloatArray) -> FloatArray:
        fall: FloatArray = np.exp(-self.rate * (time_s - self.at_s))
        return self.t_inf_C + self.start_K * fall


def _after_from(curve: Curve, corrected: Corrected) -> float:
    """Start of the after period on the curve's clock, with at least three readings in it."""
    mixed, end = corrected.mixed_at_s, float(curve.time_s[-1])
    settled = corrected.settled_after_s
    start = mixed + (_FALLBACK_SHARE * (end - mixed) if settled is None else settled)
    latest = float(curve.time_s[max(len(curve) - 3, 0)])
    return min(start, latest)


def _fore_line(
    time: FloatArray, temperature: FloatArray, mixed: float, before_C: float
) -> _Straight | None:
    if time.size < 2:
        return None
    s = time - mixed
    power = float(s @ s)
    return _Straight(mixed, before_C, float(s @ (temperature - before_C)) / power)


def _after_line(
    time: FloatArray, temperature: FloatArray, mixed: float, shown: Correction
) -> _Cooling | _Straight:
    k, t_inf = shown.cooling_rate_per_s, shown.t_inf_C
    if k is not None and t_inf is not None and np.isfinite(k) and np.isfinite(t_inf):
        fall = np.exp(-k * (time - mixed))
        return _Cooling(mixed, t_inf, float(fall @ (temperature - t_inf)) / float(fall @ fall), k)
    middle = float(time.mean())
    s = time - middle
    power = float(s @ s)
    slope = float(s @ temperature) / power if power > 0 else 0.0
    return _Straight(middle, float(temperature.mean()), slope)


def _ends(line: _Straight, first: float, last: float) -> tuple[FloatArray, FloatArray]:
    time = np.array([first, last])
    return time, line(time)


def _without_loss(curve: Curve, mixed: float, shown: Correction, k: float, t_inf: float) -> Line:
    """Newton's loss since the mixing put back: T + k ∫ (T − T∞) dt, trapezoids."""
    later = curve.time_s > mixed
    time = np.concatenate([[mixed], curve.time_s[later]])
    temperature = np.concatenate([[shown.before_C], curve.temperature_C[later]])
    excess = temperature - t_inf
    steps = 0.5 * (excess[1:] + excess[:-1]) * np.diff(time)
    return Line(time, temperature + k * np.concatenate([[0.0], np.cumsum(steps)]))
