"""What is put into a cup: so many millilitres or grams of this, at that temperature."""

from __future__ import annotations

import re
from dataclasses import dataclass

from calib.errors import InputError
from calib.reactions.equation import Species, parse_species
from calib.reactions.extent import is_solvent
from calib.substances.composition import Composition
from calib.substances.formula import molar_mass
from calib.substances.solutions import from_molarity
from calib.substances.water import density_g_per_mL

_TEXT = re.compile(
    r"^\s*(?P<amount>\d+(?:\.\d+)?)\s*(?P<unit>mL|g)\s+(?:(?P<conc>\d+(?:\.\d+)?)\s*mol/L\s+)?"
    r"(?P<species>[^@]+?)\s*(?:@\s*(?P<t>-?\d+(?:\.\d+)?)\s*°?C)?\s*$"
)


@dataclass(frozen=True, slots=True)
class Portion:
    """One substance or solution with its amount, mL or g."""

    species: Species
    amount: float
    unit: str
    mol_per_L: float | None = None
    t_C: float = 22.0

    @property
    def moles(self) -> float:
        """Amount of the substance named [mol]; of the solute where it is a solution."""
        if self.species.state == "aq":
            solute = self.composition.solutes_g
            return sum(g / molar_mass(f).value for f, g in solute.items())
        return self.grams / molar_mass(self.species.formula).value

    @property
    def grams(self) -> float:
        """Mass [g] of the whole portion."""
        if self.species.state == "aq":
            return self.composition.total_g
        if self.unit == "g":
            return self.amount
        return self.amount * density_g_per_mL(self.t_C)

    @property
    def composition(self) -> Composition:
        """Water and solute of a liquid portion; empty for solids."""
        if is_solvent(self.species):
            return Composition(self.grams)
        if self.species.state != "aq":
            return Composition(0.0)
        size = {"volume_mL": self.amount} if self.unit == "mL" else {"mass_g": self.amount}
        return from_molarity(self.species.formula, self.mol_per_L or 0.0, t_C=self.t_C, **size)

    def __str__(self) -> str:
        strength = f"{self.mol_per_L:g} mol/L " if self.mol_per_L is not None else ""
        return f"{self.amount:g} {self.unit} {strength}{self.species} at {self.t_C:g} °C"


def parse_portion(text: str) -> Portion:
    """Read ``50 mL 1.0 mol/L HCl(aq)``, ``5 g KNO3(s)``, ``80 g Cu(s) @ 98 °C``.

    Raises ``InputError`` saying which forms are expected.
    """
    found = _TEXT.match(text)
    if found is None:
        raise InputError(
            f"{text!r} is no amount of a substance; expected e.g. '50 mL 1.0 mol/L HCl(aq)', "
            "'5 g KNO3(s)' or '80 g Cu(s) @ 98 °C'"
        )
    species = parse_species(found["species"])
    conc = float(found["conc"]) if found["conc"] else None
    if species.state == "aq" and conc is None:
        raise InputError(f"{text!r} is a solution without a concentration; add e.g. '1.0 mol/L'")
    if species.state in {"s", "g"} and (conc is not None or found["unit"] == "mL"):
        raise InputError(f"{text!r}: give a solid or a gas in grams, without a concentration")
    t_C = float(found["t"]) if found["t"] else 22.0
    return Portion(species, float(found["amount"]), found["unit"], conc, t_C)
