"""What a liquid is made of: grams of water and of each solute."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType

from calib.errors import SubstanceError
from calib.substances.formula import molar_mass, normalise, split_hydrate

M_WATER = 18.015
_AS_MIXTURE = {"NH4OH": ("NH3", 1), "H2CO3": ("CO2", 1), "H2SO3": ("SO2", 1)}
"""Names on paper for a dissolved gas and one molecule of water."""


@lru_cache(maxsize=1024)
def _dissolved(written: str) -> tuple[str, float]:
    """Solute as it counts in water, and the grams of water that one gram of it brings along."""
    formula = normalise(written)
    solute, moles_of_water = split_hydrate(formula)
    if solute in _AS_MIXTURE:
        solute, extra = _AS_MIXTURE[solute]
        moles_of_water += extra
    if not moles_of_water:
        return solute, 0.0
    return solute, float(moles_of_water) * molar_mass("H2O").value / molar_mass(formula).value


@dataclass(frozen=True)
class Composition:
    """A homogeneous liquid: water and solutes. [g]

    Hydrates are taken apart on entry (CuSO4·5H2O gives CuSO4 and water), spellings unified, NH4OH
    becomes NH3 and water. Raises SubstanceError where a mass is negative or not a number, or a
    formula cannot be read.

    >>> Composition(100.0, {"CuSO4·5H2O": 10.0}).total_g
    110.0
    """

    water_g: float
    solutes_g: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        water = float(self.water_g)
        solutes: defaultdict[str, float] = defaultdict(float)
        for formula, mass in {"H2O": water, **self.solutes_g}.items():
            if not mass >= 0.0 or mass == float("inf"):
                msg = f"a mass of {mass:g} g of {formula} is not possible; give 0 g or more"
                raise SubstanceError(msg)
        for formula, mass in self.solutes_g.items():
            solute, share = _dissolved(formula)
            water += share * mass
            if solute == "H2O":
                water += (1.0 - share) * mass
            elif mass > 0.0:
                solutes[solute] += (1.0 - share) * mass
        object.__setattr__(self, "water_g", water)
        object.__setattr__(self, "solutes_g", MappingProxyType(dict(solutes)))

    def __hash__(self) -> int:
        return hash((self.water_g, frozenset(self.solutes_g.items())))

    @property
    def total_g(self) -> float:
        """Mass of the liquid. [g]"""
        return self.water_g + sum(self.solutes_g.values())

    @property
    def mass_fractions(self) -> dict[str, float]:
        """Mass fraction of each solute."""
        total = self.total_g
        return {formula: mass / total for formula, mass in self.solutes_g.items()}

    @property
    def molalities(self) -> dict[str, float]:
        """Moles of each solute per kilogram of water. [mol/kg]"""
        if self.water_g <= 0.0:
            msg = "a liquid without water has no molality"
            raise SubstanceError(msg)
        return {
            formula: 1000.0 * mass / molar_mass(formula).value / self.water_g
            for formula, mass in self.solutes_g.items()
        }

    def scaled_to(self, total_g: float) -> Composition:
        """The same liquid, ``total_g`` grams of it."""
        factor = total_g / self.total_g
        return Composition(
            self.water_g * factor, {k: v * factor for k, v in self.solutes_g.items()}
        )


def mix(*liquids: Composition) -> Composition:
    """The liquids poured together, nothing lost and nothing reacting.

    >>> mix(Composition(50.0, {"HCl": 3.0}), Composition(50.0)).total_g
    103.0
    """
    solutes: defaultdict[str, float] = defaultdict(float)
    for liquid in liquids:
        for formula, mass in liquid.solutes_g.items():
            solutes[formula] += mass
    return Composition(sum(liquid.water_g for liquid in liquids), solutes)
