"""All that is known here of one substance, for people who look it up."""

from __future__ import annotations

from dataclasses import dataclass

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.substances import laliberte, published
from calib.substances.apparent_heat import REPLACED
from calib.substances.composition import Composition
from calib.substances.formula import molar_mass, split_hydrate
from calib.substances.names import class_of, ions_of, names_of, resolve, usual_state
from calib.substances.solids import solid_cp
from calib.substances.solubility import solubility
from calib.substances.solutions import density, heat_capacity


@dataclass(frozen=True, slots=True)
class SubstanceFacts:
    """What is known of a substance; fields are ``None`` or empty where nothing is.

    ``solution_*`` speak of the substance dissolved in water: values at 25 °C and a mass fraction of
    5 %, the range that the method was made for, and its sentence. ``solubility`` is at 20 °C.
    """

    formula: str
    names: tuple[str, ...]
    usual_state: str | None
    chemical_class: str | None
    molar_mass: Estimate
    ions: tuple[tuple[str, int], ...]
    solution_cp: Estimate | None
    solution_cp_range: str
    solution_density: Estimate | None
    solution_density_range: str
    solid_cp: Estimate | None
    solubility: Estimate | None


def _cp_range(solute: str) -> str:
    known = laliberte.heat_capacity_coefficients(solute)
    points = published.points(solute)
    words = []
    if known and solute not in REPLACED:
        words.append(f"{laliberte.SOURCE}: {known.range}")
    if points:
        words.append(f"published points: up to {100 * points[-1].w:.3g} % by mass")
    return "; ".join(words)


def describe(formula: str) -> SubstanceFacts:
    """The facts of one substance, by formula or name.

    Raises SubstanceError, with the nearest names, where it is not known.

    >>> describe("potassium nitrate").molar_mass.unit
    'g/mol'
    """
    name, _ = resolve(formula, dissolved=True)
    solute, _ = split_hydrate(name)
    state = usual_state(name)
    dissolved = solute != "H2O" and class_of(name) not in {"metal", "nonmetal", "oxide"}
    sample = Composition(95.0, {solute: 5.0}) if dissolved else None
    volumes = laliberte.density_coefficients(solute)
    return SubstanceFacts(
        formula=name,
        names=names_of(name),
        usual_state=state,
        chemical_class=class_of(name),
        molar_mass=molar_mass(name),
        ions=ions_of(name) or (),
        solution_cp=heat_capacity(sample, 25.0) if sample else None,
        solution_cp_range=_cp_range(solute),
        solution_density=density(sample, 25.0) if sample else None,
        solution_density_range=f"{laliberte.SOURCE}: {volumes.range}" if volumes else "",
        solid_cp=solid_cp(name) if state == "s" or name == "H2O" else None,
        solubility=_solubility(name),
    )


def _solubility(name: str) -> Estimate | None:
    try:
        return solubility(name, 20.0)
    except SubstanceError:
        return None
