"""A chain of hashes over the trail, so that a row changed behind the registry's back is named.

Each line of the trail that tells of a constant or of an apparatus carries the hash of that row as
the change left it, and the hash of the line before it:

    row_sha256   = SHA-256( [table, {column: value}] )
    chain_sha256 = SHA-256( ["audit", {column: value, ..., row_sha256, previous_sha256}] )

written as JSON with sorted keys, no blanks and no ``\\u`` escapes, in UTF-8. Columns that are null
are left out (so that later versions may add some), so is what means something in one registry only
(``id``); ``superseded_by`` is the uid of the constant. Floats are written with all their digits, so
that SQLite and PostgreSQL give the same hash. Source of the function: FIPS 180-4.

What the chain can tell: a constant, an apparatus or a line that was changed, taken away or put in
by anything but this program, unless whoever did it computed all later hashes anew, or took away the
newest lines with all they tell of. Against that, the chain's newest hash (its head) stands on every
certificate and in every export: a head that is written down elsewhere must be found again
(``constants verify --head``).

A registry of an older schema begins its chain when it is brought up to date: the first line holds
one hash over all the lines before it, and a line for each row says how it stood then.

What comes from another registry (import, merge) is chained here: its lines of the trail follow ours
with the names they had there, without its hashes, and one line of our own for each constant and
apparatus that came or moved on holds the row as it stands here. The line that sums the change up
names the head of the chain it came from.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, text

from calib.registry.columns import TABLES

if TYPE_CHECKING:
    from calib.registry.connection import Change

SINCE_VERSION = 5  # of the schema
LOCAL = {
    "import",
    "migrate",
    "chain",
}  # actions that tell of this registry only: they do not travel
IN_LINE = ("imported_in", "row_sha256", "previous_sha256")

Row = Mapping[str, Any]


def digest_of_row(table: str, row: Row, uid_of: Mapping[Any, Any]) -> str:
    """The hash of a constant's or an apparatus' row as the database holds it."""
    values = {c.stored: row[c.stored] for c in TABLES[table] if c.travels and c.stored in row}
    if values.get("superseded_by") is not None:
        values["superseded_by"] = uid_of.get(values["superseded_by"], values["superseded_by"])
    return _sha256([table, values])


def digest_of_line(line: Row) -> str:
    """The hash of a line of the trail, with the hashes of its row and of the line before."""
    names = [c.stored for c in TABLES["audit"] if c.travels] + list(IN_LINE)
    return _sha256(["audit", {name: line[name] for name in names}])


def digest_of_earlier(lines: Iterable[Row]) -> str:
    """One hash over the lines that are older than the chain."""
    names = [c.stored for c in TABLES["audit"] if c.travels] + ["imported_in"]
    return _sha256([["audit", {name: line[name] for name in names}] for line in lines])


def _sha256(value: Any) -> str:
    written = json.dumps(
        _plain(value), ensure_ascii=False, sort_keys=True, separators=(",", ":")
    ).encode("utf-8", "surrogatepass")
    return hashlib.sha256(written).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items() if part is not None}
    if isinstance(value, list):
        return [_plain(part) for part in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes):
        return {"bytes": value.hex()}
    return value


# Reading rows as they stand, whatever stands in them


def raw_rows(connection: Connection, table: str, where: str = "", **given: object) -> list[Row]:
    """Rows of a table as the database gives them, in the order of their key."""
    query = f"select * from {table} {where} order by id"
    return [dict(row) for row in connection.execute(text(query), given).mappings()]


def head(connection: Connection) -> str:
    """The newest hash of the chain; empty before it begins."""
    query = text("select chain_sha256 from audit order by id desc limit 1")
    return str(connection.execute(query).scalar() or "")


def row_told(connection: Connection, *, apparatus: str, constant_uid: str) -> str:
    """The hash of the row that a line tells of; empty where it tells of none, or none is there."""
    if constant_uid:
        rows = raw_rows(connection, "constants", "where uid = :uid", uid=constant_uid)
        if not rows:
            return ""
        successor = rows[0]["superseded_by"]
        found = raw_rows(connection, "constants", "where id = :number", number=successor)
        return digest_of_row("constants", rows[0], {row["id"]: row["uid"] for row in found})
    if apparatus:
        rows = raw_rows(connection, "apparatus", "where id = :name", name=apparatus)
        return digest_of_row("apparatus", rows[0], {}) if rows else ""
    return ""


def begin(change: Change, what: str) -> None:
    """The chain's first line, and a line for each row that is there already."""
    earlier = raw_rows(change.connection, "audit")
    change.add_line(
        change.line(
            "migrate",
            f"{what}; the chain of hashes begins here, with one hash over the"
            f" {len(earlier)} lines before",
        ),
        row_sha256=digest_of_earlier(earlier),
    )
    connection = change.connection
    constants = raw_rows(connection, "constants")
    uid_of = {row["id"]: row["uid"] for row in constants}
    held = [("apparatus", row["id"], "", row) for row in raw_rows(connection, "apparatus")]
    held += [("constants", row["apparatus"], row["uid"], row) for row in constants]
    for table, cup, uid, row in held:
        if not (isinstance(cup, str) and isinstance(uid, str)):
            continue  # damaged before: it stands in no line, and is named
        name = cup if table == "apparatus" else f"constant {row['id']} of {cup}"
        what = f"{name} as it stood when the chain began"
        line = change.line("chain", what, apparatus=cup, constant_uid=uid)
        change.add_line(line, row_sha256=digest_of_row(table, row, uid_of))
