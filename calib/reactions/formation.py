"""Standard enthalpies of formation at 25 °C, kept as two sets that are never mixed in one sum.

    ΔH° = Σ ν_i Δ_fH°_i                                        (Hess)

``CODATA``  Cox, Wagman, Medvedev, CODATA Key Values for Thermodynamics (1989)
``NBS``     NBS tables of chemical thermodynamic properties (1982) as the CRC Handbook reprints
            them (ions, substances), with aqueous molecules and hydrates of the same tables
``IONIZATION``  CODATA with measured enthalpies of ionization of weak acids

Members of a weak acid's family that a set lacks are held relative to each other, by their
enthalpies of ionization: that is no second set of formation enthalpies, and it counts only where
the family cancels in the reaction.

Letters: F found in a public page, L read from a library, M from memory, C computed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import hypot, sqrt
from types import MappingProxyType

from calib.reactions.codata import CODATA_ROWS
from calib.reactions.data_rows import data_rows
from calib.reactions.equation import Species
from calib.reactions.ionization import SOURCE, members
from calib.reactions.nbs_extra import NBS_EXTRA_ROWS
from calib.reactions.notation import canonical

Key = tuple[str, str, int]

LETTERS = {
    "F": "found in a public page",
    "L": "read from the chemicals library",
    "M": "from memory",
    "C": "computed",
}
U_NBS = 0.1
"""Standard uncertainty of an NBS/CRC value [kJ/mol] where nothing better is known: they are rounded
to 0.1, and enthalpies of solution from them scatter by 0.13 about the direct ones (11 salts)."""

_TABLES_DIFFER: dict[Key, float] = {
    ("Fe", "aq", 2): 1.6,
    ("Fe", "aq", 3): 1.6,
    ("Ni", "aq", 2): 3.0,
    ("Co", "aq", 2): 3.0,
}
"""u [kJ/mol] of ions that CODATA lacks and on which other tables differ: half of 3 for iron (a
geochemical set, L), a third of 10 for nickel and cobalt (OpenStax Chemistry 2e, appendix G, F)."""

_ELEMENTS_SOLID = (
    "Li Na K Rb Cs Be Mg Ca Sr Ba Al Ti V Cr Mn Fe Co Ni Cu Zn Ag Cd Sn Pb Au Pt Bi I2 S C P"
)
_ELEMENTS_GAS = "H2 N2 O2 F2 Cl2 He Ar"
_REFERENCE_STATES: frozenset[Key] = frozenset(
    [(element, "s", 0) for element in _ELEMENTS_SOLID.split()]
    + [(element, "g", 0) for element in _ELEMENTS_GAS.split()]
    + [("Br2", "l", 0), ("Hg", "l", 0), ("H", "aq", 1)]
)


@dataclass(frozen=True, slots=True)
class Formation:
    """Δ_fH° of one species [kJ/mol] with u (k = 1) and the letter of its source."""

    value: float
    u: float
    letter: str
    note: str = ""
    family: str = ""


@dataclass(frozen=True, slots=True)
class FormationSet:
    """One consistent set of enthalpies of formation."""

    name: str
    title: str
    values: Mapping[Key, Formation]

    def get(self, species: Species) -> Formation | None:
        """The value of a species, elements in their reference state and H+(aq) being nought."""
        if species.key in _REFERENCE_STATES:
            return Formation(0.0, 0.0, "C", "zero by convention")
        return self.values.get(species.key)

    def missing(self, numbers: Mapping[Species, Fraction]) -> tuple[Species, ...]:
        """The species of a reaction that this set does not hold.

        Members of an acid's family are known relative to each other only: they are missing too
        where the family does not cancel.
        """
        lacking = [s for s in numbers if self.get(s) is None]
        net: dict[str, Fraction] = {}
        for species, number in numbers.items():
            entry = self.get(species)
            if entry is not None and entry.family:
                net[entry.family] = net.get(entry.family, Fraction(0)) + number
        open_families = {family for family, number in net.items() if number}
        for species in numbers:
            entry = self.get(species)
            if entry is not None and entry.family in open_families:
                lacking.append(species)
        return tuple(lacking)

    def hess(self, numbers: Mapping[Species, Fraction]) -> tuple[float, float, str]:
        """Σ ν Δ_fH° [kJ/mol], its u with the entries taken as independent, and their letters."""
        total, variance, letters = 0.0, 0.0, set()
        for species, number in numbers.items():
            entry = self.get(species)
            if entry is None:
                raise KeyError(str(species))
            total += float(number) * entry.value
            variance += (float(number) * entry.u) ** 2
            if entry.note != "zero by convention":
                letters.add(entry.letter)
        return total, sqrt(variance), "".join(sorted(letters))


@lru_cache(maxsize=1)
def codata() -> FormationSet:
    """The CODATA key values. Their ± is taken as twice the standard uncertainty (from memory)."""
    values = {
        (canonical(f), state, charge): Formation(value, limit / 2, letter)
        for f, state, charge, value, limit, letter in CODATA_ROWS
    }
    return FormationSet("CODATA", "CODATA Key Values (1989)", MappingProxyType(values))


@lru_cache(maxsize=1)
def nbs() -> FormationSet:
    """The NBS/CRC set. Where CODATA also has a value, half their difference widens u."""
    values: dict[Key, Formation] = {}
    for formula, state, charge, value in _shipped_rows():
        key = canonical(formula), state, charge
        values[key] = Formation(value, _TABLES_DIFFER.get(key, U_NBS), "L")
    for formula, state, charge, value, u, letter, note in NBS_EXTRA_ROWS:
        values[canonical(formula), state, charge] = Formation(value, u, letter, note)
    held = {member.family for key, member in members().items() if key in values}
    for key, member in members().items():
        if member.family not in held:
            values[key] = Formation(member.dH, member.u_dH, "M", SOURCE, member.family)
    for key, key_value in codata().values.items():
        own = values.get(key)
        if own is not None:
            u = hypot(own.u, (own.value - key_value.value) / 2)
            values[key] = Formation(own.value, u, own.letter, own.note)
    return FormationSet(
        "NBS", "NBS tables (1982) as the CRC Handbook gives them", MappingProxyType(values)
    )


@lru_cache(maxsize=1)
def ionization() -> FormationSet:
    """CODATA with the measured enthalpies of ionization of weak acids, relative within a family."""
    values = dict(codata().values)
    for key, member in members().items():
        values[key] = Formation(member.dH, member.u_dH, "M", "", member.family)
    title = f"CODATA Key Values (1989) with the {SOURCE.removesuffix(' (from memory)')}"
    return FormationSet("IONIZATION", title, MappingProxyType(values))


def _shipped_rows() -> list[tuple[str, str, int, float]]:
    rows = []
    for cells in data_rows("formation_nbs"):
        rows.append((cells[0], cells[1], int(cells[2]), float(cells[3])))
    return rows


def sets() -> tuple[FormationSet, ...]:
    """The sets in order of preference."""
    return codata(), nbs(), ionization()
