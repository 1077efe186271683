"""What is in the cup and what is added: mass, composition and amount of substance of each.

m = V ρ(T)         where a volume was measured, T the liquid's own temperature
n = c m / ρ        for a solution of concentration c [mol/L]
n = m / M          for a weighed solid or pure liquid
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from calib.errors import RowProblem, SubstanceError
from calib.reactions.equation import Species
from calib.run_model.quantities import Quantities
from calib.run_model.refusal import RowRefusedError
from calib.substances.composition import Composition

if TYPE_CHECKING:
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run

__all__ = ["Portion", "make_portion", "species_of"]

Side = Literal["in_cup", "added"]
LABELS = {"in_cup": "in the cup", "added": "added"}
MASS_AND_VOLUME_APART = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Portion:
    """One side of a run. ``amount_mol`` counts the solute, or the substance itself.

    ``composition`` is that of the liquid (None for solids and pure liquids other than water).
    ``solvent_only`` marks plain water, which never limits a reaction.
    """

    side: Side
    species: Species
    mass_g: float
    amount_mol: float
    composition: Composition | None
    quantities: Quantities
    volume_mL: float

    @property
    def solvent_only(self) -> bool:
        """Whether it is plain liquid water."""
        return self.species.formula == "H2O" and self.species.state == "l"

    def mass(self, x: Mapping[str, Any]) -> Any:
        """Mass for input values ``x``. [g]"""
        q, side = self.quantities, self.side
        if f"{side}_g" in q.forms:
            return q.of(x, f"{side}_g")
        return q.of(x, f"{side}_mL") * q.of(x, f"{side}_density")

    def moles(self, x: Mapping[str, Any]) -> Any:
        """Amount of substance for input values ``x``. [mol]"""
        q, side = self.quantities, self.side
        if f"{side}_mol_per_L" not in q.forms:
            return self.mass(x) / q.of(x, f"{side}_molar_mass")
        if f"{side}_g" in q.forms:
            volume = q.of(x, f"{side}_g") / q.of(x, f"{side}_density")
        else:
            volume = q.of(x, f"{side}_mL")
        return q.of(x, f"{side}_mol_per_L") * volume / 1000.0


def species_of(run: Run, side: Side) -> Species:
    """The substance named in ``in_cup`` or ``added``. Raises RowRefusedError where unknown."""
    from calib.substances.names import resolve

    text = getattr(run, side)
    if text is None:
        raise RowRefusedError(
            RowProblem(
                run.run, side, "the substance is missing", "an empty cell",
                "a formula or name with its state, such as water, HCl(aq) or KNO3(s)", "fill it in",
            )
        )  # fmt: skip
    try:
        found = resolve(text, dissolved=getattr(run, f"{side}_mol_per_L") is not None)
    except SubstanceError as error:
        raise RowRefusedError(RowProblem(run.run, side, str(error), repr(text))) from None
    return Species(found.formula, found.state)


def make_portion(
    run: Run, side: Side, t_C: float, instruments: Instruments, quantities: Quantities
) -> Portion:
    """Mass, composition and amount of one side of a run; its inputs go into ``quantities``.

    ``t_C`` is the portion's temperature, at which its volume counts. Raises RowRefusedError where a
    needed amount or concentration is missing, or a property of the substance is not known.
    """
    species = species_of(run, side)
    concentration = getattr(run, f"{side}_mol_per_L")
    _check_amounts(run, side, species, concentration)
    for column in (f"{side}_g", f"{side}_mL"):
        value = getattr(run, column)
        if value is not None and not (column.endswith("_mL") and f"{side}_g" in quantities.forms):
            label = f"{'mass' if column.endswith('_g') else 'volume'} {LABELS[side]}"
            quantities.put_reading(column, instruments.u(column, value, run), label)
    try:
        if concentration is not None:
            return _solution(run, side, species, concentration, t_C, instruments, quantities)
        return _pure(run, side, species, t_C, quantities)
    except SubstanceError as error:
        column = f"{side}_mol_per_L" if concentration is not None else side
        shown = str(concentration if concentration is not None else getattr(run, side))
        raise RowRefusedError(RowProblem(run.run, column, str(error), shown)) from None


def _check_amounts(run: Run, side: Side, species: Species, concentration: float | None) -> None:
    mass, volume = getattr(run, f"{side}_g"), getattr(run, f"{side}_mL")
    if mass is None and volume is None:
        raise RowRefusedError(
            RowProblem(run.run, f"{side}_g", "an amount is needed", "an empty cell",
                       f"{side}_mL or {side}_g", f"fill in {side}_mL or {side}_g")
        )  # fmt: skip
    if species.state == "aq" and concentration is None:
        raise RowRefusedError(
            RowProblem(run.run, f"{side}_mol_per_L", f"the concentration of {species} is missing",
                       "an empty cell", "mol/L", f"fill in {side}_mol_per_L")
        )  # fmt: skip
    if species.state == "g":
        raise RowRefusedError(
            RowProblem(run.run, side, f"{species} is a gas, whose amount a cup run cannot give",
                       str(species), "a solid, a liquid or a solution", "correct the state")
        )  # fmt: skip
    if species.state != "aq" and concentration is not None:
        raise RowRefusedError(
            RowProblem(run.run, f"{side}_mol_per_L", f"{species} is not dissolved, so it has no "
                       "concentration", f"{concentration:g} mol/L", "an empty cell",
                       f"write {species.formula}(aq), or leave the concentration out")
        )  # fmt: skip
    if species.state == "s" and mass is None:
        raise RowRefusedError(
            RowProblem(run.run, f"{side}_g", "a solid is weighed; its volume does not tell its "
                       "mass", f"{volume:g} mL", "g", f"fill in {side}_g")
        )  # fmt: skip


def _solution(
    run: Run,
    side: Side,
    species: Species,
    concentration: float,
    t_C: float,
    instruments: Instruments,
    quantities: Quantities,
) -> Portion:
    from calib.substances.solutions import density, from_molarity

    column = f"{side}_mol_per_L"
    quantities.put_reading(
        column, instruments.u(column, concentration, run), f"concentration of {species.formula}"
    )
    litre = from_molarity(species.formula, concentration, volume_mL=1000.0, t_C=t_C)
    rho = density(litre, t_C)
    key = f"density:{species.formula}"
    quantities.put_estimate(f"{side}_density", rho, key, f"density of {species}")
    mass, volume = getattr(run, f"{side}_g"), getattr(run, f"{side}_mL")
    mass = mass if mass is not None else volume * rho.value
    _agree(run, side, mass, rho.value)
    composition = litre.scaled_to(mass)
    amount = concentration * mass / rho.value / 1000.0
    return Portion(side, species, mass, amount, composition, quantities, mass / rho.value)


def _pure(run: Run, side: Side, species: Species, t_C: float, quantities: Quantities) -> Portion:
    from calib.substances.formula import molar_mass
    from calib.substances.water import density_g_per_mL

    mass, volume = getattr(run, f"{side}_g"), getattr(run, f"{side}_mL")
    water = species.formula == "H2O" and species.state == "l"
    rho = float(density_g_per_mL(min(max(t_C, 0.0), 99.0))) if water else 1.0
    if mass is None:
        if not water:
            raise RowRefusedError(
                RowProblem(run.run, f"{side}_g", f"the density of {species} is not known here",
                           f"{volume:g} mL", "its mass in g", f"weigh it and fill in {side}_g")
            )  # fmt: skip
        mass = volume * rho
        put_water_density(quantities, side, rho)
    if water:
        _agree(run, side, mass, rho)
    M = molar_mass(species.formula)
    quantities.put_estimate(
        f"{side}_molar_mass", M, f"molar-mass:{species.formula}", f"molar mass of {species.formula}"
    )
    composition = Composition(mass) if water else None
    return Portion(side, species, mass, mass / M.value, composition, quantities, mass / rho)


def put_water_density(quantities: Quantities, side: Side, rho: float) -> None:
    """Water's density as an input: tap and deionised water differ by a few parts in 1e5."""
    from calib.estimate import Estimate

    estimate = Estimate(rho, 5e-5, "g/mL", "IAPWS-95; dissolved air and salts, assumed")
    quantities.put_estimate(f"{side}_density", estimate, "density:H2O", "density of water")


def _agree(run: Run, side: Side, mass: float, rho: float) -> None:
    """Refuse a mass and a volume of one portion that contradict each other."""
    volume = getattr(run, f"{side}_mL")
    if volume is None or abs(volume * rho / mass - 1.0) <= MASS_AND_VOLUME_APART:
        return
    raise RowRefusedError(
        RowProblem(run.run, f"{side}_mL", "mass and volume of one portion contradict each other",
                   f"{mass:g} g and {volume:g} mL", f"about {mass / rho:.4g} mL",
                   "correct one of them, or leave one empty")
    )  # fmt: skip
