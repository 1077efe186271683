"""Drawings of a cooling log: readings and laws, what each law misses, and its forecast of the end.

Each function draws on an Axes that it is given. Time is drawn in minutes since the start of the
stretch; every law has its own colour, line style and marker.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitting.curve import FloatArray
from fitting.drawings.style import FAINT, INK, LIGHT, legend_above, tidy_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from fitting.cooling.cooling_log import CoolingLog

VIEWS = ("cooling", "residuals", "forecast")
SINCE_START = "time since the start / min"
STYLES = {
    "newton": ("fore", "-", "o"),
    "slow-wall": ("insulated", (0, (5, 2)), "s"),
    "steeper": ("after", (0, (1, 1.2)), "^"),
    "drifting-room": ("release", (0, (6, 2, 1, 2)), "D"),
}
_OTHER = ("readings", "--", "v")
_MOST_DOTS = 240


def draw_cooling(ax: Axes, log: CoolingLog, what: str = "cooling") -> None:
    """Draw one view of a cooling log.

    Args:
        ax: where to draw.
        log: what `fitting.fit_cooling_log` gave.
        what: ``cooling``, ``residuals`` or ``forecast``.

    Raises:
        ValueError: there is no such view.
    """
    ways = {"cooling": _cooling, "residuals": _residuals, "forecast": _forecast}
    if what not in ways:
        raise ValueError(f"what is {what!r}; expected one of {', '.join(VIEWS)}")
    ways[what](ax, log)


def _cooling(ax: Axes, log: CoolingLog) -> None:
    curve = log.curve
    every = max(1, len(curve) // _MOST_DOTS)
    time = (curve.time_s - log.stretch.from_s) / 60
    ax.plot(
        time[::every], curve.temperature_C[::every], ".", color=LIGHT["readings"], markersize=3.2,
        label="readings",
    )  # fmt: skip
    for name in dict.fromkeys(("newton", log.law)):  # the named law on top
        line = log.line_C(name)
        if line is not None:
            colour, style, _ = STYLES.get(name, _OTHER)
            title = log.laws.named(name).title
            ax.plot(log.stretch.t / 60, line, linestyle=style, color=LIGHT[colour], label=title)
    low, high = log.t_inf_interval95_C
    reach = float(np.ptp(log.stretch.y))
    if high - low < 3 * reach:  # else it would squeeze the readings
        ax.errorbar(
            [float(time[-1])], [log.t_inf_C], yerr=[[log.t_inf_C - low], [high - log.t_inf_C]],
            fmt="D", color=INK, markersize=5, capsize=5, label="tends to, 95 %",
        )  # fmt: skip
    tidy_axes(ax, SINCE_START, "temperature / °C")
    legend_above(ax)


def _residuals(ax: Axes, log: CoolingLog) -> None:
    ax.axhline(0.0, color=INK, linewidth=0.8)
    for one in log.laws.laws:
        line = log.line_C(one.name)
        if line is not None:
            _law_line(ax, log, one.name, 1000 * (log.stretch.y - line), slice(None))
    tidy_axes(ax, SINCE_START, "reading − law / mK")
    legend_above(ax)


def _forecast(ax: Axes, log: CoolingLog) -> None:
    ax.axhline(0.0, color=INK, linewidth=0.8)
    begin = log.held_from_s()
    ax.axvline(begin / 60, color=FAINT, linewidth=1.2)
    held = slice(int(np.searchsorted(log.stretch.t, begin)), None)
    for one in log.laws.laws:
        line = log.line_C(one.name, forecast=True)
        if line is not None:
            _law_line(ax, log, one.name, 1000 * (log.stretch.y - line), held)
    tidy_axes(ax, SINCE_START, "reading − forecast / mK")
    legend_above(ax)


def _law_line(ax: Axes, log: CoolingLog, name: str, values: FloatArray, part: slice) -> None:
    colour, style, marker = STYLES.get(name, _OTHER)
    used = name == log.law
    ax.plot(
        log.stretch.t[part] / 60, values[part], linestyle=style, marker=marker, markevery=5,
        markersize=5 if used else 3.5, linewidth=1.8 if used else 1.0, color=LIGHT[colour],
        label=name + (" (named)" if used else ""),
    )  # fmt: skip
