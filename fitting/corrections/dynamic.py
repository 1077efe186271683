"""Dynamic model: Newton loss, stirring, first-order release, slow wall, lagging sensor; by lmfit.

The whole curve is fitted, main period included (`fitting.dynamic_model`,
`fitting.corrections.dynamic_fit`). Nested models are fitted: one or two release rates, without a
slow wall and with one of each kind that cups have. A wall hardly shows on a curve but hides part of
the loss, so that it is not left out where the curve does not ask for it: the models are averaged,
each weighed by its evidence and by how often cups are so made. The moment of mixing is never a
parameter: a step's place has no useful derivative; its uncertainty is carried by shifting it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitting.corrections.binning import after_readings, single_readings
from fitting.corrections.case import Case
from fitting.corrections.choosing import FAST_LOSS_PER_S
from fitting.corrections.dynamic_fit import DynamicFit, fit, start_of
from fitting.corrections.dynamic_readings import (
    AT,
    Model,
    Problem,
    problem_of,
    readings,
    wall_known,
)
from fitting.corrections.newton_integral import FLASK_ODDS, GLASS_SEEN
from fitting.corrections.result import Correction, Part, make, replaced
from fitting.curve import FloatArray
from fitting.evidence import mixture_moments, mixture_quantiles, weights_of
from fitting.newton import SOLID_RATIO, Binned
from fitting.noise import Noise, noise_of
from fitting.sensor_lag import lag_of
from fitting.slow_wall import HEAVY, WallKind

NAME = "dynamic"
_HOPELESS = 12.0  # of log evidence behind the best: not tried with a wall
_QUIET_FROM_S, _ENOUGH, _LESS = 20.0, 15, 0.9
_COUNTS = 0.03  # weight from which a model's late release is followed through its times
_NODE, _FARTHEST, _TAIL_ENDS = 1.0, 6, 3.5
_SHARP = 0.1  # of ln τ: a time known so well is as good as Gaussian
_SECOND = (0.15, 0.8)  # weight of a second release: two liquids, a solid (common practice)
# mean square of the whitened residuals that is usual, steps finer or coarser than the noise; above
# it the uncertainty is widened, above twice that the model does not describe the readings
_USUAL = (1.4, 2.2)
_SHORTEST_S, _FEWEST = 20.0, 8
_QUICK = ("log_lag", "log_pour", "log_release")
_SHARES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("cooling rate", ("log_rate",)),
    ("stirring and room", ("stirring_K_per_s", "room_K")),
    ("vapour", ("vapour_share",)),
    ("drifting room", ("room_drift_K_per_s",)),
    ("fore drift", ("fore_drift_K_per_s",)),
    ("quick processes", _QUICK),
    ("heat still released", ("log_share", "log_second")),
    ("loss through a slow wall", ("log_wall_share", "log_wall_s", "wall_loss")),
)


@dataclass(frozen=True, eq=False)
class DynamicFits:
    """Nested models' fits to one case, their weights, which sum to 1, and the evidence of all."""

    problem: Problem
    fits: tuple[DynamicFit, ...]
    weight: FloatArray
    log_evidence: float

    @property
    def best(self) -> DynamicFit:
        """The model of the largest weight."""
        return self.fits[int(np.argmax(self.weight))]

    def moments(self, name: str) -> tuple[float, float]:
        """Mean and standard uncertainty of a parameter over the models."""
        found = np.array([one.of(name) for one in self.fits])
        return mixture_moments(self.weight, found[:, 0], found[:, 1])


def fit_dynamic(
    case: Case, walls: tuple[int, ...] | None = None, shift_s: float = 0.0,
    near: DynamicFits | None = None,
) -> DynamicFits:  # fmt: skip
    """Fit the nested models and weigh them.

    Args:
        case: the curve.
        walls: kinds of wall that are tried, indices of the vessel's; (0,) for none; None: all.
        shift_s: how much later than noted the mixing was, s.
        near: fit these models again, from where they ended.

    Raises:
        ValueError: no start led to a finite fit.
    """
    if shift_s:
        case = replace(case, s=case.s - shift_s)
    problem = problem_of(case)
    if near is not None:
        again = [fit(problem, one.model, one.values) for one in near.fits]
        return _weighed(case, problem, [one for one in again if one is not None])
    walls = tuple(range(len(problem.kinds))) if walls is None else walls
    start = start_of(case, problem)
    found = _plain(problem, dict.fromkeys((False, True), start))
    finer = _noise_about(case, problem, found)
    if finer is not None:
        problem = problem_of(case, finer)
        found = _plain(problem, {one.model.second: one.values for one in found})
    best = max((one.log_evidence for one in found), default=0.0)
    out = [one for one in found if 0 in walls]
    for one in found:
        if one.log_evidence > best - _HOPELESS:
            with_wall = [
                fit(problem, replace(one.model, wall=i), _with_wall(one, problem.kinds[i]))
                for i in walls
                if i
            ]
            out += [wall for wall in with_wall if wall is not None]
    rough = _weighed(case, problem, out)
    spread = [
        part
        for one, weight in zip(rough.fits, rough.weight, strict=True)
        for part in (_spread(problem, one) if one.model.second and weight > _COUNTS else [one])
    ]
    return _weighed(case, problem, spread)


def _plain(problem: Problem, starts: dict[bool, FloatArray]) -> list[DynamicFit]:
    """Fits without a wall, with one release and with two."""
    fits = [fit(problem, Model(second, 0), start) for second, start in starts.items()]
    return [one for one in fits if one is not None]


def _noise_about(case: Case, problem: Problem, found: list[DynamicFit]) -> Noise | None:
    """Noise about the best fit, where it is clearly less than straight lines make it.

    Lines do not follow the bend of a short after period, and their residuals pass for noise.
    """
    if not found or problem.noise.coarse:
        return None
    best = max(found, key=lambda one: one.log_evidence)
    quiet = np.flatnonzero(case.s > _QUIET_FROM_S)
    if quiet.size < _ENOUGH:
        return None
    off = _off(best, problem, single_readings(case, slice(None)))
    noise = noise_of([off[case.fore], off[quiet]], problem.noise.resolution_K)
    return noise if noise.u_mean(quiet.size) < _LESS * problem.noise.u_mean(quiet.size) else None


def _off(one: DynamicFit, problem: Problem, rows: Binned) -> FloatArray:
    """Readings minus a model, K."""
    there = replace(problem, s=rows.s, y=rows.y, vapour=rows.vapour, fore=1 - rows.after)
    shown, _ = readings(one.values[None], there, one.model)
    return np.asarray(rows.y - shown[0])


def _spread(problem: Problem, one: DynamicFit) -> list[DynamicFit]:
    """The same model with the second release's time held at values about the best one.

    Where the curve is short, time and share of a late release are far from Gaussian: the model is
    fitted at each of some times, and the fits are averaged as models are.
    """
    centre, u = one.of("log_second")
    if u < _SHARP:
        return [one]
    u = min(u, 0.5)
    model = replace(one.model, held="log_second")
    out: list[DynamicFit] = []
    for way in (1, -1):
        near, best = one.values, -np.inf
        for step in range(0 if way > 0 else 1, _FARTHEST):
            start = near.copy()
            start[AT["log_second"]] = centre + way * step * _NODE * u
            found = fit(problem, model, start)
            if found is None:
                break
            out.append(replace(found, log_evidence=found.log_evidence + float(np.log(_NODE * u))))
            near, best = found.values, max(best, found.log_evidence)
            if found.log_evidence < best - _TAIL_ENDS:
                break
    return out or [one]


def _with_wall(one: DynamicFit, kind: WallKind) -> FloatArray:
    values = one.values.copy()
    for name, (mean, _) in wall_known(kind).items():
        values[AT[name]] = mean
    return values


def _weighed(case: Case, problem: Problem, fits: list[DynamicFit]) -> DynamicFits:
    if not fits:
        raise ValueError("no start led to a finite fit")
    second = _SECOND[int(case.capacity_ratio > SOLID_RATIO)]
    prior = [
        np.log(problem.kinds[one.model.wall].weight * (second if one.model.second else 1 - second))
        for one in fits
    ]
    evidence = np.array([one.log_evidence for one in fits]) + np.array(prior)
    top = float(evidence.max())
    whole = top + float(np.log(np.exp(evidence - top).sum()))
    return DynamicFits(problem, tuple(fits), weights_of(evidence), whole)


def fit_vessel(case: Case) -> tuple[Case, DynamicFits]:
    """Fit the vessel that was told; else a cup, unless a heavy wall shows and a flask is likelier.

    Returns the case, its vessel filled in, and the fits.
    """
    known = replace(case, vessel=case.vessel or "cup")
    found = fit_dynamic(known)
    heavy = [weight for one, weight in zip(found.fits, found.weight, strict=True)
             if one.model.wall == HEAVY]  # fmt: skip
    if case.vessel is None and sum(heavy) > GLASS_SEEN:
        flask = replace(case, vessel="flask")
        other = fit_dynamic(flask)
        if other.log_evidence > found.log_evidence + FLASK_ODDS:
            return flask, other
    return known, found


def correct(case: Case) -> Correction:
    """Rise averaged over the nested dynamic models; see the module's docstring."""
    try:
        case, found = fit_vessel(case)
    except ValueError as failed:
        size = abs(case.swing_K)
        why = (False, f"{failed}: the curve does not look like a release in a cup that cools")
        return make(
            case, NAME, case.swing_K, (("what the model lacks", size),), why, 0 * case.y[:0]
        )
    rise, within = found.moments("rise_K")
    own = np.array([one.of("rise_K") for one in found.fits])
    low, high = mixture_quantiles(found.weight, own[:, 0], own[:, 1], (0.025, 0.975))
    lacking = within * float(np.sqrt(max(_misfit(case, found), 1.0) - 1))
    moved = 0.0
    if case.mixing.u_s > 0:
        later = fit_dynamic(case, shift_s=case.mixing.u_s, near=found)
        moved = abs(later.moments("rise_K")[0] - rise)
    parts = (*_parts(found), ("what the model lacks", lacking), ("moment of mixing", moved))
    rate, u_rate = _rate(found)
    t_inf_C, u_t_inf_K = _settles(case, found, rate, u_rate)
    result = make(
        case, NAME, rise, parts, _verdict(case, found), _residual(case, found),
        rate=(rate, u_rate), t_inf_C=t_inf_C, u_t_inf_K=u_t_inf_K,
        before_C=case.before_C + found.moments("before_K")[0], lag=lag_of(case),
    )  # fmt: skip
    wider = result.u_rise_K / within if within > 0 else 1.0
    interval = (rise - (rise - low) * wider, rise + (high - rise) * wider)
    return replaced(result, interval95_K=interval, vessel=case.vessel)


def _misfit(case: Case, found: DynamicFits) -> float:
    """Mean square of the best model's whitened residuals, over what is usual."""
    return found.best.chi2 / _USUAL[int(case.noise.coarse)]


def _parts(found: DynamicFits) -> tuple[Part, ...]:
    """What the rise's variance is made of: the best model's shares, and the models' spread.

    With precision A = XᵀX + L, L what was known beforehand, A⁻¹ = A⁻¹XᵀX A⁻¹ + A⁻¹L A⁻¹.
    """
    best = found.best
    free = best.model.free
    weight = best.covariance[free.index("rise_K")] ** 2 * best.known
    by = dict(zip(free, weight, strict=True))
    shares = {name: sum(float(by.get(one, 0.0)) for one in ones) for name, ones in _SHARES}
    own = best.of("rise_K")[1] ** 2
    shares["fit of the whole curve"] = max(own - sum(shares.values()), 0.0)
    rises = np.array([one.of("rise_K") for one in found.fits])
    within = float(found.weight @ rises[:, 1] ** 2)
    between = float(found.weight @ (rises[:, 0] - found.weight @ rises[:, 0]) ** 2)
    total = sum(shares.values()) or 1.0
    parts = [(name, float(np.sqrt(within * part / total))) for name, part in shares.items()]
    return (*parts, ("which model holds", float(np.sqrt(between))))


def _rate(found: DynamicFits) -> tuple[float, float]:
    """k and its standard uncertainty over the models, 1/s."""
    logs = np.array([one.of("log_rate") for one in found.fits])
    rates = np.exp(logs[:, 0])
    return mixture_moments(found.weight, rates, rates * logs[:, 1])


def _settles(
    case: Case, found: DynamicFits, rate: float, u_rate: float
) -> tuple[float | None, float | None]:
    """Temperature that the cup would drift to, °C, and its u; None where k is not seen."""
    if rate <= u_rate / 2:
        return None, None
    ends = np.array([_end_of(one) for one in found.fits])
    above, u = mixture_moments(found.weight, ends[:, 0], ends[:, 1])
    return case.before_C + above, u


def _end_of(one: DynamicFit) -> tuple[float, float]:
    """Room plus stirring/k of one model, K above the reference, and its standard uncertainty."""
    k, stirring = np.exp(one.of("log_rate")[0]), one.of("stirring_K_per_s")[0]
    slope = np.zeros(len(one.model.free))
    for name, by in (("room_K", 1.0), ("stirring_K_per_s", 1 / k), ("log_rate", -stirring / k)):
        slope[one.model.free.index(name)] = by
    return one.of("room_K")[0] + stirring / k, float(np.sqrt(slope @ one.covariance @ slope))


def _residual(case: Case, found: DynamicFits) -> FloatArray:
    """Readings of the after period minus the most likely model, K."""
    return _off(found.best, found.problem, after_readings(case))


def _verdict(case: Case, found: DynamicFits) -> tuple[bool, str]:
    length, rate = float(case.s[-1]), _rate(found)[0]
    if length < _SHORTEST_S or np.count_nonzero(case.s > 0) < _FEWEST:
        return False, f"only {length:.0f} s of readings follow the mixing"
    misfit = _misfit(case, found)
    if misfit > 2:
        return False, (
            f"readings lie {np.sqrt(misfit):.1f} times as far from the model as their noise and "
            "what the model lacks explain"
        )
    if case.prior_rate_per_s is None and rate > FAST_LOSS_PER_S:
        return False, f"the fit asks for a cooling rate of {60 * rate:.2g} 1/min, which no cup has"
    count = "two release rates" if found.best.model.second else "one release rate"
    return True, f"{count}, loss, slow wall and the sensor's lag describe the whole curve"
