"""All runs of one cup made into its constant and its heat-loss conductance."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from calib.calibration.combine import Between, Combined, combine
from calib.calibration.consistency import Agreement, compare_ways
from calib.calibration.fill import FillModel, choose_fill_model
from calib.calibration.one_run import CalibrationRun, conductance_of_run
from calib.calibration.report import (
    OUTLYING,
    CupConstant,
    RunFinding,
    WallPart,
    lag_of_run,
    method_text,
)
from calib.calibration.verdicts import quality_of, warnings_of
from calib.calibration.ways import KNOWN_WAYS, Way
from calib.run_model.shared_wall import wall_key
from calib.uncertainty import Propagated

__all__ = ["budget_of", "combine_cup", "wall_part_of"]


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Runs that are combined together."""

    ways: tuple[str, ...]
    runs: tuple[CalibrationRun, ...]
    model: FillModel | None


def combine_cup(
    apparatus: str,
    runs: Sequence[CalibrationRun],
    *,
    between: Between = "mandel-paule",
    known: tuple[float, float] | None = None,
) -> tuple[CupConstant, ...]:
    """The cup's constant from all its runs.

    Runs of several ways are combined only where every pair of ways agrees
    (:mod:`calib.calibration.consistency`); otherwise each way gives a constant of its own, with
    the disagreement stated. Cooling logs add to the conductance only; where there is nothing else,
    ``known`` is the cup's constant from before, with its u [J/K].
    """
    cooling = tuple(run for run in runs if run.way == "cooling")
    by_way = {
        way: tuple(run for run in runs if run.way == way and run.constant is not None)
        for way in KNOWN_WAYS
    }
    present = tuple(way for way, own in by_way.items() if own)
    if not present:
        return (_only_cooling(apparatus, cooling, known),) if cooling else ()
    models = {way: choose_fill_model(by_way[way], between=between) for way in present}
    agreements = _agreements(present, by_way, {w: m.combined for w, m in models.items()})
    if all(one.consistent for one in agreements):
        together = tuple(run for way in present for run in by_way[way])
        model = (
            models[present[0]]
            if len(present) == 1
            else choose_fill_model(together, between=between)
        )
        groups = [_Group(present, together, model)]
    else:
        groups = [_Group((way,), by_way[way], models[way]) for way in present]
    return tuple(_constant(apparatus, group, cooling, agreements) for group in groups)


def _agreements(
    present: Sequence[Way],
    by_way: Mapping[Way, tuple[CalibrationRun, ...]],
    combined: Mapping[Way, Combined],
) -> tuple[Agreement, ...]:
    return tuple(
        compare_ways(
            method_text((a,)), combined[a], _results(by_way[a]),
            method_text((b,)), combined[b], _results(by_way[b]),
        )
        for i, a in enumerate(present)
        for b in present[i + 1 :]
    )  # fmt: skip


def _results(runs: Sequence[CalibrationRun]) -> list[Propagated]:
    return [run.constant for run in runs if run.constant is not None]


def _constant(
    apparatus: str,
    group: _Group,
    cooling: tuple[CalibrationRun, ...],
    agreements: tuple[Agreement, ...],
) -> CupConstant:
    model = group.model
    assert model is not None
    c = model.combined
    loss = _conductance((*group.runs, *cooling), c.value, c.u)
    findings = tuple(
        RunFinding(run, w, h, d, math.isfinite(d) and abs(d) > OUTLYING)
        for run, w, h, d in zip(group.runs, c.weights, c.leverage, c.deleted, strict=True)
    )
    budget = budget_of(_results(group.runs), c)
    failed = quality_of(c, agreements)
    warnings = (*warnings_of(c, findings, budget, agreements, loss), *_said_of(cooling))
    extra = tuple(RunFinding(run, 0.0, 0.0, math.nan, False) for run in cooling)
    return CupConstant(
        apparatus=apparatus,
        method=method_text(group.ways),
        combined=c,
        heat_loss_W_per_K=loss.value if loss is not None else None,
        u_heat_loss_W_per_K=loss.u if loss is not None else None,
        runs=(*findings, *extra),
        fill_mL=_range(run.prepared.fill_mL for run in group.runs),
        temperature_C=_range(
            t for run in group.runs for t in (run.rise.before_C, run.rise.final_C)
        ),
        reference_fill_mL=model.reference_mL,
        slope_J_per_K_per_mL=model.slope,
        u_slope_J_per_K_per_mL=model.u_slope,
        budget=budget,
        warnings=warnings,
        failed_quality=failed,
        agreements=agreements,
        sensor_lag_s=_lag(group.runs),
        wall=wall_part_of(group.runs, c),
        model_choice=model.why,
    )


def _only_cooling(
    apparatus: str, cooling: tuple[CalibrationRun, ...], known: tuple[float, float] | None
) -> CupConstant:
    loss = _conductance(cooling, *(known or (0.0, 0.0)))
    if known is None:
        word = (
            "cooling logs tell the heat loss only; the conductance leaves the cup's own heat "
            "capacity out, which a mixing or heater run would give"
        )
    else:
        word = (
            "cooling logs tell the heat loss only; the cup's constant in force, "
            f"{known[0]:.2f} ± {known[1]:.2g} J/K, was used for it"
        )
    return CupConstant(
        apparatus=apparatus, method=method_text(("cooling",)), combined=None,
        heat_loss_W_per_K=loss.value if loss is not None else None,
        u_heat_loss_W_per_K=loss.u if loss is not None else None,
        runs=tuple(RunFinding(run, 0.0, 0.0, math.nan, False) for run in cooling),
        fill_mL=_range(run.prepared.fill_mL for run in cooling),
        temperature_C=_range(t for r in cooling for t in (r.rise.before_C, r.rise.final_C)),
        reference_fill_mL=cooling[0].prepared.fill_mL,
        slope_J_per_K_per_mL=0.0, u_slope_J_per_K_per_mL=0.0, budget=(),
        warnings=(word, *_said_of(cooling)),
        failed_quality="no constant: cooling logs only",
    )  # fmt: skip


def _said_of(cooling: Iterable[CalibrationRun]) -> tuple[str, ...]:
    """What the cooling logs themselves warn of: their loss is stored with the constant."""
    return tuple(
        f"cooling log {one.run.run}: {said}" for one in cooling for said in one.rise.warnings
    )


def _range(values: Iterable[float]) -> tuple[float, float]:
    found = list(values)
    return min(found), max(found)


def _conductance(runs: Sequence[CalibrationRun], C_app: float, u_C_app: float) -> Combined | None:
    """The cup's G [W/K]; that of a single cooling log stays what the log says.

    Its fit already holds whatever else a cup may do, and ``cooldown`` says the same of the same
    log; a mixing curve alone is given the usual spread between runs.
    """
    found = [conductance_of_run(run, C_app, u_C_app) for run in runs]
    results = [one for one in found if one is not None and one.u > 0.0]
    if not results:
        return None
    log_alone = len(results) == 1 and all(run.way == "cooling" for run in runs)
    return combine(results, prior_sd=0.0 if log_alone else None)


def _lag(runs: Sequence[CalibrationRun]) -> float | None:
    """Mean of the sensor's time constants [s], where the corrections saw one; None elsewhere.

    Weights are 1/(u² + (10 %)²), so that no single curve decides.
    """
    found = [lag for run in runs if (lag := lag_of_run(run)) is not None]
    if not found:
        return None
    weights = [1.0 / (u**2 + (0.1 * value) ** 2 + 1e-6) for value, u in found]
    return sum(w * value for w, (value, _) in zip(weights, found, strict=True)) / sum(weights)


def wall_part_of(runs: Sequence[CalibrationRun], c: Combined) -> WallPart | None:
    """What of the combined constant the cup's wall moves, with the weights w of the runs.

        part = −Σ w_i c_i,    ε̂ = Σ w_i h_i/r_i,    u_ε = Σ w_i u_wall,i/|r_i|

    c_i is the run's budget line: what the true constant would be moved by, seen from the one found
    (hence the sign). ε is common to all runs of a cup, so that parts and u add up linearly. None
    where no run was logged.
    """
    part = share = u_share = 0.0
    for run, weight in zip(runs, c.weights, strict=True):
        rise, key = run.rise, wall_key(run.apparatus)
        if run.constant is None or not rise.u_wall_K > 0.0:
            continue
        part -= weight * sum(line.contribution for line in run.constant.lines if line.key == key)
        share += weight * abs((rise.hidden_K or 0.0) / rise.rise_K)
        u_share += weight * abs(rise.u_wall_K / rise.rise_K)
    if part == 0.0 or u_share <= 0.0:
        return None
    return WallPart(math.copysign(min(abs(part), c.u), part), share, u_share)


def budget_of(results: Sequence[Propagated], c: Combined) -> tuple[tuple[str, float, float], ...]:
    """Lines of the combined constant: shared inputs summed over the runs before squaring."""
    own: dict[str, float] = {}
    shared: dict[str, float] = {}
    names: dict[str, str] = {}
    for one, weight in zip(results, c.weights, strict=True):
        for line in one.lines:
            part = weight * line.contribution
            if line.key is None:
                own[line.source] = own.get(line.source, 0.0) + part**2
            else:
                shared[line.key] = shared.get(line.key, 0.0) + part
                names.setdefault(line.key, line.source)
    for key, part in shared.items():
        own[names[key]] = own.get(names[key], 0.0) + part**2
    known = sum(own.values())
    own["spread between runs, beyond their budgets"] = max(c.u**2 - known, 0.0)
    total = sum(own.values()) or 1.0
    lines = [(source, math.sqrt(v), 100.0 * v / total) for source, v in own.items()]
    return tuple(sorted((line for line in lines if line[2] >= 0.05), key=lambda line: -line[1]))
