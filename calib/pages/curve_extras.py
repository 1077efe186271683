"""Sections of a curve's page that are there only if wanted: heat release and stability."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.pages.figures import FigureBlock, draw_svg
from calib.pages.typeset import minus, plus_minus
from fitting.drawings.curves import StabilityScan, plot_heat_release, plot_stability

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected
    from fitting.release.heat_release import HeatRelease

_DASH = "–"


def release_blocks(release: HeatRelease | None, refused: str = "") -> dict[str, Any]:
    """What the template needs for the section on heat release; empty without one."""
    if release is None:
        return {
            "release_figures": (),
            "release_facts": (),
            "release_verdict": f"Not told: {refused}" if refused else "",
            "release_notes": (),
        }
    # a course that cannot be told from pouring and sensor is not drawn as if it could
    wanted = [one for one in _RELEASE_FIGURES if release.resolved or one[0] == "fraction"]
    blocks = [_release_figure(release, *one) for one in wanted]
    return {
        "release_figures": blocks,
        "release_facts": _release_facts(release),
        "release_verdict": release.verdict,
        "release_notes": (*release.notes, *(() if release.resolved else (_NOT_DRAWN,))),
    }


_NOT_DRAWN = "heat flow and temperature without loss are therefore not drawn"
_RELEASE_FIGURES = (
    ("temperature", "Temperature without loss", "What the content would have shown without loss"),
    ("fraction", "Share of the heat released", "The share of all heat released until a time"),
    ("flow", "Heat flow", "Heat released per second by Tian's equation"),
)


def _release_figure(release: HeatRelease, show: str, title: str, words: str) -> FigureBlock:
    ident = f"figure-{show}"
    over = (
        " The shaded stretch of time is where the end of the release lies with 95 % probability."
        if release.over_interval95_s is not None
        else ""
    )
    description = f"{words}, with a band of two standard uncertainties.{over}"
    if show == "fraction":
        description += f" {release.verdict}"
    svg = draw_svg(
        lambda ax: plot_heat_release(ax, release, show=show),
        ident,
        title,
        description,
        wide=(7.4, 3.2),
        narrow=(3.7, 3.1),
    )
    headers, rows = (_release_rows(release)) if show == "fraction" else ((), ())
    return FigureBlock(ident, title, description, svg, headers, rows)


def _release_rows(
    release: HeatRelease,
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    C = release.heat_capacity_J_per_K
    unit, factor = ("(mK/s)", 1000.0) if C is None else ("W", C)
    if not release.resolved:
        return _shares_when_surely_over(release)
    rows = tuple(
        (
            f"{at:.0f}",
            minus(f"{100 * f:.1f} ± {100 * u:.1f}"),
            minus(f"{factor * q:.2f} ± {factor * uq:.2f}"),
        )
        for at, f, u, q, uq in release.table()
    )
    return ("time since mixing / s", "released / %", f"heat flow / {unit}"), rows


def _shares_when_surely_over(
    release: HeatRelease,
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """What cannot be told from pouring and sensor is not tabled: no flow, no share before that."""
    _, known_from = release.over_interval95_s or (0.0, None)
    if known_from is None:
        return (), ()
    rows = tuple(
        (f"{at:.0f}", minus(f"{100 * f:.1f} ± {100 * u:.1f}"))
        for at, f, u, *_ in release.table()
        if at >= known_from
    )
    return ("time since mixing / s", "released / %"), rows


def _release_facts(release: HeatRelease) -> list[tuple[str, str, str, str]]:
    over = release.over_interval95_s
    at = release.over_after_s if release.resolved else None
    if release.total_J is not None:
        heat = (plus_minus(release.total_J, release.u_total_J), "J")
    else:
        heat = (plus_minus(release.total_K, release.u_total_K), "J for each J/K")
    lag = plus_minus(release.lag_removed_s, release.u_lag_removed_s or None)
    return [
        ("heat released", *heat, "total_heat"),
        (
            "release time constant (63.2 % of the heat)",
            plus_minus(release.release_time_s, release.u_release_time_s),
            "s",
            "release_time",
        ),
        (
            f"over: {100 * release.over_share:.0f} % of the heat",
            "not told" if at is None else f"{at:.0f}",
            "" if at is None else "s",
            "over",
        ),
        ("its 95 % interval", _DASH if over is None else _open_span(over), "s", "over"),
        (
            "sensor lag taken off" + _lag_from(release),
            lag if release.lag_removed_s else "0",
            "s",
            "lag",
        ),
        ("scatter over what the noise explains", f"{release.misfit:.2f}", "", "misfit"),
    ]


def _lag_from(release: HeatRelease) -> str:
    if release.lag_seen:
        return " (read off this curve)"
    return "" if release.lag_known else " (not known)"


def _open_span(low_high: tuple[float, float | None]) -> str:
    low, high = low_high
    return f"{low:.0f} or more" if high is None else f"{low:.0f} to {high:.0f}"


def stability_figure(number: int, scan: StabilityScan, corrected: Corrected) -> FigureBlock:
    """One scan of the rise against a choice, with its numbers."""
    ident, title = f"figure-stability-{number}", f"The rise against {_choice(scan.title)}"
    rises = np.asarray(scan.rise_K, dtype=np.float64)
    finite = rises[np.isfinite(rises)]
    span = float(np.ptp(finite)) if finite.size else 0.0
    note = getattr(scan, "note", "")
    description = (
        f"The corrected rise for {rises.size} values of the {_choice(scan.title)}. Its largest and "
        f"smallest values differ by {1000 * span:.1f} mK; the stated standard uncertainty is "
        f"{1000 * corrected.chosen.u_rise_K:.1f} mK."
        + (f" {note[:1].upper()}{note[1:]}." if note else "")
    )
    svg = draw_svg(
        lambda ax: plot_stability(ax, scan, corrected),
        ident,
        title,
        description,
        wide=(7.4, 2.8),
        narrow=(3.7, 3.0),
    )
    own = getattr(scan, "u_rise_K", ()) or (float("nan"),) * rises.size
    rows = tuple(
        (
            minus(f"{value:g}"),
            plus_minus(rise, u if np.isfinite(u) else None) if np.isfinite(rise) else _DASH,
        )
        for value, rise, u in zip(
            np.asarray(scan.values).tolist(), rises.tolist(), own, strict=True
        )
    )
    return FigureBlock(ident, title, description, svg, (scan.title, "rise / K"), rows)


def _choice(title: str) -> str:
    """A scan's title without its unit."""
    return title.rsplit(" / ", 1)[0]


def stability_verdict(scans: Sequence[StabilityScan], corrected: Corrected) -> str:
    """Whether the rise stays inside its interval, in words."""
    if not scans:
        return ""
    low, high = corrected.chosen.interval95_K
    leaving = [
        scan.title
        for scan in scans
        if any(np.isfinite(r) and not low <= r <= high for r in np.asarray(scan.rise_K))
    ]
    if not leaving:
        return "Within the choices tried, the rise stays inside its stated 95 % interval."
    return (
        "The rise leaves its stated 95 % interval for some values of: "
        f"{', '.join(leaving)}. Values far from the one in use are not equally good choices; "
        "see the drawings."
    )
