"""What ``correct --compare`` prints beside the methods: cooling laws and stability."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from calib.rounding import figures, with_u

if TYPE_CHECKING:
    from calib.cli.output import Output
    from fitting.checks.stability import Stability
    from fitting.comparison import Comparison
    from fitting.cooling.result import LawComparison


def show_comparison(out: Output, found: Comparison) -> None:
    """Cooling laws on the after period, then how the rise moves with other choices."""
    if found.laws is not None:
        _show_laws(out, found.laws)
    else:
        out.say("Cooling laws: the after period is too short to tell them apart")
    if found.stability is not None:
        _show_stability(out, found.stability)


def _show_laws(out: Output, laws: LawComparison) -> None:
    from calib.pages.curve_laws import further_parameters

    out.table(
        ["law", "ΔAICc", "forecast rms K", "k 1/min", "tends to °C", "further parameters"],
        [
            [
                one.title + (" (in use)" if one.name == laws.chosen else ""),
                f"{one.delta_aicc:.1f}",
                figures(one.forecast_rms_K, 2),
                with_u(60 * one.rate_per_s, 60 * one.u_rate_per_s),
                with_u(one.t_inf_C, one.u_t_inf_K),
                further_parameters(one),
            ]
            for one in laws.laws
        ],
        title=f"Cooling laws: {laws.verdict}",
    )


def _show_stability(out: Output, stability: Stability) -> None:
    out.table(
        ["choice", "from", "to", "rise K", "differ by K", "note"],
        [
            [
                scan.title,
                f"{min(scan.values):g}",
                f"{max(scan.values):g}",
                _span(scan.rise_K),
                figures(scan.spread_K, 2),
                scan.note,
            ]
            for scan in stability.scans
            if scan.values
        ],
        title=f"Stability: {stability.verdict}",
    )


def _span(rises: tuple[float, ...]) -> str:
    known = [rise for rise in rises if math.isfinite(rise)]
    return f"{min(known):.4f} to {max(known):.4f}" if known else "–"
