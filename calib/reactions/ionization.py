"""Enthalpies and heat capacities of ionization of weak acids, 25 °C, zero ionic strength.

R. N. Goldberg, N. Kishore, R. M. Lennen, J. Phys. Chem. Ref. Data 31 (2002) 231. From memory (M),
but for the second step of phosphoric acid (F: quoted in a public file); u is ours.

A neutralization needs no formation enthalpy of the acid's anion: within one acid's family only
differences count, so each member is given relative to the family's first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

Key = tuple[str, str, int]
SOURCE = "ionization enthalpies of Goldberg, Kishore & Lennen (2002) (from memory)"
U_H, U_CP = 0.2, 20.0


@dataclass(frozen=True, slots=True)
class Member:
    """One member of a family: ΔH [kJ/mol] and ΔCp [J/(mol K)] from the family's first member."""

    family: str
    dH: float
    u_dH: float
    dCp: float
    u_dCp: float


# family: members from the most protonated on; (ΔH, ΔCp) of each step that gives up one H+
_CHAINS: dict[str, tuple[tuple[Key, ...], tuple[tuple[float, float], ...]]] = {
    "acetic acid": ((("CH3COOH", "aq", 0), ("CH3COO", "aq", -1)), ((-0.41, -142.0),)),
    "ammonia": ((("NH4", "aq", 1), ("NH3", "aq", 0)), ((51.95, 8.0),)),
    "TRIS": ((("C4H12NO3", "aq", 1), ("C4H11NO3", "aq", 0)), ((47.45, -59.0),)),
    "phosphoric acid": (
        (("H3PO4", "aq", 0), ("H2PO4", "aq", -1), ("HPO4", "aq", -2), ("PO4", "aq", -3)),
        ((-8.0, -141.0), (3.6, -230.0), (16.0, -242.0)),
    ),
    "citric acid": (
        (
            ("H3C6H5O7", "aq", 0),
            ("H2C6H5O7", "aq", -1),
            ("HC6H5O7", "aq", -2),
            ("C6H5O7", "aq", -3),
        ),
        ((4.07, -131.0), (2.23, -178.0), (-3.38, -254.0)),
    ),
    "phthalic acid": ((("HC8H4O4", "aq", -1), ("C8H4O4", "aq", -2)), ((-2.17, -295.0),)),
    "oxalic acid": (
        (("H2C2O4", "aq", 0), ("HC2O4", "aq", -1), ("C2O4", "aq", -2)),
        ((-3.9, -231.0), (-7.0, -231.0)),
    ),
    "tartaric acid": (
        (("C4H6O6", "aq", 0), ("HC4H4O6", "aq", -1), ("C4H4O6", "aq", -2)),
        ((3.19, -147.0), (0.93, -218.0)),
    ),
}


@lru_cache(maxsize=1)
def members() -> dict[Key, Member]:
    """Every species of every family."""
    found: dict[Key, Member] = {}
    for family, (chain, steps) in _CHAINS.items():
        dH, dCp = 0.0, 0.0
        found[chain[0]] = Member(family, 0.0, 0.0, 0.0, 0.0)
        for number, (key, (h, cp)) in enumerate(zip(chain[1:], steps, strict=True), start=1):
            dH, dCp = dH + h, dCp + cp
            found[key] = Member(family, dH, U_H * number**0.5, dCp, U_CP * number**0.5)
    return found
