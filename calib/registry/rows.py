"""Between the tables' rows and the frozen records that everybody else sees."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy import Connection, Select, select

from calib.registry import schema
from calib.registry.layout import PLAIN, RANGES, read_constant
from calib.registry.records import Apparatus, AuditLine, NewConstant, Range, StoredConstant
from calib.registry.validation import Unreadable, problems, unreadable

T = TypeVar("T")


def constant_values(new: NewConstant, *, by: str, at: str) -> dict[str, Any]:
    """The row of a new draft."""
    values: dict[str, Any] = {name.lower(): getattr(new, name) for name in PLAIN}
    for name, (low, high) in RANGES.items():
        span: Range | None = getattr(new, name)
        values[low], values[high] = span if span is not None else (None, None)
    values |= {
        "uid": uuid.uuid4().hex,
        "status": "draft",
        "warnings_json": json.dumps(list(new.warnings), ensure_ascii=False),
        "digests_json": json.dumps(list(new.digests), ensure_ascii=False),
        "made_by": by,
        "made_at": at,
        "approved_by": "",
        "approved_why": "",
        "withdrawn_by": "",
        "withdrawn_why": "",
    }
    return values


def constants_query() -> Select[Any]:
    """All columns of the constants, with their apparatus' kind (null where there is none)."""
    joined = schema.constants.outerjoin(schema.apparatus)
    return select(schema.constants, schema.apparatus.c.kind).select_from(joined)


def read_constants(
    connection: Connection, query: Select[Any], uses: Mapping[int, int] | None = None
) -> tuple[list[StoredConstant], list[Unreadable]]:
    """The constants of a query that can be read, and those that cannot."""
    counted = uses or {}
    rows = [dict(row) for row in connection.execute(query).mappings()]
    return apart(read_constant(row, uses=counted.get(row["id"], 0)) for row in rows)


def read_apparatus(row: Mapping[str, Any]) -> Apparatus | Unreadable:
    """The record of one row of the apparatus table, or why there is none."""
    found = problems("apparatus", row)
    if found:
        return unreadable("apparatus", row, found)
    return Apparatus(
        id=row["id"],
        kind=row["kind"],
        note=row["note"],
        registered_at=datetime.fromisoformat(row["registered_at"]),
        registered_by=row["registered_by"],
        retired_on=row["retired_on"],
        retired_why=row["retired_why"],
        uid=row["uid"],
    )


def read_lines(
    connection: Connection, query: Select[Any]
) -> tuple[list[AuditLine], list[Unreadable]]:
    """The lines of a query on the trail in its order, and those that cannot be read."""
    found = connection.execute(select(schema.constants.c.uid, schema.constants.c.id))
    numbers = {row.uid: row.id for row in found}
    return apart(_line(dict(row), numbers) for row in connection.execute(query).mappings())


def _line(row: Mapping[str, Any], numbers: Mapping[str, int]) -> AuditLine | Unreadable:
    found = problems("audit", row)
    if found:
        return unreadable("audit", row, found)
    return AuditLine(
        id=row["id"],
        at=datetime.fromisoformat(row["at"]),
        by=row["by"],
        action=row["action"],
        apparatus=row["apparatus"],
        constant_id=numbers.get(row["constant_uid"]),
        what=row["what"],
        why=row["why"],
        change=row["change"],
        imported=bool(row["imported_in"]),
    )


def apart(found: Iterable[T | Unreadable]) -> tuple[list[T], list[Unreadable]]:
    """Records, and the rows that could not be read."""
    good: list[T] = []
    bad: list[Unreadable] = []
    for one in found:
        if isinstance(one, Unreadable):
            bad.append(one)
        else:
            good.append(one)
    return good, bad


def all_unreadable(connection: Connection) -> tuple[Unreadable, ...]:
    """Every row of apparatus, constants, trail and results that cannot be read."""
    query = constants_query().order_by(schema.constants.c.id)
    _, constants = read_constants(connection, query)
    bad: list[Unreadable] = []
    for table in (schema.apparatus, schema.audit, schema.results):
        for row in map(dict, connection.execute(select(table)).mappings()):
            found = problems(table.name, row)
            if found:
                bad.append(unreadable(table.name, row, found))
    return (*constants, *bad)
