"""Results that were asked to be kept, and the constants that each of them rests on."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, func, insert, select

from calib.registry import cups, schema
from calib.registry.connection import Change
from calib.registry.lifecycle import no_such_constant
from calib.registry.records import NewResult, StoredResult
from calib.registry.rows import apart
from calib.registry.validation import Unreadable, problems, unreadable

results, links, constants = schema.results, schema.result_constants, schema.constants


def record(change: Change, new: Sequence[NewResult]) -> tuple[int, ...]:
    """Keep results and return their numbers; one that is kept already keeps its number."""
    numbers, added = [], 0
    for result in new:
        number, is_new = _record_one(change, result)
        numbers.append(number)
        added += is_new
    if added:
        tables = sorted({result.table for result in new} - {""})
        what = f"{added} result{'' if added == 1 else 's'} kept"
        change.note("record", what + (f" from {', '.join(tables)}" if tables else ""))
    return tuple(numbers)


def _record_one(change: Change, result: NewResult) -> tuple[int, bool]:
    cup = cups.find(change.connection, result.apparatus)
    uids = [_constant_uid(change.connection, number) for number in result.constant_ids]
    mark = fingerprint(result, uids)
    known = change.connection.execute(
        select(results.c.id).where(results.c.fingerprint == mark)
    ).scalar()
    if known is not None:
        return int(known), False
    values = {
        "uid": uuid.uuid4().hex,
        "fingerprint": mark,
        "run": result.run,
        "apparatus": cup.id,
        "run_date": result.run_date,
        "reaction": result.reaction,
        "quantity": result.quantity,
        "unit": result.unit,
        "value": result.value,
        "u_value": result.u_value,
        "pooled": int(result.pooled),
        "table_name": result.table,
        "table_digest": result.table_digest,
        "digests_json": json.dumps(list(result.digests)),
        "inputs_json": result.inputs_json,
        "result_json": result.result_json,
        "recorded_by": change.by,
        "recorded_at": change.at,
        "software_version": result.software_version,
    }
    return insert_result(change.connection, values, result.constant_ids), True


def insert_result(
    connection: Connection, values: dict[str, Any], constant_ids: Sequence[int]
) -> int:
    """Write one row of results and its links; its number."""
    statement = insert(results).values(**values).returning(results.c.id)
    number = int(connection.execute(statement).scalar_one())
    for constant_id in constant_ids:
        connection.execute(insert(links).values(result_id=number, constant_id=constant_id))
    return number


def fingerprint(result: NewResult, constant_uids: Iterable[str]) -> str:
    """SHA-256 of what makes two results the same: inputs, constants and value."""
    parts = [
        result.table_digest,
        result.run,
        result.apparatus,
        result.quantity,
        sorted(constant_uids),
        list(result.digests),
        result.inputs_json,
        repr(result.value),
        repr(result.u_value),
    ]
    text = json.dumps(parts, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _constant_uid(connection: Connection, number: int) -> str:
    uid = connection.execute(select(constants.c.uid).where(constants.c.id == number)).scalar()
    if uid is None:
        raise no_such_constant(number)
    return str(uid)


def kept(
    connection: Connection, *, constant_id: int | None = None, apparatus: str | None = None
) -> tuple[tuple[StoredResult, ...], tuple[Unreadable, ...]]:
    """Kept results, oldest first: all, or those that rest on a constant or came from a cup.

    Beside them the rows among them that cannot be read.
    """
    query: Select[Any] = select(results).order_by(results.c.id)
    if apparatus is not None:
        query = query.where(results.c.apparatus == cups.find(connection, apparatus).id)
    if constant_id is not None:
        _constant_uid(connection, constant_id)
        touched = select(links.c.result_id).where(links.c.constant_id == constant_id)
        query = query.where(results.c.id.in_(touched))
    rows = connection.execute(query).mappings().all()
    rests_on: dict[int, list[int]] = {}
    chosen = select(query.subquery().c.id)
    for link in connection.execute(
        select(links).where(links.c.result_id.in_(chosen)).order_by(links.c.constant_id)
    ):
        rests_on.setdefault(link.result_id, []).append(link.constant_id)
    good, bad = apart(_stored(dict(row), tuple(rests_on.get(row["id"], ()))) for row in rows)
    return tuple(good), tuple(bad)


def _stored(row: dict[str, Any], constant_ids: tuple[int, ...]) -> StoredResult | Unreadable:
    found = problems("results", row)
    if found:
        return unreadable("results", row, found)
    same = (
        *("id", "run", "apparatus", "run_date", "reaction", "quantity", "unit", "value", "u_value"),
        *("table_digest", "inputs_json", "result_json", "recorded_by", "software_version", "uid"),
    )
    return StoredResult(
        **{name: row[name] for name in same},
        pooled=bool(row["pooled"]),
        constant_ids=constant_ids,
        table=row["table_name"],
        digests=tuple(json.loads(row["digests_json"])),
        recorded_at=datetime.fromisoformat(row["recorded_at"]),
    )


def uses(connection: Connection, constant_id: int | None = None) -> dict[int, int]:
    """How many runs rest on each constant of their own cup; a run evaluated twice counts once."""
    runs = (
        select(links.c.constant_id, results.c.table_digest, results.c.table_name, results.c.run)
        .join(results, results.c.id == links.c.result_id)
        .where(results.c.pooled == 0)
        .distinct()
    )
    if constant_id is not None:
        runs = runs.where(links.c.constant_id == constant_id)
    part = runs.subquery()
    query = select(part.c.constant_id, func.count()).group_by(part.c.constant_id)
    return {row[0]: row[1] for row in connection.execute(query)}
