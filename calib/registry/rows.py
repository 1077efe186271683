"""Between the tables' rows and the frozen records that everybody else sees."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, select
from sqlalchemy.engine import RowMapping

from calib.registry import schema
from calib.registry.records import Apparatus, AuditLine, NewConstant, Range, StoredConstant

# Fields of a constant that are stored under their own name in lower case.
PLAIN = [
    "apparatus",
    "method",
    "constant_J_per_K",
    "u_constant_J_per_K",
    "heat_loss_W_per_K",
    "u_heat_loss_W_per_K",
    "sensor_lag_s",
    "runs",
    "between_run_sd_J_per_K",
    "valid_from",
    "recheck_due",
    "recheck_uses",
    "failed_quality",
    "rows_json",
    "note",
    "software_version",
    "fill_slope_J_per_K_per_mL",
    "u_fill_slope_J_per_K_per_mL",
    "fill_reference_mL",
    "details_json",
]
RANGES = {
    "fill_mL": ("fill_lo_ml", "fill_hi_ml"),
    "temperature_C": ("temperature_lo_c", "temperature_hi_c"),
}
STORED_ONLY = [
    "id",
    "uid",
    "valid_to",
    "status",
    "superseded_by",
    "made_by",
    "approved_by",
    "approved_why",
    "withdrawn_by",
    "withdrawn_why",
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


def stored_constant(row: RowMapping, *, uses: int = 0) -> StoredConstant:
    """The record of one row of ``constants_query``."""
    values: dict[str, Any] = {name: row[name.lower()] for name in (*PLAIN, *STORED_ONLY)}
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


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
