"""Every table and column of the registry, declared once: what may stand in it.

The tables as SQLAlchemy knows them (``schema.py``), the check of rows on their way in and on their
way out (``validation.py``), and the columns that travel (``exchange.py``) are made from this. What
each column means stands in ``migrations.py``; a test holds these declarations against the tables
that the migrations make.

Columns are spelled as the records spell them (units in their own case) and stored in lower case.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["line", "text", "uid", "moment", "day", "number", "count", "link", "json"]
Shape = Literal["", "texts", "list", "object", "details"]

LINE, NOTE, JSON_TEXT = 1_000, 20_000, 20_000_000  # letters, at most
LARGEST_COUNT = 2**53  # whole numbers that every database and every JSON reader keeps exactly
STATUSES = ("draft", "approved", "superseded", "withdrawn")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its kind of value, whether it may be empty, and the range it must lie in.

    ``low`` and ``high`` are limits beyond which a number cannot be meant and arithmetic with it
    overflows; what is unusual for a cup is judged elsewhere (``judging.py``). ``least`` is the
    least size of a number that is not zero: 1/u² must be a number. ``most``: letters. ``key`` is
    ``primary``, ``unique``, or the column that it points to. ``travels`` is False for what means
    something in one registry only.
    """

    name: str
    kind: Kind
    null: bool = False
    low: float = -1e15
    high: float = 1e15
    least: float = 0.0
    above_zero: bool = False
    shape: Shape = ""
    one_of: tuple[str, ...] = ()
    most: int = LINE
    key: str = ""
    travels: bool = True

    @property
    def stored(self) -> str:
        """Its name in the database."""
        return self.name.lower()


def _number(name: str, low: float, high: float, *, null: bool = True) -> Column:
    return Column(name, "number", null, low, high)


def _u(name: str, high: float, *, null: bool = True) -> Column:
    """A standard uncertainty, or a standard deviation."""
    return Column(name, "number", null, 0.0, high)


def _count(name: str, low: int, high: int = LARGEST_COUNT, *, null: bool = False) -> Column:
    return Column(name, "count", null, low, high)


def _line(name: str, **other: object) -> Column:
    return Column(name, "line", **other)  # type: ignore[arg-type]


def _text(name: str) -> Column:
    return Column(name, "text", most=NOTE)


def _moment(name: str, *, null: bool = False) -> Column:
    return Column(name, "moment", null)


def _json(name: str, shape: Shape) -> Column:
    return Column(name, "json", shape=shape, most=JSON_TEXT)


UID = Column("uid", "uid", key="unique")
ID = Column("id", "count", low=1, high=2**63 - 1, key="primary", travels=False)

TABLES: dict[str, tuple[Column, ...]] = {
    "cupledger_schema": (
        Column("version", "count", low=1, key="primary", travels=False),
        _line("title"),
        _moment("applied_at"),
        _line("software_version"),
    ),
    "apparatus": (
        _line("id", key="primary", most=64),
        UID,
        _line("kind"),
        _text("note"),
        _moment("registered_at"),
        _line("registered_by"),
        Column("retired_on", "day", null=True),
        _text("retired_why"),
        Column("revision", "count", low=0, high=LARGEST_COUNT, travels=False),
    ),
    "constants": (
        ID,
        UID,
        _line("apparatus", key="apparatus.id", most=64),
        _line("method"),
        _number("constant_J_per_K", -1e9, 1e9, null=False),
        Column("u_constant_J_per_K", "number", False, 0.0, 1e9, least=1e-12, above_zero=True),
        _number("heat_loss_W_per_K", -1e6, 1e6),
        Column("u_heat_loss_W_per_K", "number", True, 0.0, 1e6, least=1e-15),
        _number("sensor_lag_s", -1e6, 1e6),
        _count("runs", 1),
        _u("between_run_sd_J_per_K", 1e9),
        _number("fill_lo_mL", -1e9, 1e9),
        _number("fill_hi_mL", -1e9, 1e9),
        _number("temperature_lo_C", -274.0, 1e4),
        _number("temperature_hi_C", -274.0, 1e4),
        Column("valid_from", "day"),
        Column("valid_to", "day", null=True),
        Column("recheck_due", "day", null=True),
        _count("recheck_uses", 1, null=True),
        _line("status", one_of=STATUSES),
        Column("superseded_by", "link", null=True, low=1, high=2**63 - 1, key="constants.id"),
        _text("failed_quality"),
        _json("warnings_json", "texts"),
        _json("digests_json", "texts"),
        _json("rows_json", "list"),
        _text("note"),
        _line("made_by"),
        _moment("made_at"),
        _line("software_version"),
        _line("approved_by"),
        _moment("approved_at", null=True),
        _text("approved_why"),
        _line("withdrawn_by"),
        _moment("withdrawn_at", null=True),
        _text("withdrawn_why"),
        _number("fill_slope_J_per_K_per_mL", -1e9, 1e9),
        _u("u_fill_slope_J_per_K_per_mL", 1e9),
        _number("fill_reference_mL", -1e9, 1e9),
        _json("details_json", "details"),
        _number("wall_part_J_per_K", -1e9, 1e9),
        _number("hidden_share", -1e3, 1e3),
        _u("u_hidden_share", 1e3),
    ),
    "audit": (
        ID,
        UID,
        _line("change"),
        _moment("at"),
        _line("by"),
        _line("action"),
        _line("apparatus"),
        _line("constant_uid"),
        Column("what", "text", most=5 * NOTE),
        _text("why"),
        _line("imported_in", travels=False),
        _line("row_sha256", travels=False),
        _line("previous_sha256", travels=False),
        _line("chain_sha256", travels=False),
    ),
    "results": (
        ID,
        UID,
        _line("fingerprint", key="unique"),
        Column("run", "text"),
        _line("apparatus", key="apparatus.id", most=64),
        Column("run_date", "day", null=True),
        _text("reaction"),
        _line("quantity"),
        _line("unit"),
        _number("value", -1e15, 1e15, null=False),
        _u("u_value", 1e15, null=False),
        Column("pooled", "count", low=0, high=1),
        Column("table_name", "text"),
        _line("table_digest"),
        _json("digests_json", "texts"),
        _json("inputs_json", "object"),
        _json("result_json", "object"),
        _line("recorded_by"),
        _moment("recorded_at"),
        _line("software_version"),
    ),
    "result_constants": (
        Column("result_id", "count", low=1, key="primary results.id", travels=False),
        Column("constant_id", "count", low=1, key="primary constants.id", travels=False),
    ),
}
MAY_LACK = {"wall_part_j_per_k", "hidden_share", "u_hidden_share"}
"""Columns that exports of earlier releases do not have: not known."""


def travelling(table: str) -> tuple[Column, ...]:
    """The columns of a table that mean the same in every registry."""
    return tuple(column for column in TABLES[table] if column.travels)
