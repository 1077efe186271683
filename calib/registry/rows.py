"""Between the tables' rows and the frozen records that everybody else sees."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, select

from calib.registry import schema
from calib.registry.layout import PLAIN, RANGES, stored_constant
from calib.registry.records import Apparatus, AuditLine, NewConstant, Range

__all__ = [
    "audit_lines",
    "constant_values",
    "constants_query",
    "one_apparatus",
    "stored_constant",
]


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
    """All columns of the constants, with their apparatus' kind."""
    joined = schema.constants.join(schema.apparatus)
    return select(schema.constants, schema.apparatus.c.kind).select_from(joined)


def one_apparatus(row: Mapping[str, Any]) -> Apparatus:
    """The record of one row of the apparatus table."""
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


def audit_lines(connection: Connection, query: Select[Any]) -> tuple[AuditLine, ...]:
    """The records of a query on the trail, in its order."""
    found = connection.execute(select(schema.constants.c.uid, schema.constants.c.id))
    numbers = {row.uid: row.id for row in found}
    return tuple(
        AuditLine(
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
        for row in connection.execute(query).mappings()
    )
