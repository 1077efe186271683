"""One plan: everything that can be said of a run before it is done.

``make_plan`` joins the rise (:mod:`calib.planning.rise`), the limits, the result's budget, what a
wanted uncertainty takes, cautions and preparation.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from calib.enthalpies.one_run import RunResult
from calib.enthalpies.sources import AppliedConstant, range_warnings
from calib.errors import CupledgerError, InputError
from calib.estimate import Estimate
from calib.hazards.asking import (
    Hazard,
    asked_of_equation,
    asked_of_row,
    refuse,
    said_with_errors,
)
from calib.planning.limits import Dissolving, HeatLimit, dissolving, heat_limit
from calib.planning.request import Planned, planned_run
from calib.planning.rise import PlannedRise, plan_rise
from calib.planning.stock import Preparation, prepare_stock
from calib.planning.wanted import (
    Wanted,
    expected_result,
    relative_u_percent,
    what_it_takes,
    with_step,
)
from calib.run_model.prepared import PreparedRun, prepare
from calib.run_model.refusal import RowRefusedError
from calib.run_model.rise import Loss
from calib.runs.instruments import Instruments
from calib.runs.kind_words import lid_of_kind, vessel_of_kind
from fitting.cup.knowledge import BENCH

if TYPE_CHECKING:
    from calib.runs.model import Run

__all__ = ["UNKNOWN_CUP", "Plan", "PlanRequest", "make_plan"]

UNKNOWN_CUP = AppliedConstant(
    "a foam cup that is not calibrated", 15.0, 8.0, None, "constant:assumed",
    Loss(0.045, 0.02, "heat loss:assumed"),
    source="assumed for foam cups that are not calibrated (common practice, no source)",
)  # fmt: skip
MOST_RUNS = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRequest:
    """What is planned. ``step_K`` is the thermometer's step, ``after_s`` when the extreme comes.

    ``dH`` is the enthalpy [kJ per mole of reaction as written] by hand, and its u.
    """

    in_cup: Planned
    added: Planned
    reaction: str | None = None
    benches: int = 1
    runs_each: int = 1
    room_C: float = BENCH.usual_room_C.value
    step_K: float = 0.1
    after_s: float | None = None
    wanted_percent: float | None = None
    dH: tuple[float, float] | None = None
    concentrated: Mapping[str, float] = field(default_factory=dict)

    @property
    def given(self) -> Estimate | None:
        """The enthalpy given by hand."""
        if self.dH is None:
            return None
        return Estimate(self.dH[0], self.dH[1], "kJ/mol", "given by hand", "assumed")

    def hazards(self) -> tuple[Hazard, ...]:
        """What must be said before anything is worked out."""
        strengths = (self.in_cup.mol_per_L, self.added.mol_per_L)
        texts = (self.in_cup.substance, self.added.substance)
        return asked_of_row(*texts, self.reaction, strengths=strengths)

    def run(self) -> Run:
        """The plan as a row of a table."""
        return planned_run(self.in_cup, self.added, reaction=self.reaction, room_C=self.room_C)


ConstantFor = Callable[["Run", PreparedRun], AppliedConstant]


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """What was found. ``result`` is the row that a perfect class would hand in."""

    request: PlanRequest
    prepared: PreparedRun
    constant: AppliedConstant
    rise: PlannedRise
    dissolving: tuple[Dissolving, ...]
    heat: HeatLimit
    result: RunResult | None
    wanted: Wanted | None
    preparations: tuple[Preparation, ...]
    cautions: tuple[tuple[str, tuple[str, ...]], ...]
    warnings: tuple[str, ...]
    hazards: tuple[Hazard, ...] = ()


def make_plan(
    request: PlanRequest,
    constant_for: ConstantFor | None = None,
    *,
    instruments: Instruments | None = None,
    kind: str = "",
) -> Plan:
    """Plan a run. ``constant_for`` gives the cup's constant; without it one is assumed.

    ``kind`` is the cup's kind in words: it tells vessel and lid, and the limit of temperature.

    Raises InputError, ReactionError or SubstanceError where it cannot be planned, HazardError where
    it must not be done.
    """
    hazards = request.hazards()
    refuse(hazards)
    with said_with_errors(hazards):
        plan = _plan(request, constant_for, instruments, kind)
    equation = plan.prepared.process.equation
    if equation is not None:
        said = {one.gas for one in hazards if one.gas}
        hazards += tuple(
            one for one in asked_of_equation(equation) if one.gas and one.gas not in said
        )
        refuse(hazards)
    return replace(plan, hazards=hazards)


def _plan(
    request: PlanRequest,
    constant_for: ConstantFor | None,
    instruments: Instruments | None,
    kind: str,
) -> Plan:
    _check(request)
    run = _run(request, kind)
    tools = with_step(instruments or Instruments.default(), request.step_K)
    try:
        prepared = prepare(run, tools)
        constant = constant_for(run, prepared) if constant_for is not None else UNKNOWN_CUP
    except RowRefusedError as refused:
        raise InputError("; ".join(_said(p) for p in refused.problems)) from None
    rise = plan_rise(prepared, constant, after_s=request.after_s, given=request.given)
    t1 = float(run.in_cup_C or 0.0)
    result, why = _result(run, rise, tools, constant)
    wanted = None
    if request.wanted_percent is not None and result is not None:
        wanted = what_it_takes(
            request.wanted_percent, request.step_K, _evaluator(request, constant, tools, kind)
        )
    mean_C = t1 + 0.5 * rise.rise.value
    return Plan(
        request, prepared, constant, rise,
        tuple(dissolving(prepared, t1, rise.rise.value, rise.rise.u)),
        heat_limit(prepared, t1, rise.rise.value, rise.rise.u, kind),
        result, wanted, _preparations(request, prepared), _cautions(prepared, request),
        (*prepared.warnings, *constant.warnings, *rise.warnings, *why,
         *range_warnings(constant, prepared.fill_mL, mean_C)),
    )  # fmt: skip


def _run(request: PlanRequest, kind: str) -> Run:
    """The planned row, with the vessel and lid that the cup's kind tells."""
    return replace(request.run(), vessel=vessel_of_kind(kind), lid=lid_of_kind(kind))


def _said(problem: Any) -> str:
    name = {"in_cup": "what is in the cup", "added": "what is added"}.get(
        problem.column, problem.column
    )
    parts = [f"{name}: {problem.message}"]
    parts += [f"found {problem.found}"] if problem.found else []
    parts += [f"expected {problem.expected}"] if problem.expected else []
    return "; ".join(parts)


def _check(request: PlanRequest) -> None:
    runs = request.benches * request.runs_each
    if request.benches < 1 or request.runs_each < 1 or runs > MOST_RUNS:
        raise InputError(
            f"{request.benches} benches with {request.runs_each} runs each: expected 1 or more of "
            f"both, and at most {MOST_RUNS} runs"
        )
    for name, value, low, high in (
        ("the enthalpy in kJ/mol", request.dH[0] if request.dH else None, -1e4, 1e4),
        ("the enthalpy's uncertainty in kJ/mol", request.dH[1] if request.dH else None, 0.0, 1e4),
        ("the thermometer's step", request.step_K, 1e-4, 5.0),
        ("the room's temperature", request.room_C, -10.0, 60.0),
        ("the wanted uncertainty in per cent", request.wanted_percent, 0.01, 100.0),
        ("the time of the extreme reading in s", request.after_s, 0.0, 1e5),
    ):
        if value is not None and not low <= value <= high:
            raise InputError(f"{name} is {value:g}; expected {low:g} to {high:g}")


def _result(
    run: Run, rise: PlannedRise, tools: Instruments, constant: AppliedConstant
) -> tuple[RunResult | None, list[str]]:
    t1 = float(run.in_cup_C or 0.0)
    shown = t1 + rise.rise.value - rise.loss_K
    try:
        return expected_result(run, shown, rise.after_s, tools, constant), []
    except RowRefusedError as refused:
        return None, [f"no result is reckoned: {refused.problems[0].message}"]


def _evaluator(
    request: PlanRequest, constant: AppliedConstant, tools: Instruments, kind: str
) -> Callable[[float, float], float]:
    def u_percent(step_K: float, factor: float) -> float:
        scaled = replace(
            request, in_cup=request.in_cup.scaled(factor) if request.in_cup.mol_per_L else
            request.in_cup, added=request.added.scaled(factor),
        )  # fmt: skip
        run, own = _run(scaled, kind), with_step(tools, step_K)
        prepared = prepare(run, own)
        rise = plan_rise(prepared, constant, after_s=request.after_s, given=request.given)
        t1 = float(run.in_cup_C or 0.0)
        limits = dissolving(prepared, t1, rise.rise.value, rise.rise.u)
        hot = heat_limit(prepared, t1, rise.rise.value, rise.rise.u)
        if factor > 1.0 and (hot.verdict == "over" or any(d.dissolves is False for d in limits)):
            return float("inf")
        shown = t1 + rise.rise.value - rise.loss_K
        return relative_u_percent(expected_result(run, shown, rise.after_s, own, constant))

    return u_percent


def _preparations(request: PlanRequest, prepared: PreparedRun) -> tuple[Preparation, ...]:
    runs = request.benches * request.runs_each
    found = [prepare_stock(request.in_cup, prepared.in_cup, runs, request.concentrated)]
    if prepared.added is not None:
        found.append(prepare_stock(request.added, prepared.added, runs, request.concentrated))
    return tuple(found)


def _cautions(
    prepared: PreparedRun, request: PlanRequest
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Cautions by substance, then those of the whole, the deferring sentence last."""
    from calib.reactions.cautions import DEFER, by_substance, cautions_for, made_only
    from calib.reactions.deduce import PhysicalProcess, deduce

    species = [prepared.in_cup.species]
    species += [prepared.added.species] if prepared.added is not None else []
    process: Any = prepared.process.equation
    if process is not None:
        species += [s for s in process.species if s not in species]
    else:
        try:
            process = deduce(species[0], species[-1])
        except CupledgerError:
            process = None
    hot = max((p.C for p in (request.in_cup, request.added) if p.C is not None), default=0.0) >= 50
    formed = (
        made_only(process)
        if process is not None and not isinstance(process, PhysicalProcess)
        else ()
    )
    own = by_substance(species, formed=formed)
    whole: tuple[str, ...] = (DEFER,)
    if process is not None:
        if not isinstance(process, PhysicalProcess):
            hot = False
        whole = cautions_for(process, hot=hot)
    said = {line for _, lines in own for line in lines}
    return (*own, ("everybody", tuple(line for line in whole if line not in said)))
