"""How a constant lies in its row. Light: a command that only lists constants needs no more."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Protocol

from calib.registry.columns import TABLES
from calib.registry.records import StoredConstant
from calib.registry.validation import Unreadable, as_day, plain, problems, unreadable

SCHEMA_VERSION = 5  # what each version brought: migrations.py

RANGES = {
    "fill_mL": ("fill_lo_ml", "fill_hi_ml"),
    "temperature_C": ("temperature_lo_c", "temperature_hi_c"),
}
STORED_ONLY = (
    *("id", "uid", "valid_to", "status", "superseded_by", "made_by"),
    *("approved_by", "approved_why", "withdrawn_by", "withdrawn_why"),
)
_READ_OTHERWISE = {"warnings_json", "digests_json", "made_at", "approved_at", "withdrawn_at"}
_ENDS = {end for ends in RANGES.values() for end in ends}
PLAIN = tuple(
    column.name
    for column in TABLES["constants"]
    if column.name not in {*STORED_ONLY, *_READ_OTHERWISE} and column.stored not in _ENDS
)
"""Fields of a new constant that are stored under their own name in lower case."""
DAYS = tuple(column.name for column in TABLES["constants"] if column.kind == "day")


class Row(Protocol):
    """Anything that gives a column's value by its name."""

    def __getitem__(self, name: str, /) -> Any: ...


def read_constant(row: Mapping[str, Any], *, uses: int = 0) -> StoredConstant | Unreadable:
    """The record of one row of the constants with its apparatus' kind, or why there is none."""
    found = problems("constants", row)
    if not isinstance(row["kind"], str):
        found.append(f"its cup {plain(row['apparatus'])} is not registered, or has no kind")
    if found:
        return unreadable("constants", row, found)
    return stored_constant(row, uses=uses)


def stored_constant(row: Row, *, uses: int = 0) -> StoredConstant:
    """The record of a row that passed the check, days as dates."""
    values: dict[str, Any] = {name: row[name.lower()] for name in (*PLAIN, *STORED_ONLY)}
    values |= {name: as_day(values[name]) for name in DAYS}
    for name, (low, high) in RANGES.items():
        values[name] = None if row[low] is None else (row[low], row[high])
    return StoredConstant(
        **values,
        kind=row["kind"],
        digests=tuple(json.loads(row["digests_json"])),
        warnings=tuple(json.loads(row["warnings_json"])),
        made_at=datetime.fromisoformat(row["made_at"]),
        approved_at=_moment(row["approved_at"]),
        withdrawn_at=_moment(row["withdrawn_at"]),
        uses=uses,
    )


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def as_text(raw: bytes) -> str | bytes:
    """What SQLite gives for a text: the text, or the bytes where they are not UTF-8."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw
