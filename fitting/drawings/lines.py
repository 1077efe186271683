"""Lines that a drawing lays through the fore and after periods of a corrected curve.

They show what a correction rests on; they do not make it. With s = t − t_m, t_m the moment of
mixing [s], k the cooling rate [1/s] and T∞ the temperature that the cup tends to [°C]:

- fore line: T = T_before + r s, through T_before at t_m, r by least squares [K/s];
- after line: T = T∞ + a exp(−k s), a by least squares; a straight line where k is not known;
- temperature without loss: T + k ∫ (T − T∞) ds from t_m on (Newton's law of cooling put back).

And the figure of the equal areas: both drift lines, the vertical, and the two areas it
cuts off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitting.curve import Curve, FloatArray
from fitting.drawings.style import INK, LIGHT, SINCE_MIXING, legend_above, tidy_axes

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from fitting.corrections.result import Balance, Corrected, Correction
    from fitting.curve import Curve, FloatArray

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


_MARGIN = 0.6  # of the main period, shown on either side of it


def balance_of(corrected: Corrected) -> Balance:
    """Time and lines of the equal areas.

    Raises:
        ValueError: the method of equal areas was not computed.
    """
    for one in corrected.methods:
        if one.balance is not None:
            return one.balance
    raise ValueError("no equal areas to draw: the method equal-areas was not computed")


def areas_Ks(curve: Curve, balance: Balance) -> tuple[float, float]:
    """The two shaded areas as drawn, by trapezoids, K s; equal up to the joints of the readings."""
    left, right = _courses(curve, balance)
    before, after = left[1] - balance.fore(left[0]), balance.after(right[0]) - right[1]
    return _under(left[0], before), _under(right[0], after)


def plot_equal_areas(ax: Axes, curve: Curve, corrected: Corrected) -> None:
    """Readings about the main period, both lines drawn to the vertical, the areas shaded."""
    balance = balance_of(corrected)
    mixed, left_right = balance.mixed_at_s, _courses(curve, balance)
    reach = _MARGIN * (balance.to_s - mixed)
    shown = (curve.time_s >= mixed - reach) & (curve.time_s <= balance.to_s + reach)
    time = curve.time_s[shown]
    ax.plot(
        (time - mixed) / 60, curve.temperature_C[shown], ".", color=LIGHT["readings"],
        markersize=3.2, label="readings",
    )  # fmt: skip
    at = np.array([balance.at_s])
    for name, line, ends in (
        ("fore", balance.fore, (float(time[0]), balance.at_s)),
        ("after", balance.after, (balance.at_s, float(time[-1]))),
    ):
        along = np.array(ends)
        ax.plot((along - mixed) / 60, line(along), "-", color=LIGHT[name], label=f"{name} line")
    for name, line, (s, T), hatch in (
        ("fore", balance.fore, left_right[0], "//"),
        ("after", balance.after, left_right[1], "\\\\"),
    ):
        ax.fill_between(
            (s - mixed) / 60, line(s), T, facecolor="none", edgecolor=LIGHT[name], hatch=hatch,
            linewidth=0.0,
        )  # fmt: skip
    low, high = float(balance.fore(at)[0]), float(balance.after(at)[0])
    ax.plot(
        (np.array([balance.at_s] * 2) - mixed) / 60, [low, high], "-", color=INK, linewidth=1.4,
        label=f"equal areas, {balance.at_s - mixed:.1f} s",
    )  # fmt: skip
    tidy_axes(ax, SINCE_MIXING, "temperature / °C")
    legend_above(ax)


def _courses(
    curve: Curve, balance: Balance
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Times [s] and temperatures [°C] of the main period, left and right of the vertical."""
    time, T = curve.time_s, curve.temperature_C
    inside = (time > balance.mixed_at_s) & (time < balance.to_s)
    ends = np.array([balance.mixed_at_s, balance.to_s])
    time = np.concatenate([ends[:1], time[inside], ends[1:]])
    T = np.concatenate([balance.fore(ends[:1]), T[inside], balance.after(ends[1:])])
    middle = float(np.interp(balance.at_s, time, T))
    left, right = time < balance.at_s, time > balance.at_s
    return (
        (np.append(time[left], balance.at_s), np.append(T[left], middle)),
        (np.insert(time[right], 0, balance.at_s), np.insert(T[right], 0, middle)),
    )


def _under(s: FloatArray, height: FloatArray) -> float:
    return float(np.sum(np.diff(s) * (height[1:] + height[:-1]) / 2))


def frame(curve: Curve, corrected: Corrected) -> pd.DataFrame:
    """Readings with time since mixing, the drawn lines' residuals and the temperature without loss.

    Columns: ``time_s``, ``since_mixing_s``, ``temperature_C``, ``residual_K`` (NaN in the main
    period), ``without_loss_C`` (NaN before the mixing, or where no cooling rate is known).
    """
    import pandas as pd

    fits = drawn_fits(curve, corrected)
    table = curve.to_frame()
    table.insert(1, "since_mixing_s", curve.time_s - corrected.mixed_at_s)
    residual = pd.Series(fits.residual_K, index=fits.residual_time_s)
    table["residual_K"] = residual.reindex(curve.time_s).to_numpy()
    table["without_loss_C"] = np.nan
    if fits.without_loss is not None:
        later = curve.time_s > corrected.mixed_at_s
        table.loc[later, "without_loss_C"] = fits.without_loss.temperature_C[1:]
    return table
