"""Which metal displaces which: the activity series, by standard electrode potentials.

Potentials E° [V] of M^z+ + z e- -> M at 25 °C are rounded textbook values (from memory); only
their order is used. The charge is that of the ion formed in a dilute acid or salt solution.
"""

from __future__ import annotations

from typing import NamedTuple


class Couple(NamedTuple):
    """A metal's ion in water: its charge and E° [V]."""

    charge: int
    potential_V: float


SERIES: dict[str, Couple] = {
    "Li": Couple(1, -3.04), "K": Couple(1, -2.93), "Ba": Couple(2, -2.91), "Sr": Couple(2, -2.90),
    "Ca": Couple(2, -2.87), "Na": Couple(1, -2.71), "Mg": Couple(2, -2.37), "Al": Couple(3, -1.66),
    "Mn": Couple(2, -1.19), "Zn": Couple(2, -0.76), "Cr": Couple(3, -0.74), "Fe": Couple(2, -0.44),
    "Cd": Couple(2, -0.40), "Co": Couple(2, -0.28), "Ni": Couple(2, -0.26), "Sn": Couple(2, -0.14),
    "Pb": Couple(2, -0.13), "H": Couple(1, 0.00), "Cu": Couple(2, 0.34), "Ag": Couple(1, 0.80),
    "Hg": Couple(2, 0.85), "Au": Couple(3, 1.50),
}  # fmt: skip

ATTACKS_WATER = frozenset({"Li", "K", "Ba", "Sr", "Ca", "Na"})
"""Metals that react with cold water at once."""

OXIDISING_ACIDS = frozenset({"HNO3", "HClO3", "HClO4"})
"""Acids that give other gases than hydrogen with a metal: the equation has to be given."""


def displaces(metal: str, other: str) -> bool | None:
    """Whether ``metal`` displaces ``other`` (``H`` for hydrogen); ``None`` where one is not listed.

    >>> displaces("Zn", "Cu"), displaces("Cu", "H")
    (True, False)
    """
    if metal not in SERIES or other not in SERIES:
        return None
    return SERIES[metal].potential_V < SERIES[other].potential_V
