"""Acid with base, to completion: strong, weak, polyprotic; hydroxides, oxides, carbonates.

Each rule takes the two species in one order and answers ``None`` where it does not apply.
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm

from calib.reactions.equation import Equation, Species, Term, balanced, tidy
from calib.reactions.ions import (
    ACID_SALTS,
    ACIDS,
    ANIONS,
    STRONG,
    WEAK_BASES,
    Salt,
    formula_of,
    is_soluble,
    salt_of,
    split_hydrate,
)
from calib.reactions.notation import canonical

WATER = Species("H2O", "l")


def acid_and_base(acid: Species, base: Species) -> Equation | None:
    """Acid (or acid salt) and base, every proton given up; carbonates give off their gas."""
    protons = _protons(acid)
    if protons is None:
        return None
    salt = salt_of(base.formula)
    name = canonical(base.formula)
    if name in WEAK_BASES:
        return _with_weak_base(acid, base, *protons, WEAK_BASES[name])
    if salt is None or salt.anions[0][0] not in {"OH", "O", "CO3", "HCO3", "SO3", "HSO3"}:
        return None
    if protons[0] in {"CO3", "SO3"} and salt.anions[0][0] != "OH":
        return None
    return _neutralize(acid, protons, base, salt)


def _protons(acid: Species) -> tuple[str, int, tuple[tuple[str, int, int], ...]] | None:
    """Anion left, protons given up, and the cations an acid salt already holds."""
    name, _ = split_hydrate(acid.formula)
    if name in ACIDS and acid.state != "g":
        anion, count = ACIDS[name]
        return anion, count, ()
    salt = salt_of(name)
    if salt is not None and salt.anions[0][0] in ACID_SALTS:
        anion, count = ACID_SALTS[salt.anions[0][0]]
        return anion, count, salt.cations
    return None


def _neutralize(
    acid: Species,
    protons: tuple[str, int, tuple[tuple[str, int, int], ...]],
    base: Species,
    salt: Salt,
) -> Equation:
    anion, n_acid, held = protons
    kind, _, kind_count = salt.anions[0]
    takes = {"OH": 1, "O": 2, "CO3": 2, "HCO3": 1, "SO3": 2, "HSO3": 1}[kind] * kind_count
    common = lcm(n_acid, takes)
    acids, bases = common // n_acid, common // takes
    products: list[Term] = _salts_formed(anion, n_acid, acids, held, salt.cations, bases)
    crystal = _crystal(acid) * acids + _crystal(base) * bases
    water = {"OH": 1, "O": 1, "CO3": 1, "HCO3": 1, "SO3": 1, "HSO3": 1}[kind] * kind_count * bases
    gas = {"CO3": "CO2", "HCO3": "CO2", "SO3": "SO2", "HSO3": "SO2"}.get(kind)
    if gas:
        products.append((kind_count * bases, Species(gas, "g")))
    products.append((tidy(water + crystal), WATER))
    return Equation(((acids, acid), (bases, base)), tuple(products))


def _salts_formed(
    anion: str,
    n_acid: int,
    acids: int,
    held: tuple[tuple[str, int, int], ...],
    cations: tuple[tuple[str, int, int], ...],
    bases: int,
) -> list[Term]:
    """One salt where one cation is there, K and Na sharing one too; else the ions."""
    charge = -ANIONS[anion]
    kinds: dict[tuple[str, int], int] = {}
    for cation, q, count in held:
        kinds[cation, q] = kinds.get((cation, q), 0) + count * acids
    for cation, q, count in cations:
        kinds[cation, q] = kinds.get((cation, q), 0) + count * bases
    if len(kinds) == 1:
        ((cation, q),) = kinds
        formula = formula_of(cation, q, anion, -charge)
        per_salt = lcm(q, charge) // q
        state = "aq" if is_soluble(cation, q, anion) else "s"
        return [(tidy(Fraction(kinds[cation, q], per_salt)), Species(formula, state))]
    singles = [cation for (cation, q), n in kinds.items() if q == 1 and n == acids]
    if len(singles) == len(kinds) == charge:
        return [(acids, Species("".join(singles) + anion, "aq"))]
    ions: list[Term] = [(n, Species(c, "aq", q)) for (c, q), n in kinds.items()]
    return [*ions, (acids, Species(anion, "aq", -charge))]


def _crystal(species: Species) -> Fraction:
    return split_hydrate(species.formula)[1]


def _with_weak_base(
    acid: Species,
    base: Species,
    anion: str,
    count: int,
    held: tuple[tuple[str, int, int], ...],
    cation: str,
) -> Equation | None:
    name = canonical(acid.formula)
    if held or (count == 3 and name == "H3PO4"):
        return None
    salt = Species(formula_of(cation, 1, anion, -count), "aq")
    water = _crystal(acid)
    products: tuple[Term, ...] = ((1, salt),)
    if water:
        products += ((tidy(water), WATER),)
    return Equation(((1, acid), (count, base)), products)


def weak_acid_set_free(acid: Species, salt_species: Species) -> Equation | None:
    """A strong acid with the salt of a weak one; or an acid that precipitates (HCl and AgNO3)."""
    name, salt = canonical(acid.formula), salt_of(salt_species.formula)
    if name not in STRONG or salt is None or len(salt.cations) != 1:
        return None
    (cation, charge, _), (anion, _, _) = salt.cations[0], salt.anions[0]
    own, protons = STRONG[name]
    product = formula_of(cation, charge, own, -protons)
    weak = next((a for a, (left, _) in ACIDS.items() if left == anion and a not in STRONG), None)
    strong = next((a for a, (left, _) in STRONG.items() if left == anion), None)
    falls = not is_soluble(cation, charge, own)
    if weak is None and not (falls and strong):
        return None
    products = (
        (1, Species(product, "s" if falls else "aq")),
        (1, Species(weak or strong or "", "aq")),
    )
    return balanced(Equation(((1, acid), (1, salt_species)), products))
