"""Chemical formulas: one spelling, elements, molar mass.

The parsing itself is done by ``molmass``; this module stands in front of it because plain parsers
take ``CuSO4 5H2O`` for a formula with 45 hydrogen atoms, ``2H2O`` for heavy water and ``HCL`` for a
peptide without a word. Here those are refused, with the reason.
"""

from __future__ import annotations

import re
from collections import Counter
from fractions import Fraction
from functools import cache, lru_cache
from math import sqrt

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.substances import tables

ELECTRON_G_PER_MOL = 5.485799e-4
"""Molar mass of the electron, CODATA 2018 (memory)."""
_DIGITS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻", "0123456789+-")
_DASHES = str.maketrans("−–—", "---")
_PART = re.compile(r"(?P<count>\d+(?:\.\d+)?(?:/\d+)?)?(?P<formula>[A-Z(\[].*)")
_TOKEN = re.compile(r"(?P<symbol>[A-Z][a-z]?)|(?P<number>\d+)|(?P<bracket>[()\[\]])")
_CHARGE = re.compile(
    r"(?P<body>.*?)(?:\^?(?P<sign>[+-])(?P<after>\d*)|\^(?P<before>\d+)(?P<s2>[+-]))"
)
_BARE_ION = re.compile(r"(?P<symbol>[A-Z][a-z]?)(?P<digit>[2-4])(?P<sign>[+-])")


@cache
def _atomic_weights() -> dict[str, tuple[float, float]]:
    table = tables.rows("atomic_weights")
    return {row["symbol"]: (float(row["mass"]), float(row["half_width"])) for row in table}


def _refuse(formula: str, why: str) -> SubstanceError:
    return SubstanceError(f"{formula!r} cannot be read as a chemical formula: {why}")


def _tidy(formula: str) -> str:
    text = formula.strip().translate(_DIGITS)
    if not text:
        raise _refuse(formula, "it is empty")
    if re.search(r"\s", text):
        raise _refuse(
            formula,
            "it has a blank inside; write a hydrate as CuSO4·5H2O, CuSO4*5H2O or CuSO4.5H2O",
        )
    text = re.sub(r"[⁰¹²³⁴⁵⁶⁷⁸⁹]*[⁺⁻]", lambda m: "^" + m[0].translate(_RAISED), text)
    text = re.sub(r"[•⋅∙*]", "·", text.translate(_DASHES))
    text = re.sub(r"(?<=·)(\d+)\.(\d+)(?=[A-Z(\[])", r"\1,\2", text)  # a decimal, no separator
    text = re.sub(r"\.(\d+(?:\.\d+)?)?(?=[A-Z(\[])", lambda m: "·" + (m[1] or ""), text)
    return text.replace(",", ".")


def split_charge(formula: str) -> tuple[str, int]:
    """Take the charge off an ion: ``SO4-2``, ``SO4^2-``, ``SO4²⁻`` give ``("SO4", -2)``.

    A bare ``Cu2+`` is read as copper(2+). ``SO42-`` is refused, since it can be read in two ways.
    Raises SubstanceError.
    """
    text = _tidy(formula)
    if bare := _BARE_ION.fullmatch(text):
        if bare["symbol"] == "I":  # triiodide
            return text[:-1], -1
        if bare["sign"] == "-" or bare["symbol"] == "Hg":
            good = f"{bare['symbol']}^{bare['digit']}{bare['sign']}"
            raise _refuse(formula, f"write {good} if the digit is the charge")
        return bare["symbol"], int(bare["digit"])
    match = _CHARGE.fullmatch(text)
    if match is None:
        return text, 0
    body, sign = match["body"], match["sign"] or match["s2"]
    size = int(match["after"] or match["before"] or 1)
    if "^" not in text and not match["after"] and re.search(r"\D\d\d$", body):
        good = f"{body[:-1]}^{body[-1]}{sign}"
        raise _refuse(formula, f"write the charge apart, as in {good}")
    return body, size if sign == "+" else -size


def _parts(body: str, formula: str) -> list[tuple[Fraction, str]]:
    found = []
    for index, part in enumerate(body.split("·")):
        match = _PART.fullmatch(part)
        if match is None:
            raise _refuse(formula, f"{part or 'nothing'!r} is no formula")
        if match["count"] and index == 0:
            bare = match["formula"]
            raise _refuse(formula, f"it begins with a number; give the amount apart from {bare}")
        found.append((Fraction(match["count"] or 1), match["formula"]))
    return found


def _check_symbols(part: str, formula: str) -> None:
    at = 0
    while at < len(part):
        token = _TOKEN.match(part, at)
        if token is None:
            raise _refuse(formula, f"{part[at]!r} has no place in it")
        if token["symbol"] and token["symbol"] not in _atomic_weights():
            hint = _known_whatever_case(formula)
            why = f"there is no element {token['symbol']!r}" + (
                f"; {hint} was meant?" if hint else ""
            )
            raise _refuse(formula, why)
        at = token.end()


def _known_whatever_case(formula: str) -> str | None:
    found = {k for k in _spellings() if k.casefold() == formula.casefold()}
    return found.pop() if len(found) == 1 else None


@lru_cache(maxsize=1024)
def _counted(formula: str) -> tuple[tuple[tuple[str, Fraction], ...], int]:
    from molmass import Formula, FormulaError

    body, charge = split_charge(formula)
    total: Counter[str] = Counter()
    for count, written in _parts(body, formula):
        part = _spellings().get(written, written)  # NaOAc is no compound of actinium
        _check_symbols(part, formula)
        try:
            found = Formula(part, parse_groups=False, parse_oligos=False).composition()
        except FormulaError as error:
            raise _refuse(formula, str(error).splitlines()[0]) from None
        for symbol, item in found.items():
            total[symbol] += count * item.count  # type: ignore[assignment]
    return tuple((symbol, Fraction(n)) for symbol, n in sorted(total.items())), charge


def elements(formula: str) -> dict[str, Fraction]:
    """Atoms of each element in one formula unit (fractions for such as CaSO4·0.5H2O).

    Raises SubstanceError with the reason where the formula cannot be read.

    >>> {symbol: int(n) for symbol, n in elements("CuSO4·5H2O").items()}
    {'Cu': 1, 'H': 10, 'O': 9, 'S': 1}
    """
    return dict(_counted(formula)[0])


@cache
def _spellings() -> dict[str, str]:
    """Every known spelling of a formula, and the one used here."""
    known: dict[str, str] = {}
    for row in tables.rows("substances"):
        for spelling in [row["formula"], *row["spellings"].split(";")]:
            if spelling:
                known[spelling] = row["formula"]
    return known


@lru_cache(maxsize=2048)
def normalise(formula: str) -> str:
    """The one spelling of a formula that this project uses.

    Hydrate dots become ``·``, small digits plain, charges ``SO4-2``; NaC2H3O2 and CH3COONa become
    NaCH3COO. Raises SubstanceError with the reason where the formula cannot be read.

    >>> normalise("CuSO4*5H2O"), normalise("NaC2H3O2"), normalise("SO4^2-")
    ('CuSO4·5H2O', 'NaCH3COO', 'SO4-2')
    """
    body, charge = split_charge(formula)
    _counted(formula)
    parts = [
        ("" if n == 1 else str(n if n.denominator == 1 else float(n)))
        + _spellings().get(part, part)
        for n, part in _parts(body, formula)
    ]
    text = "·".join(parts)
    if charge:
        text += ("+" if charge > 0 else "-") + ("" if abs(charge) == 1 else str(abs(charge)))
    return _spellings().get(text, text)


@lru_cache(maxsize=2048)
def split_hydrate(formula: str) -> tuple[str, Fraction]:
    """The salt without its water of crystallisation, and the moles of water in one mole.

    >>> split_hydrate("CuSO4·5H2O")
    ('CuSO4', Fraction(5, 1))
    """
    parts = normalise(formula).split("·")
    counted = [_PART.fullmatch(part) for part in parts[1:]]
    water = sum(
        (Fraction(m["count"] or 1) for m in counted if m and m["formula"] == "H2O"), Fraction()
    )
    rest = [parts[0]] + [
        p for p, m in zip(parts[1:], counted, strict=True) if m and m["formula"] != "H2O"
    ]
    return "·".join(rest), water


@lru_cache(maxsize=1024)
def molar_mass(formula: str) -> Estimate:
    """Molar mass, with the spread of the elements' atomic weights on Earth. [g/mol]

        M = Σ n_i A_i,   u²(M) = Σ (n_i a_i)²/3

    A_i: standard atomic weight of IUPAC, ± a_i its stated half-width, taken as rectangular
    (Possolo et al., Metrologia 55 (2018)). Raises SubstanceError where the formula cannot be read.

    >>> round(molar_mass("CuSO4·5H2O").value, 2)
    249.68
    """
    counts, charge = _counted(formula)
    weights = _atomic_weights()
    mass = sum(float(n) * weights[symbol][0] for symbol, n in counts)
    u = sqrt(sum((float(n) * weights[symbol][1]) ** 2 for symbol, n in counts) / 3.0)
    return Estimate(
        mass - charge * ELECTRON_G_PER_MOL, u, "g/mol", "IUPAC standard atomic weights", "published"
    )
