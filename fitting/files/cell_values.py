"""What the cells of a text table mean: numbers with point or comma, and numbers with a unit."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from fitting.curve import FloatArray
from fitting.files.units import temperature_unit, time_unit

LARGEST = 1e100  # beyond, a number is taken for infinite: no reading is
NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?")
GROUPED = re.compile(r"[+-]?\d{1,3}(?:([.,'’ \u00a0\u202f])\d{3})+(?:(?!\1)[.,]\d+)?")
WITH_UNIT = re.compile(rf"({NUMBER.pattern})\s*([^\W\d_]{{1,10}}|[°º˚]\s?[CF]|[℃℉])")
_DATE = "|".join(
    form
    for mark in ("-", "/", r"\.")
    for form in (
        rf"\d{{4}}{mark}\d{{1,2}}{mark}\d{{1,2}}",
        rf"\d{{1,2}}{mark}\d{{1,2}}{mark}(?:\d{{4}}|\d{{2}})",
    )
)
_TIME = (
    r"(?P<first>\d{1,3}):(?P<second>\d{1,2})(?::(?P<third>\d{1,2}))?(?P<part>[.,]\d{1,9})?"
    r"(?:\s*(?P<half>[AaPp])\.?\s?[Mm]\.?)?"
)
DATE = re.compile(_DATE)
TIME = re.compile(_TIME)
STAMP = re.compile(rf"(?P<date>{_DATE})(?:T|,?\s+){_TIME}\s*(?P<zone>Z|[+-]\d{{2}}(?::?\d{{2}})?)?")
_BROKEN = re.compile(r"(?=.*\d)[\d.,;:|+\-/eE\s]+")
_MISSING_WORDS = {
    "na", "n/a", "n.a.", "nan", "null", "none", "err", "error", "fault", "ol", "overload",
    "over", "under", "overrange", "underrange", "invalid", "disconnected", "missing", "open",
    "short", "nodata", "#n/a", "#num!", "#value!", "#div/0!",
}  # fmt: skip
_NO_LETTERS = re.compile(r"[\W_]*")
_TIDY = str.maketrans({"−": "-", "\u00a0": " ", "\u202f": " ", "\u2007": " ", "\t": " "})


def tidy(cell: str) -> str:
    """The cell without surrounding blanks, with the printer's minus sign made a hyphen."""
    return cell.strip() if cell.isascii() else cell.translate(_TIDY).strip()


def is_missing(cell: str) -> bool:
    """Whether a tidy cell stands for "no reading": blank, a dash, NaN, or a sensor's fault word."""
    return cell.casefold() in _MISSING_WORDS or _NO_LETTERS.fullmatch(cell) is not None


def kind_of(cell: str) -> str:
    """One letter for a tidy cell: n number, c clock or date, m missing, x text, b broken.

    Broken is a cell of digits and separators that is no number: a sign that the line was cut at
    the wrong character.
    """
    if NUMBER.fullmatch(cell):
        return "n"
    if is_missing(cell):
        return "m"
    if not cell[:1].isdigit() and cell[:1] not in "+-.,":
        return "x"
    if TIME.fullmatch(cell) or DATE.fullmatch(cell) or STAMP.fullmatch(cell):
        return "c"
    if GROUPED.fullmatch(cell) or _number_and_unit(cell)[0]:
        return "n"
    return "b" if _BROKEN.fullmatch(cell) else "x"


@dataclass(frozen=True)
class Numbers:
    """Cells of one column read as numbers; NaN where a cell is missing or no number.

    ``bad`` lists the indices of cells that are neither, ``unit`` is a unit written in the cells,
    ``fault`` an explanation where the cells cannot be told (thousands marks, two decimal marks)
    with the index of the cell in ``fault_at``.
    """

    values: FloatArray
    bad: tuple[int, ...] = ()
    unit: str = ""
    decimal: str = "."
    fault: str = ""
    fault_at: int = 0
    missing_words: tuple[str, ...] = field(default=())


def parse_numbers(cells: Sequence[str]) -> Numbers:
    """Read a column of cells as numbers; the decimal mark is decided from the cells themselves.

    A thousands mark is never assumed: ``1.234,5`` is a fault, ``1,234`` is 1.234.
    """
    plain = _plain_numbers(cells)
    if plain is not None:
        return plain
    values = np.full(len(cells), np.nan)
    bad: list[int] = []
    units: set[str] = set()
    words: dict[str, None] = {}
    first_of: dict[str, int] = {}
    for index, raw in enumerate(cells):
        cell = tidy(raw)
        number, unit = _number_and_unit(cell)
        if number:
            units.add(unit)
            for mark in ".,":
                if mark in number:
                    first_of.setdefault(mark, index)
            values[index] = _bounded(float(number.replace(",", ".")))
        elif is_missing(cell):
            if cell:
                words[cell] = None
        elif GROUPED.fullmatch(cell):
            return Numbers(values, fault=_grouped(cell), fault_at=index)
        else:
            bad.append(index)
    if len(first_of) == 2:
        at = max(first_of.values())
        other = tidy(cells[min(first_of.values())])
        return Numbers(values, fault=_two_marks(tidy(cells[at]), other), fault_at=at)
    units.discard("")
    decimal = "," if "," in first_of else "."
    unit = units.pop() if len(units) == 1 else ""
    return Numbers(values, tuple(bad), unit, decimal, missing_words=tuple(words))


def _plain_numbers(cells: Sequence[str]) -> Numbers | None:
    """The quick way for columns without blanks, text or exotic marks."""
    used = set("".join(cells))
    if not used <= set("0123456789.-+eE ") and not used <= set("0123456789,-+eE "):
        return None
    decimal = "," if "," in used else "."
    try:
        if decimal == ",":
            values = np.array([float(cell.replace(",", ".")) for cell in cells], dtype=np.float64)
        else:
            values = np.array([float(cell) for cell in cells], dtype=np.float64)
    except ValueError:
        return None
    if not (np.abs(values) < LARGEST).all():
        return None
    return Numbers(values, decimal=decimal)


def _bounded(number: float) -> float:
    """Infinity for a number that no arithmetic survives."""
    return number if abs(number) < LARGEST else math.copysign(math.inf, number)


def _number_and_unit(cell: str) -> tuple[str, str]:
    if NUMBER.fullmatch(cell):
        return cell, ""
    match = WITH_UNIT.fullmatch(cell)
    if match and (time_unit(match.group(2)) or temperature_unit(match.group(2))):
        return match.group(1), match.group(2)
    return "", ""


def _grouped(cell: str) -> str:
    return (
        f"'{cell}' looks like a number with a thousands mark; expected digits with one decimal "
        "point or comma: export without thousands marks"
    )


def _two_marks(cell: str, other: str) -> str:
    return (
        f"'{cell}' and, earlier, '{other}' use different decimal marks; expected one mark in a "
        "column: write all of its numbers with a point, or all with a comma"
    )
