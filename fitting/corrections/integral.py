"""The textbook integral: Newton's loss over the main period put back, reproducible by hand."""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.joint_exponential import JointFit, decay, fit_joint, law_near, steps_part
from fitting.corrections.lines import main_end_s
from fitting.corrections.result import Correction, Worked, make, replaced
from fitting.curve import FloatArray

NAME = "integral"


def correct(case: Case) -> Correction:
    """ΔT = (Tf − Ti) + k ∫ (T − T∞) dt over the main period.

    Symbols: Ti and Tf [°C], the fore curve at the moment of mixing t_m and the after curve at the
    main period's end t_f [s]; k [1/s] and T∞ [°C] of one exponential through both periods
    (`joint_exponential`); the integral [K s] by trapezoids over the readings between, with Ti at
    t_m and Tf at t_f. `Correction.worked` holds all of them: whoever puts them in gets the rise.

    Source: A. King, H. Grover, Temperature correction methods in calorimetry, J. Appl. Phys. 12
    (1941) 557 (abstract found in a public index, page from memory): the general scheme of which
    the other methods are special cases.
    """
    end_s = main_end_s(case)
    fit = fit_joint(case)
    worked = work_out(case, fit, end_s)
    parts = (
        ("fit of both periods", fit.u_of(_slope(case, fit, end_s, worked.area_Ks))),
        ("readings of the main period", _area_noise(case, fit.rate_per_s, end_s)),
        ("steps of the reading", steps_part(case, fit.rate_per_s * abs(fit.after_C - fit.t_inf_C))),
        ("moment of mixing", _moment(case, fit, worked.rise_K)),
    )
    one = make(
        case, NAME, worked.rise_K, parts, _verdict(case, fit), fit.residual_K,
        rate=(fit.rate_per_s, fit.u_rate_per_s), t_inf_C=fit.t_inf_C if fit.found else None,
        before_C=fit.before_C, u_t_inf_K=fit.u_t_inf_K,
    )  # fmt: skip
    return replaced(one, worked=worked if fit.found else None)


def work_out(case: Case, fit: JointFit, end_s: float) -> Worked:
    """The integral and what it is made of, as it would be done on paper."""
    s, T = main_period(case, fit.before_C, end_s, fit.after_at(end_s))
    area = trapezoids(s, T - fit.t_inf_C)
    return Worked(
        case.mixing.time_s, case.mixing.time_s + end_s, fit.before_C, fit.after_at(end_s),
        fit.rate_per_s, fit.t_inf_C, area,
    )  # fmt: skip


def rise_of(case: Case, end_s: float, rate_per_s: float) -> tuple[float, float] | None:
    """The integral's rise [K] and its k [1/s], sought from a k near by; None: none is found."""
    law = law_near(case, rate_per_s)
    if law is None:
        return None
    k, before, after, pull = law
    fall, gone = (float(part) for part in decay(k, end_s))
    ends = case.before_C + after * fall + pull * gone
    start, t_inf = case.before_C + before, case.before_C + pull / k
    s, T = main_period(case, start, end_s, ends)
    return ends - start + k * trapezoids(s, T - t_inf), k


def main_period(
    case: Case, before_C: float, end_s: float, end_C: float
) -> tuple[FloatArray, FloatArray]:
    """Times since mixing [s] and temperatures [°C] of the main period, both its ends included."""
    inside = (case.s > 0) & (case.s < end_s)
    s = np.concatenate([[0.0], case.s[inside], [end_s]])
    return s, np.concatenate([[before_C], case.y[inside], [end_C]])


def trapezoids(s: FloatArray, values: FloatArray) -> float:
    """Area under straight lines between the points."""
    return float(np.sum(np.diff(s) * (values[1:] + values[:-1]) / 2))


def _slope(case: Case, fit: JointFit, end_s: float, area_Ks: float) -> FloatArray:
    """Derivatives of the rise for (T1, Tx, g, k), shape (4,); see `JointFit.covariance`."""
    k, g, height = fit.rate_per_s, fit.pull_K_per_s, fit.after_C - fit.reference_C
    fall, gone = (float(part) for part in decay(k, end_s))
    above = area_Ks + (fit.t_inf_C - fit.reference_C) * end_s  # ∫ (T − reference) ds
    by_rate = -end_s * fall * height + g * (end_s * fall - gone) / k + above
    return np.array([-1.0, fall, gone - end_s, by_rate])


def _area_noise(case: Case, rate_per_s: float, end_s: float) -> float:
    """What the scatter of the main period's readings leaves in k ∫ T ds, K."""
    noise = case.noise
    return float(
        rate_per_s * noise.sigma_K * np.sqrt(noise.inflation * case.curve.step_s * max(end_s, 0.0))
    )


def _moment(case: Case, fit: JointFit, rise_K: float) -> float:
    """The moment's own u and the sampling step in which it lies: the area shifts by ΔT · δt. K."""
    u_s = float(np.hypot(case.mixing.u_s, case.curve.step_s / np.sqrt(12)))
    return abs(fit.rate_per_s * rise_K) * u_s


def _verdict(case: Case, fit: JointFit) -> tuple[bool, str]:
    if not fit.found:
        return False, "the cooling rate cannot be told from these periods"
    if "not yet settled" in case.periods.why:
        return False, "the release is not seen to end, so that no after period tells k and T∞"
    return True, "the release is seen to end; one cooling law through both periods tells k and T∞"
