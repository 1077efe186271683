"""Chemical equations: read, written and checked in atoms and charge.

An equation is a sum ν_i A_i = 0 with ν negative for reactants; it holds when, for every element
and for the charge, the sum of ν_i times the count in A_i is nothing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import TypeAlias

from calib.errors import EquationError
from calib.reactions.linear import nullspace
from calib.reactions.notation import STATES, atoms, canonical, charge_text, plain

__all__ = ["Equation", "Species", "parse_equation", "parse_species"]

Coefficient: TypeAlias = int | Fraction
Term: TypeAlias = tuple[Coefficient, "Species"]

CHARGE = "charge"
_ARROW = re.compile(r"<=>|<-+>|<=+>|-+>|=+>|→|⟶|⇌|⇄|↔|⇒|=")
_STATE = r"\(\s*(?:aq|s|l|g|cr|c|sol)\s*\)"
_STATE_END = re.compile(rf"{_STATE}\s*$", re.IGNORECASE)
_CHARGE_NEXT = re.compile(rf"\d*\s*(?:$|\+|{_STATE})", re.IGNORECASE)
_COEFFICIENT = re.compile(r"^\s*(?:\(\s*)?(\d+\s*/\s*\d+|\d+[.,]\d+|\d+|[½⅓⅔¼¾⅕⅙])(?:\s*\))?\s*")
_VULGAR = {"½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅙": "1/6"}
_CHARGE_FORMS = (
    re.compile(r"^(?P<f>.+?)\^\s*(?:(?P<n>\d*)(?P<s>[+-])|(?P<s2>[+-])(?P<n2>\d+))$"),
    re.compile(r"^(?P<f>.+?)(?P<s>[+-])(?P<n>\d+)$"),
    re.compile(r"^(?P<f>.+?)(?P<s>\++|-+)$"),
)


@dataclass(frozen=True, slots=True)
class Species:
    """One substance in one state: ``Species("SO4", "aq", -2)``.

    ``state`` is ``aq``, ``s``, ``l``, ``g`` or empty where none was given. Two species are equal
    when formula, state and charge are; ``same_as`` also takes other spellings of a formula.
    """

    formula: str
    state: str = ""
    charge: int = 0

    @property
    def atoms(self) -> Mapping[str, Fraction]:
        """Atoms in one formula unit."""
        return atoms(self.formula)

    @property
    def key(self) -> tuple[str, str, int]:
        """What the tables are looked up by: canonical spelling, state, charge."""
        return canonical(self.formula), self.state, self.charge

    def same_as(self, other: Species) -> bool:
        """Whether both mean one substance; a state that was left out agrees with any."""
        same = canonical(self.formula) == canonical(other.formula) and self.charge == other.charge
        return same and (not self.state or not other.state or self.state == other.state)

    def __str__(self) -> str:
        state = f"({self.state})" if self.state else ""
        return f"{self.formula}{charge_text(self.formula, self.charge)}{state}"


@lru_cache(maxsize=1024)
def _net(equation: Equation) -> tuple[tuple[Species, Fraction], ...]:
    """The net numbers of an equation: a class's rows ask for them over and over."""
    numbers: dict[Species, Fraction] = {}
    for sign, side in ((-1, equation.reactants), (1, equation.products)):
        for coefficient, species in side:
            numbers[species] = numbers.get(species, Fraction(0)) + sign * Fraction(coefficient)
    return tuple((species, number) for species, number in numbers.items() if number)


@dataclass(frozen=True, slots=True)
class Equation:
    """Reactants and products with positive coefficients; see ``parse_equation``."""

    reactants: tuple[Term, ...]
    products: tuple[Term, ...]
    assumed: tuple[str, ...] = field(default=(), compare=False)

    @property
    def species(self) -> tuple[Species, ...]:
        """Every species once, reactants first."""
        return tuple(dict.fromkeys(s for _, s in self.reactants + self.products))

    def net(self) -> dict[Species, Fraction]:
        """Signed stoichiometric numbers, products positive; what cancels is left out."""
        return dict(_net(self))

    def imbalance(self) -> dict[str, Fraction]:
        """Products minus reactants of each element and of the ``charge``; empty when balanced."""
        off: dict[str, Fraction] = {}
        for species, number in self.net().items():
            for element, count in species.atoms.items():
                off[element] = off.get(element, Fraction(0)) + number * count
            off[CHARGE] = off.get(CHARGE, Fraction(0)) + number * species.charge
        return {what: much for what, much in off.items() if much}

    def find(self, species: Species) -> Species | None:
        """The equation's own member that means ``species``, other spellings included."""
        for own in self.species:
            if own == species:
                return own
        return next((own for own in self.species if own.same_as(species)), None)

    def coefficient(self, species: Species) -> Fraction:
        """Signed stoichiometric number of a species; 0 where it takes no part."""
        own = self.find(species)
        return self.net().get(own, Fraction(0)) if own else Fraction(0)

    def scaled(self, factor: Coefficient) -> Equation:
        """The same reaction written for ``factor`` times the amounts; reversed when negative."""
        if factor == 0:
            raise EquationError("an equation cannot be multiplied by nothing")
        times = abs(Fraction(factor))
        left = tuple((tidy(c * times), s) for c, s in self.reactants)
        right = tuple((tidy(c * times), s) for c, s in self.products)
        return Equation(left, right) if factor > 0 else Equation(right, left)

    def __str__(self) -> str:
        return f"{_side_text(self.reactants)} -> {_side_text(self.products)}"


def tidy(number: Fraction | int) -> Coefficient:
    """An ``int`` where the number is whole."""
    number = Fraction(number)
    return int(number) if number.denominator == 1 else number


def whole_numbers(equation: Equation) -> Equation:
    """The same equation with its fractions cleared."""
    numbers = [Fraction(c) for c, _ in equation.reactants + equation.products]
    return equation.scaled(lcm(*(n.denominator for n in numbers)))


def _side_text(side: tuple[Term, ...]) -> str:
    return " + ".join(f"{'' if c == 1 else f'{c} '}{s}" for c, s in side)


def parse_species(text: str) -> Species:
    """Read one species: ``CuSO4·5H2O(s)``, ``SO4^2-(aq)``, ``Cu+2``, ``Na⁺``.

    Raises ``EquationError`` naming what could not be read.
    """
    body = plain(text).strip()
    state = ""
    found = _STATE_END.search(body)
    if found:
        state = STATES[found.group().strip(" ()").lower()]
        body = body[: found.start()].strip()
    if not body:
        raise EquationError(f"{text.strip()!r} has no formula; expected e.g. KNO3(s)")
    formula, charge = _split_charge(body)
    if re.search(r"\s", formula):
        raise EquationError(
            f"{text.strip()!r} has a blank inside; between two substances write ' + ', "
            "and a hydrate as CuSO4·5H2O"
        )
    atoms(formula)
    return Species(formula, state, charge)


def _split_charge(body: str) -> tuple[str, int]:
    from calib.reactions.ions import is_known_ion

    for number, form in enumerate(_CHARGE_FORMS):
        found = form.match(body)
        if not found:
            continue
        parts = found.groupdict()
        signs = parts.get("s") or parts.get("s2") or "+"
        size = parts.get("n") or parts.get("n2") or str(len(signs))
        sign = 1 if signs[0] == "+" else -1
        formula = parts["f"].strip()
        digit = re.fullmatch(r"(.*?[A-Za-z)\]\d])(\d)", formula)
        if number == 2 and digit and len(signs) == 1:
            whole, last = (formula, sign), (digit.group(1), sign * int(digit.group(2)))
            single = re.fullmatch(r"[A-Z][a-z]?", digit.group(1)) is not None
            return last if not is_known_ion(*whole) and (single or is_known_ion(*last)) else whole
        return formula, sign * int(size)
    return body, 0


def parse_equation(text: str, *, check: bool = True) -> Equation:
    """Read ``2 HCl(aq) + Mg(s) -> MgCl2(aq) + H2(g)``; molecular, ionic or net ionic.

    Arrows ``->``, ``=``, ``→``, ``⇌``; whole, decimal or fractional coefficients; charges ``Cu+2``,
    ``Cu^2+``, ``SO4-2``; Unicode sub- and superscripts; states may be left out where only one can
    be meant, and ``assumed`` then says which were filled in.

    Raises ``EquationError`` for text that cannot be read and, unless ``check`` is false, for an
    equation that does not balance: by how much each element and the charge are off, and the
    coefficients that would mend it.
    """
    sides = _ARROW.split(plain(text))
    if len(sides) != 2:
        raise EquationError(
            f"{text.strip()!r} has {'no arrow' if len(sides) < 2 else 'more than one arrow'}; "
            "expected e.g. HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)"
        )
    equation = _with_states(Equation(_read_side(sides[0], text), _read_side(sides[1], text)))
    if not equation.net():
        raise EquationError(
            f"{text.strip()!r} has the same on both sides; give the states, "
            "e.g. KNO3(s) -> KNO3(aq)"
        )
    if check:
        _refuse_unbalanced(equation)
    return equation


def _with_states(equation: Equation) -> Equation:
    from calib.reactions.ions import assume_states

    return assume_states(equation)


def _read_side(side: str, text: str) -> tuple[Term, ...]:
    terms = _split_terms(side)
    if any(not term.strip() for term in terms):
        raise EquationError(f"in {text.strip()!r} a substance is missing beside a '+' or the arrow")
    return tuple(_read_term(term) for term in terms)


def _split_terms(side: str) -> list[str]:
    """Cut at the plus signs that are not charges."""
    terms, start = [], 0
    for position, character in enumerate(side):
        if character != "+":
            continue
        attached = position > 0 and not side[position - 1].isspace()
        if attached and (
            _CHARGE_NEXT.match(side, position + 1)
            or side[position - 1] in "^"
            or re.search(r"\^\d+$", side[:position])
        ):
            continue
        terms.append(side[start:position])
        start = position + 1
    terms.append(side[start:])
    return terms


def _read_term(term: str) -> Term:
    found = _COEFFICIENT.match(term)
    coefficient: Coefficient = 1
    if found:
        raw = found.group(1).replace(" ", "").replace(",", ".")
        try:
            coefficient = tidy(Fraction(_VULGAR.get(raw, raw)))
        except ZeroDivisionError:
            raise EquationError(f"{term.strip()!r} divides by nothing") from None
        if coefficient == 0:
            raise EquationError(f"{term.strip()!r} has the coefficient 0")
        term = term[found.end() :]
    return coefficient, parse_species(term)


def _refuse_unbalanced(equation: Equation) -> None:
    off = equation.imbalance()
    if not off:
        return
    parts = [_off_text(what, much) for what, much in off.items()]
    message = f"{equation} does not balance: {'; '.join(parts)}"
    mended = balanced(equation)
    if mended is not None:
        message += f". Balanced it would read {mended}"
    raise EquationError(message)


def _off_text(what: str, much: Fraction) -> str:
    if what == CHARGE:
        return f"the charge is {'+' if much > 0 else ''}{much} on the right against the left"
    size = abs(much)
    return f"{size} {what} too {'many' if much > 0 else 'few'} on the right"


def balanced(equation: Equation) -> Equation | None:
    """The same substances with the smallest whole coefficients that balance, if there is one way.

    ``None`` where no coefficients or more than one independent set would do.
    """
    own = list(equation.species)
    rows = [
        [s.atoms.get(e, Fraction(0)) for s in own]
        for e in sorted({e for s in own for e in s.atoms})
    ]
    rows.append([Fraction(s.charge) for s in own])
    space = nullspace(rows)
    if len(space) != 1:
        return None
    left = {s for _, s in equation.reactants}
    numbers = [(-n if s in left else n) for s, n in zip(own, space[0], strict=True)]
    if all(n < 0 for n in numbers):
        numbers = [-n for n in numbers]
    if any(n <= 0 for n in numbers):
        return None
    pairs = list(zip(numbers, own, strict=True))
    return Equation(
        tuple((n, s) for n, s in pairs if s in left),
        tuple((n, s) for n, s in pairs if s not in left),
    )
