"""Straight lines through fore and after period, both drawn to the moment of mixing."""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.lines import drift_lines, lost_while_released
from fitting.corrections.result import Correction, make

NAME = "straight-line"


def correct(case: Case) -> Correction:
    """ΔT = L2(0) − L1(0), the lines [°C] at the mixing: right when the heat comes at once.

    Two things the lines leave out enter the uncertainty: the after period's curvature k² (T − T∞),
    and what was not yet lost while the heat was still being released, k (area between the line
    and the readings).
    """
    lines = drift_lines(case)
    rise = lines.after.at(0.0) - lines.fore.at(0.0)
    reach = float(case.s[-1])
    curve = abs(lines.curvature_K_per_s2) * (reach**2 + 4 * reach * lines.start_s) / 12
    late = lost_while_released(case, rise, lines.rate_per_s)
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
        f"the after period is straight, and heat that came late makes {1000 * late:.1f} mK"
        if quick and straight
        else f"the heat came over a time in which the cup lost {1000 * late:.1f} mK less than the "
        "line says"
        if not quick
        else "the after period is curved"
    )
    return make(
        case, NAME, rise, parts, (bool(quick and straight), why), lines.after.residual_K,
        before_C=lines.fore.at(0.0),
    )  # fmt: skip
