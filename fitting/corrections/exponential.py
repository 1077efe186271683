"""Newton extrapolation: one exponential law through both periods, drawn back to the mixing."""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.joint_exponential import JointFit, fit_joint, steps_part
from fitting.corrections.lines import drift_lines, lost_while_released
from fitting.corrections.result import Correction, make

NAME = "exponential"


def correct(case: Case) -> Correction:
    """ΔT = Tx − T1: right when the heat comes at once, whatever the after period's curvature.

    Tx and T1 [°C] are the two curves of `joint_exponential` at the mixing. Heat that comes later
    was not lost from as early as the curve says: k ∫ (Tx − T) ds over the main period is what is
    put back too much, and enters the uncertainty.

    Source: Newton's law of cooling; common practice.
    """
    fit = fit_joint(case)
    rise = fit.after_C - fit.before_C
    late = lost_while_released(case, rise, fit.rate_per_s)
    slope = abs(fit.rate_per_s * (fit.after_C - fit.t_inf_C))
    u_fit = fit.u_of(np.array([-1.0, 1.0, 0.0, 0.0]))
    parts = (
        ("fit of both periods", u_fit),
        ("steps of the reading", steps_part(case, slope)),
        ("moment of mixing", slope * case.mixing.u_s),
        ("heat released late", late),
    )
    return make(
        case, NAME, rise, parts, _verdict(fit, late, rise, u_fit), fit.residual_K,
        rate=(fit.rate_per_s, fit.u_rate_per_s), t_inf_C=fit.t_inf_C if fit.found else None,
        before_C=drift_lines(case).fore.at(0.0) if case.fore.stop < 3 else fit.before_C,
        u_t_inf_K=fit.u_t_inf_K,
    )  # fmt: skip


def _verdict(fit: JointFit, late: float, rise: float, u_fit: float) -> tuple[bool, str]:
    if not fit.found:
        return False, "the cooling rate cannot be told from these periods"
    if late < 0.002 * abs(rise) + u_fit:
        return True, (
            f"one cooling law fits both periods, and heat that came late makes {1000 * late:.1f} mK"
        )
    return False, (
        f"the heat came over a time in which the cup lost {1000 * late:.1f} mK less than the law "
        "drawn to the mixing says"
    )
