"""Specific heat capacities of solids."""

from __future__ import annotations

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.substances.formula import elements, molar_mass, normalise

_KOPP = {"H": 9.6, "B": 11.3, "C": 7.5, "O": 16.7, "F": 20.9, "Si": 15.9, "P": 22.6, "S": 22.6}
_KOPP_ELSE = 25.9


def solid_cp(formula: str) -> Estimate:
    """Specific heat capacity of a solid near 25 °C. [J/(g K)]"""
    name = normalise(formula)
    counts = elements(name)
    if not counts:
        msg = f"{formula!r} is no solid"
        raise SubstanceError(msg)
    molar = sum(float(n) * _KOPP.get(symbol, _KOPP_ELSE) for symbol, n in counts.items())
    value = molar / molar_mass(name).value
    return Estimate(value, 0.1 * value, "J/(g K)", "Kopp's rule", "computed")
