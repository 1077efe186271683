"""The one check of stored rows: on their way in (import, merge, new) and whenever they are read.

A row that fails it *cannot be read*: it is named and left out, and everything else is used. What
comes in from outside is held to more (``coming_in``): lengths, control characters, names and dates
that no release writes. What a value may be stands in ``columns.py``; what several columns of a row
must be together stands here.
"""

from __future__ import annotations

import json
import math
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from calib.registry.columns import TABLES, Column

Row = Mapping[str, Any]
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_UID = re.compile(r"[0-9a-f]{32}")
_FIRST_YEAR, _LAST_YEAR = 1900, 2199  # of what comes in: school years, not slips of the pen
_SHOWN = 40  # letters of a value in a message


@dataclass(frozen=True, slots=True)
class Unreadable:
    """One stored row that cannot be read, and why; ``withdrawn``: it is out of use anyway."""

    table: str
    number: int | str
    apparatus: str
    why: str
    withdrawn: bool = False

    def __str__(self) -> str:
        what = {"constants": "constant", "audit": "line", "results": "result"}.get(
            self.table, self.table
        )
        of = f" of {self.apparatus}" if self.apparatus and self.table != "apparatus" else ""
        trail = " of the trail" if self.table == "audit" else of
        return f"{what} {self.number}{trail} cannot be read: {self.why}"


def unreadable(table: str, row: Row, problems: Iterable[str]) -> Unreadable:
    """The record of a row that failed the check."""
    cup = row.get("id" if table == "apparatus" else "apparatus", "")
    number = row.get("id", "?")
    return Unreadable(
        table,
        number if isinstance(number, int) else plain(number),
        plain(cup) if cup else "",
        "; ".join(problems),
        row.get("status") == "withdrawn",
    )


def problems(table: str, row: Row, *, coming_in: bool = False, whole: bool = True) -> list[str]:
    """What is wrong with a row of a table (stored names to values); empty where nothing is.

    ``coming_in``: it comes from outside this registry, so that columns that mean something here
    only are absent, links are uids, and text must be clean. ``whole=False`` looks only at columns
    that are given.
    """
    found = []
    for column in TABLES[table]:
        if coming_in and not column.travels:
            continue
        if column.stored not in row:
            if whole:
                found.append(f"{column.name} is missing")
            continue
        why = _wrong(column, row[column.stored], coming_in=coming_in)
        if why:
            found.append(f"{column.name} is {shown(row[column.stored])}, expected {why}")
    if not found:
        rules = {"constants": _constant_rules, "apparatus": _apparatus_rules}
        found += rules.get(table, _no_rules)(row, coming_in=coming_in)
    return found


def shown(value: object) -> str:
    """A value as a message shows it: short, without control characters."""
    text = repr(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


def plain(value: object) -> str:
    """A name as a message shows it, whatever stands in its place."""
    if isinstance(value, str) and value.isprintable():
        return value if len(value) <= _SHOWN else value[: _SHOWN - 3] + "..."
    return shown(value)


def as_day(value: object) -> date | None:
    """The date that stands here, as a date or as YYYY-MM-DD; None where none does."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and _DAY.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            return None
    return None


def same_name(text: str) -> str:
    """An identifier in the one spelling that is kept: composed accents (Unicode NFC), no edges."""
    return unicodedata.normalize("NFC", text.strip())


# One value


def _wrong(column: Column, value: Any, *, coming_in: bool) -> str:
    """What was expected in this column; empty where the value will do."""
    if value is None:
        return "" if column.null else "a value"
    kind = column.kind
    if kind == "link":
        kind = "uid" if coming_in else "count"
    return _KINDS[kind](column, value, coming_in)


def _number(column: Column, value: Any, coming_in: bool) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "a number"
    if isinstance(value, float) and not math.isfinite(value):
        return "a finite number"
    if column.above_zero and not value > 0:
        return "more than zero"
    if not column.low <= value <= column.high:
        return f"{column.low:g} to {column.high:g}"
    if value and abs(value) < column.least:
        return f"at least {column.least:g}" + ("" if column.above_zero else ", or 0")
    return ""


def _count(column: Column, value: Any, coming_in: bool) -> str:
    if isinstance(value, bool) or not isinstance(value, int):
        return "a whole number"
    if value < column.low:
        return f"at least {column.low:g}"
    return "" if value <= column.high else f"at most {column.high:g}"


def _uid(column: Column, value: Any, coming_in: bool) -> str:
    if not isinstance(value, str) or not value:
        return "a name of 32 hexadecimal digits"
    good = not coming_in or _UID.fullmatch(value)
    return "" if good else "a name of 32 hexadecimal digits"


def _moment(column: Column, value: Any, coming_in: bool) -> str:
    expected = "a moment, such as 2026-09-01T08:30:00+00:00"
    if not isinstance(value, str) or len(value) < 11:
        return expected
    try:
        found = datetime.fromisoformat(value)
    except ValueError:
        return expected
    if found.tzinfo is None:
        return expected
    return _year(found.year, coming_in)


def _day(column: Column, value: Any, coming_in: bool) -> str:
    found = as_day(value)
    return "a date, such as 2026-09-01" if found is None else _year(found.year, coming_in)


def _year(year: int, coming_in: bool) -> str:
    good = not coming_in or _FIRST_YEAR <= year <= _LAST_YEAR
    return "" if good else f"a year from {_FIRST_YEAR} to {_LAST_YEAR}"


def _text(column: Column, value: Any, coming_in: bool) -> str:
    if not isinstance(value, str):
        return "text"
    if column.one_of and value not in column.one_of:
        return " or ".join(column.one_of)
    if not _storable(value):
        return "text in Unicode, without a zero character"
    return _unclean(column, value) if coming_in else ""


def _storable(text: str) -> bool:
    """Whether every database takes it: no zero character, no half of a surrogate pair."""
    return "\x00" not in text and not any("\ud800" <= c <= "\udfff" for c in text)


def _unclean(column: Column, text: str) -> str:
    """What keeps a text from coming in: its length, characters that steer a terminal."""
    if len(text) > column.most:
        return f"at most {column.most} letters"
    allowed = "" if column.kind == "line" else "\n\r\t"
    odd = [c for c in text if c not in allowed and unicodedata.category(c) == "Cc"]
    odd += [c for c in text if c in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"]
    return f"text without the control character U+{ord(odd[0]):04X}" if odd else ""


def _json(column: Column, value: Any, coming_in: bool) -> str:
    if not isinstance(value, str) or not _storable(value):
        return "JSON text"
    if coming_in and len(value) > column.most:
        return f"JSON text of at most {column.most} letters"
    try:
        found = json.loads(value)
    except (ValueError, RecursionError):
        return "JSON text"
    return _SHAPES[column.shape](found)


def _texts(found: Any) -> str:
    good = isinstance(found, list) and all(isinstance(item, str) for item in found)
    return "" if good else "a list of texts in JSON"


def _list(found: Any) -> str:
    return "" if isinstance(found, list) else "a list in JSON"


def _object(found: Any) -> str:
    return "" if isinstance(found, dict) else "an object in JSON"


def _details(found: Any) -> str:
    """What the commands read of a calibration's details, where it is there."""
    if not isinstance(found, dict):
        return "an object in JSON"
    edges = found.get("interval95_J_per_K")
    if edges is not None:
        pair = isinstance(edges, list) and len(edges) == 2 and all(map(_is_number, edges))
        if not pair or edges[0] > edges[1]:
            return "interval95_J_per_K of two numbers, low to high"
    for name, numbers in (
        ("runs", ("constant_J_per_K", "u_constant_J_per_K")),
        ("budget", ("u_J_per_K", "share_percent")),
    ):
        rows = found.get(name)
        if rows is None:
            continue
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            return f"{name} as a list of objects"
        given = [row[n] for row in rows for n in numbers if row.get(n) is not None]
        if not all(_is_number(value) or _is_nan(value) for value in given):
            return f"numbers in {name}"
        if name == "budget" and not all(isinstance(row.get("source"), str) for row in rows):
            return "a source in each line of budget"
    return ""


def _is_number(value: Any) -> bool:
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and -1e15 <= value <= 1e15  # false for what is not finite
    )


def _is_nan(value: Any) -> bool:
    return isinstance(value, float) and math.isnan(value)


_SHAPES: dict[str, Callable[[Any], str]] = {
    "texts": _texts,
    "list": _list,
    "object": _object,
    "details": _details,
}
_KINDS: dict[str, Callable[[Column, Any, bool], str]] = {
    "line": _text,
    "text": _text,
    "uid": _uid,
    "moment": _moment,
    "day": _day,
    "number": _number,
    "count": _count,
    "json": _json,
}


# Several values of a row


def _no_rules(row: Row, *, coming_in: bool) -> list[str]:
    return []


def _apparatus_rules(row: Row, *, coming_in: bool) -> list[str]:
    found = []
    name = row.get("id", "x")
    if not name.strip() or (coming_in and not name.isprintable()):
        found.append(f"id is {shown(name)}, expected printable characters")
    if coming_in and not row["kind"].strip():
        found.append("kind is empty, expected a kind of cup")
    if row.get("retired_on") is not None and not row["retired_why"]:
        found.append("it is retired, and no reason is given")
    return found


def _constant_rules(row: Row, *, coming_in: bool) -> list[str]:
    get = row.get
    found = []
    for name, unit in (("fill", "mL"), ("temperature", "C")):
        low, high = get(f"{name}_lo_{unit.lower()}"), get(f"{name}_hi_{unit.lower()}")
        if (low is None) != (high is None):
            found.append(f"{name}_{unit} has one end only")
        elif low is not None and high is not None and low > high:
            found.append(f"{name}_{unit} runs from {low} to {high}, expected low to high")
    if (get("heat_loss_w_per_k") is None) != (get("u_heat_loss_w_per_k") is None):
        found.append("heat_loss_W_per_K and its uncertainty go together")
    wall = (get("wall_part_j_per_k"), get("hidden_share"), get("u_hidden_share"))
    if None in wall and any(part is not None for part in wall):
        found.append("the wall part, the hidden share and its uncertainty go together")
    if abs(wall[0] or 0.0) > get("u_constant_j_per_k", math.inf) * (1.0 + 1e-9):
        found.append(
            f"wall_part_J_per_K is {wall[0]}, expected a part of u_constant_J_per_K,"
            f" {get('u_constant_j_per_k')}"
        )
    slope = ("fill_slope_j_per_k_per_ml", "u_fill_slope_j_per_k_per_ml", "fill_reference_ml")
    parts = [get(name) for name in slope]
    if None in parts and any(part is not None for part in parts):
        found.append("the fill slope, its uncertainty and the reference fill go together")
    return found + _status_rules(row)


def _status_rules(row: Row) -> list[str]:
    """The columns of a status are there with it."""
    get, status, found = row.get, row.get("status"), []
    if status in {"approved", "superseded"} and get("approved_at") is None:
        found.append(f"it is {status}, and approved_at is empty")
    if status == "superseded" and (get("superseded_by") is None or get("valid_to") is None):
        found.append("it is superseded, and by which constant from when is not said")
    if status == "withdrawn" and (get("withdrawn_at") is None or not get("withdrawn_why")):
        found.append("it is withdrawn, and when and why is not said")
    if status in {"draft", "approved"} and get("valid_to") is not None:
        found.append(f"it is {status}, and it has an end")
    if status == "draft" and get("approved_at") is not None:
        found.append("it is a draft, and it was approved")
    if status not in {None, "withdrawn"} and get("withdrawn_at") is not None:
        found.append(f"it is {status}, and it was withdrawn")
    return found
