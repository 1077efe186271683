"""Processes without a reaction: what the handbook says of them and the rise to expect."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from calib.errors import ReactionError
from calib.estimate import Estimate
from calib.reactions.apparent_enthalpy import phi_L
from calib.reactions.deduce import PhysicalProcess
from calib.reactions.equation import Species
from calib.reactions.portions import Portion
from calib.substances.composition import mix
from calib.substances.solids import solid_cp
from calib.substances.solutions import heat_capacity
from calib.substances.water import FUSION, ICE_CP, cp_J_per_gK, enthalpy_J_per_g

CONDENSATION = Estimate(-2256.5, 1.0, "J/g", "condensation of steam at 100 °C, IAPWS (from memory)")


@dataclass(frozen=True, slots=True)
class PhysicalForecast:
    """The handbook's value and the rise [K] of an insulated cup."""

    reference: Estimate | None
    rise_K: Estimate


def physical_reference(process: PhysicalProcess) -> Estimate | None:
    """What the run is compared with: a specific heat, a heat of fusion; ``None`` for mixing."""
    if process.kind == "specific heat":
        return solid_cp(process.substance.formula)
    if process.kind == "fusion":
        return FUSION
    if process.kind == "condensation":
        return CONDENSATION
    return None


def physical_forecast(
    process: PhysicalProcess, in_cup: Portion, added: Portion, cup: tuple[float, float]
) -> PhysicalForecast:
    """Rise for mixing, dilution, specific heat, fusion and condensation.

    ``cup`` is (constant, u) [J/K]. The liquid may be named first or second.
    Raises ``ReactionError`` for a kind it does not know.
    """
    if process.kind == "dilution":
        return _dilution(in_cup, added, cup)
    if process.kind not in {"mixing", "specific heat", "fusion", "condensation"}:
        raise ReactionError(f"no forecast is made for {process}")
    reference = physical_reference(process)
    final = _settled(process, in_cup, added, cup[0])
    c_total = _capacity(in_cup) + _capacity(added) + cup[0]
    rise = final - in_cup.t_C
    u_cup = abs(rise) * cup[1] / c_total
    u_reference = _u_from_reference(process, added, reference, final) / c_total
    source = reference.source if reference else "water: enthalpy, IAPWS-95"
    return PhysicalForecast(
        reference, Estimate(rise, hypot(u_cup, u_reference), "K", source, "computed")
    )


def _settled(process: PhysicalProcess, in_cup: Portion, added: Portion, c_app: float) -> float:
    """The temperature at which gains and losses cancel, found by bisection [°C]."""

    def gained(t_C: float) -> float:
        liquid = in_cup.grams * (_enthalpy(t_C) - _enthalpy(in_cup.t_C))
        return liquid + c_app * (t_C - in_cup.t_C) + _gain_of_added(process, added, t_C)

    low, high = 0.0, 99.0
    if gained(low) > 0.0 or gained(high) < 0.0:
        raise ReactionError(
            f"{added} and {in_cup} do not settle between 0 and 99 °C: ice is left over, or it boils"
        )
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if gained(middle) < 0.0 else (low, middle)
    return (low + high) / 2


def _enthalpy(t_C: float) -> float:
    return float(enthalpy_J_per_g(t_C))


def _gain_of_added(process: PhysicalProcess, added: Portion, t_C: float) -> float:
    mass = added.grams
    if process.kind == "mixing":
        return mass * (_enthalpy(t_C) - _enthalpy(added.t_C))
    if process.kind == "fusion":
        warmed = ICE_CP.value * (0.0 - min(added.t_C, 0.0))
        return mass * (FUSION.value + warmed + _enthalpy(t_C) - _enthalpy(0.0))
    if process.kind == "condensation":
        return mass * (CONDENSATION.value + _enthalpy(t_C) - _enthalpy(99.0) - 4.2)
    return mass * solid_cp(added.species.formula).value * (t_C - added.t_C)


def _u_from_reference(
    process: PhysicalProcess, added: Portion, reference: Estimate | None, final_C: float
) -> float:
    if reference is None:
        return 0.0
    if process.kind == "specific heat":
        return added.grams * reference.u * abs(added.t_C - final_C)
    return added.grams * reference.u


def _capacity(portion: Portion) -> float:
    if portion.species.state == "s" and portion.species.formula != "H2O":
        return portion.grams * solid_cp(portion.species.formula).value
    return portion.grams * float(cp_J_per_gK(25.0))


def _dilution(in_cup: Portion, added: Portion, cup: tuple[float, float]) -> PhysicalForecast:
    """ΔH = φ_L(after) - φ_L(before) per mole of solute."""
    solution = added if added.species.state == "aq" else in_cup
    liquid = mix(in_cup.composition, added.composition)
    before = next(iter(solution.composition.molalities.values()))
    after = next(iter(liquid.molalities.values()))
    dH = dilution_enthalpy(solution.species, before, after, in_cup.t_C)
    cp = heat_capacity(liquid, in_cup.t_C)
    c_mix = liquid.total_g * cp.value
    c_added = added.composition.total_g * heat_capacity(added.composition, added.t_C).value
    total = c_mix + cup[0]
    rise = (-1e3 * solution.moles * dH.value + c_added * (added.t_C - in_cup.t_C)) / total
    u = hypot(1e3 * solution.moles * dH.u / total, rise * cup[1] / total, rise * cp.u / cp.value)
    return PhysicalForecast(dH, Estimate(rise, u, "K", dH.source, "computed"))


def dilution_enthalpy(
    solute: Species, from_molality: float, to_molality: float, t_C: float = 25.0
) -> Estimate:
    """Enthalpy of dilution [kJ per mole of solute] between two molalities.

    Raises ``SubstanceError`` where φ_L is not known.
    """
    before, after = (phi_L(solute.formula, m, t_C) for m in (from_molality, to_molality))
    value = (after.value - before.value) / 1e3
    # φ_L errors of one source rise with molality together; what is left is about the larger one
    return Estimate(value, max(before.u, after.u) / 1e3, "kJ/mol", before.source, "computed")
