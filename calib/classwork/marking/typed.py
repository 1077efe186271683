"""A group's answer as typed: its number, its unit, and what its last digit stands for.

``-55.0`` is not ``-55``: the first claims a tenth, the second a whole kilojoule. A zero at the end
of a whole number may be a digit or only hold a place: ``-58000`` is read as three digits first, as
two where three explain nothing. A cell of a workbook holds a number without its final zeros; there
the digits seen are taken, which is never stricter than what was meant.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from calib.runs.cells import last_place
from calib.runs.model import CellValue, Run

__all__ = ["TypedAnswer", "UnreadableAnswerError", "own_unit", "typed_answer"]

MOST_DIGITS = 5
"""Digits beyond the fifth are a calculator's, not the group's: they are not held against it."""

_OWN_UNITS = (
    (
        re.compile(r"(?:reported|answer)j(?:per)?g(?:per)?(?:k|c)|(?:reported|answer)jg1k1"),
        "J/(g K)",
    ),
    (re.compile(r"(?:reported|answer)j(?:per)?g1?"), "J/g"),
)


def own_unit(heading: str) -> str | None:
    """The unit of a further column for answers that are no molar enthalpy, else None.

    >>> own_unit("reported_J_per_gK"), own_unit("Reported J/(g °C)"), own_unit("remark")
    ('J/(g K)', 'J/(g K)', None)
    """
    squeezed = re.sub(r"[^a-z0-9]+", "", heading.casefold())
    return next((unit for form, unit in _OWN_UNITS if form.fullmatch(squeezed)), None)


_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?")


class UnreadableAnswerError(Exception):
    """An answer in one of the further columns that is no number; ``column`` and ``found`` say."""

    def __init__(self, column: str, found: str) -> None:
        super().__init__(f"{column}: {found}")
        self.column, self.found = column, found


@dataclass(frozen=True, slots=True)
class TypedAnswer:
    """What the group wrote. ``last_place`` is one unit of its last digit, in ``unit``;
    ``loose_place`` the same where final zeros of a whole number leave two digits only.
    """

    text: str
    value: float
    unit: str
    last_place: float
    loose_place: float
    column: str = "reported_kJ_per_mol"

    @property
    def half(self) -> float:
        """Half a unit of the last digit: how far rounding can have moved the number."""
        return 0.5 * self.last_place

    @property
    def digits(self) -> int:
        """Significant digits, as ``last_place`` counts them."""
        if self.value == 0.0:
            return 1
        return max(1, math.floor(math.log10(abs(self.value)) - math.log10(self.last_place)) + 1)

    @property
    def shown(self) -> str:
        """The answer with its unit, as a sentence quotes it."""
        return f"{self.text.replace('-', '−')} {self.unit}"


def typed_answer(run: Run) -> TypedAnswer | None:
    """The row's answer, or None where it has none.

    Looked for in ``reported_kJ_per_mol``, then in the further columns ``reported_J_per_gK`` (a
    specific heat) and ``reported_J_per_g`` (a heat of fusion).

    Raises:
        UnreadableAnswerError: one of the further columns holds something that is no number.
    """
    if run.reported_kJ_per_mol is not None:
        text = run.written.get("reported_kJ_per_mol") or f"{run.reported_kJ_per_mol:.10g}"
        return _answer(text, run.reported_kJ_per_mol, "kJ/mol", "reported_kJ_per_mol")
    for heading, cell in run.extra.items():
        unit = own_unit(heading)
        if unit is not None and not _says_nothing(cell):
            return _from_cell(heading, cell, unit)
    return None


def _says_nothing(cell: CellValue) -> bool:
    return cell is None or (isinstance(cell, str) and cell.strip() in ("", "-", "–", "—", "?"))


def _from_cell(heading: str, cell: CellValue, unit: str) -> TypedAnswer:
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        text = f"{cell:.10g}"
    else:
        text = str(cell).strip().replace("−", "-")
    if not _NUMBER.fullmatch(text):
        raise UnreadableAnswerError(heading, repr(str(cell)[:60]))
    text = text.replace(",", ".")
    value = float(text)
    if not math.isfinite(value):
        raise UnreadableAnswerError(heading, repr(str(cell)[:60]))
    return _answer(text, value, unit, heading)


def _answer(text: str, value: float, unit: str, column: str) -> TypedAnswer:
    place = loose = last_place(text)
    if value != 0.0:
        size = math.floor(math.log10(abs(value)))
        digits = text.lstrip("+-").partition("e")[0]
        if "." not in digits and "e" not in text.casefold():
            zeros = len(digits) - len(digits.rstrip("0"))
            place = max(place, 10.0 ** min(zeros, max(size - 2, 0)))
            loose = max(place, 10.0 ** min(zeros, max(size - 1, 0)))
        place = max(place, 10.0 ** (size + 1 - MOST_DIGITS))
    return TypedAnswer(text, value, unit, place, max(place, loose), column)
