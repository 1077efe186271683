"""Sections of a curve's page that are there only if wanted: heat release and stability."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.pages.figures import FigureBlock, draw_svg
from calib.pages.typeset import minus, plus_minus
from calib.rounding import decimals_for
from fitting.plots import StabilityScan, plot_heat_release, plot_stability

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected
    from fitting.heat_release import HeatRelease

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
    rows = tuple(
        (
            f"{at:.0f}",
            minus(f"{100 * f:.1f} ± {100 * u:.1f}"),
            minus(f"{1000 * q:.2f} ± {1000 * uq:.2f}"),
        )
        for at, f, u, q, uq in release.table()
    )
    headers = ("time since mixing / s", "released / %", "heat flow / (mK/s)")
    blocks = []
    for show, title, words in (
        ("fraction", "Share of the heat released", "The share of all heat released until a time"),
        ("flow", "Heat flow", "Heat released per second"),
    ):
        description = f"{words}, with a band of two standard uncertainties. {release.verdict}"
        svg = draw_svg(
            lambda ax, show=show: plot_heat_release(ax, release, show=show),  # type: ignore[misc]
            f"figure-{show}",
            title,
            description,
            wide=(7.4, 3.2),
            narrow=(3.7, 3.1),
        )
        kept = rows if show == "fraction" else ()
        blocks.append(FigureBlock(f"figure-{show}", title, description, svg, headers, kept))
    return {
        "release_figures": blocks,
        "release_facts": _release_facts(release),
        "release_verdict": release.verdict,
        "release_notes": release.notes,
    }


def _release_facts(release: HeatRelease) -> list[tuple[str, str, str]]:
    over = release.over_interval95_s
    facts = [
        ("rise that 100 % stands for", plus_minus(release.total_K, release.u_total_K), "K"),
        (
            "time to 63.2 % of the heat",
            plus_minus(release.release_time_s, release.u_release_time_s),
            "s",
        ),
        (
            f"time to {100 * release.over_share:.0f} % of the heat",
            _DASH if release.over_after_s is None else f"{release.over_after_s:.0f}",
            "s",
        ),
        ("its 95 % interval", _DASH if over is None else _open_span(over), "s"),
        ("sensor lag removed", f"{release.lag_removed_s:g}" if release.lag_removed_s else "0", "s"),
        ("scatter over what the noise explains", f"{release.misfit:.2f}", ""),
    ]
    if release.total_J is not None:
        facts.insert(1, ("heat released", plus_minus(release.total_J, release.u_total_J), "J"))
    return facts


def _open_span(low_high: tuple[float, float | None]) -> str:
    low, high = low_high
    return f"{low:.0f} or more" if high is None else f"{low:.0f} to {high:.0f}"


def stability_figure(number: int, scan: StabilityScan, corrected: Corrected) -> FigureBlock:
    """One scan of the rise against a choice, with its numbers."""
    ident, title = f"figure-stability-{number}", f"The rise against {scan.title}"
    rises = np.asarray(scan.rise_K, dtype=np.float64)
    finite = rises[np.isfinite(rises)]
    span = float(np.ptp(finite)) if finite.size else 0.0
    description = (
        f"The corrected rise for {rises.size} values of {scan.title}. It moves by "
        f"{1000 * span:.1f} mK; the stated standard uncertainty is "
        f"{1000 * corrected.chosen.u_rise_K:.1f} mK."
    )
    svg = draw_svg(
        lambda ax: plot_stability(ax, scan, corrected),
        ident,
        title,
        description,
        wide=(7.4, 2.8),
        narrow=(3.7, 3.0),
    )
    places = decimals_for(corrected.chosen.u_rise_K)
    rows = tuple(
        (minus(f"{value:g}"), minus(f"{rise:.{places}f}") if np.isfinite(rise) else _DASH)
        for value, rise in zip(np.asarray(scan.values).tolist(), rises.tolist(), strict=True)
    )
    return FigureBlock(ident, title, description, svg, (scan.title, "rise / K"), rows)


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
