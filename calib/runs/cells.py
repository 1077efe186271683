"""What a cell says: numbers with their decimal mark and unit, texts, and what stands in their way.

The decimal mark is decided cell by cell. Only where one mark is followed by exactly three digits
(``1,234``) is the rest of the table asked: it is taken for the decimal mark if the table uses it so
elsewhere, and refused if not (:class:`Marks`).
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from calib.runs.columns import Quantity
from calib.runs.model import CellValue
from calib.runs.units import Unit, find_unit


class CellError(Exception):
    """A cell that cannot be what its column needs."""

    def __init__(self, message: str, expected: str, remedy: str) -> None:
        super().__init__(message)
        self.message, self.expected, self.remedy = message, expected, remedy


@dataclass(frozen=True, slots=True)
class Number:
    """A number in the unit of its column.

    ``digits`` are those of the cell with a point, in the unit they stand in; ``written`` are they
    in the column's unit, to the same last place. ``unit`` is the unit typed in the cell, where it
    is another than the heading's.
    """

    value: float
    digits: str
    written: str
    unit: Unit | None = None
    percent: bool = False


@dataclass(slots=True)
class Marks:
    """Which decimal marks a table has been seen to use beyond doubt."""

    comma: bool = False
    point: bool = False

    def see(self, text: str) -> None:
        """Take note of a cell in a number column."""
        if ("," in text or (not self.point and "." in text)) and len(text) < 60:
            digits = _leading_digits(plain(text))
            if "," in digits and "." in digits:
                last = max(digits.rfind(","), digits.rfind("."))
                self._note(digits[last])
            elif digits.count(",") + digits.count(".") == 1 and not _DOUBTFUL.fullmatch(digits):
                self._note("," if "," in digits else ".")

    def _note(self, mark: str) -> None:
        if mark == ",":
            self.comma = True
        else:
            self.point = True

    def is_decimal(self, mark: str) -> bool:
        """Whether a mark that three digits follow is a decimal mark in this table."""
        return self.comma if mark == "," else self.point or not self.comma


_DOUBTFUL = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_SIMPLE = re.compile(r"[+-]?[0-9]{1,15}(?:\.[0-9]{1,15})?")
_NUMBER = re.compile(
    r"(?P<digits>[+-]?(?:[0-9][0-9.,' ]*|[.,][0-9]+))"
    r"(?P<power>\s*(?:[eE]|[x×*·]\s*10\s*\^?)\s*(?P<exponent>[+-]?[0-9]{1,3})(?![0-9.,]))?"
    r"\s*(?P<unit>[^0-9\s].*)?"
)
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")
_NO_VALUE = {"", "-", "–", "—", "−", "/", "n/a", "na", "n.a.", "none", "null", "?", "...", "…"}


def plain(text: str) -> str:
    """A cell's text in compatibility form, with plain blanks and minus signs."""
    if text.isascii():
        return " ".join(text.split())
    text = unicodedata.normalize("NFKC", text.translate(_SUPERSCRIPTS))
    text = re.sub(r"[\u2212\u2010-\u2013]", "-", text).replace("’", "'")
    return re.sub(r"\s+", " ", text).strip()


def _leading_digits(text: str) -> str:
    match = _NUMBER.fullmatch(text)
    return match["digits"].strip() if match else ""


def is_empty(cell: CellValue) -> bool:
    """Whether a cell holds nothing but blanks."""
    return cell is None or (isinstance(cell, str) and not cell.strip("\ufeff \t\r\n\v\f\u00a0"))


def says_nothing(cell: CellValue) -> bool:
    """Whether a cell of a number column is empty, or holds a mark that stands for nothing."""
    return is_empty(cell) or (isinstance(cell, str) and plain(cell).casefold() in _NO_VALUE)


def show(cell: CellValue, limit: int = 60) -> str:
    """A cell as a message shows it, on one line and not too long."""
    if isinstance(cell, float):
        return f"{cell:.10g}"
    if isinstance(cell, str):
        text = "".join(c if c.isprintable() else "\ufffd" for c in cell)
        return repr(text if len(text) <= limit else text[: limit - 1] + "…")
    return str(cell)


def as_text(cell: CellValue) -> str:
    """A cell as text: ``3`` for 3.0, blanks trimmed, control characters replaced."""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime) and cell.time() == time():
        return cell.date().isoformat()
    if cell is None:
        return ""
    text = " ".join(str(cell).replace("\ufeff", "").split())
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else "\ufffd" for c in text)


def read_number(cell: CellValue, quantity: Quantity, unit: Unit, marks: Marks) -> Number:
    """The number in a cell, converted to the unit of its column.

    ``unit`` is the one its heading gives; a unit typed in the cell takes precedence.

    Raises:
        CellError: the cell holds no number, or one that could be read in two ways.
    """
    expected = f"a number in {unit.symbol}"
    if isinstance(cell, bool):
        raise CellError("holds true or false, not a number", expected, "write the reading")
    if isinstance(cell, int | float):
        return _finished(_digits_of(float(cell)), unit, None, expected, float(cell))
    if isinstance(cell, datetime | date):
        raise CellError(_as_typed(cell), expected, "format the cell as text or number and retype")
    if isinstance(cell, time | timedelta):
        return _duration(cell, quantity, expected)
    return _typed_number(str(cell), quantity, unit, marks, expected)


def _typed_number(text: str, quantity: Quantity, unit: Unit, marks: Marks, expected: str) -> Number:
    if _SIMPLE.fullmatch(text) and not _DOUBTFUL.fullmatch(text):
        return _finished(text, unit, None, expected)
    line = plain(text)
    if quantity == "duration" and (clock := re.fullmatch(r"(\d+):(\d\d):(\d\d(?:[.,]\d+)?)", line)):
        hours, minutes, seconds = (float(part.replace(",", ".")) for part in clock.groups())
        total = f"{hours * 3600 + minutes * 60 + seconds:g}"
        return Number(float(total), total, total)
    match = _NUMBER.fullmatch(line) if len(line) < 100 else None
    if match is None or re.match(r"[^\w°%μ]|_", match["unit"] or "m"):
        raise _no_number(line, quantity, expected)
    typed = _typed_unit(match["unit"], quantity, unit, expected)
    digits = _with_point(match["digits"].strip(), marks, expected)
    exponent = int(match["exponent"] or 0)
    written = f"{digits}e{exponent}" if exponent else digits
    if typed == "%":
        return Number(float(written), written, written, percent=True)
    assert not isinstance(typed, str)
    return _finished(written, typed or unit, typed, expected)


def unit_in(text: str) -> Unit | None:
    """The unit that a cell's number is followed by, if it is one and there is one."""
    match = _NUMBER.fullmatch(plain(text)) if len(text) < 100 else None
    return find_unit(match["unit"]) if match and match["unit"] else None


def _typed_unit(
    text: str | None, quantity: Quantity, unit: Unit, expected: str
) -> Unit | str | None:
    if text is None or not text.strip():
        return None
    if text.strip() == "%":
        return "%"
    found = find_unit(text)
    if found is None:
        raise CellError(f"ends in {text.strip()!r}, which is no known unit", expected, "correct it")
    if found.quantity != quantity:
        raise CellError(
            f"is in {found.symbol}, a unit of {found.quantity}",
            expected,
            f"write the {quantity}, or move it to the column for {found.quantity}",
        )
    return None if found == unit else found


def _finished(
    digits: str, unit: Unit, typed: Unit | None, expected: str, exact: float | None = None
) -> Number:
    """A number from its digits; ``exact`` is the workbook's own value, of which they are short."""
    value = float(digits) if exact is None else exact
    if not math.isfinite(value):
        raise CellError("is not a finite number", expected, "write the reading")
    converted = unit.convert(value)
    if not math.isfinite(converted):
        raise CellError("is too large", expected, "write the reading")
    return Number(converted, digits, _in_column_unit(digits, converted, unit), typed)


def _in_column_unit(digits: str, converted: float, unit: Unit) -> str:
    """The digits in the column's unit, to the place that their own last one comes to."""
    if unit.is_column_unit:
        return digits
    last = last_place(digits) * unit.factor
    return f"{converted:.{max(0, min(12, math.ceil(-math.log10(last) - 1e-9)))}f}"


def last_place(digits: str) -> float:
    """What the last digit of a number written with a point stands for: 0.01 for ``"55.80"``."""
    mantissa, _, exponent = digits.strip().casefold().partition("e")
    places = len(mantissa.partition(".")[2])
    try:
        return float(10.0 ** max(-300, min(300, int(exponent or 0) - places)))
    except ValueError:
        return 1.0


def _digits_of(value: float) -> str:
    """A workbook's number as text, without the dust that a formula may have left."""
    if not math.isfinite(value):
        return str(value)
    text = repr(value)
    if "e" not in text and len(text.partition(".")[2]) > 9:
        text = f"{value:.9g}"
    return text.removesuffix(".0")


def _with_point(digits: str, marks: Marks, expected: str) -> str:
    """Digits with a point as decimal mark and no grouping."""
    bare = digits.replace("'", " ")
    if " " in bare:
        if not re.fullmatch(r"[+-]?[0-9]{1,3}(?: [0-9]{3})+(?:[.,][0-9]+)?", bare):
            raise CellError("has a blank or an apostrophe among its digits", expected, "remove it")
        return bare.replace(" ", "").replace(",", ".")
    points, commas = bare.count("."), bare.count(",")
    if points + commas == 0 or (points == 1 and commas == 0 and not _DOUBTFUL.fullmatch(bare)):
        return bare
    if points and commas:
        return _grouped(bare, expected)
    mark = "," if commas else "."
    if points + commas > 1:
        return _grouped(bare + ("." if mark == "," else ","), expected)
    if _DOUBTFUL.fullmatch(bare) and not marks.is_decimal(mark):
        decimal, grouped = bare.replace(mark, "."), bare.replace(mark, "")
        raise CellError(
            f"could be {decimal} or {grouped}", expected, f"write {decimal}0 or {grouped}"
        )
    return bare.replace(",", ".")


def _grouped(digits: str, expected: str) -> str:
    """``1.234,5`` and ``1,234.5``: the mark that stands last is the decimal one."""
    last = max(digits.rfind(","), digits.rfind("."))
    whole, part = digits[:last], digits[last + 1 :]
    group = "." if digits[last] == "," else ","
    pattern = rf"[+-]?[0-9]{{1,3}}(?:\{group}[0-9]{{3}})*"
    if not re.fullmatch(pattern, whole) or not re.fullmatch("[0-9]*", part):
        raise CellError(
            "has commas or points that fit no number", expected, "write one decimal mark"
        )
    return whole.replace(group, "") + ("." + part if part else "")


def _no_number(line: str, quantity: Quantity, expected: str) -> CellError:
    if line[:1] == "=":
        return CellError(
            "holds a formula as text, which is never calculated", expected, "retype it"
        )
    if line.casefold().lstrip("+-") in ("nan", "inf", "infinity"):
        return CellError("is not a finite number", expected, "write the reading, or leave it blank")
    if re.search(r"[0-9]\s*(?:±|\+/-|\+-)\s*[0-9]", line):
        return CellError(
            "carries its own uncertainty", expected, "put the uncertainty in a u_ column beside it"
        )
    if re.match(r"[<>~≈≤≥]|ca\b|about\b", line.casefold()):
        return CellError("is a bound or a guess, not a reading", expected, "write the reading")
    if quantity == "duration" and re.fullmatch(r"\d+:\d\d", line):
        return CellError(
            "could be hours and minutes or minutes and seconds", expected, "write it in seconds"
        )
    return CellError("is text where a number belongs", expected, "write the number alone")


def _as_typed(cell: date) -> str:
    """What to say about a date in a number column: most are 21.3 taken for the 21st of March."""
    return (
        f"holds the date {cell:%Y-%m-%d}: a spreadsheet program may have taken "
        f"{cell.day}.{cell.month} or {cell.month}/{cell.day} for a date"
    )


def _duration(cell: time | timedelta, quantity: Quantity, expected: str) -> Number:
    if isinstance(cell, time):
        seconds = cell.hour * 3600 + cell.minute * 60 + cell.second + cell.microsecond / 1e6
    else:
        seconds = cell.total_seconds()
    if quantity != "duration":
        raise CellError(f"holds the clock time {cell}", expected, "write the reading as a number")
    if seconds >= 3600 and seconds % 60 == 0:
        raise CellError(
            f"holds the clock time {cell}: minutes and seconds may have been taken for hours",
            expected,
            "write it in seconds",
        )
    return Number(seconds, f"{seconds:g}", f"{seconds:g}")
