"""What is in the cup after mixing, and how much heat it takes.

    C_mix = m_solution c_solution + Σ m_solid c_solid

Ions are put together to salts in an arbitrary but fixed order, since the heat capacity of a dilute
mixture is that of its ions to the accuracy of the correlations.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.reactions.equation import Species
from calib.reactions.extent import is_solvent
from calib.substances.composition import Composition, mix
from calib.substances.formula import molar_mass

if TYPE_CHECKING:
    from calib.run_model.portions import Portion
    from calib.run_model.process import Process

__all__ = ["Contents", "contents_after", "portion_specific_heat", "solution_key"]

KOPP_LIQUID = {"C": 12.0, "H": 18.0, "B": 20.0, "Si": 24.0, "O": 25.0, "F": 29.0, "P": 31.0,
               "S": 31.0}  # fmt: skip
KOPP_LIQUID_ELSE = 33.0
"""Kopp's rule for liquids, J/(mol K) per atom (Felder & Rousseau, table B.10; from memory)."""
LESSER_SHARE = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Contents:
    """Liquid, undissolved solids [g] and the mass that left as gas [g]."""

    liquid: Composition
    solids_g: Mapping[str, float]
    gas_g: float
    brought_g: float
    gases: tuple[str, ...]

    def specific_heat(self, t1_C: float, t2_C: float) -> Estimate:
        """Heat capacity after mixing per gram brought, mean of two temperatures. [J/(g K)]"""
        liquid = liquid_specific_heat(self.liquid, t1_C, t2_C)
        total, variance = self.liquid.total_g * liquid.value, (self.liquid.total_g * liquid.u) ** 2
        for formula, mass in self.solids_g.items():
            one = solid_specific_heat(formula)
            total, variance = total + mass * one.value, variance + (mass * one.u) ** 2
        m = self.brought_g
        return Estimate(total / m, math.sqrt(variance) / m, "J/(g K)", liquid.source, liquid.kind)

    @property
    def key(self) -> str:
        """What the error of the heat capacity is shared by."""
        return solution_key(self.liquid)


def solution_key(liquid: Composition) -> str:
    """Name of a heat capacity's error: the solutes that matter, by fallen importance dropped.

    Runs with the same chief solutes rest on the same correlation and share its error.
    """
    masses = liquid.solutes_g
    if not masses:
        return "heat capacity:H2O"
    most = max(masses.values())
    chief = sorted(formula for formula, mass in masses.items() if mass >= LESSER_SHARE * most)
    return "heat capacity:" + "+".join(chief)


def liquid_specific_heat(liquid: Composition, t1_C: float, t2_C: float) -> Estimate:
    """Mean specific heat of a liquid between two temperatures. [J/(g K)]"""
    from calib.substances import water
    from calib.substances.solutions import heat_capacity

    low, high = min(max(t1_C, 0.0), 99.0), min(max(t2_C, 0.0), 99.0)
    if not liquid.solutes_g:
        value = float(water.mean_cp_J_per_gK(low, high))
        return Estimate(value, water.U_CP_J_PER_GK, "J/(g K)", f"water: {water.SOURCE}")
    return heat_capacity(liquid, round(0.5 * (low + high), 1))


def solid_specific_heat(formula: str) -> Estimate:
    """Specific heat of a solid near room temperature. [J/(g K)]"""
    from calib.substances.solids import solid_cp

    return solid_cp(formula)


def pure_liquid_specific_heat(formula: str) -> Estimate:
    """Specific heat of a pure liquid other than water, by Kopp's rule, u 15 %. [J/(g K)]"""
    from calib.substances.formula import elements

    molar = sum(
        float(n) * KOPP_LIQUID.get(e, KOPP_LIQUID_ELSE) for e, n in elements(formula).items()
    )
    value = molar / molar_mass(formula).value
    return Estimate(value, 0.15 * value, "J/(g K)", "Kopp's rule for liquids", "assumed")


def portion_specific_heat(portion: Portion, t1_C: float, t2_C: float) -> Estimate:
    """Specific heat of one portion by itself, mean between two temperatures. [J/(g K)]"""
    if portion.composition is not None:
        return liquid_specific_heat(portion.composition, t1_C, t2_C)
    if portion.species.state == "s":
        return solid_specific_heat(portion.species.formula)
    return pure_liquid_specific_heat(portion.species.formula)


def contents_after(process: Process, in_cup: Portion, added: Portion | None) -> Contents:
    """What the cup holds once the process is over. Raises SubstanceError for unknown substances."""
    portions = [p for p in (in_cup, added) if p is not None]
    brought = sum(p.mass_g for p in portions)
    if process.extent is None:
        return _unreacted(portions, brought)
    amounts: dict[Species, float] = dict(process.extent.contents)
    for species, share in process.spectators:
        amounts[species] = amounts.get(species, 0.0) + share.per_mole * share.portion.amount_mol
    water = sum(p.composition.water_g for p in portions if p.composition and not p.solvent_only)
    water += sum(p.mass_g for p in portions if p.solvent_only)
    change = sum(n for s, n in process.numbers.items() if is_solvent(s))
    water += change * process.extent.extent_mol * molar_mass("H2O").value
    return _sorted_out(amounts, water, brought)


def _unreacted(portions: list[Portion], brought: float) -> Contents:
    """Portions side by side: liquids mixed, a solid among them left as it is."""
    liquids = [p.composition for p in portions if p.composition is not None]
    solids = {p.species.formula: p.mass_g for p in portions if p.composition is None}
    return Contents(mix(*liquids), solids, 0.0, brought, ())


def _sorted_out(amounts: Mapping[Species, float], water_g: float, brought: float) -> Contents:
    solutes: dict[str, float] = {}
    solids: dict[str, float] = {}
    gases: dict[str, float] = {}
    ions: dict[Species, float] = {}
    for species, moles in amounts.items():
        if is_solvent(species) or moles <= 0.0:
            continue
        if species.charge and species.state == "aq":
            ions[species] = ions.get(species, 0.0) + moles
            continue
        place = {"s": solids, "g": gases}.get(species.state, solutes)
        mass = moles * molar_mass(species.formula).value
        place[species.formula] = place.get(species.formula, 0.0) + mass
    for formula, moles in _paired(ions).items():
        mass = moles * molar_mass(formula).value
        solutes[formula] = solutes.get(formula, 0.0) + mass
    if water_g <= 0.0:
        msg = "no water is left in the cup, so its heat capacity is not known"
        raise SubstanceError(msg)
    return Contents(
        Composition(water_g, solutes), solids, sum(gases.values()), brought, tuple(gases)
    )


def _paired(ions: Mapping[Species, float]) -> dict[str, float]:
    """Salts that hold the ions; a charge that finds no partner is left out (it has no mass to miss
    where the equation and the portions balance)."""
    from calib.reactions.ions import formula_of

    cations = {s: n for s, n in ions.items() if s.charge > 0}
    anions = {s: n for s, n in ions.items() if s.charge < 0}
    salts: dict[str, float] = {}
    for cation in sorted(cations, key=str):
        for anion in sorted(anions, key=str):
            charge = min(cations[cation] * cation.charge, -anions[anion] * anion.charge)
            if charge <= 1e-15:
                continue
            unit = math.lcm(cation.charge, -anion.charge)
            formula = formula_of(cation.formula, cation.charge, anion.formula, anion.charge)
            salts[formula] = salts.get(formula, 0.0) + charge / unit
            cations[cation] -= charge / cation.charge
            anions[anion] += charge / anion.charge
    return salts
