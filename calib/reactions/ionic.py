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
