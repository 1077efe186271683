"""Dynamic model: Newton loss, stirring, first-order heat release, a lagging sensor; by lmfit.

The whole curve is fitted, main period included (`fitting.responses.cup_response`). The moment of
mixing is never a parameter: a step's place has no useful derivative; its uncertainty is carried by
shifting it. One release rate is tried, then two; the second is kept where the corrected Akaike
criterion asks for it. lmfit's own standard error takes residuals for white: it is inflated by their
autocorrelation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.lines import prior_of
from fitting.corrections.result import Correction, make
from fitting.curve import FloatArray
from fitting.noise import lag1
from fitting.responses import cup_response
from fitting.sensor_lag import lag_of

NAME = "dynamic"
_STARTS = ((0.5, 5.0), (0.08, 8.0), (0.03, 6.0))


@dataclass(frozen=True, eq=False)
class DynamicFit:
    """Parameters of the best dynamic model; rates 1/s, lag s, temperatures °C or K."""

    rise_K: float
    u_rise_K: float
    rate_per_s: float
    u_rate_per_s: float
    t_inf_C: float
    before_C: float
    u_t_inf_K: float
    lag_s: float
    heats: tuple[tuple[float, float], ...]
    residual_K: FloatArray
    aicc: float
    at_bound: tuple[str, ...]
    params: Any


def dynamic_model(params: Any, s: FloatArray, ratio: float) -> FloatArray:
    """Reading [°C] at s seconds since mixing (negative before) for lmfit parameters."""
    p = params.valuesdict()
    out = np.empty_like(s)
    fore = s <= 0
    span = p["before_C"] - p["t_inf_C"]
    out[fore] = p["t_inf_C"] + span * np.exp(-p["rate_per_s"] / ratio * s[fore])
    out[~fore] = cup_response(
        s[~fore], p["before_C"], p["t_inf_C"], p["rate_per_s"], p["lag_s"], _heats(p)
    )
    return out


def _heats(p: dict[str, float]) -> tuple[tuple[float, float], ...]:
    share = p["slow_share"]
    if share == 0.0:
        return ((p["rise_K"], p["release_per_s"]),)
    slow = p["release_per_s"] * p["slow_ratio"]
    return (
        (p["rise_K"] * (1 - share), p["release_per_s"]),
        (p["rise_K"] * share, slow),
    )


def _parameters(case: Case, start: tuple[float, float], two: bool, k0: float) -> Any:
    import lmfit

    release, lag = start
    room = case.before_C if case.room_C is None else case.room_C
    p = lmfit.Parameters()
    p.add("rise_K", case.swing_K * 1.01)
    p.add("before_C", case.before_C)
    p.add("t_inf_C", room + 0.3, min=case.before_C - 60, max=case.before_C + 60)
    p.add("rate_per_s", k0, min=0.0, max=2e-2)
    p.add("lag_s", lag, min=0.05, max=120.0)
    p.add("release_per_s", release, min=1e-3, max=5.0)
    p.add("slow_share", 0.2 if two else 0.0, min=0.0, max=0.9, vary=two)
    p.add("slow_ratio", 0.3, min=0.01, max=0.8, vary=two)
    return p


def _one_fit(case: Case, params: Any, shift_s: float) -> Any:
    import lmfit

    s = case.s - shift_s
    sigma = float(np.hypot(case.noise.sigma_K, case.noise.resolution_K / np.sqrt(12))) or 1e-4
    x, y = s[:: _every(case)], case.y[:: _every(case)]

    prior, u_prior = prior_of(case)

    def misfit(p: Any) -> FloatArray:
        rest = (y - dynamic_model(p, x, case.capacity_ratio)) / sigma
        if prior is None or u_prior <= 0:
            return np.asarray(rest)
        return np.append(rest, (p["rate_per_s"].value - prior) / u_prior)

    return lmfit.minimize(misfit, params, method="leastsq", max_nfev=400)


def _every(case: Case) -> int:
    """Every how many-th reading is fitted."""
    return max(1, case.s.size // 600)


def fit_dynamic(case: Case, shift_s: float = 0.0, near: DynamicFit | None = None) -> DynamicFit:
    """Best of several starts, with one or two release rates; ``near``: start from there only.

    Raises:
        ValueError: no start led to a finite fit.
    """
    if near is not None:
        return _summary(case, _one_fit(case, near.params, shift_s), shift_s)
    rate = prior_of(case)[0] or 1e-4
    one = _best(case, [_parameters(case, start, False, rate) for start in _STARTS], shift_s)
    starts = [_parameters(case, start, True, rate) for start in _STARTS[:1]]
    if one is not None:
        found = one.params.valuesdict()
        quick = (min(2.0 * found["release_per_s"], 4.0), found["lag_s"])
        starts.append(_parameters(case, quick, True, found["rate_per_s"]))
    two = _best(case, starts, shift_s)
    ranked = sorted((fit for fit in (one, two) if fit is not None), key=_aicc)
    if not ranked:
        raise ValueError("no start led to a finite fit")
    return _summary(case, ranked[0], shift_s)


def _best(case: Case, starts: list[Any], shift_s: float) -> Any:
    """The fit with the least sum of squares; None where no start led to a finite one."""
    fits = [_one_fit(case, params, shift_s) for params in starts]
    good = [fit for fit in fits if np.all(np.isfinite(fit.residual))]
    return min(good, key=lambda fit: float(fit.chisqr)) if good else None


def _aicc(result: Any) -> float:
    """Corrected Akaike criterion on as many independent readings as the residuals are worth."""
    rho = float(np.clip(lag1(np.asarray(result.residual)), 0.0, 0.97))
    n = max(result.ndata * (1 - rho) / (1 + rho), result.nvarys + 3.0)
    k = result.nvarys + 1
    return float(
        n * np.log(result.chisqr / result.ndata) + 2 * k + 2 * k * (k + 1) / max(n - k - 1, 1)
    )


def _summary(case: Case, result: Any, shift_s: float) -> DynamicFit:
    p = result.params
    residual = np.asarray(result.residual)
    rho = float(np.clip(lag1(residual), 0.0, 0.97))
    inflation = np.sqrt((1 + rho) / (1 - rho))
    every = case.y - dynamic_model(p, case.s - shift_s, case.capacity_ratio)

    def error(name: str, fallback: float) -> float:
        found = p[name].stderr
        good = found is not None and np.isfinite(found)
        return float(found) * float(inflation) if good else fallback

    rise, k = float(p["rise_K"].value), float(p["rate_per_s"].value)
    return DynamicFit(
        rise, min(error("rise_K", abs(rise)), abs(rise)), k, error("rate_per_s", k),
        float(p["t_inf_C"].value), float(p["before_C"].value), error("t_inf_C", 1.0),
        float(p["lag_s"].value), _heats(p.valuesdict()), every, _aicc(result), _at_bound(p), p,
    )  # fmt: skip


def _at_bound(params: Any) -> tuple[str, ...]:
    """Names of parameters that ended on a bound: their standard errors mean nothing."""
    out = []
    for p in params.values():
        if p.vary and np.isfinite(p.min) and np.isfinite(p.max):
            width = p.max - p.min
            low = p.min != 0.0 and p.value - p.min < 1e-4 * width
            if low or p.max - p.value < 1e-4 * width:
                out.append(p.name)
    return tuple(out)


def correct(case: Case) -> Correction:
    """Rise of the dynamic model; see the module's docstring."""
    fit = fit_dynamic(case)
    moved = 0.0
    if case.mixing.u_s > 0:
        moved = abs(fit_dynamic(case, case.mixing.u_s, fit).rise_K - fit.rise_K)
    q = case.noise.resolution_K
    from fitting.noise import step_variance

    stuck = float(np.sqrt(1.3 * step_variance(case.noise.sigma_K, q)))
    rms = float(np.sqrt(np.mean(fit.residual_K**2)))
    noise = float(np.hypot(case.noise.sigma_K, q / np.sqrt(12))) or 1e-4
    misfit = float(np.sqrt(max(rms**2 - noise**2, 0.0)))
    parts = (
        ("fit of the whole curve", fit.u_rise_K),
        ("steps of the reading", stuck),
        ("moment of mixing", moved),
        ("what the model lacks", misfit),
    )
    if fit.at_bound:
        verdict = (False, f"the fit ends on the bound of {', '.join(fit.at_bound)}")
    elif rms > 3 * noise:
        verdict = (False, f"residuals of {rms:.2g} K are larger than the readings' noise")
    else:
        verdict = (True, f"{len(fit.heats)} release rate(s) describe the whole curve")
    return make(
        case, NAME, fit.rise_K, parts, verdict, fit.residual_K[case.after],
        rate=(fit.rate_per_s, fit.u_rate_per_s), t_inf_C=fit.t_inf_C, before_C=fit.before_C,
        lag=lag_of(case), u_t_inf_K=fit.u_t_inf_K,
    )  # fmt: skip
