"""Constants as a text file that travels: documented, versioned, with a checksum.

The file is JSON in UTF-8, indented, keys in a fixed order:

    {"format": "cupledger constants", "format_version": 1,
     "sha256": <of the content>, "content": {
        "written_at": <moment>, "written_by": <person>, "software_version": <release>,
        "apparatus": [...], "constants": [...], "results": [...], "audit": [...]}}

Each list holds rows of the table of that name with the columns documented in ``migrations.py``,
except that a row is known by its ``uid`` (not by a number that means something in one registry
only): ``superseded_by`` is a uid, and a result's ``constants`` are uids. Dates and moments are
ISO 8601. Numbers are written with all their digits, so that they come back the same.

The checksum is SHA-256 of the content written as JSON with sorted keys, no blanks and no
``\\u`` escapes, in UTF-8.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    ColumnElement,
    Connection,
    Date,
    Float,
    Table,
    or_,
    select,
)

from calib.registry import cups, schema
from calib.registry.connection import now, who
from calib.registry.errors import RegistryError
from calib.registry.migrations import V4_COLUMNS
from calib.version import __version__
from fitting.files.bounded import EXPORT, read_bytes, read_json

FORMAT = "cupledger constants"
FORMAT_VERSION = 1
LISTS = {
    "apparatus": schema.apparatus,
    "constants": schema.constants,
    "results": schema.results,
    "audit": schema.audit,
}
LEFT_OUT = {("constants", "id"), ("results", "id"), ("audit", "id"), ("audit", "imported_in")}
MAY_LACK = tuple(text.split()[0] for text in V4_COLUMNS)
"""Columns of constants that exports of earlier releases do not have: not known."""

Content = dict[str, Any]


def collect(
    connection: Connection, *, apparatus: Iterable[str] | None = None, results: bool = False
) -> Content:
    """What a file holds: all apparatus or those named, with their constants and their trail."""
    named = cups.identifiers(connection) if apparatus is None else tuple(apparatus)
    for name in named:
        cups.find(connection, name)
    rows: dict[str, list[dict[str, Any]]] = {
        "results": _results(connection, named) if results else []
    }
    names = {*named, *(name for row in rows["results"] for name in row.pop("cups"))}
    for key in ("apparatus", "constants", "audit"):
        table = LISTS[key]
        column = table.c["id" if key == "apparatus" else "apparatus"]
        wanted: ColumnElement[bool] = column.in_(names)
        if key == "audit" and results:  # who kept results is told without an apparatus
            wanted = or_(wanted, table.c.action == "record")
        query = select(table).where(wanted).order_by(*table.primary_key)
        rows[key] = [dict(row) for row in connection.execute(query).mappings()]
    uids = {row.id: row.uid for row in connection.execute(select(schema.constants))}
    for row in rows["constants"]:
        row["superseded_by"] = uids.get(row["superseded_by"])
    content: Content = {
        "written_at": now(),
        "written_by": who(),
        "software_version": __version__,
    }
    for key in LISTS:
        content[key] = [_to_json(key, row) for row in rows[key]]
    return content


def _results(connection: Connection, named: Iterable[str]) -> list[dict[str, Any]]:
    """Kept results of these cups, with the constants they rest on and the cups of those."""
    table, links, constants = schema.results, schema.result_constants, schema.constants
    query = select(table).where(table.c.apparatus.in_(list(named))).order_by(table.c.id)
    rows = [dict(row) for row in connection.execute(query).mappings()]
    for row in rows:
        rests_on = connection.execute(
            select(constants.c.uid, constants.c.apparatus)
            .join(links, links.c.constant_id == constants.c.id)
            .where(links.c.result_id == row["id"])
        ).all()
        row["constants"] = sorted(found.uid for found in rests_on)
        row["cups"] = {found.apparatus for found in rests_on}
    return rows


def _to_json(key: str, row: dict[str, Any]) -> dict[str, Any]:
    return {
        name: value.isoformat() if isinstance(value, date) else value
        for name, value in row.items()
        if (key, name) not in LEFT_OUT
    }


def checksum(content: Content) -> str:
    """SHA-256 of the content in its one agreed spelling."""
    text = json.dumps(
        content, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    )
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def write(path: Path, content: Content) -> str:
    """Write an export; the old file stays whole until the new one is. Returns the checksum."""
    document = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "sha256": checksum(content),
        "content": content,
    }
    text = json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    beside = path.with_name(path.name + ".part")
    try:
        with beside.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise RegistryError(
            f"the export {path} cannot be written ({error.strerror}); check the folder and the"
            " space"
            " that is left; nothing was changed"
        ) from None
    return str(document["sha256"])


def read(path: Path) -> Content:
    """Read an export and check it. Raises RegistryError that says what is wrong with the file."""
    try:
        document = read_json(read_bytes(path, EXPORT, RegistryError), EXPORT)
    except (UnicodeError, json.JSONDecodeError):
        raise RegistryError(_no_export(path, "it is not JSON in UTF-8")) from None
    except ValueError as why:
        raise RegistryError(_no_export(path, f"it holds {why}")) from None
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise RegistryError(_no_export(path, f"its format is not {FORMAT!r}"))
    version = document.get("format_version")
    if version != FORMAT_VERSION:
        raise RegistryError(
            f"the export {path} has format version {version!r}, and this release ({__version__})"
            " reads"
            f" version {FORMAT_VERSION}; nothing was imported; install the release that wrote it"
        )
    content = document.get("content")
    if not isinstance(content, dict) or document.get("sha256") != _checksum_or_none(content):
        raise RegistryError(
            f"the export {path} was changed or damaged after it was written: its checksum does"
            " not fit;"
            " nothing was imported; ask for a fresh export"
        )
    return checked(content, str(path))


def _checksum_or_none(content: Content) -> str | None:
    try:
        return checksum(content)
    except ValueError:  # halves of characters, which no text in UTF-8 has
        return None


def _no_export(path: Path, why: str) -> str:
    return (
        f"{path} is not an export of constants: {why}; nothing was imported; expected a file"
        " made by"
        " 'cupledger constants export'"
    )


def checked(content: Content, name: str) -> Content:
    """The content with dates as dates, every value of the kind that its column takes."""
    found: Content = {key: value for key, value in content.items() if key not in LISTS}
    for key, value in found.items():
        if not isinstance(value, str):
            raise RegistryError(f"{name}: {key} is {value!r:.60}, no text; nothing was imported")
    for key, table in LISTS.items():
        rows = content.get(key)
        if not isinstance(rows, list):
            raise RegistryError(f"{name}: the list {key!r} is missing; nothing was imported")
        found[key] = [
            _checked_row(key, table, row, f"{name}: {key} {n}") for n, row in enumerate(rows)
        ]
    return found


def _checked_row(key: str, table: Table, row: object, where: str) -> dict[str, Any]:
    columns = {column.name: column for column in table.c if (key, column.name) not in LEFT_OUT}
    expected = set(columns) | ({"constants"} if key == "results" else set())
    if key == "constants" and isinstance(row, dict):
        row = {**dict.fromkeys(MAY_LACK), **row}
    if not isinstance(row, dict) or set(row) != expected:
        given = set(row) if isinstance(row, dict) else set()
        odd = sorted(given ^ expected)
        raise RegistryError(
            f"{where}: keys missing or unknown: {', '.join(odd)}; nothing was imported"
        )
    values = {name: _value(column, row[name], where) for name, column in columns.items()}
    if key == "results":
        uids = row["constants"]
        if not isinstance(uids, list) or not all(isinstance(uid, str) for uid in uids):
            raise RegistryError(
                f"{where}: constants is {uids!r:.60}, no list of their names; nothing was imported"
            )
        values["constants"] = uids
    return values


def _value(column: Column[Any], value: Any, where: str) -> Any:
    if value is None and column.nullable:
        return None
    if column.name == "superseded_by":
        kinds: tuple[type, ...] = (str,)
    elif isinstance(column.type, Float):
        kinds = (int, float)
    elif isinstance(column.type, BigInteger):
        kinds = (int,)
    else:
        kinds = (str,)
    if isinstance(value, kinds) and not isinstance(value, bool) and "\x00" not in str(value):
        if not isinstance(column.type, Date):
            return value
        try:
            return date.fromisoformat(str(value))
        except ValueError:
            pass
    raise RegistryError(f"{where}: {column.name} is {value!r:.60}; nothing was imported")
