"""From what is put together to the rise to expect, or to the number that is missing for it.

    Q = -ξ ΔH(m, T1),    T_f - T1 = [Q + C_2 (T2 - T1)] / (C_mix + C_app)

with ΔH at the run's own concentrations where it is known. An insulated cup is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from calib.balance import expected_rise_K
from calib.errors import CupledgerError, ReactionError
from calib.estimate import Estimate
from calib.reactions.basis import default_basis
from calib.reactions.concentration import Expected, expected_enthalpy, molalities_in_run
from calib.reactions.deduce import PhysicalProcess, deduce
from calib.reactions.equation import Equation, Species
from calib.reactions.extent import Extent, is_solvent, react
from calib.reactions.physical import physical_forecast
from calib.reactions.portions import Portion
from calib.substances.composition import Composition
from calib.substances.formula import molar_mass
from calib.substances.solids import solid_cp
from calib.substances.solutions import heat_capacity
from fitting.cup.knowledge import BENCH

U_NO_CONCENTRATION = 1.5
"""u [kJ per mole of dissolved species] where the effect of concentration is not known."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """What to expect of one run.

    ``reference`` is the handbook's value at infinite dilution [kJ per mole of reaction], ``at_run``
    the one at the run's concentrations, ``per`` says what both are per mole of, ``rise_K`` is the
    rise of the insulated cup (below nought when it cools). ``missing`` names every number that was
    not to be had; ``why`` what follows from it.
    """

    process: Equation | PhysicalProcess
    reference: Estimate | None
    at_run: Estimate | None
    rise_K: Estimate | None
    per: str
    limiting: str = ""
    missing: tuple[str, ...] = ()
    why: str = ""


def forecast(
    in_cup: Portion,
    added: Portion,
    equation: Equation | None = None,
    *,
    cup_J_per_K: float = BENCH.constant_J_per_K.value,
    u_cup_J_per_K: float = BENCH.constant_J_per_K.u,
) -> Forecast:
    """Rise and enthalpy to expect when ``added`` goes into the cup that holds ``in_cup``.

    The equation is deduced where it is not given. Raises ``ReactionError`` where that cannot be
    done, or an amount is missing.
    """
    process = equation if equation is not None else deduce(in_cup.species, added.species)
    cup = (cup_J_per_K, u_cup_J_per_K)
    if isinstance(process, PhysicalProcess):
        found = physical_forecast(process, in_cup, added, cup)
        return Forecast(process, found.reference, found.reference, found.rise_K, process.result)
    return _of_reaction(process, in_cup, added, cup)


def _of_reaction(
    equation: Equation, in_cup: Portion, added: Portion, cup: tuple[float, float]
) -> Forecast:
    amounts = _amounts(in_cup, added)
    extent = react(equation, amounts)
    per = default_basis(equation).words
    try:
        expected = _expected(equation, extent, amounts, in_cup, added)
    except ReactionError as error:
        return Forecast(equation, None, None, None, per, extent.limiting_text, (str(error),))
    used, missing = _value_used(equation, expected)
    rise, lacking = _rise(used, extent, in_cup, added, cup)
    return Forecast(
        equation,
        expected.at_infinite_dilution,
        expected.at_run,
        rise,
        per,
        extent.limiting_text,
        (*missing, *lacking),
        expected.why,
    )


def _amounts(in_cup: Portion, added: Portion) -> dict[Species, float]:
    amounts: dict[Species, float] = {}
    for portion in (in_cup, added):
        amounts[portion.species] = amounts.get(portion.species, 0.0) + portion.moles
    return amounts


def _expected(
    equation: Equation,
    extent: Extent,
    amounts: dict[Species, float],
    in_cup: Portion,
    added: Portion,
) -> Expected:
    solutions = [p for p in (in_cup, added) if p.species.state == "aq"]
    water = {p.species: p.composition.water_g for p in solutions}
    solvent = sum(p.grams for p in (in_cup, added) if is_solvent(p.species))
    dissolved, leftovers = molalities_in_run(equation, extent, amounts, water, solvent)
    return expected_enthalpy(equation, dissolved, in_cup.t_C, leftovers)


def _value_used(equation: Equation, expected: Expected) -> tuple[Estimate, tuple[str, ...]]:
    if expected.at_run is not None:
        return expected.at_run, ()
    standard = expected.at_infinite_dilution
    dissolved = sum(abs(float(n)) for s, n in equation.net().items() if s.state == "aq")
    u = hypot(standard.u, U_NO_CONCENTRATION * dissolved)
    source = f"{standard.source}; taken at infinite dilution"
    return Estimate(standard.value, u, standard.unit, source, standard.kind), (expected.why,)


def _rise(
    dH: Estimate, extent: Extent, in_cup: Portion, added: Portion, cup: tuple[float, float]
) -> tuple[Estimate | None, tuple[str, ...]]:
    try:
        c_mix = content_capacity(extent, in_cup, added)
        c_added = portion_capacity(added)
    except CupledgerError as error:
        return None, (str(error),)
    heat = -1e3 * extent.extent_mol * dH.value
    t1, t2 = in_cup.t_C, added.t_C
    rise = expected_rise_K(heat, t1, t2, c_mix.value, c_added.value, cup[0])
    total = c_mix.value + cup[0]
    parts = (
        1e3 * extent.extent_mol * dH.u / total,
        rise * c_mix.u / total,
        rise * cup[1] / total,
        (t2 - t1) * c_added.u / total,
    )
    source = f"{dH.source}; {c_mix.source}; cup {cup[0]:g} J/K"
    return Estimate(rise, hypot(*parts), "K", source, "computed"), ()


def content_capacity(extent: Extent, in_cup: Portion, added: Portion) -> Estimate:
    """Heat capacity of everything in the cup afterwards [J/K]; gases have left.

    Raises ``SubstanceError`` where a heat capacity is not known.
    """
    water = sum(p.composition.water_g for p in (in_cup, added))
    water_made = extent.formed.get(Species("H2O", "l"), 0.0)
    water_used = _water_used(extent, in_cup, added)
    solutes: dict[str, float] = {}
    solids, variance = 0.0, 0.0
    for species, moles in extent.contents.items():
        grams = moles * molar_mass(_neutral(species)).value
        if species.state == "aq":
            solutes[_neutral(species)] = solutes.get(_neutral(species), 0.0) + grams
        elif species.state == "s":
            cp = solid_cp(species.formula)
            solids += grams * cp.value
            variance += (grams * cp.u) ** 2
    liquid = Composition(water + 18.015 * water_made - water_used, solutes)
    cp = heat_capacity(liquid, in_cup.t_C)
    u = hypot(liquid.total_g * cp.u, variance**0.5)
    return Estimate(liquid.total_g * cp.value + solids, u, "J/K", cp.source, cp.kind)


def _neutral(species: Species) -> str:
    if species.charge:
        raise ReactionError(
            f"{species} is an ion: for its heat capacity the molecular equation is needed"
        )
    return species.formula


def _water_used(extent: Extent, in_cup: Portion, added: Portion) -> float:
    """Grams of solvent that the reaction took up."""
    brought = sum(p.moles for p in (in_cup, added) if is_solvent(p.species))
    left = sum(n for s, n in extent.left.items() if is_solvent(s))
    return 18.015 * (brought - left) if brought else 0.0


def portion_capacity(portion: Portion) -> Estimate:
    """Heat capacity of a portion before mixing [J/K]."""
    if portion.species.state in {"aq", "l"}:
        liquid = portion.composition
        if liquid.total_g > 0.0:
            cp = heat_capacity(liquid, portion.t_C)
            return Estimate(liquid.total_g * cp.value, liquid.total_g * cp.u, "J/K", cp.source)
    cp = solid_cp(portion.species.formula)
    return Estimate(portion.grams * cp.value, portion.grams * cp.u, "J/K", cp.source, cp.kind)
