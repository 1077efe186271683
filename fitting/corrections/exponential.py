"""Newton extrapolation: one exponential law through both periods, drawn back to the mixing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitting.corrections.case import Case, fit_line
from fitting.corrections.lines import drift_lines, prior_of
from fitting.corrections.result import Correction, make
from fitting.curve import FloatArray

NAME = "exponential"
_RATES = np.geomspace(2e-6, 5e-3, 60)


@dataclass(frozen=True, eq=False)
class NewtonFit:
    """T = T∞ + (T1 − T∞) e^(−k s / r) before, T∞ + (Tx − T∞) e^(−k s) after."""

    rate_per_s: float
    u_rate_per_s: float
    t_inf_C: float
    before_C: float
    after_C: float  # Tx, extrapolated to the mixing
    u_rise_K: float
    u_t_inf_K: float
    residual_K: FloatArray


def fit_newton(case: Case) -> NewtonFit:
    """Least squares over a grid of k, then a parabola; the other three parameters are linear.

    A rate known beforehand adds ((k − k0)/u)² in units of the readings' variance.
    The basis 1, expm1(−k s)/k stays well conditioned as k → 0.
    """
    s = np.concatenate([case.s[case.fore], case.s[case.after]])
    y = np.concatenate([case.y[case.fore], case.y[case.after]]) - case.before_C
    after = s > 0
    prior, u_prior = prior_of(case)
    single = case.noise.sigma_K**2 + case.noise.resolution_K**2 / 12
    held = single * case.noise.inflation

    def misfit_at(k: float) -> float:
        own = _solve(s, y, after, case.known.capacity_ratio, k)[0]
        return own if prior is None or u_prior <= 0 else own + held * ((k - prior) / u_prior) ** 2

    misfit = [misfit_at(k) for k in _RATES]
    best = int(np.clip(np.argmin(misfit), 1, _RATES.size - 2))
    fine = np.geomspace(_RATES[best - 1], _RATES[best + 1], 25)
    values = np.array([misfit_at(k) for k in fine])
    k = float(fine[np.argmin(values)])
    sse, coefficient, covariance, residual = _solve(s, y, after, case.known.capacity_ratio, k)
    variance = max(sse / max(s.size - 4, 1), case.noise.sigma_K**2) * case.noise.inflation
    h = 0.05 * k
    bend = (misfit_at(k + h) - 2 * misfit_at(k) + misfit_at(k - h)) / h**2
    u_k = float(np.sqrt(2 * variance / bend)) if bend > 0 else 10 * k
    dk = (_solve(s, y, after, case.known.capacity_ratio, k + h)[1] - coefficient) / h
    jump = np.array([-1.0, 1.0, 0.0])
    u = float(np.sqrt(variance * (jump @ covariance @ jump) + (float(jump @ dk) * u_k) ** 2))
    u_end = float(np.sqrt(variance * covariance[2, 2] + (float(dk[2]) * u_k) ** 2))
    t_inf = case.before_C + float(coefficient[2])
    return NewtonFit(
        k, u_k, t_inf, case.before_C + float(coefficient[0]), case.before_C + float(coefficient[1]),
        u, u_end, residual[after],
    )  # fmt: skip


def _solve(
    s: FloatArray, y: FloatArray, after: npt.NDArray[np.bool_], ratio: float, k: float
) -> tuple[float, FloatArray, FloatArray, FloatArray]:
    """Sum of squares, (T1, Tx, T∞) above the reference, their unit covariance, residuals."""
    e = np.exp(-k * s / np.where(after, 1.0, ratio))
    X = np.stack([np.where(after, 0.0, e), np.where(after, e, 0.0), 1 - e], axis=1)
    scale = np.maximum(np.abs(X).max(axis=0), 1e-12)
    u, w, vt = np.linalg.svd(X / scale, full_matrices=False)
    w = np.maximum(w, 1e-9 * w[0])
    coefficient = (vt.T / w) @ (u.T @ y) / scale
    covariance = (vt.T / w**2) @ vt / np.outer(scale, scale)
    residual = y - X @ coefficient
    return float(residual @ residual), coefficient, covariance, residual


def correct(case: Case) -> Correction:
    """Rise = Tx − T1: right when the release is quick, whatever the after period's curvature."""
    fit = fit_newton(case)
    rise = fit.after_C - fit.before_C
    lines = drift_lines(case)
    ahead = (case.s > 0) & (case.s <= lines.start_s)
    nodes = np.concatenate([[0.0], case.s[ahead]])
    gap = rise - np.concatenate([[0.0], case.y[ahead] - case.before_C])
    late = abs(fit.rate_per_s * float(np.sum(np.diff(nodes) * (gap[1:] + gap[:-1]) / 2)))
    slope = abs(fit.rate_per_s * (fit.after_C - fit.t_inf_C))
    fore = fit_line(case.s[case.fore], case.y[case.fore], case.noise)
    parts = (
        ("fit of both periods", fit.u_rise_K),
        ("steps of the reading", _steps(case, slope)),
        ("moment of mixing", slope * case.mixing.u_s),
        ("heat released late", late),
    )
    quick = late < 0.002 * abs(rise) + fit.u_rise_K
    inside = _RATES[1] < fit.rate_per_s < _RATES[-2]
    why = (
        "the release is quick and one cooling law fits both periods"
        if quick and inside
        else "the heat was released over a time in which the cup lost less than the law says"
        if not quick
        else "the cooling rate cannot be told from these periods"
    )
    return make(
        case, NAME, rise, parts, (bool(quick and inside), why), fit.residual_K,
        rate=(fit.rate_per_s, fit.u_rate_per_s), t_inf_C=fit.t_inf_C,
        before_C=fore.at(0.0) if case.fore.stop < 3 else fit.before_C, u_t_inf_K=fit.u_t_inf_K,
    )  # fmt: skip


def _steps(case: Case, slope: float) -> float:
    """What the display's steps leave in fore and after period, K."""
    from fitting.noise import step_variance

    q = case.noise.resolution_K
    if q <= 0:
        return 0.0
    stuck = step_variance(case.noise.sigma_K, q)
    crossings = slope * float(np.ptp(case.s[case.after])) / q
    return float(np.sqrt(stuck + stuck / (1 + crossings**2)))
