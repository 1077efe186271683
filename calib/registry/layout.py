"""How a constant lies in its row. Light: a command that only lists constants needs no more."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, Protocol

from calib.registry.records import StoredConstant

SCHEMA_VERSION = 4  # what each version brought: migrations.py

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
    "wall_part_J_per_K",
    "hidden_share",
    "u_hidden_share",
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
DATES = ("valid_from", "valid_to", "recheck_due")


class Row(Protocol):
    """Anything that gives a column's value by its name."""

    def __getitem__(self, name: str, /) -> Any: ...


def stored_constant(row: Row, *, uses: int = 0) -> StoredConstant:
    """The record of one row of the constants with its apparatus' kind, dates as dates."""
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


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
