"""Drawings of a heat release: temperature without loss, share released, heat flow."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitting.curve import FloatArray
from fitting.drawings.style import INK, LIGHT, SINCE_MIXING, legend_above, tidy_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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
