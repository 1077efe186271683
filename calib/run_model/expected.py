"""The enthalpy to expect in a run, from its amounts and its water."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.reactions.equation import Species

if TYPE_CHECKING:
    from calib.reactions.concentration import Expected
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
    water: dict[Species, float] = {}
    counted = 0.0
    for species, shares in process.brings.items():
        for share in shares:
            portion = share.portion
            amounts[species] = amounts.get(species, 0.0) + share.per_mole * portion.amount_mol
            if portion.composition is not None and not portion.solvent_only:
                water[species] = water.get(species, 0.0) + portion.composition.water_g
                counted += portion.composition.water_g
    solvent = sum(
        p.composition.water_g for p in (prepared.in_cup, prepared.added) if p and p.composition
    )
    if any(s.charge for s in equation.net() if s.state == "aq"):
        return expected_enthalpy(equation, {}, t_C)
    return expected_in_run(equation, amounts, water, t_C, max(solvent - counted, 0.0))


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
