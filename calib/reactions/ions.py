"""What a substance is once it is in water: ions, a weak acid as such, or a solid that stays.

Strengths and solubilities are the rules of general chemistry (common practice, no source); they
decide only how an equation is written, never a number.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import combinations, product
from math import lcm
from typing import TYPE_CHECKING

from calib.reactions.notation import HYDRATE_DOT, atoms, canonical

if TYPE_CHECKING:
    from calib.reactions.equation import Equation, Species

CATIONS: dict[str, tuple[int, ...]] = {
    **dict.fromkeys(("H", "Li", "Na", "K", "Rb", "Cs", "Ag", "NH4"), (1,)),
    **dict.fromkeys(("Mg", "Ca", "Sr", "Ba", "Zn", "Cd", "Ni", "Mn", "Be"), (2,)),
    **dict.fromkeys(("Al", "Sc", "La"), (3,)),
    "Cu": (2, 1), "Fe": (2, 3), "Co": (2, 3), "Sn": (2, 4), "Pb": (2,), "Cr": (3, 2),
    "Hg": (2,), "Hg2": (2,), "Ce": (3, 4), "H3O": (1,), "C4H12NO3": (1,),
}  # fmt: skip
ANIONS: dict[str, int] = {
    **dict.fromkeys(
        ("OH", "F", "Cl", "Br", "I", "NO3", "NO2", "CN", "SCN", "ClO", "ClO2", "ClO3", "ClO4",
         "BrO3", "IO3", "IO4", "MnO4", "HCO3", "HSO4", "HSO3", "H2PO4", "CH3COO", "HCOO", "HC2O4",
         "HC8H4O4", "H2C6H5O7", "I3", "C6H7O6", "HC4H4O6", "HS", "Al(OH)4"), -1),
    **dict.fromkeys(
        ("SO4", "CO3", "SO3", "S2O3", "S2O8", "S", "O", "C2O4", "CrO4", "Cr2O7", "HPO4",
         "C8H4O4", "HC6H5O7", "C4H4O6"), -2),
    **dict.fromkeys(("PO4", "C6H5O7"), -3),
}  # fmt: skip

STRONG = {"HCl": ("Cl", 1), "HBr": ("Br", 1), "HI": ("I", 1), "HNO3": ("NO3", 1),
          "HClO4": ("ClO4", 1), "HClO3": ("ClO3", 1), "H2SO4": ("SO4", 2)}  # fmt: skip
# acid -> (anion left when neutralized to completion, protons given up)
ACIDS = {
    "HCl": ("Cl", 1), "HBr": ("Br", 1), "HI": ("I", 1), "HNO3": ("NO3", 1), "HClO4": ("ClO4", 1),
    "HClO3": ("ClO3", 1), "H2SO4": ("SO4", 2), "HF": ("F", 1), "HNO2": ("NO2", 1),
    "HClO": ("ClO", 1), "HCN": ("CN", 1), "CH3COOH": ("CH3COO", 1), "HCOOH": ("HCOO", 1),
    "H2C2O4": ("C2O4", 2), "H3PO4": ("PO4", 3), "H2CO3": ("CO3", 2), "H2SO3": ("SO3", 2),
    "H3C6H5O7": ("C6H5O7", 3), "C4H6O6": ("C4H4O6", 2), "C6H8O6": ("C6H7O6", 1),
}  # fmt: skip
ACID_SALTS = {"HSO4": ("SO4", 1), "HC8H4O4": ("C8H4O4", 1), "HSO3": ("SO3", 1),
              "H2PO4": ("PO4", 2), "HC2O4": ("C2O4", 1), "HPO4": ("PO4", 1),
              "HCO3": ("CO3", 1)}  # fmt: skip
WEAK_BASES = {"NH3": "NH4", "C4H11NO3": "C4H12NO3"}
_NOT_SALTS = frozenset({"CO(NH2)2", "H2O", "SC(NH2)2", "CS(NH2)2", "H2O2", "C4H11NO3"})
_DOUBLE = {
    "KAl(SO4)2": ("K", "Al", "SO4"), "NH4Al(SO4)2": ("NH4", "Al", "SO4"),
    "NaAl(SO4)2": ("Na", "Al", "SO4"), "KCr(SO4)2": ("K", "Cr", "SO4"),
    "NH4Fe(SO4)2": ("NH4", "Fe+3", "SO4"), "(NH4)2Fe(SO4)2": ("NH4", "Fe", "SO4"),
}  # fmt: skip
DIATOMIC_GASES = frozenset({"H2", "N2", "O2", "F2", "Cl2"})
_GASES = DIATOMIC_GASES | {"CO2", "CO", "SO2", "NO", "NO2", "H2S"}
_LIQUIDS = frozenset({"H2O", "Br2", "Hg", "C2H5OH", "CH3OH"})
_METAL_SYMBOLS = (
    "Li Na K Rb Cs Be Mg Ca Sr Ba Al Ti V Cr Mn Fe Co Ni Cu Zn Ga Zr Mo Ru Rh Pd Ag Cd In Sn "
    "Sb La Ce W Re Os Ir Pt Au Tl Pb Bi U Hg"
)
METALS = frozenset(_METAL_SYMBOLS.split())


@dataclass(frozen=True, slots=True)
class Salt:
    """Cations and anions in one formula unit: each ``(formula, charge, count)``."""

    cations: tuple[tuple[str, int, int], ...]
    anions: tuple[tuple[str, int, int], ...]
    water: Fraction = Fraction(0)

    @property
    def ions(self) -> tuple[tuple[str, int, int], ...]:
        """Cations, then anions."""
        return self.cations + self.anions


def is_known_ion(formula: str, charge: int) -> bool:
    """Whether the tables hold this ion; settles readings such as SO42- and NO3-."""
    name = canonical(formula)
    return ANIONS.get(name) == charge or charge in CATIONS.get(name, ())


def formula_of(cation: str, cation_charge: int, anion: str, anion_charge: int) -> str:
    """The formula of the salt of two ions: ``(NH4)2SO4``, ``NaCH3COO``, ``Mg(NO3)2``."""
    common = lcm(cation_charge, -anion_charge)
    many = common // cation_charge, common // -anion_charge
    return _with_count(cation, many[0]) + _with_count(anion, many[1])


def _with_count(ion: str, count: int) -> str:
    if count == 1:
        return ion
    single = re.fullmatch(r"[A-Z][a-z]?", ion) is not None
    return f"{ion}{count}" if single else f"({ion}){count}"


def split_hydrate(formula: str) -> tuple[str, Fraction]:
    """The salt without its crystal water, and how many H2O it holds: CuSO4·5H2O -> CuSO4, 5."""
    head, dot, water = canonical(formula).partition(HYDRATE_DOT)
    if not dot:
        return head, Fraction(0)
    found = re.fullmatch(r"(\d+/\d+|\d+(?:\.\d+)?)?H2O", water)
    return (head, Fraction(found.group(1) or 1)) if found else (formula, Fraction(0))


@lru_cache(maxsize=1)
def _salts_by_atoms() -> dict[frozenset[tuple[str, Fraction]], Salt]:
    table: dict[frozenset[tuple[str, Fraction]], Salt] = {}
    for (cation, charges), (anion, negative) in product(CATIONS.items(), ANIONS.items()):
        if cation in {"H", "H3O"}:
            continue
        for positive in charges:
            common = lcm(positive, -negative)
            counts = common // positive, common // -negative
            salt = Salt(((cation, positive, counts[0]),), ((anion, negative, counts[1]),))
            table.setdefault(_atom_set(salt), salt)
    for (first, second), anion in product(combinations(("Li", "Na", "K", "NH4"), 2), ANIONS):
        if ANIONS[anion] == -2 and anion != "O":
            salt = Salt(((first, 1, 1), (second, 1, 1)), ((anion, -2, 1),))
            table.setdefault(_atom_set(salt), salt)
    return table


def _atom_set(salt: Salt) -> frozenset[tuple[str, Fraction]]:
    total: dict[str, Fraction] = {}
    for ion, _, count in salt.ions:
        for element, n in atoms(ion).items():
            total[element] = total.get(element, Fraction(0)) + count * n
    return frozenset(total.items())


@lru_cache(maxsize=2048)
def salt_of(formula: str) -> Salt | None:
    """The ions of a salt, hydroxide, oxide or hydrate; ``None`` for what is no salt.

    >>> salt_of("(NH4)2SO4").ions
    (('NH4', 1, 2), ('SO4', -2, 1))
    """
    head, water = split_hydrate(formula)
    if head in _NOT_SALTS or head in ACIDS:
        return None
    if head in _DOUBLE:
        found: Salt | None = _double_salt(head)
    else:
        found = _salts_by_atoms().get(frozenset(atoms(head).items()))
    return Salt(found.cations, found.anions, water) if found else None


def _double_salt(head: str) -> Salt:
    first, second, anion = _DOUBLE[head]
    name, _, given = second.partition("+")
    charge = int(given or CATIONS[name][0])
    marker = next(e for e in atoms(first) if e not in atoms(anion) and e not in atoms(name))
    size = int(atoms(head)[marker] / atoms(first)[marker])
    many = (size + charge) // -ANIONS[anion]
    return Salt(((first, 1, size), (name, charge, 1)), ((anion, ANIONS[anion], many),))


_ALWAYS_CATIONS = frozenset({"Li", "Na", "K", "Rb", "Cs", "NH4", "H", "H3O", "C4H12NO3"})
_ALWAYS_ANIONS = frozenset(
    {"NO3", "ClO3", "ClO4", "CH3COO", "NO2", "MnO4", "HCO3", "HSO4", "HCOO", "H2PO4"}
)
_HALIDE_EXCEPTIONS = frozenset({"Ag", "Pb", "Hg2", "Cu+1"})
_MOSTLY_SOLUBLE: dict[str, frozenset[str]] = {
    **dict.fromkeys(("Cl", "Br", "I", "SCN"), _HALIDE_EXCEPTIONS),
    "SO4": frozenset({"Ba", "Sr", "Pb", "Hg2", "Ca", "Ag"}),
    "F": frozenset({"Mg", "Ca", "Sr", "Ba", "Pb"}),
    **dict.fromkeys(("S2O3", "S2O8", "Cr2O7", "Al(OH)4"), frozenset({"Ag", "Pb", "Ba"})),
}


def is_soluble(cation: str, charge: int, anion: str) -> bool:
    """The usual solubility rules of general chemistry (common practice, no source)."""
    if cation in _ALWAYS_CATIONS or anion in _ALWAYS_ANIONS:
        return True
    if anion == "OH":
        return cation in {"Ba", "Sr", "Ca"}
    exceptions = _MOSTLY_SOLUBLE.get(anion)
    return exceptions is not None and not {cation, f"{cation}+{charge}"} & exceptions


def salt_is_soluble(formula: str) -> bool | None:
    """Whether the salt dissolves by the rules; ``None`` for what is no salt."""
    salt = salt_of(formula)
    if salt is None:
        return None
    return all(is_soluble(c, q, a) for c, q, _ in salt.cations for a, _, _ in salt.anions)


def in_water(species: Species) -> tuple[tuple[Fraction, Species], ...]:
    """How a dissolved species exists: its ions, or itself where it is weak, neutral or no solute.

    Strong acids, bases and soluble salts come apart; weak acids, ammonia and molecules stay whole.
    H2SO4 is taken as 2 H+ and SO4^2-, its standard state at infinite dilution; what HSO4- does at a
    run's concentration is in ``concentration.py``.
    """
    from calib.reactions.equation import Species

    one = ((Fraction(1), species),)
    if species.state != "aq" or species.charge:
        return one
    head, water = split_hydrate(species.formula)
    if head in STRONG:
        anion, protons = STRONG[head]
        return ((Fraction(protons), Species("H", "aq", 1)),
                (Fraction(1), Species(anion, "aq", -protons)))  # fmt: skip
    salt = salt_of(head)
    if salt is None:
        return ((Fraction(1), Species(canonical(species.formula), "aq")),)
    parts = tuple((Fraction(n), Species(ion, "aq", charge)) for ion, charge, n in salt.ions)
    return parts + (((water, Species("H2O", "l")),) if water else ())


def assume_states(equation: Equation) -> Equation:
    """Fill in states that were left out where only one can be meant; say which."""
    from calib.reactions.equation import Equation

    assumed: list[str] = []
    watery = _in_solution(equation)

    def fill(
        side: tuple[tuple[int | Fraction, Species], ...], *, products: bool
    ) -> tuple[tuple[int | Fraction, Species], ...]:
        filled = []
        for coefficient, species in side:
            state = species.state or _state_of(species, equation, watery=watery, product=products)
            if state and not species.state:
                named = type(species)(species.formula, state, species.charge)
                assumed.append(f"{named}: state assumed")
                filled.append((coefficient, named))
            else:
                filled.append((coefficient, species))
        return tuple(filled)

    left, right = fill(equation.reactants, products=False), fill(equation.products, products=True)
    return Equation(left, right, tuple(dict.fromkeys(assumed)))


def _in_solution(equation: Equation) -> bool:
    return any(
        s.charge or s.state == "aq" or canonical(s.formula) in ACIDS for s in equation.species
    )


def _state_of(species: Species, equation: Equation, *, watery: bool, product: bool) -> str:
    name = canonical(species.formula)
    fixed = {
        "aq": species.charge != 0,
        "l": name in _LIQUIDS,
        "g": name in _GASES,
        "s": name in METALS or HYDRATE_DOT in name or name in {"I2", "S", "C"},
    }
    for state, holds in fixed.items():
        if holds:
            return state
    soluble = salt_is_soluble(name)
    if soluble is False or (soluble and not product and _comes_apart(species, equation)):
        return "s"
    dissolves = soluble or name in ACIDS or name == "NH3"
    return "aq" if dissolves and watery else ""


def _comes_apart(species: Species, equation: Equation) -> bool:
    """A lone salt whose own ions are the products: the crystal is meant."""
    return len(equation.reactants) == 1 and all(s.charge for _, s in equation.products)
