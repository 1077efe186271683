"""Dates in the forms that tables hold them, and what to do where day and month could be swapped."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from calib.runs.cells import CellError, plain
from calib.runs.model import CellValue
from calib.runs.readings_file import DateOrder

EXPECTED = "a date such as 2026-11-25"
_FIRST_SERIAL, _LAST_SERIAL = 18264, 73051  # 1950-01-01 and 2100-01-01 in the 1900 system

# The first letters of month names: English, German, French, Spanish.
_MONTHS = {
    **dict.fromkeys(("jan", "ene"), 1),
    **dict.fromkeys(("feb", "fev"), 2),
    **dict.fromkeys(("mar", "mae", "mrz"), 3),
    **dict.fromkeys(("apr", "avr", "abr"), 4),
    **dict.fromkeys(("may", "mai"), 5),
    **dict.fromkeys(("jun", "juin"), 6),
    **dict.fromkeys(("jul", "juil"), 7),
    **dict.fromkeys(("aug", "aou", "ago"), 8),
    "sep": 9,
    **dict.fromkeys(("oct", "okt"), 10),
    "nov": 11,
    **dict.fromkeys(("dec", "dez", "dic"), 12),
}


@dataclass(frozen=True, slots=True)
class Order:
    """Which of the first two numbers is the day, and how that was found out."""

    order: DateOrder | None = None
    why: str = ""
    base: date = date(1899, 12, 30)


_SWAPPABLE = re.compile(r"(\d{1,2})\s*([/-])\s*(\d{1,2})\s*[/-]\s*(\d{4}|\d{2})(?:[ T].*)?")


def find_order(cells: Iterable[CellValue], given: DateOrder | None, base: date) -> Order:
    """Decide the order from a whole column: a number over 12 can only be a day."""
    if given is not None:
        return Order(given, "readings.toml", base)
    day_first = month_first = False
    for cell in cells:
        match = _SWAPPABLE.fullmatch(plain(cell)) if isinstance(cell, str) else None
        if match:
            first, second = int(match[1]), int(match[3])
            day_first |= first > 12 >= second
            month_first |= second > 12 >= first
    if day_first == month_first:
        return Order(base=base)
    return Order("day first" if day_first else "month first", "other dates in the column", base)


def read_date(cell: CellValue, order: Order) -> tuple[date, str]:
    """The date in a cell, and a note where it took a guess.

    Raises:
        CellError: the cell holds no date, or one that could be read in two ways.
    """
    if isinstance(cell, datetime):
        return _checked(cell.date()), ""
    if isinstance(cell, date):
        return _checked(cell), ""
    if cell is None or isinstance(cell, bool | time | timedelta):
        raise CellError("is not a date", EXPECTED, "write the date")
    if isinstance(cell, int | float):
        return _serial(float(cell), order)
    return _typed(plain(cell), order)


def _serial(value: float, order: Order) -> tuple[date, str]:
    if not _FIRST_SERIAL <= value < _LAST_SERIAL:
        if value.is_integer() and 19500101 <= value <= 20991231:
            return _typed(str(int(value)), order)
        raise CellError("is a number, not a date", EXPECTED, "write the date")
    day = order.base + timedelta(days=int(value))
    return day, f"the number {value:g} read as a spreadsheet's day count: {day}"


def _typed(text: str, order: Order) -> tuple[date, str]:
    text = re.sub(r"^[A-Za-zäöüéèáíóúñ]{2,10}\.?,\s*", "", text)
    iso = re.fullmatch(r"(\d{4})\s*[-/.]\s*(\d{1,2})\s*[-/.]\s*(\d{1,2})(?:[ T].*)?", text)
    packed = re.fullmatch(r"(\d{4})(\d\d)(\d\d)(?:T.*)?", text)
    if match := iso or packed:
        return _made(match[1], match[2], match[3]), ""
    if match := re.fullmatch(r"(\d{1,2})\s*\.\s*(\d{1,2})\s*\.\s*(\d{4}|\d\d)(?: .*)?", text):
        return _made(match[3], match[2], match[1]), _century(match[3])
    if match := _SWAPPABLE.fullmatch(text):
        return _swappable(match, order)
    if found := _named_month(text):
        return found
    if re.fullmatch(r"\d{5}(?:[.,]\d+)?", text):
        return _serial(float(text.replace(",", ".")), order)
    raise CellError("cannot be read as a date", EXPECTED, "write year, month, day")


def _swappable(match: re.Match[str], order: Order) -> tuple[date, str]:
    first, second, year = match[1], match[3], match[4]
    if int(first) > 12 or first.zfill(2) == second.zfill(2):
        return _made(year, second, first), _century(year)
    if int(second) > 12:
        return _made(year, first, second), _century(year)
    if order.order is None:
        day_first, month_first = _made(year, second, first), _made(year, first, second)
        raise CellError(
            f"could be {day_first} or {month_first}",
            EXPECTED,
            f'write {day_first} or {month_first}, or put date_order = "day first" (or "month '
            'first") in readings.toml',
        )
    day, month = (first, second) if order.order == "day first" else (second, first)
    return _made(year, month, day), f"slashed dates read {order.order}, by {order.why}"


def _named_month(text: str) -> tuple[date, str] | None:
    match = re.fullmatch(r"(\d{1,2})\W*([^\W\d]+)\W*(\d{4}|\d\d)", text)
    if match:
        day, name, year = match.groups()
    elif match := re.fullmatch(r"([^\W\d]+)\W*(\d{1,2})(?:st|nd|rd|th)?\W+(\d{4})", text):
        name, day, year = match.groups()
    else:
        return None
    letters = unicodedata.normalize("NFD", name.casefold().replace("ä", "ae"))
    bare = "".join(c for c in letters if c.isalpha())
    month = _MONTHS.get(bare[:4]) or _MONTHS.get(bare[:3])
    return (_made(year, str(month), day), _century(year)) if month else None


def _century(year: str) -> str:
    return "" if len(year) == 4 else "two-digit years read as 20.."


def _made(year: str, month: str, day: str) -> date:
    number = int(year) + (2000 if len(year) == 2 else 0)
    try:
        return _checked(date(number, int(month), int(day)))
    except ValueError:
        raise CellError("is no day of the calendar", EXPECTED, "correct it") from None


def _checked(day: date) -> date:
    if not 1950 <= day.year < 2100:
        raise CellError(f"lies in the year {day.year}", EXPECTED, "correct the year")
    return day
