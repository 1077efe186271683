"""The figure of the equal areas: both drift lines, the vertical, and the two areas it cuts off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitting.drawings.style import INK, LIGHT, SINCE_MIXING, legend_above, tidy_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from fitting.corrections.result import Balance, Corrected
    from fitting.curve import Curve, FloatArray

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
