"""A metal into acid or a salt solution, and two salt solutions: activity series and solubility.

Each rule takes the two species in one order and answers ``None`` where it does not apply.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from math import lcm

from calib.errors import ReactionError
from calib.reactions.activity import ATTACKS_WATER, OXIDISING_ACIDS, SERIES, displaces
from calib.reactions.equation import Equation, Species, Term, balanced, tidy, whole_numbers
from calib.reactions.ions import ACIDS, METALS, Salt, formula_of, is_soluble, salt_of
from calib.reactions.notation import canonical

WATER = Species("H2O", "l")


def metal_and_acid(metal: Species, acid: Species) -> Equation | None:
    """Metal into a non-oxidising acid: hydrogen, and the salt of the metal's usual ion."""
    name, acid_name = canonical(metal.formula), canonical(acid.formula)
    if name not in METALS or acid_name not in ACIDS or metal.state != "s":
        return None
    if acid_name in OXIDISING_ACIDS:
        return None
    may = displaces(name, "H")
    if may is None:
        return None
    if not may:
        raise ReactionError(
            f"{metal.formula} stands below hydrogen in the activity series: what it does in {acid} "
            f"is not told by rule. For its specific heat, put it into water; else give the equation"
        )
    charge = SERIES[name].charge
    anion, protons = ACIDS[acid_name]
    common = lcm(charge, protons)
    salt = Species(formula_of(name, charge, anion, -protons), "aq")
    per_salt = lcm(charge, protons) // charge
    metals, acids = common // charge, common // protons
    products: tuple[Term, ...] = (
        (tidy(Fraction(metals, per_salt)), salt),
        (tidy(Fraction(common, 2)), Species("H2", "g")),
    )
    return whole_numbers(Equation(((metals, metal), (acids, acid)), products))


def metal_and_salt(metal: Species, solution: Species) -> Equation | None:
    """Metal into a solution of a less active metal's salt: the other metal comes out."""
    name, salt = canonical(metal.formula), salt_of(solution.formula)
    if name not in METALS or salt is None or metal.state != "s" or solution.state != "aq":
        return None
    if len(salt.cations) != 1 or name in ATTACKS_WATER:
        return None
    (cation, charge, count), (anion, negative, _) = salt.cations[0], salt.anions[0]
    may = displaces(name, cation)
    if may is None or cation == "H":
        return None
    if not may:
        raise ReactionError(
            f"{metal.formula} does not displace {cation} (activity series); what else it does in "
            f"{solution} is not told by rule; check in_cup and added, or give the equation"
        )
    own = SERIES[name].charge
    product = formula_of(name, own, anion, negative)
    made = salt_of(product)
    if made is None:
        return None
    shared = lcm(own, charge)
    metals, ions = shared // own, shared // charge
    left: tuple[Term, ...] = ((metals, metal), (tidy(Fraction(ions, count)), solution))
    per = made.cations[0][2]
    right: tuple[Term, ...] = (
        (tidy(Fraction(metals, per)), Species(product, "aq")),
        (ions, Species(cation, "s")),
    )
    return whole_numbers(Equation(left, right))


def two_salts(first: Species, second: Species) -> Equation | None:
    """Two dissolved salts: what does not stay dissolved falls; ammonia is set free by a base."""
    one, two = salt_of(first.formula), salt_of(second.formula)
    if one is None or two is None or first.state != "aq" or second.state != "aq":
        return None
    if len(one.cations) != 1 or len(two.cations) != 1:
        return None
    pairs = ((one, two), (two, one))
    solid = [_pair(a, b) for a, b in pairs]
    if not any(state == "s" for _, state in solid):
        return _ammonia_set_free(first, one, second, two)
    return _exchange(first, one, second, two, solid)


def _pair(a: Salt, b: Salt) -> tuple[str, str]:
    (cation, charge, _), (anion, negative, _) = a.cations[0], b.anions[0]
    state = "aq" if is_soluble(cation, charge, anion) else "s"
    return formula_of(cation, charge, anion, negative), state


def _exchange(
    first: Species, one: Salt, second: Species, two: Salt, made: Iterable[tuple[str, str]]
) -> Equation | None:
    if one.anions[0][0] == two.anions[0][0] or one.cations[0][0] == two.cations[0][0]:
        return None
    products = tuple((1, Species(formula, state)) for formula, state in made)
    return balanced(Equation(((1, first), (1, second)), products))


def _ammonia_set_free(first: Species, one: Salt, second: Species, two: Salt) -> Equation | None:
    """An ammonium salt with a strong base."""
    if one.cations[0][0] == "NH4" and two.anions[0][0] == "OH":
        formula, state = _pair(two, one)
        products = ((1, Species(formula, state)), (1, Species("NH3", "aq")), (1, WATER))
        return balanced(Equation(((1, first), (1, second)), products))
    if two.cations[0][0] == "NH4" and one.anions[0][0] == "OH":
        return None
    soluble = f"{_pair(one, two)[0]} and {_pair(two, one)[0]} stay dissolved"
    raise ReactionError(
        f"{first} and {second} give no precipitate ({soluble}); what else they do is not told by "
        "rule; give the equation in the column reaction if one is meant, e.g. "
        "AgNO3(aq) + NaCl(aq) -> AgCl(s) + NaNO3(aq)"
    )
