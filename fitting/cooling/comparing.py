"""Which law a stretch of cooling asks for: fits, corrected AIC, and a forecast of its end.

`laws_of` asks it of the after period of a corrected curve.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitting.cooling.fitted import (
    T_INF,
    Found,
    Scatter,
    first_guess,
    fit_law,
    rate_in_middle,
)
from fitting.cooling.laws import LAWS, NEWTON, Law
from fitting.cooling.result import LawComparison, LawFit, Meant, meant_by
from fitting.cooling.stretch import ForeDrift, Stretch, stretch_of
from fitting.corrections.case import Case, fit_line, settled_from
from fitting.curve import FloatArray
from fitting.errors import CurveError
from fitting.noise import lag1
from fitting.periods import quick_noise

MARGIN = 4.0
"""By how much the AICc of a further law must be less than Newton's: below 4 a model still has
"some support", from 4 to 7 "considerably less" (K. P. Burnham, D. R. Anderson, Model Selection and
Multimodel Inference (2002), sec. 2.6)."""
HELD_BACK = 0.3
_NO_SUPPORT = 10.0  # of AICc: "essentially no support" (Burnham & Anderson, sec. 2.6)
_MUCH_WORSE = 1.5
_MAX_RHO = 0.9


@dataclass(frozen=True, eq=False)
class FittedLaws:
    """The comparison, with the scatter and the fits that it rests on."""

    comparison: LawComparison
    found: tuple[Found, ...]
    scatter: Scatter


def compare_laws(stretch: Stretch, names: tuple[str, ...] = tuple(LAWS)) -> LawComparison:
    """Fit every law, compare them, and choose one.

    Newton's law is kept unless another one's AICc is less by more than `MARGIN` and it also
    forecasts the held-back last part better than Newton's does, from the part before it.
    """
    return fit_laws(stretch, names).comparison


def fit_laws(stretch: Stretch, names: tuple[str, ...] = tuple(LAWS)) -> FittedLaws:
    """As `compare_laws`, with what it rests on."""
    found, scatter = _fit_all([LAWS[name] for name in names], stretch)
    early = {one.law.name: _from_first_part(one, stretch, scatter) for one in found}
    forecast = {one.law.name: _forecast_rms(early[one.law.name], stretch) for one in found}
    aicc = {one.law.name: one.aicc() for one in found}
    edges = {one.law.name: _at_edge(one, stretch) for one in found}
    chosen, why = _choose(aicc, forecast, edges)
    fits = [_summary(one, stretch, aicc, forecast, early[one.law.name]) for one in found]
    judged = tuple(_judged(fit, edges[fit.name], chosen, forecast[NEWTON]) for fit in fits)
    end = stretch.from_s + float(stretch.t[-1])
    compared = LawComparison(judged, chosen, why, stretch.from_s, end)
    return FittedLaws(compared, tuple(found), scatter)


def _fit_all(laws: list[Law], stretch: Stretch) -> tuple[list[Found], Scatter]:
    """Fit all laws with one common scatter, found from whichever law leaves least.

    The correlation is that of the law with the least of it, so that what a law misses does not
    pass for the readings' memory.
    """
    guess = first_guess(stretch)
    scatter = Scatter(max(_rough_scatter(stretch.y), stretch.step_K), 0.0)
    found = [fit_law(law, stretch, scatter, guess) for law in laws]
    for _ in range(2):
        scatter = _scatter_of(found, stretch)
        found = [_again(one, stretch, scatter) for one in found]
    return found, scatter


def _again(one: Found, stretch: Stretch, scatter: Scatter) -> Found:
    """The same law, searched from where it was found."""
    return fit_law(one.law, stretch, scatter, one.p[:3], (tuple(one.p[3:].tolist()),))


def _rough_scatter(y: FloatArray) -> float:
    """Scatter of the bins from second differences: √6 times that of one bin."""
    return float(np.sqrt(np.mean(np.diff(y, 2) ** 2) / 6))


def _scatter_of(found: list[Found], stretch: Stretch) -> Scatter:
    from fitting.cooling.fitted import whiten

    n = stretch.t.size
    rho = min(_unbiased(lag1(one.residual_K), n, one.law.size) for one in found)
    rho = float(np.clip(rho, 0.0, _MAX_RHO))
    powers = [
        float(np.sum(whiten(one.residual_K, rho) ** 2)) / max(n - one.law.size, 1) for one in found
    ]
    return Scatter(max(float(np.sqrt(min(powers))), stretch.step_K), rho)


def _unbiased(rho: float, n: int, m: int) -> float:
    """Lag-1 correlation with what fitting m parameters takes away put back, about (m + 2ρ)/n.

    Source: M. G. Kendall, Biometrika 41 (1954) 403, for m = 1; extended by the same count.
    """
    return (rho + m / n) / max(1 - 2 / n, 0.5)


def _from_first_part(one: Found, stretch: Stretch, scatter: Scatter) -> Found | None:
    """The law fitted without the held-back end; None where too little would be left."""
    first = stretch.first(1 - HELD_BACK)
    if stretch.t.size - first.t.size < 3:
        return None
    return _again(one, first, scatter)


def _forecast_rms(early: Found | None, stretch: Stretch) -> float:
    """Rms of the held-back end about what the law says from the part before it, K."""
    if early is None:
        return float("nan")
    first = stretch.first(1 - HELD_BACK)
    ahead = early.law.model(early.p, stretch.t, first.span)
    return float(np.sqrt(np.mean((stretch.y - ahead)[first.t.size :] ** 2)))


def _choose(
    aicc: dict[str, float], forecast: dict[str, float], edges: dict[str, str]
) -> tuple[str, str]:
    """Name of the law and the reason."""
    others = sorted((name for name in aicc if name != NEWTON), key=lambda name: aicc[name])
    gain = {name: aicc[NEWTON] - aicc[name] for name in others}
    asked = [name for name in others if gain[name] > MARGIN]
    if not asked:
        best = others[0]
        return NEWTON, (
            f"the readings do not ask for more: the AICc of the next law ({best}) is "
            f"{abs(gain[best]):.1f} {'less' if gain[best] > 0 else 'more'}, and {MARGIN:g} less "
            "would be needed"
        )
    for name in asked:
        if edges[name] or forecast[name] >= forecast[NEWTON]:
            continue
        tail = ""
        if np.isfinite(forecast[name]):
            tail = (
                f", and it forecasts the last {100 * HELD_BACK:.0f} % to "
                f"{1000 * forecast[name]:.1f} mK rms, Newton's law to "
                f"{1000 * forecast[NEWTON]:.1f} mK"
            )
        passed = [
            f"{one} fits better, {_against(one, edges)}" for one in asked[: asked.index(name)]
        ]
        beside = f" ({'; '.join(passed)})" if passed else ""
        return name, f"its AICc is {gain[name]:.1f} less than that of Newton's law{tail}{beside}"
    best = asked[0]
    return NEWTON, (
        f"{best} fits better (AICc less by {gain[best]:.1f}), {_against(best, edges)} "
        f"({1000 * forecast[best]:.1f} mK rms, Newton's law {1000 * forecast[NEWTON]:.1f} mK)"
    )


def _against(name: str, edges: dict[str, str]) -> str:
    """Why a law that fits better is passed over."""
    if edges[name]:
        return f"but only with {edges[name]} at the end of its range"
    return f"but forecasts the last {100 * HELD_BACK:.0f} % worse"


def _summary(
    one: Found, stretch: Stretch, aicc: dict[str, float], forecast: dict[str, float],
    early: Found | None,
) -> LawFit:  # fmt: skip
    law = one.law
    u = np.sqrt(np.maximum(np.diag(one.covariance), 0.0))
    rate, u_rate = rate_in_middle(one, stretch)
    fit = LawFit(
        law.name, law.title, law.equation, (), one.aicc(), one.aicc() - min(aicc.values()),
        forecast[law.name], rate, u_rate, float(one.p[T_INF]), float(u[T_INF]),
        float(np.sqrt(np.mean(one.residual_K**2))), lag1(one.residual_K),
        forecast_from=() if early is None else tuple(early.p.tolist()),
    )  # fmt: skip
    listed = tuple(
        (name, float(value), float(error), unit)
        for (name, unit), value, error in zip(law.parameters, one.p, u, strict=True)
    )
    return replace(fit, parameters=listed)


def _judged(fit: LawFit, edge: str, chosen: str, newtons_forecast: float) -> LawFit:
    """The fit with whether it may be used, and why."""
    ok, why = False, ""
    if fit.name == chosen:
        ok, why = True, "named"
    elif fit.delta_aicc > _NO_SUPPORT:
        why = (
            f"its AICc is {fit.delta_aicc:.1f} above the least: beyond {_NO_SUPPORT:g} there is "
            "practically no support"
        )
    elif edge:
        why = f"the best {edge} lies at the end of its range"
    elif fit.forecast_rms_K > _MUCH_WORSE * newtons_forecast:
        why = (
            f"it forecasts the held-back end to {1000 * fit.forecast_rms_K:.1f} mK, Newton's "
            f"law to {1000 * newtons_forecast:.1f} mK"
        )
    else:
        ok, why = True, "the readings do not rule it out"
    return replace(fit, admissible=ok, why=why)


def _at_edge(one: Found, stretch: Stretch) -> str:
    """Name of a further parameter that ran to the end of its range; empty for none.

    The end that is Newton's law (n = 1) counts as well: the law then adds nothing.
    """
    bounds = one.law.bounds(stretch.span)
    for (name, _), value, (low, high) in zip(
        one.law.parameters[3:], one.p[3:], bounds, strict=True
    ):
        if not low + 0.002 * (high - low) < value < high - 0.002 * (high - low):
            return name
    return ""


_SOONEST_S = 45.0  # the sensor's lag and pouring are over
_UNSETTLED_SHARE = 0.4  # of the time after mixing, where nothing says when the release was over
_FEW_FORE = 6
_FADING = "slow-wall"
_TITLES = {
    Meant.WALL: "Newton's law with a slow inner wall",
    Meant.LATE_HEAT: "Newton's law with heat still being released",
}


def laws_of(case: Case) -> LawComparison | None:
    """Laws on the after period; None where it is too short to tell any apart.

    The drift before the mixing and the room's temperature, where noted, are used as well. A slow
    release and a slow wall both fade as e^(−t/τ); the sign of the term against the rise's tells
    which it is (`Meant`).
    """
    start_s = _start(case)
    fore = None
    if case.fore.stop >= _FEW_FORE:
        line = fit_line(case.s[case.fore], case.y[case.fore], case.noise)
        middle = line.centre_s
        fore = ForeDrift(
            line.slope_K_per_s, line.u_slope_K_per_s, line.at(middle),
            start_s - case.mixing.time_s - middle, case.known.capacity_ratio,
        )  # fmt: skip
    try:
        stretch = stretch_of(
            case.curve, start_s, float(case.curve.time_s[-1]),
            room_C=case.known.room_C, u_room_K=case.known.u_room_K, fore=fore,
        )  # fmt: skip
    except CurveError:
        return None
    return named_by_sign(compare_laws(stretch), case.swing_K)


def _start(case: Case) -> float:
    """Where the stretch starts on the curve's clock, s; the same for every moment of mixing noted.

    Times count from the reading at which half the change is passed, which the curve itself tells.
    """
    time = case.curve.time_s
    half = _half_passed_s(case)
    s = time - half
    first = int(np.searchsorted(case.s, 0.0, side="right"))
    settled, why = settled_from(s, case.y, case.integral_Ks, first, quick_noise(case.curve))
    if "not yet settled" in why:
        settled = _UNSETTLED_SHARE * float(s[-1])
    return half + max(_SOONEST_S, settled)


def _half_passed_s(case: Case) -> float:
    """When the readings first pass half of the largest change, s on the curve's clock."""
    ahead = case.s > 0
    passed = (case.y - case.before_C)[ahead] / case.swing_K >= 0.5
    return float(case.curve.time_s[ahead][int(np.argmax(passed))])


def named_by_sign(found: LawComparison, rise_K: float) -> LawComparison:
    """The comparison with the fading term named for what it stands for after this rise."""
    return replace(found, laws=tuple(_named(one, rise_K) for one in found.laws))


def _named(one: LawFit, rise_K: float) -> LawFit:
    if one.name != _FADING:
        return one
    b = next(value for name, value, _, _ in one.parameters if name == "b")
    meant = meant_by(b, rise_K)
    return replace(one, meant=meant, title=_TITLES.get(meant, one.title))
