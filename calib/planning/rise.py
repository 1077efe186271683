"""The rise to expect, with the inputs of the enthalpies' own budget.

    T_f − T_1 = [−1000 ξ ΔH + C_2 (T_2 − T_1)] / (C_mix + C_app)

and what the thermometer shows at its extreme, T_1 + (T_f − T_1) − loss. ΔH [kJ/mol] is the value at
the run's own concentrations where it is known; every other input is the one that an enthalpy of
the same row would have, so that the spread of the rise is made of the same lines.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from calib.balance import expected_rise_K
from calib.enthalpies.sources import AppliedConstant
from calib.errors import ReactionError, SubstanceError
from calib.estimate import Estimate
from calib.run_model.contents import liquid_specific_heat, portion_specific_heat, solution_key
from calib.run_model.extreme import extreme_loss
from calib.run_model.known import circumstances_of_reading, room_of
from calib.run_model.limiting import Limiting, find_limiting
from calib.run_model.prepared import PreparedRun
from calib.run_model.quantities import Quantities
from calib.run_model.reading_loss import pace_of, release_of
from calib.substances.composition import Composition
from calib.uncertainty import Input, Propagated, propagate
from fitting.cup.knowledge import BENCH, PLAN, SURROUNDINGS

__all__ = ["PlannedRise", "enthalpy_to_expect", "plan_rise"]


Function = Callable[[Mapping[str, Any]], Any]


@dataclass(frozen=True, slots=True, eq=False)
class PlannedRise:
    """What to expect. ``rise`` [K] is that of an insulated cup, ``shown`` [°C] the extreme reading.

    ``dH`` is None for a process without an enthalpy of its own (hot and cold water, a hot metal).
    """

    rise: Propagated
    shown: Propagated
    loss_K: float
    after_s: float
    dH: Estimate | None
    limiting: Limiting | None
    warnings: tuple[str, ...]
    band: str = ""
    """ΔH as a band in words, where it is estimated or held past its data."""


def plan_rise(
    prepared: PreparedRun,
    constant: AppliedConstant,
    *,
    after_s: float | None = None,
    given: Estimate | None = None,
) -> PlannedRise:
    """Rise and extreme reading to expect of a prepared run in a cup of that constant.

    ``given`` is ΔH [kJ/mol of reaction] by hand; without it the value is looked up.
    Raises ReactionError or SubstanceError where a number is missing, and says which.
    """
    t1, t2 = float(prepared.run.in_cup_C or 0.0), float(prepared.run.added_C or 0.0)
    dH, warnings = (given, []) if given is not None else _looked_up(prepared, t1)
    final = t1
    for _ in range(4):
        q = prepared.quantities.copy()
        _put_temperatures(q, prepared, t1, t2)
        _put_capacities(q, prepared, t1, t2, final)
        q.put(Input("constant", constant.value_J_per_K, constant.u_J_per_K,
                    key=constant.key or None, source="the cup's constant"))  # fmt: skip
        if dH is not None:
            q.put(Input("dH", dH.value, dH.u, source="the enthalpy to expect"))
        limiting = find_limiting(prepared.process, q)
        f = _rise_function(prepared, limiting, dH is not None)
        rise = propagate(f, q.inputs_used())
        final = min(max(t1 + rise.value, 0.0), 99.0)
    loss, u_loss, after = _loss(prepared, constant, t1, rise.value, after_s)
    shown = _shown(q, prepared, f, t1, t1 + rise.value - loss, (loss, u_loss))
    band = "" if given is not None else _band(prepared, t1)
    return PlannedRise(rise, shown, loss, after, dH, limiting, tuple(warnings), band)


def _band(prepared: PreparedRun, t_C: float) -> str:
    from calib.run_model.expected import expected_for

    if prepared.process.equation is None or prepared.process.kind == "dilution":
        return ""
    return expected_for(prepared, t_C).band


def _looked_up(prepared: PreparedRun, t_C: float) -> tuple[Estimate | None, list[str]]:
    try:
        return enthalpy_to_expect(prepared, t_C)
    except (ReactionError, SubstanceError) as error:
        raise ReactionError(
            f"{error}; where you know the enthalpy, give it by hand: --enthalpy KJ_PER_MOL"
        ) from None


def enthalpy_to_expect(prepared: PreparedRun, t_C: float) -> tuple[Estimate | None, list[str]]:
    """ΔH [kJ/mol] of the process at the run's concentrations, and what must be said about it."""
    from calib.reactions.forecast import U_NO_CONCENTRATION
    from calib.reactions.physical import dilution_enthalpy
    from calib.run_model.expected import expected_for

    process = prepared.process
    if process.kind == "dilution":
        added, first = prepared.added, prepared.in_cup
        assert added is not None
        solution = added if added.species.state == "aq" else first
        assert solution.composition is not None
        before = next(iter(solution.composition.molalities.values()))
        after = next(iter(prepared.contents.liquid.molalities.values()))
        return dilution_enthalpy(solution.species, before, after, t_C), []
    if process.equation is None:
        return None, []
    expected = expected_for(prepared, t_C)
    if expected.at_run is not None:
        return expected.at_run, []
    standard = expected.at_infinite_dilution
    dissolved = sum(abs(float(n)) for s, n in process.equation.net().items() if s.state == "aq")
    u = math.hypot(standard.u, U_NO_CONCENTRATION * dissolved)
    why = f"the effect of concentration is not known ({expected.why}): it is in the spread"
    return Estimate(standard.value, u, standard.unit, standard.source, standard.kind), [why]


def _put_temperatures(q: Quantities, prepared: PreparedRun, t1: float, t2: float) -> None:
    u = math.hypot(prepared.instruments.u_assumed_equal_K, PLAN.on_its_way.u * (t2 - t1))
    q.put(Input("apart", t2 - t1, u, source="temperature of what is added, against the cup's"))


def _put_capacities(
    q: Quantities, prepared: PreparedRun, t1: float, t2: float, final: float
) -> None:
    mix = prepared.contents.specific_heat(t1, final)
    q.put_estimate("c_mix", mix, prepared.contents.key, "specific heat of the mixture")
    added = prepared.added
    if added is None:
        raise ReactionError("a plan needs something that is added")
    cold = final if prepared.process.kind in ("mixing", "specific heat") else t1
    one = portion_specific_heat(added, t2, cold)
    key = f"heat capacity:{added.species}"
    if added.composition is not None:
        key = solution_key(added.composition)
    q.put_estimate("c_added", one, key, f"specific heat of {added.species}")
    if prepared.process.kind == "fusion":
        from calib.substances.water import FUSION

        water = liquid_specific_heat(Composition(1.0), final, final)
        q.put_estimate("c_water", water, "heat capacity:H2O", "specific heat of water")
        q.put_estimate("fusion", FUSION, None, "heat of fusion of ice")


def _rise_function(prepared: PreparedRun, limiting: Limiting | None, has_dH: bool) -> Function:
    added, in_cup = prepared.added, prepared.in_cup
    assert added is not None
    kind = prepared.process.kind
    if kind not in ("reaction", "dilution", "mixing", "specific heat", "fusion"):
        raise ReactionError(f"no rise is foretold for {prepared.process.name}")
    if kind == "specific heat" and added.composition is not None:
        raise ReactionError("put the liquid into the cup first, and the hot or cold solid second")

    def melting(x: Mapping[str, Any]) -> Any:
        """Ice warms to 0 °C, melts, and its water warms with the rest."""
        ice, t1 = added.mass(x), float(prepared.run.in_cup_C or 0.0)
        below = -(t1 + x["apart"])
        heat = -ice * (x["fusion"] + x["c_added"] * below + x["c_water"] * t1)
        return heat / ((in_cup.mass(x) + ice) * x["c_water"] + x["constant"])

    if kind == "fusion":
        return melting

    def rise(x: Mapping[str, Any]) -> Any:
        heat: Any = 0.0
        if has_dH:
            moles = limiting.extent(x) if limiting is not None else _solute(prepared)(x)
            heat = -1000.0 * moles * x["dH"]
        C_2 = added.mass(x) * x["c_added"]
        C_mix = (in_cup.mass(x) + added.mass(x)) * x["c_mix"]
        return expected_rise_K(heat, 0.0, x["apart"], C_mix, C_2, x["constant"])

    return rise


def _solute(prepared: PreparedRun) -> Function:
    added, in_cup = prepared.added, prepared.in_cup
    assert added is not None
    return added.moles if added.species.state == "aq" else in_cup.moles


def _loss(
    prepared: PreparedRun,
    constant: AppliedConstant,
    t1: float,
    rise_K: float,
    after_s: float | None,
) -> tuple[float, float, float]:
    """What is lost until the extreme is read [K], its u, and when that is [s]."""
    after, u_after = BENCH.extreme_after_s(pace_of(prepared))
    if after_s is not None:
        after, u_after = after_s, min(u_after, 0.3 * after_s + 3.0)
    loss = constant.loss
    if loss is None or loss.conductance_W_per_K <= 0.0:
        missed = BENCH.missed_share(pace_of(prepared), prepared.run.vessel)
        return 0.0, missed * abs(rise_K), after
    run, C_app = prepared.run, constant.value_J_per_K
    known = circumstances_of_reading(
        prepared,
        (t1, t1),
        (room_of(run, t1), SURROUNDINGS.room_read_K.u),
        C_app,
        constant.u_J_per_K,
        loss,
    )
    total = prepared.heat_capacity_after(t1, t1) + C_app
    amount, u = 0.0, 0.0
    for _ in range(3):  # the loss depends on the extreme that it leads to
        found = extreme_loss(
            t1, t1 + rise_K - amount, after, known, u_after_s=u_after,
            step_K=prepared.instruments.step_K("extreme_C"), cup_share=C_app / total,
            release=release_of(prepared),
        )  # fmt: skip
        amount, u = found.correction_K, found.u_K
    return amount, u, after


def _shown(
    q: Quantities,
    prepared: PreparedRun,
    rise: Function,
    t1: float,
    extreme: float,
    loss: tuple[float, float],
) -> Propagated:
    """The extreme reading, with the errors of both readings of the thermometer. [°C]"""
    run, instruments = prepared.run, prepared.instruments
    q.put_reading("extreme_C", instruments.u("extreme_C", extreme, run), "extreme reading")
    q.put_reading("in_cup_C", instruments.u("in_cup_C", t1, run), "temperature in the cup")
    q.put(Input("loss", *loss, source="heat lost until the extreme is read"))
    q.put_form("reading errors", (1.0, "extreme_C"), (-1.0, "in_cup_C"))

    def f(x: Mapping[str, Any]) -> Any:
        return t1 + rise(x) - x["loss"] + q.of(x, "reading errors") - (extreme - t1)

    return propagate(f, q.inputs_used())
