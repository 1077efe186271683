"""The tables as the code reads and writes them; what each column means stands in migrations.py.

A test holds these definitions against the tables that the migrations make.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Date, Float, ForeignKey, MetaData, Table, Text

NAMES = {
    "pk": "pk_%(table_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "ix": "ix_%(table_name)s_%(column_0_name)s",
}
metadata = MetaData(naming_convention=NAMES)

versions = Table(
    "cupledger_schema",
    metadata,
    Column("version", BigInteger, primary_key=True),
    Column("title", Text, nullable=False),
    Column("applied_at", Text, nullable=False),
    Column("software_version", Text, nullable=False),
)

apparatus = Table(
    "apparatus",
    metadata,
    Column("id", Text, primary_key=True),
    Column("uid", Text, nullable=False, unique=True),
    Column("kind", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("registered_at", Text, nullable=False),
    Column("registered_by", Text, nullable=False),
    Column("retired_on", Date),
    Column("retired_why", Text, nullable=False),
)

constants = Table(
    "constants",
    metadata,
    Column("id", BigInteger, primary_key=True),
    Column("uid", Text, nullable=False, unique=True),
    Column("apparatus", Text, ForeignKey("apparatus.id"), nullable=False),
    Column("method", Text, nullable=False),
    Column("constant_j_per_k", Float(53), nullable=False),
    Column("u_constant_j_per_k", Float(53), nullable=False),
    Column("heat_loss_w_per_k", Float(53)),
    Column("u_heat_loss_w_per_k", Float(53)),
    Column("sensor_lag_s", Float(53)),
    Column("runs", BigInteger, nullable=False),
    Column("between_run_sd_j_per_k", Float(53)),
    Column("fill_lo_ml", Float(53)),
    Column("fill_hi_ml", Float(53)),
    Column("temperature_lo_c", Float(53)),
    Column("temperature_hi_c", Float(53)),
    Column("valid_from", Date, nullable=False),
    Column("valid_to", Date),
    Column("recheck_due", Date),
    Column("recheck_uses", BigInteger),
    Column("status", Text, nullable=False),
    Column("superseded_by", BigInteger, ForeignKey("constants.id")),
    Column("failed_quality", Text, nullable=False),
    Column("warnings_json", Text, nullable=False),
    Column("digests_json", Text, nullable=False),
    Column("rows_json", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("software_version", Text, nullable=False),
    Column("approved_by", Text, nullable=False),
    Column("approved_at", Text),
    Column("approved_why", Text, nullable=False),
    Column("withdrawn_by", Text, nullable=False),
    Column("withdrawn_at", Text),
    Column("withdrawn_why", Text, nullable=False),
    Column("fill_slope_j_per_k_per_ml", Float(53)),
    Column("u_fill_slope_j_per_k_per_ml", Float(53)),
    Column("fill_reference_ml", Float(53)),
    Column("details_json", Text, nullable=False),
    Column("wall_part_j_per_k", Float(53)),
    Column("hidden_share", Float(53)),
    Column("u_hidden_share", Float(53)),
)

audit = Table(
    "audit",
    metadata,
    Column("id", BigInteger, primary_key=True),
    Column("uid", Text, nullable=False, unique=True),
    Column("change", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("by", Text, nullable=False, quote=True),
    Column("action", Text, nullable=False),
    Column("apparatus", Text, nullable=False),
    Column("constant_uid", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("imported_in", Text, nullable=False),
)

results = Table(
    "results",
    metadata,
    Column("id", BigInteger, primary_key=True),
    Column("uid", Text, nullable=False, unique=True),
    Column("fingerprint", Text, nullable=False, unique=True),
    Column("run", Text, nullable=False),
    Column("apparatus", Text, ForeignKey("apparatus.id"), nullable=False),
    Column("run_date", Date),
    Column("reaction", Text, nullable=False),
    Column("quantity", Text, nullable=False),
    Column("unit", Text, nullable=False),
    Column("value", Float(53), nullable=False),
    Column("u_value", Float(53), nullable=False),
    Column("pooled", BigInteger, nullable=False),
    Column("table_name", Text, nullable=False),
    Column("table_digest", Text, nullable=False),
    Column("digests_json", Text, nullable=False),
    Column("inputs_json", Text, nullable=False),
    Column("result_json", Text, nullable=False),
    Column("recorded_by", Text, nullable=False),
    Column("recorded_at", Text, nullable=False),
    Column("software_version", Text, nullable=False),
)

result_constants = Table(
    "result_constants",
    metadata,
    Column("result_id", BigInteger, ForeignKey("results.id"), primary_key=True),
    Column("constant_id", BigInteger, ForeignKey("constants.id"), primary_key=True),
)
