"""From the molecular equation to the net ionic one: what really happens in the water."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from calib.reactions.equation import Equation, Species, tidy
from calib.reactions.ions import in_water


def net_numbers(equation: Equation) -> dict[Species, Fraction]:
    """Signed numbers of the net ionic reaction, spectators gone; H3O+ counts as H+ and H2O."""
    return dict(_net_numbers(equation))


@lru_cache(maxsize=1024)
def _net_numbers(equation: Equation) -> tuple[tuple[Species, Fraction], ...]:
    numbers: dict[Species, Fraction] = {}
    for species, number in equation.net().items():
        for count, part in in_water(species):
            for n, piece in _without_hydronium(part):
                numbers[piece] = numbers.get(piece, Fraction(0)) + number * count * n
    return tuple((species, number) for species, number in numbers.items() if number)


def _without_hydronium(species: Species) -> tuple[tuple[int, Species], ...]:
    if species.formula == "H3O" and species.charge == 1:
        return (1, Species("H", "aq", 1)), (1, Species("H2O", "l"))
    return ((1, species),)


def net_ionic(equation: Equation) -> Equation:
    """The net ionic equation with its spectators left out.

    >>> from calib.reactions.equation import parse_equation
    >>> str(net_ionic(parse_equation("HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)")))
    'H+(aq) + OH-(aq) -> H2O(l)'
    """
    numbers = net_numbers(equation)
    if not numbers:
        return equation
    left = tuple((tidy(-n), s) for s, n in numbers.items() if n < 0)
    right = tuple((tidy(n), s) for s, n in numbers.items() if n > 0)
    return Equation(left, right)


def with_bare_protons(equation: Equation) -> Equation:
    """The same reaction with every H3O+ written as H+ and H2O, so that amounts of acid fit it.

    >>> from calib.reactions.equation import parse_equation
    >>> str(with_bare_protons(parse_equation("H3O+ + OH- -> 2 H2O")))
    'H+(aq) + OH-(aq) -> H2O(l)'
    """
    if not any(s.formula == "H3O" and s.charge == 1 for s in equation.species):
        return equation
    numbers: dict[Species, Fraction] = {}
    for species, number in equation.net().items():
        for count, piece in _without_hydronium(species):
            numbers[piece] = numbers.get(piece, Fraction(0)) + number * count
    left = tuple((tidy(-n), s) for s, n in numbers.items() if n < 0)
    right = tuple((tidy(n), s) for s, n in numbers.items() if n > 0)
    said = "H3O+ is counted as H+ and H2O"
    return Equation(left, right, (*equation.assumed, said))


def same_reaction(one: Equation, other: Equation) -> Fraction | None:
    """How many times ``other`` makes ``one``, both as net ionic reactions; ``None``: never."""
    numbers, own = net_numbers(one), net_numbers(other)
    if not own or set(numbers) != set(own):
        return None
    factors = {numbers[s] / own[s] for s in own}
    factor = factors.pop()
    return factor if not factors and factor > 0 else None
