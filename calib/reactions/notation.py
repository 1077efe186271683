"""How an equation's text is written: Unicode made plain, states, charges.

Formulas themselves are read by ``calib.substances.formula``; what a species *does* in water is in
``ions.py``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType

from calib.errors import EquationError, SubstanceError
from calib.substances.formula import elements, normalise

STATES = {"aq": "aq", "s": "s", "l": "l", "g": "g", "cr": "s", "c": "s", "sol": "aq"}

HYDRATE_DOT = "·"
_DOTS = "*•∙⋅・"
_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉₊₋", "0123456789+-")
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻", "0123456789+-")
_SUPERSCRIPT_RUN = re.compile("[⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻]+")
_DECIMAL_WATER = re.compile(rf"{HYDRATE_DOT}(\d+\.\d+)")
_ON_PAPER = {"NH4OH": "NH3", "C2H3O2": "CH3COO"}
"""Ammonium hydroxide is dissolved ammonia and one water; the bare acetate ion."""


def plain(text: str) -> str:
    """The text with Unicode sub- and superscripts, minus signs and hydrate dots made plain.

    A run of superscripts becomes ``^`` and its characters: ``SO₄²⁻`` -> ``SO4^2-``.

    >>> plain("CuSO₄·5H₂O"), plain("SO₄²⁻")
    ('CuSO4·5H2O', 'SO4^2-')
    """
    text = text.translate(_SUBSCRIPTS)
    text = _SUPERSCRIPT_RUN.sub(lambda run: "^" + run.group().translate(_SUPERSCRIPTS), text)
    for dot in _DOTS:
        text = text.replace(dot, HYDRATE_DOT)
    return text.replace("−", "-").replace("–", "-").replace("\u00a0", " ")


@lru_cache(maxsize=4096)
def atoms(formula: str) -> Mapping[str, Fraction]:
    """Count the atoms of a formula; hydrates and nested brackets included.

    Raises ``EquationError`` where the formula cannot be read, naming the part.

    >>> {e: int(n) for e, n in atoms("CuSO4·5H2O").items()}
    {'Cu': 1, 'H': 10, 'O': 9, 'S': 1}
    """
    try:
        counted = elements(_exact_water(formula))
    except SubstanceError as error:
        raise EquationError(str(error)) from None
    return MappingProxyType(dict(sorted(counted.items())))


@lru_cache(maxsize=4096)
def canonical(formula: str) -> str:
    """The spelling that the tables here use: one for HC2H3O2 and CH3COOH, one kind of dot.

    >>> canonical("HC2H3O2"), canonical("NaC2H3O2"), canonical("CuSO4.5H2O")
    ('CH3COOH', 'NaCH3COO', 'CuSO4·5H2O')
    """
    try:
        spelled = normalise(_exact_water(formula))
    except SubstanceError:
        spelled = plain(formula)
    return _ON_PAPER.get(spelled, spelled)


def _exact_water(formula: str) -> str:
    """Half a crystal water as a fraction: CaSO4·0.5H2O -> CaSO4·1/2H2O."""
    return _DECIMAL_WATER.sub(
        lambda found: HYDRATE_DOT + str(Fraction(found.group(1))), plain(formula)
    )


def charge_text(formula: str, charge: int) -> str:
    """The charge as printed after a formula: ``+``, ``-``, ``^2+``; ``^-`` where I3- is meant."""
    if charge == 0:
        return ""
    sign = "+" if charge > 0 else "-"
    if abs(charge) > 1:
        return f"^{abs(charge)}{sign}"
    return f"^{sign}" if re.fullmatch(r"[A-Z][a-z]?\d+", formula) else sign
