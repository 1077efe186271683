"""How far a reaction goes: the extent, what limits it, and what is left in the cup.

    ξ_max = min over reactants of n_i / |ν_i|,      n_i(end) = n_i + ν_i ξ

Water is the solvent: it takes part, but never limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calib.errors import ReactionError
from calib.reactions.equation import Equation, Species

EQUAL_WITHIN = 1e-9
"""Reactants whose n/ν agree within this fraction limit together."""


@dataclass(frozen=True, slots=True)
class Extent:
    """Result of ``react``. Amounts in mol; ``left`` holds what was brought and remains."""

    extent_mol: float
    limiting: Species
    left: dict[Species, float]
    formed: dict[Species, float]
    limited_by: tuple[Species, ...] = ()

    @property
    def both(self) -> bool:
        """Whether two or more reactants run out together."""
        return len(self.limited_by) > 1

    @property
    def limiting_text(self) -> str:
        """The limiting reactant, or ``both`` where they are equal."""
        return "both" if self.both else str(self.limiting)

    @property
    def contents(self) -> dict[Species, float]:
        """Everything in the cup afterwards [mol]."""
        total = dict(self.left)
        for species, amount in self.formed.items():
            total[species] = total.get(species, 0.0) + amount
        return {species: amount for species, amount in total.items() if amount > 0.0}


def is_solvent(species: Species) -> bool:
    """Liquid water."""
    return species.formula == "H2O" and species.state in {"l", ""} and species.charge == 0


def react(
    equation: Equation, amounts_mol: Mapping[Species, float], *, fraction: float = 1.0
) -> Extent:
    """Extent of ``equation`` when it goes as far as its reactants allow.

    ``amounts_mol`` holds what was put together [mol]; what takes no part stays as it is. Other
    spellings of a formula, and a state that was left out, are matched to the equation's own
    species. ``fraction`` of the possible extent is taken (1: to completion). Water need not be
    given; where it is, the solvent that reacts is taken off.

    Raises ``ReactionError`` when a reactant's amount is missing or negative, or when less water
    was given than the reaction uses.
    """
    own = _matched(equation, amounts_mol)
    numbers = equation.net()
    reactants = [s for s, number in numbers.items() if number < 0 and not is_solvent(s)]
    missing = [str(s) for s in reactants if s not in own]
    if missing:
        raise ReactionError(
            f"{equation} needs the amount of {' and '.join(missing)}; "
            f"given were {', '.join(map(str, amounts_mol)) or 'none'}"
        )
    if not reactants:
        raise ReactionError(f"in {equation} nothing but water reacts; name what limits it")
    reach = {s: own[s] / float(-numbers[s]) for s in reactants}
    extent = min(reach.values())
    limited_by = tuple(
        s for s, x in reach.items() if x - extent <= EQUAL_WITHIN * max(extent, 1e-30)
    )
    extent *= fraction
    left, formed = dict(own), {}
    for species, number in numbers.items():
        change = float(number) * extent
        if number > 0:
            formed[species] = change
        elif species in left:
            left[species] = _remaining(species, left[species], change, limited_by, fraction)
    return Extent(extent, limited_by[0], left, formed, limited_by)


def _matched(equation: Equation, amounts_mol: Mapping[Species, float]) -> dict[Species, float]:
    own: dict[Species, float] = {}
    for species, amount in amounts_mol.items():
        if not amount >= 0.0:
            raise ReactionError(f"the amount of {species} is {amount:g} mol; expected 0 or more")
        member = equation.find(species) or species
        own[member] = own.get(member, 0.0) + float(amount)
    return own


def _remaining(
    species: Species,
    brought: float,
    change: float,
    limited_by: tuple[Species, ...],
    fraction: float,
) -> float:
    if species in limited_by and fraction == 1.0:
        return 0.0
    rest = brought + change
    if rest < 0.0:
        raise ReactionError(
            f"the reaction would use {-change:.4g} mol of water but only {brought:.4g} mol is there"
        )
    return rest
