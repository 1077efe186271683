"""Drawings of corrections and heat releases; each function draws on an Axes that it is given.

Time is drawn in minutes since the moment of mixing. Nothing here uses pyplot, so no figure is kept
alive behind the user's back. Use `new_figure` for one's own, `drawing_style` for its settings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Protocol

import numpy as np

from fitting.curve import Curve, FloatArray
from fitting.drawings.lines import DrawnFits, drawn_fits, plot_equal_areas
from fitting.drawings.style import (
    FAINT,
    INK,
    LIGHT,
    SINCE_MIXING,
    drawing_style,
    legend_above,
    new_figure,
    tidy_axes,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from fitting.corrections.result import Corrected
    from fitting.release.result import HeatRelease

SHOWN = ("temperature", "fraction", "flow")


def plot_heat_release(
    ax: Axes, release: HeatRelease, *, show: str = "fraction", in_watts: bool | None = None
) -> None:
    """``temperature`` without loss, ``fraction`` released or heat ``flow``, with a band of ± 2 u.

    Raises:
        ValueError: ``show`` is none of these.
    """
    if show not in SHOWN:
        raise ValueError(f"show is {show!r}; expected one of {', '.join(SHOWN)}")
    minutes = release.since_mixing_s / 60.0
    centre, u, unit = _quantity(release, show, in_watts)
    ax.fill_between(
        minutes,
        centre - 2 * u,
        centre + 2 * u,
        color=LIGHT["release"],
        alpha=0.25,
        linewidth=0,
        label="± 2 u",
    )
    ax.plot(minutes, centre, "-", color=LIGHT["release"], label="best estimate")
    if show == "fraction":
        ax.axhline(100.0, color=INK, linewidth=0.8)
    _draw_over(ax, release)
    start, end = _span(release)
    ax.set_xlim(start, end)
    ax.set_ylim(*((-20.0, 130.0) if show == "fraction" else _room(centre[minutes <= end])))
    tidy_axes(ax, SINCE_MIXING, unit)
    legend_above(ax)


def _quantity(
    release: HeatRelease, show: str, in_watts: bool | None
) -> tuple[FloatArray, FloatArray, str]:
    if show == "temperature":
        return release.without_loss_C, release.u_without_loss_K, "temperature without loss / °C"
    if show == "fraction":
        return 100 * release.fraction, 100 * release.u_fraction, "released / %"
    watts = release.flow_W is not None if in_watts is None else in_watts
    if watts and release.flow_W is not None and release.u_flow_W is not None:
        return release.flow_W, release.u_flow_W, "heat flow / W"
    return 1000 * release.flow_K_per_s, 1000 * release.u_flow_K_per_s, "heat flow / (mK/s)"


def _draw_over(ax: Axes, release: HeatRelease) -> None:
    """Where the end of the release lies: a line with its interval, or the interval alone."""
    if release.over_after_s is None or release.over_interval95_s is None:
        return
    low, high = release.over_interval95_s
    last = float(release.since_mixing_s[-1])
    ax.axvspan(
        low / 60, (last if high is None else high) / 60, color=LIGHT["fore"], alpha=0.12,
        linewidth=0, label="over, 95 %",
    )  # fmt: skip
    if release.resolved:
        at, share = release.over_after_s / 60, f"{100 * release.over_share:.0f} %"
        ax.axvline(at, color=LIGHT["fore"], linestyle=(0, (4, 2)), label=f"over ({share})")


def _span(release: HeatRelease) -> tuple[float, float]:
    """Minutes to draw: the release and as much again, not the long quiet time after it."""
    last = float(release.since_mixing_s[-1])
    over = release.over_interval95_s
    latest = None if over is None else over[1]
    shown = last if latest is None else min(last, max(2.0 * latest, 60.0))
    return -0.02 * shown / 60, 1.02 * shown / 60


def _room(values: FloatArray) -> tuple[float, float]:
    """The values and a third of their range around them: a wide band may run out of the drawing."""
    low, high = float(np.min(values)), float(np.max(values))
    pad = 0.3 * (high - low) or 1.0
    return low - pad, high + pad


__all__ = [
    "StabilityScan",
    "drawing_style",
    "drawn_fits",
    "new_figure",
    "plot_correction",
    "plot_end",
    "plot_equal_areas",
    "plot_heat_release",
    "plot_methods",
    "plot_residuals",
    "plot_stability",
]

_MOST_DOTS = 220


class StabilityScan(Protocol):
    """How the rise moves with one choice: values of the choice and the rise at each."""

    @property
    def title(self) -> str:
        """What is varied, with its unit."""

    @property
    def values(self) -> Sequence[float] | FloatArray:
        """The choice's values."""

    @property
    def rise_K(self) -> Sequence[float] | FloatArray:
        """The corrected rise at each value; NaN where there is none."""

    @property
    def used(self) -> float | None:
        """The value that the result rests on."""


def plot_correction(ax: Axes, curve: Curve, corrected: Corrected) -> None:
    """Readings, the lines through fore and after periods, and the rise at the moment of mixing."""
    fits, mixed = drawn_fits(curve, corrected), corrected.mixed_at_s
    chosen = corrected.chosen
    time, temperature = thinned(curve, mixed)
    ax.plot(
        _minutes(time, mixed),
        temperature,
        ".",
        color=LIGHT["readings"],
        markersize=3.2,
        label="readings",
    )
    if fits.fore is not None:
        ax.plot(
            _minutes(fits.fore.time_s, mixed),
            fits.fore.temperature_C,
            "-",
            color=LIGHT["fore"],
            label="fore line",
        )
    _draw_after(ax, fits, mixed)
    ends = (chosen.before_C, corrected.final_C)
    ax.plot([0, 0], ends, "-", color=INK, linewidth=1.0)
    low, high = (chosen.before_C + edge for edge in chosen.interval95_K)
    ax.errorbar(
        [0],
        [corrected.final_C],
        yerr=[[max(corrected.final_C - low, 0.0)], [max(high - corrected.final_C, 0.0)]],
        fmt="D",
        color=INK,
        markersize=5,
        capsize=5,
        label="corrected end, 95 %",
    )
    ax.plot([0], [chosen.before_C], "s", color=INK, markersize=5, label="start at mixing")
    tidy_axes(ax, SINCE_MIXING, "temperature / °C")
    legend_above(ax)


def _draw_after(ax: Axes, fits: DrawnFits, mixed: float) -> None:
    after, back = fits.after, fits.extrapolated
    colour = LIGHT["after"]
    ax.plot(
        _minutes(after.time_s, mixed), after.temperature_C, "-", color=colour, label="after line"
    )
    ax.plot(
        _minutes(back.time_s, mixed),
        back.temperature_C,
        linestyle=(0, (4, 2)),
        label="traced back",
        color=colour,
    )
    if fits.without_loss is not None:
        line = fits.without_loss
        every = max(1, line.time_s.size // _MOST_DOTS)
        ax.plot(
            _minutes(line.time_s, mixed)[::every],
            line.temperature_C[::every],
            linestyle=(0, (1, 1)),
            color=LIGHT["insulated"],
            label="loss put back",
        )


def plot_end(ax: Axes, curve: Curve, corrected: Corrected) -> None:
    """The corrected end enlarged: after line traced back to the mixing, extreme reading, interval.

    The temperature axis holds the 95 % interval, the extreme reading and the after period, not the
    start, so that what the correction adds can be seen.
    """
    fits, mixed, final = drawn_fits(curve, corrected), corrected.mixed_at_s, corrected.final_C
    low, high = (corrected.chosen.before_C + edge for edge in corrected.chosen.interval95_K)
    time, temperature = thinned(curve, mixed)
    ax.plot(
        _minutes(time, mixed), temperature, ".", color=LIGHT["readings"], markersize=3.2,
        label="readings",
    )  # fmt: skip
    _draw_after(ax, fits, mixed)
    ax.axhline(final, color=INK, linewidth=0.8)
    ax.errorbar(
        [0], [final], yerr=[[max(final - low, 0.0)], [max(high - final, 0.0)]], fmt="D",
        color=INK, markersize=6, capsize=6, label="corrected end, 95 %",
    )  # fmt: skip
    ax.plot(
        _minutes([corrected.extreme_at_s], mixed), [corrected.extreme_C], "s", markersize=6,
        color=LIGHT["fore"], label="extreme reading",
    )  # fmt: skip
    shown = [
        final,
        corrected.extreme_C,
        *fits.after.temperature_C,
        *fits.extrapolated.temperature_C,
    ]
    shown += [edge for edge in (low, high) if np.isfinite(edge) and abs(edge - final) < 1.0]
    pad = 0.12 * (max(shown) - min(shown)) or 0.01
    ax.set_ylim(min(shown) - pad, max(shown) + pad)
    end = float(_minutes(curve.time_s[-1:], mixed)[0])
    ax.set_xlim(-0.04 * end, 1.02 * end)
    tidy_axes(ax, SINCE_MIXING, "temperature / °C")
    legend_above(ax)


def plot_residuals(ax: Axes, curve: Curve, corrected: Corrected) -> None:
    """Readings of the fore and after periods minus the lines through them, in millikelvin."""
    fits, mixed = drawn_fits(curve, corrected), corrected.mixed_at_s
    minutes, residual = _minutes(fits.residual_time_s, mixed), 1000 * fits.residual_K
    before = fits.residual_time_s < mixed
    ax.axhline(0.0, color=INK, linewidth=0.8)
    if curve.resolution_K > 0:
        half = 500 * curve.resolution_K
        ax.axhspan(-half, half, color=FAINT, alpha=0.5, linewidth=0, label="half a step of reading")
    for chosen, name, marker in ((before, "fore", "s"), (~before, "after", "o")):
        if chosen.any():
            ax.plot(
                _thin(minutes[chosen]),
                _thin(residual[chosen]),
                marker,
                color=LIGHT[name],
                markersize=2.6,
                label=f"{name} period",
            )
    tidy_axes(ax, SINCE_MIXING, "reading − line / mK")
    legend_above(ax)


def plot_methods(ax: Axes, corrected: Corrected, titles: dict[str, str] | None = None) -> None:
    """Each method's rise with its 95 % interval; hollow where it is not admissible here."""
    methods = list(reversed(corrected.methods))
    named = titles or {}
    for at, method in enumerate(methods):
        chosen = method.method == corrected.chosen.method
        colour = LIGHT["insulated"] if chosen else LIGHT["readings"]
        low, high = method.interval95_K
        if np.isfinite(low) and np.isfinite(high):
            ax.plot([low, high], [at, at], "-", color=colour, linewidth=2.4 if chosen else 1.4)
        ax.plot(
            [method.rise_K],
            [at],
            "D" if chosen else "o",
            color=colour,
            markerfacecolor=colour if method.admissible else "none",
            markersize=7 if chosen else 6,
        )
    ax.axvline(corrected.chosen.rise_K, color=LIGHT["insulated"], linewidth=0.8, linestyle=":")
    ax.set_yticks(range(len(methods)), [named.get(m.method, m.method) for m in methods])
    ax.set_ylim(-0.6, len(methods) - 0.4)
    _limit_to_methods(ax, corrected)
    tidy_axes(ax, "rise / K", "")
    ax.tick_params(axis="y", length=0)


def _limit_to_methods(ax: Axes, corrected: Corrected) -> None:
    """Keep one method's boundless interval from flattening all others."""
    rises = np.array([m.rise_K for m in corrected.methods if np.isfinite(m.rise_K)])
    widths = [m.interval95_K[1] - m.interval95_K[0] for m in corrected.methods if m.admissible]
    reach = max([*(w for w in widths if np.isfinite(w)), 1e-6])
    margin = 0.15 * float(np.ptp(rises)) + 0.7 * reach
    ax.set_xlim(float(rises.min()) - margin, float(rises.max()) + margin)


def plot_stability(
    ax: Axes, scan: StabilityScan, corrected: Corrected, *, label: str | None = None
) -> None:
    """The rise against one choice, over the band that the stated 95 % interval covers."""
    values = np.asarray(scan.values, dtype=np.float64)
    rises = np.asarray(scan.rise_K, dtype=np.float64)
    low, high = corrected.chosen.interval95_K
    ax.axhspan(low, high, color=LIGHT["insulated"], alpha=0.18, linewidth=0, label="stated 95 %")
    ax.plot(values, rises, "o-", color=LIGHT["after"], markersize=4, label="rise")
    u = np.asarray(getattr(scan, "u_rise_K", ()), dtype=np.float64)
    if u.size == rises.size:
        ax.errorbar(
            values, rises, yerr=1.96 * u, fmt="none", color=LIGHT["after"], elinewidth=0.8,
            capsize=2, label="its own 95 %",
        )  # fmt: skip
    if scan.used is not None:
        ax.axvline(scan.used, color=LIGHT["fore"], linestyle=(0, (4, 2)), label="value in use")
    finite = rises[np.isfinite(rises)]
    if finite.size:
        edges = [low, high, float(finite.min()), float(finite.max())]
        pad = 0.15 * (max(edges) - min(edges)) or 0.01
        ax.set_ylim(min(edges) - pad, max(edges) + pad)
    tidy_axes(ax, scan.title if label is None else label, "rise / K")
    legend_above(ax)


def thinned(
    curve: Curve, mixed_at_s: float, most: int = _MOST_DOTS
) -> tuple[FloatArray, FloatArray]:
    """Readings for drawing: all within two minutes of mixing, every n-th elsewhere."""
    if len(curve) <= most:
        return curve.time_s, curve.temperature_C
    near = np.abs(curve.time_s - mixed_at_s - 50.0) <= 70.0
    near_every = max(1, int(near.sum()) // (most // 2))
    far_every = max(1, int((~near).sum()) // (most // 2))
    index = np.arange(len(curve))
    keep = np.where(near, index % near_every == 0, index % far_every == 0)
    keep[[0, -1]] = True
    return curve.time_s[keep], curve.temperature_C[keep]


def _thin(values: FloatArray) -> FloatArray:
    return values[:: max(1, values.size // _MOST_DOTS)]


def _minutes(time_s: FloatArray | Iterable[float], mixed_at_s: float) -> FloatArray:
    return (np.asarray(time_s, dtype=np.float64) - mixed_at_s) / 60.0


VIEWS = ("correction", "residuals", "methods", "equal-areas", "release")


def draw(ax: Axes, curve: Curve, corrected: Corrected, what: str = "correction") -> None:
    """Draw one view of a corrected curve on an Axes.

    Args:
        ax: where to draw.
        curve: the readings.
        corrected: what `correct` gave for them.
        what: ``correction``, ``residuals``, ``methods``, ``equal-areas`` or ``release``.

    Raises:
        ValueError: there is no such view.
    """
    from fitting.release.heat_release import heat_release

    ways: dict[str, Callable[[], None]] = {
        "correction": lambda: plot_correction(ax, curve, corrected),
        "residuals": lambda: plot_residuals(ax, curve, corrected),
        "methods": lambda: plot_methods(ax, corrected),
        "equal-areas": lambda: plot_equal_areas(ax, curve, corrected),
        "release": lambda: plot_heat_release(ax, heat_release(curve, corrected)),
    }
    if what not in ways:
        raise ValueError(f"what is {what!r}; expected one of {', '.join(VIEWS)}")
    ways[what]()
