"""Constants as a text file that travels: documented, versioned, with a checksum.

The file is JSON in UTF-8, indented, keys in a fixed order:

    {"format": "cupledger constants", "format_version": 1,
     "sha256": <of the content>, "content": {
        "written_at": <moment>, "written_by": <person>, "software_version": <release>,
        "apparatus": [...], "constants": [...], "results": [...], "audit": [...]}}

Each list holds rows of the table of that name with the columns documented in ``migrations.py``,
except that a row is known by its ``uid`` (not by a number that means something in one registry
only): ``superseded_by`` is a uid, and a result's ``constants`` are uids. Dates and moments are
ISO 8601. Numbers are written with all their digits, so that they come back the same. ``chain_head``
is the newest hash of the registry's chain (see ``calib.registry.chain``); lines that tell of one
registry only (its migrations, its imports, the beginning of its chain) stay there.

Rows that cannot be read, and what rests on them, are left out of an export and named.

The checksum is SHA-256 of the content written as JSON with sorted keys, no blanks and no
``\\u`` escapes, in UTF-8.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import ColumnElement, Connection, or_, select

from calib.errors import OutputError
from calib.outputs import EXPORT, Outputs
from calib.registry import chain, cups, schema
from calib.registry.columns import MAY_LACK, travelling
from calib.registry.connection import now, who
from calib.registry.errors import RegistryError
from calib.registry.validation import Unreadable, as_day, plain, problems, unreadable
from calib.version import __version__
from fitting.files.bounded import EXPORT as EXPORT_BOUND
from fitting.files.bounded import read_bytes, read_json

FORMAT = "cupledger constants"
FORMAT_VERSION = 1
LISTS = {
    "apparatus": schema.apparatus,
    "constants": schema.constants,
    "results": schema.results,
    "audit": schema.audit,
}
Content = dict[str, Any]


def collect(
    connection: Connection, *, apparatus: Iterable[str] | None = None, results: bool = False
) -> tuple[Content, tuple[Unreadable, ...]]:
    """What a file holds: all apparatus or those named, with their constants and their trail.

    Beside it the rows that were left out because they, or what they rest on, cannot be read.
    """
    given = cups.identifiers(connection) if apparatus is None else tuple(apparatus)
    named = [cups.stored_name(connection, name) or name for name in given]
    if apparatus is not None:
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
        if key == "audit":
            if results:  # who kept results is told without an apparatus
                wanted = or_(wanted, table.c.action == "record")
            wanted = wanted & table.c.action.not_in(chain.LOCAL)
        elif apparatus is None:  # those whose name is no text, too: they are to be named
            wanted = column.is_not(None)
        query = select(table).where(wanted).order_by(*table.primary_key)
        rows[key] = [dict(row) for row in connection.execute(query).mappings()]
    good, left_out = _readable(connection, rows)
    content: Content = {
        "written_at": now(),
        "written_by": who(),
        "software_version": __version__,
        "chain_head": chain.head(connection),
    }
    for key in LISTS:
        content[key] = [_to_json(key, row) for row in good[key]]
    return content, left_out


def _readable(
    connection: Connection, rows: dict[str, list[dict[str, Any]]]
) -> tuple[Content, tuple[Unreadable, ...]]:
    """The rows that can be read and whose cups and constants can be read."""
    uids = {row.id: row.uid for row in connection.execute(select(schema.constants))}
    good, left_out = closed(rows, check=True)
    for row in good["constants"]:
        row["superseded_by"] = uids.get(row["superseded_by"])
    return good, left_out


def closed(content: Content, *, check: bool = False) -> tuple[Content, tuple[Unreadable, ...]]:
    """The content without rows that rest on a cup or a constant that is not in it; and those.

    ``check``: without rows of the database that cannot be read, too.
    """
    good: Content = {**content, **{key: [] for key in LISTS}}
    left_out: list[Unreadable] = []
    known: set[str] = set()  # identifiers of apparatus, and uids of constants
    for key in LISTS:  # in the order in which they rest on one another
        for number, row in enumerate(content[key], 1):
            found = problems(key, row) if check else []
            if not found and key in {"constants", "results"} and row["apparatus"] not in known:
                found = [f"its cup {plain(row['apparatus'])} cannot be read"]
            if not found and key == "results" and not known.issuperset(row["constants"]):
                found = ["it rests on a constant that cannot be read"]
            if found:
                left_out.append(unreadable(key, {"id": number, **row}, found))
                continue
            good[key].append(row)
            known.update({row["id"]} if key == "apparatus" else {row["uid"]})
    return good, tuple(left_out)


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
        row["constants"] = sorted(str(found.uid) for found in rests_on)
        row["cups"] = {found.apparatus for found in rests_on if isinstance(found.apparatus, str)}
    return rows


def _to_json(key: str, row: dict[str, Any]) -> dict[str, Any]:
    names = [column.stored for column in travelling(key)]
    names += ["constants"] if key == "results" else []
    return {
        name: row[name].isoformat() if isinstance(row[name], date) else row[name] for name in names
    }


def checksum(content: Content) -> str:
    """SHA-256 of the content in its one agreed spelling."""
    text = json.dumps(
        content, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    )
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def write(path: Path, content: Content, *, outputs: Outputs | None = None) -> str:
    """Write an export; the old file stays whole until the new one is. Returns the checksum.

    An export that is there is replaced where the new one holds all that it does; another one, and
    a file of somebody else's, only where ``outputs`` allow it.

    Raises OutputError: the file may not or cannot be written.
    """
    document = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "sha256": checksum(content),
        "content": content,
    }
    text = json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    outputs = outputs or Outputs()
    outputs.claim(EXPORT, path)
    if not outputs.overwrite and path.exists():
        _refuse_to_lose(path, content)
    outputs.write(EXPORT, path, text)
    return str(document["sha256"])


def _refuse_to_lose(path: Path, content: Content) -> None:
    """Refuse to replace an export that holds a cup, a constant or a result that this one lacks."""
    try:
        earlier = read_json(read_bytes(path, EXPORT_BOUND, RegistryError), EXPORT_BOUND)["content"]
        lost = sum(
            str(row[name]) not in {str(new[name]) for new in content[key]}
            for key, name in (("apparatus", "id"), ("constants", "uid"), ("results", "uid"))
            for row in earlier[key]
        )
    except (RegistryError, OSError, ValueError, KeyError, TypeError, RecursionError):
        lost = -1
    if lost:
        what = f"holds {lost} entries that the new one lacks" if lost > 0 else "cannot be read"
        raise OutputError(
            f"{path}: is there already and {what}; name another file, or add --overwrite to"
            " replace it"
        )


def read(path: Path) -> Content:
    """Read an export and check all of it: days are dates in what is given back.

    Raises RegistryError that says what is wrong with the file.
    """
    try:
        document = read_json(read_bytes(path, EXPORT_BOUND, RegistryError), EXPORT_BOUND)
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
    found, wrong = checked(content, str(path))
    if wrong:
        more = f" (and {len(wrong) - 1} more rows)" if len(wrong) > 1 else ""
        raise RegistryError(f"{path}: {wrong[0]}{more}; nothing was imported")
    return found


def _checksum_or_none(content: Content) -> str | None:
    try:
        return checksum(content)
    except (ValueError, RecursionError):  # text that is not Unicode
        return None


def _no_export(path: Path, why: str) -> str:
    return (
        f"{path} is not an export of constants: {why}; nothing was imported; expected a file"
        " made by"
        " 'cupledger constants export'"
    )


def checked(content: Content, name: str) -> tuple[Content, tuple[Unreadable, ...]]:
    """The content with days as dates, without the rows that may not come in; and those rows.

    Raises RegistryError where a whole list is missing.
    """
    found: Content = {key: value for key, value in content.items() if key not in LISTS}
    for key, value in found.items():
        if not isinstance(value, str):
            raise RegistryError(f"{name}: {key} is {value!r:.60}, no text; nothing was imported")
    wrong: list[Unreadable] = []
    for key in LISTS:
        rows = content.get(key)
        if not isinstance(rows, list):
            raise RegistryError(f"{name}: the list {key!r} is missing; nothing was imported")
        found[key] = []
        seen: set[str] = set()
        for number, row in enumerate(rows, 1):
            good = _checked_row(key, row)
            if not isinstance(good, dict):
                why = good
            elif good["uid"] in seen:
                why = ["its uid stands twice in the list"]
            else:
                seen.add(good["uid"])
                found[key].append(good)
                continue
            shown = row if isinstance(row, dict) else {}
            wrong.append(unreadable(key, {**shown, "id": number}, why))
    return found, tuple(wrong)


def _checked_row(key: str, row: object) -> dict[str, Any] | list[str]:
    """A row that may come in, days as dates; or what is wrong with it."""
    columns = {column.stored: column for column in travelling(key)}
    expected = set(columns) | ({"constants"} if key == "results" else set())
    if not isinstance(row, dict):
        return ["it is no object with keys"]
    if key == "constants":
        row = {**dict.fromkeys(MAY_LACK), **row}
    if set(row) != expected:
        odd = sorted(plain(name) for name in set(row) ^ expected)
        return [f"keys missing or unknown: {', '.join(odd)}"]
    found = problems(key, row, coming_in=True)
    rests_on = row.get("constants", [])
    if key == "results" and not (
        isinstance(rests_on, list) and all(isinstance(uid, str) for uid in rests_on)
    ):
        found.append("constants is no list of uids")
    if found:
        return found
    days = {name: as_day(row[name]) for name, c in columns.items() if c.kind == "day"}
    return {**row, **days}
