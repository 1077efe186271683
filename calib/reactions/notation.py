"""How a chemical formula is written: atoms in it, its charge, its state, its other spellings.

Only notation lives here; what a species *does* in water is in ``ions.py``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType

from calib.errors import EquationError

_SYMBOLS = (
    "H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As "
    "Se Br Kr Rb Sr Y Zr Nb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu "
    "Gd Tb Dy Ho Er Tm Yb Lu Hf Ta W Re Os Ir Pt Au Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U Np "
    "Pu Am Cm Bk Cf Es Fm Md No Lr Rf Db Sg Bh Hs Mt Ds Rg Cn Nh Fl Mc Lv Ts Og"
)
ELEMENTS = frozenset(_SYMBOLS.split())

STATES = {"aq": "aq", "s": "s", "l": "l", "g": "g", "cr": "s", "c": "s", "sol": "aq"}

HYDRATE_DOT = "·"
_DOTS = "·*•∙⋅・"
_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉₊₋", "0123456789+-")
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻", "0123456789+-")
_SUPERSCRIPT_RUN = re.compile("[⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻]+")
_TOKEN = re.compile(r"([A-Z][a-z]?)|([(\[])|([)\]])|(\d+)")
_HYDRATE_COUNT = re.compile(r"^(\d+/\d+|\d+(?:\.\d+)?)?(.*)$")

# Other spellings of a formula -> the one that tables here are keyed by.
_SPELLINGS = {
    "CH3COOH": ("HCH3COO", "HC2H3O2", "C2H4O2", "CH3CO2H", "HCH3CO2"),
    "HCOOH": ("HCHO2", "CH2O2", "HCO2H"),
    "H2C2O4": ("C2H2O4", "HOOCCOOH", "(COOH)2"),
    "H3C6H5O7": ("C6H8O7", "H3Cit"),
    "NH3": ("NH4OH",),
    "CO(NH2)2": ("CH4N2O", "NH2CONH2", "(NH2)2CO", "H2NCONH2"),
    "C4H11NO3": ("(CH2OH)3CNH2", "(HOCH2)3CNH2", "H2NC(CH2OH)3", "NH2C(CH2OH)3"),
    "KHC8H4O4": ("C8H5KO4", "KC8H5O4", "HOOCC6H4COOK"),
    "C2H5OH": ("C2H6O", "CH3CH2OH"),
    "CH3OH": ("CH4O",),
    "C6H8O6": ("HC6H7O6", "H2C6H6O6"),
    "C4H6O6": ("H2C4H4O6",),
    "HClO": ("HOCl",),
}
_CANONICAL = {other: main for main, others in _SPELLINGS.items() for other in others}
_ACETATE = re.compile(r"(CH3COO|C2H3O2|CH3CO2|OOCCH3|O2CCH3|OAc)")


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
    return text.replace("−", "-").replace("–", "-").replace(" ", " ")


@lru_cache(maxsize=4096)
def atoms(formula: str) -> Mapping[str, Fraction]:
    """Count the atoms of a formula; hydrates and nested brackets included.

    Raises ``EquationError`` where the formula cannot be read, naming the part.

    >>> {e: int(n) for e, n in atoms("CuSO4·5H2O").items()}
    {'Cu': 1, 'S': 1, 'O': 9, 'H': 10}
    """
    text = plain(formula).replace(".", HYDRATE_DOT) if "/" not in formula else plain(formula)
    total: dict[str, Fraction] = {}
    for number, part in enumerate(_hydrate_parts(text)):
        count, body = (Fraction(1), part) if number == 0 else _counted(part, formula)
        for element, n in _part_atoms(body, formula).items():
            total[element] = total.get(element, Fraction(0)) + count * n
    if not total:
        raise EquationError(f"{formula!r} is no formula; expected something like KNO3 or H2O")
    return MappingProxyType(total)


def _hydrate_parts(text: str) -> list[str]:
    """Split at hydrate dots, keeping a decimal such as ·0·5H2O (from 0.5) in one piece."""
    text = re.sub(rf"(?<={HYDRATE_DOT}\d){HYDRATE_DOT}(?=\d)", ".", text)
    return text.split(HYDRATE_DOT)


def _counted(part: str, formula: str) -> tuple[Fraction, str]:
    match = _HYDRATE_COUNT.match(part)
    if match is None or not match.group(2):
        raise EquationError(f"in {formula!r} nothing follows the dot; expected e.g. CuSO4·5H2O")
    return Fraction(match.group(1) or 1), match.group(2)


def _part_atoms(text: str, formula: str) -> dict[str, Fraction]:
    stack: list[dict[str, Fraction]] = [{}]
    position = 0
    last: dict[str, Fraction] = {}
    while position < len(text):
        token = _TOKEN.match(text, position)
        if token is None:
            raise EquationError(f"in {formula!r} the part {text[position:]!r} cannot be read")
        element, opened, closed, number = token.groups()
        if element:
            _check_element(element, formula)
            last = {element: Fraction(1)}
            _add(stack[-1], last, 1)
        elif opened:
            stack.append({})
            last = {}
        elif closed:
            if len(stack) == 1:
                raise EquationError(f"{formula!r} closes a bracket that was never opened")
            last = stack.pop()
            _add(stack[-1], last, 1)
        elif not last or int(number) == 0:
            raise EquationError(f"in {formula!r} the number {number} belongs to nothing")
        else:
            _add(stack[-1], last, int(number) - 1)
            last = {}
        position = token.end()
    if len(stack) != 1:
        raise EquationError(f"{formula!r} leaves a bracket open")
    return stack[0]


def _check_element(element: str, formula: str) -> None:
    if element not in ELEMENTS:
        raise EquationError(
            f"{element!r} in {formula!r} is no element; capital letters count: Co is cobalt, "
            "CO carbon monoxide"
        )


def _add(into: dict[str, Fraction], what: Mapping[str, Fraction], times: int) -> None:
    for element, count in what.items():
        into[element] = into.get(element, Fraction(0)) + times * count


@lru_cache(maxsize=4096)
def canonical(formula: str) -> str:
    """The spelling that the tables here use: one for HC2H3O2 and CH3COOH, one kind of dot.

    >>> canonical("HC2H3O2"), canonical("NaC2H3O2"), canonical("CuSO4.5H2O")
    ('CH3COOH', 'NaCH3COO', 'CuSO4·5H2O')
    """
    text = plain(formula).strip()
    if "/" not in text:
        text = HYDRATE_DOT.join(_hydrate_parts(text.replace(".", HYDRATE_DOT)))
    head, dot, water = text.partition(HYDRATE_DOT)
    head = _CANONICAL.get(head, head)
    acetate = _ACETATE.search(head)
    if acetate and head != "CH3COOH":
        head = _acetate_salt(head, acetate)
    return head + dot + water


def _acetate_salt(head: str, found: re.Match[str]) -> str:
    """``NaC2H3O2``, ``CH3COONa``, ``Mg(CH3COO)2`` and ``(CH3COO)2Mg`` -> cation first."""
    bracketed = re.search(rf"\({re.escape(found.group())}\)(\d*)", head)
    piece = bracketed.group() if bracketed else found.group()
    count = bracketed.group(1) if bracketed else ""
    cation = head.replace(piece, "", 1)
    if not cation:
        return "CH3COO"
    return f"{cation}(CH3COO){count}" if count else f"{cation}CH3COO"


def charge_text(formula: str, charge: int) -> str:
    """The charge as printed after a formula: ``+``, ``-``, ``^2+``; ``^-`` where I3- is meant."""
    if charge == 0:
        return ""
    sign = "+" if charge > 0 else "-"
    if abs(charge) > 1:
        return f"^{abs(charge)}{sign}"
    return f"^{sign}" if re.fullmatch(r"[A-Z][a-z]?\d+", formula) else sign
