"""The enthalpy to expect in a run, from its amounts and its water."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calib.reactions.concentration import Expected
    from calib.reactions.equation import Equation, Species
    from calib.run_model.portions import Portion
    from calib.run_model.prepared import PreparedRun

__all__ = ["expected_for"]


def expected_for(prepared: PreparedRun, t_C: float) -> Expected:
    """Expected enthalpy of the run's reaction [kJ/mol] at infinite dilution and in this run.

    ``t_C`` is the temperature that it refers to. For a dilution the first value is that of diluting
    without limit. Raises ReactionError where no value exists.
    """
    if prepared.diluted is not None:
        return _dilution(prepared, prepared.diluted, t_C)
    from calib.reactions.concentration import expected_enthalpy, expected_in_run

    process = prepared.process
    equation = process.equation
    if equation is None:
        msg = f"{process.name} is no reaction"
        raise ValueError(msg)
    amounts: dict[Species, float] = {}
    for species, shares in process.brings.items():
        moles = sum(share.per_mole * share.portion.amount_mol for share in shares)
        amounts[species] = amounts.get(species, 0.0) + moles
    if any(s.charge for s in equation.net() if s.state == "aq"):
        molecular = _with_whole_salts(prepared, equation)
        if molecular is None:
            return expected_enthalpy(equation, {}, t_C)
        equation = molecular
        amounts = {p.species: p.amount_mol for p in _portions(prepared) if not p.solvent_only}
    water, counted = _water_of_solutes(prepared, equation)
    solvent = sum(p.composition.water_g for p in _portions(prepared) if p.composition)
    return expected_in_run(equation, amounts, water, t_C, max(solvent - counted, 0.0))


def _portions(prepared: PreparedRun) -> list[Portion]:
    return [one for one in (prepared.in_cup, prepared.added) if one is not None]


def _water_of_solutes(
    prepared: PreparedRun, equation: Equation
) -> tuple[dict[Species, float], float]:
    """Water that each dissolved reactant came with [g], and its sum."""
    water: dict[Species, float] = {}
    for portion in _portions(prepared):
        own = equation.find(portion.species)
        if portion.composition is None or portion.solvent_only or own is None:
            continue
        water[own] = water.get(own, 0.0) + portion.composition.water_g
    return water, sum(water.values())


def _with_whole_salts(prepared: PreparedRun, ionic: Equation) -> Equation | None:
    """The molecular equation of what was put together, where its net ionic one is the given one.

    Concentration acts on whole salts, so an equation in ions alone cannot say what it does.
    """
    from calib.errors import ReactionError
    from calib.reactions.deduce import deduce
    from calib.reactions.equation import Equation
    from calib.reactions.ionic import same_reaction

    if prepared.added is None:
        return None
    try:
        found = deduce(prepared.in_cup.species, prepared.added.species)
    except ReactionError:
        return None
    times = same_reaction(ionic, found) if isinstance(found, Equation) else None
    return found.scaled(times) if times is not None and isinstance(found, Equation) else None


def _dilution(prepared: PreparedRun, solution: Portion, t_C: float) -> Expected:
    """ΔH = φ_L(after) - φ_L(before), per mole of solute."""
    from calib.errors import ReactionError, SubstanceError
    from calib.reactions.concentration import Expected, ExpectedLine
    from calib.reactions.physical import dilution_enthalpy

    solute = solution.species
    water_g = sum(
        p.composition.water_g for p in (prepared.in_cup, prepared.added) if p and p.composition
    )
    assert solution.composition is not None
    before = solution.amount_mol / (solution.composition.water_g / 1e3)
    after = solution.amount_mol / (water_g / 1e3)
    try:
        without_limit = dilution_enthalpy(solute, before, 0.0)
        here = dilution_enthalpy(solute, before, after, t_C)
    except SubstanceError as error:
        raise ReactionError(str(error)) from None
    what = f"{solute} diluted from {before:.3g} to {after:.3g} mol/kg at {t_C:.1f} °C"
    line = ExpectedLine(what, here.value, here.u, here.source)
    return Expected(without_limit, here, what, (line,))
