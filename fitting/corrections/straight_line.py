"""Straight lines through fore and after period, both drawn to the moment of mixing."""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.lines import drift_lines
from fitting.corrections.result import Correction, make

NAME = "straight-line"
_QUICK_S = 45.0


def correct(case: Case) -> Correction:
    """Rise = after line(mixing) − fore line(mixing); right when the release is quick.

    Two things the lines leave out enter the uncertainty: the after period's curvature k² (T − T∞),
    and what was not yet lost while the heat was still being released, k (area between the line
    and the readings).
    """
    lines = drift_lines(case)
    rise = lines.after.at(0.0) - lines.fore.at(0.0)
    reach = float(case.s[-1])
    curve = abs(lines.curvature_K_per_s2) * (reach**2 + 4 * reach * lines.start_s) / 12
    late = abs(lines.rate_per_s) * _area_below(case, rise)
    parts = (
        ("fore line", lines.fore.u_at(0.0)),
        ("after line", lines.after.u_at(0.0)),
        ("moment of mixing", abs(lines.after.slope_K_per_s) * case.mixing.u_s),
        ("curvature of the after period", curve),
        ("heat released late", late),
    )
    u_lines = float(np.hypot(lines.fore.u_at(0.0), lines.after.u_at(0.0)))
    quick = late < 0.002 * abs(rise) + u_lines
    straight = curve < 0.002 * abs(rise) + u_lines
    why = (
        "the release is quick and the after period straight"
        if quick and straight
        else "the heat was released over a time in which the cup lost less than the line says"
        if not quick
        else "the after period is curved"
    )
    return make(
        case, NAME, rise, parts, (bool(quick and straight), why), lines.after.residual_K,
        before_C=lines.fore.at(0.0),
    )  # fmt: skip


def _area_below(case: Case, rise: float) -> float:
    """Area between the extrapolated change and the readings during the main period, K s."""
    ahead = (case.s > 0) & (case.s <= case.s[case.after][0])
    s = np.concatenate([[0.0], case.s[ahead]])
    gap = rise - np.concatenate([[0.0], case.y[ahead] - case.before_C])
    return abs(float(np.sum(np.diff(s) * (gap[1:] + gap[:-1]) / 2)))
