"""How the registry's tables came to be: small ordered steps, each one transaction with its record.

A step is never changed once released; the next one goes below it. The SQL here is the schema's
document: its comments say what every table and column means (SQLite keeps them in the file).

Conventions: moments are text, UTC, ISO 8601 to the microsecond; dates are dates; a trailing
``_json`` is JSON text; a name ends in its unit; ``uid`` is a random 128-bit name that stays the
same when a record is carried to another registry. Constraints are called pk_, fk_, uq_, ck_, ix_
followed by table and column.

Version 1: apparatus, constants, audit.
Version 2: results, and which constants each rests on.
Version 3: constants that depend on the fill, and what else a calibration has to say.
Version 4: what of a constant's uncertainty its cup's wall makes, shared with the cup's runs.
Version 5: a chain of hashes over the trail (chain.py), and apparatus that are changed with it only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import Connection

from calib.registry.triggers import Guards

APPLICATION_ID = 0x43757073  # "Cups": marks a SQLite file as ours, for programs that ask


@dataclass(frozen=True, slots=True)
class Migration:
    """One step of the schema: the version it leads to, what it is for, and what it does."""

    version: int
    title: str
    run: Callable[[Connection], None]


V1_SCHEMA = """
create table cupledger_schema (
    -- One row per step taken, so that a file tells its own history; the highest is its version.
    version           bigint constraint pk_cupledger_schema primary key,
    title             text not null,
    applied_at        text not null,     -- moment
    software_version  text not null      -- release that took the step
)
"""

V1_APPARATUS = """
create table apparatus (
    -- One row per cup or set-up. Rows stay; a cup out of use is retired.
    id             text constraint pk_apparatus primary key,   -- as the tables of runs call it
    uid            text not null constraint uq_apparatus_uid unique,
    kind           text not null,            -- cups of one kind are pooled
    note           text not null default '',
    registered_at  text not null,
    registered_by  text not null,
    retired_on     date,                     -- first day out of use
    retired_why    text not null default '',
    constraint ck_apparatus_id check (trim(id) <> ''),
    constraint ck_apparatus_retired check (retired_on is null or retired_why <> '')
)
"""

V1_CONSTANTS = """
create table constants (
    -- One row per constant found by a calibration. Values are never edited; only the status moves:
    -- draft -> approved -> superseded | withdrawn.
    id                      {serial} constraint pk_constants primary key {counted},
    uid                     text not null constraint uq_constants_uid unique,
    apparatus               text not null
                            constraint fk_constants_apparatus references apparatus (id),
    method                  text not null,              -- mixing, known reaction, heater, ...
    constant_j_per_k        double precision not null,  -- J/K
    u_constant_j_per_k      double precision not null,  -- standard uncertainty, k = 1, J/K
    heat_loss_w_per_k       double precision,           -- conductance G, W/K; null: not seen
    u_heat_loss_w_per_k     double precision,
    sensor_lag_s            double precision,           -- time constant, s; null: not seen
    runs                    bigint not null,            -- number of runs it rests on
    between_run_sd_j_per_k  double precision,           -- null: one run tells nothing of it
    fill_lo_ml              double precision,           -- range of fill it was found in, mL
    fill_hi_ml              double precision,
    temperature_lo_c        double precision,           -- range of temperature it was found in, °C
    temperature_hi_c        double precision,
    valid_from              date not null,              -- first day in force
    valid_to                date,                       -- first day out of force; null: open
    recheck_due             date,                       -- last day before a recheck is due
    recheck_uses            bigint,                     -- uses after which one is asked for
    status                  text not null,
    superseded_by           bigint constraint fk_constants_superseded_by references constants (id),
    failed_quality          text not null default '',   -- why the calibration failed its checks
    warnings_json           text not null default '[]',
    digests_json            text not null default '[]', -- SHA-256 of the table and each curve
    rows_json               text not null default '[]', -- the raw rows of the calibration
    note                    text not null default '',
    made_by                 text not null,
    made_at                 text not null,
    software_version        text not null,
    approved_by             text not null default '',
    approved_at             text,
    approved_why            text not null default '',
    withdrawn_by            text not null default '',
    withdrawn_at            text,
    withdrawn_why           text not null default '',
    constraint ck_constants_u check (u_constant_j_per_k > 0),
    constraint ck_constants_runs check (runs >= 1),
    constraint ck_constants_status
        check (status in ('draft', 'approved', 'superseded', 'withdrawn')),
    constraint ck_constants_approved
        check (status in ('draft', 'withdrawn') or approved_at is not null),
    constraint ck_constants_superseded
        check (status <> 'superseded' or (superseded_by is not null and valid_to is not null)),
    constraint ck_constants_withdrawn
        check (status <> 'withdrawn' or (withdrawn_at is not null and withdrawn_why <> ''))
)
"""

V1_AUDIT = """
create table audit (
    -- Who did what, when and why: one row per thing done. Rows are added, never changed or removed.
    id            {serial} constraint pk_audit primary key {counted},
    uid           text not null constraint uq_audit_uid unique,
    change        text not null,             -- name of the transaction; its lines share it
    at            text not null,             -- moment
    "by"          text not null,
    action        text not null,             -- register, draft, approve, supersede, withdraw, ...
    apparatus     text not null default '',
    constant_uid  text not null default '',
    what          text not null,             -- one sentence
    why           text not null default '',  -- the reason given
    imported_in   text not null default ''   -- change that brought the line from another registry
)
"""

V1_INDEXES = (
    # At most one approved constant per apparatus: the database keeps that, not only the code.
    "create unique index uq_constants_approved on constants (apparatus) where status = 'approved'",
    "create index ix_constants_apparatus on constants (apparatus, valid_from)",
    "create index ix_audit_apparatus on audit (apparatus)",
    "create index ix_audit_change on audit (change)",
)

V1_FROZEN = [
    "id",
    "uid",
    "apparatus",
    "method",
    "constant_j_per_k",
    "u_constant_j_per_k",
    "heat_loss_w_per_k",
    "u_heat_loss_w_per_k",
    "sensor_lag_s",
    "runs",
    "between_run_sd_j_per_k",
    "fill_lo_ml",
    "fill_hi_ml",
    "temperature_lo_c",
    "temperature_hi_c",
    "recheck_due",
    "recheck_uses",
    "failed_quality",
    "warnings_json",
    "digests_json",
    "rows_json",
    "note",
    "made_by",
    "made_at",
    "software_version",
]

# The status goes forward only, and what was written on the way stays written.
V1_STATUS = (
    "not (new.status = old.status"
    " or (old.status = 'draft' and new.status in ('approved', 'superseded', 'withdrawn'))"
    " or (old.status = 'approved' and new.status in ('superseded', 'withdrawn'))"
    " or (old.status = 'superseded' and new.status = 'withdrawn'))"
)
V1_DATES = (
    "(old.status <> 'draft' and new.valid_from <> old.valid_from)"
    " or (old.valid_to is not null and (new.valid_to is null or new.valid_to > old.valid_to))"
    " or (old.approved_at is not null and (new.approved_at <> old.approved_at"
    " or new.approved_by <> old.approved_by or new.approved_why <> old.approved_why))"
    " or (old.withdrawn_at is not null and (new.withdrawn_at <> old.withdrawn_at"
    " or new.withdrawn_by <> old.withdrawn_by or new.withdrawn_why <> old.withdrawn_why))"
)


def create(connection: Connection, statement: str) -> None:
    """Run one ``create table``, with the database's own way to count rows filled in."""
    sqlite = connection.dialect.name == "sqlite"
    serial = "integer" if sqlite else "bigint generated by default as identity"
    counted = "autoincrement" if sqlite else ""
    connection.exec_driver_sql(statement.strip().format(serial=serial, counted=counted))


def v1_cups_and_their_constants(connection: Connection) -> None:
    """Apparatus, constants with their statuses, and the trail."""
    for statement in (V1_SCHEMA, V1_APPARATUS, V1_CONSTANTS, V1_AUDIT):
        create(connection, statement)
    for index in V1_INDEXES:
        connection.exec_driver_sql(index)
    guards = Guards(connection)
    guards.prepare()
    guards.append_only(
        "cupledger_schema", ("version",), "the record of the schema is kept as it is"
    )
    guards.append_only("audit", ("uid",), "the audit trail is kept as it is")
    guards.append_only("apparatus", ("id",), "apparatus are retired, never removed", edits=False)
    guards.frozen(
        "apparatus",
        ("id", "uid", "registered_at", "registered_by"),
        "an apparatus keeps its identifier",
    )
    guards.append_only("constants", ("uid",), "constants are withdrawn, never removed", edits=False)
    guards.frozen(
        "constants", V1_FROZEN, "a constant is never edited; calibrate again, or withdraw it"
    )
    guards.on_update(
        "constants_status",
        "constants",
        V1_STATUS,
        "a constant goes from draft to approved to superseded or withdrawn, never back",
    )
    guards.on_update(
        "constants_dates",
        "constants",
        V1_DATES,
        "what was decided about a constant stays on record",
    )
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"pragma application_id = {APPLICATION_ID}")


V2_RESULTS = """
create table results (
    -- One row per result that was asked to be kept. Rows are added, never changed or removed: a run
    -- that is evaluated anew gets a new row beside the old one.
    id                {serial} constraint pk_results primary key {counted},
    uid               text not null constraint uq_results_uid unique,
    fingerprint       text not null constraint uq_results_fingerprint unique,
                      -- SHA-256 of inputs, constants and value: the same result is kept once
    run               text not null,              -- the row's own label in its table
    apparatus         text not null
                      constraint fk_results_apparatus references apparatus (id),
    run_date          date,
    reaction          text not null,
    quantity          text not null,              -- dH, or what else the run gives
    unit              text not null,              -- kJ/mol for dH
    value             double precision not null,
    u_value           double precision not null,  -- standard uncertainty, k = 1
    pooled            bigint not null,            -- 1: its kind's pooled value was used
    table_name        text not null,
    table_digest      text not null,              -- SHA-256 of the table
    digests_json      text not null,              -- SHA-256 of the curves
    inputs_json       text not null,              -- the row as it was read
    result_json       text not null,              -- the whole result with its budget
    recorded_by       text not null,
    recorded_at       text not null,
    software_version  text not null,
    constraint ck_results_u check (u_value >= 0),
    constraint ck_results_pooled check (pooled in (0, 1))
)
"""

V2_RESULT_CONSTANTS = """
create table result_constants (
    -- Which constants a result rests on: one, or all those of a pooled value.
    result_id    bigint not null
                 constraint fk_result_constants_result_id references results (id),
    constant_id  bigint not null
                 constraint fk_result_constants_constant_id references constants (id),
    constraint pk_result_constants primary key (result_id, constant_id)
)
"""


def v2_results(connection: Connection) -> None:
    """Kept results, so that a withdrawn constant can list what it touched."""
    create(connection, V2_RESULTS)
    create(connection, V2_RESULT_CONSTANTS)
    connection.exec_driver_sql("create index ix_results_apparatus on results (apparatus)")
    connection.exec_driver_sql(
        "create index ix_result_constants_constant_id on result_constants (constant_id)"
    )
    guards = Guards(connection)
    guards.append_only("results", ("uid",), "kept results stay as they are")
    guards.append_only(
        "result_constants", ("result_id", "constant_id"), "kept results stay as they are"
    )


V3_COLUMNS = (
    # C(V) = constant + slope (V - reference); the two are uncorrelated at the reference fill.
    "fill_slope_j_per_k_per_ml double precision",  # null: the same at every fill
    "u_fill_slope_j_per_k_per_ml double precision",
    "fill_reference_ml double precision",
    "details_json text not null default '{}'",  # per-run values, consistency tests, budgets
)


def v3_fill_and_details(connection: Connection) -> None:
    """A constant may depend on the fill; the calibration's details are kept with it."""
    for column in V3_COLUMNS:
        connection.exec_driver_sql(f"alter table constants add column {column}")
    guards = Guards(connection)
    guards.drop("constants_frozen", "constants")
    added = [column.split()[0] for column in V3_COLUMNS]
    guards.frozen(
        "constants",
        [*V1_FROZEN, *added],
        "a constant is never edited; calibrate again, or withdraw it",
    )


V4_COLUMNS = (
    # A share of every rise is hidden by the cup's wall. Its error is common to the constant and to
    # the runs in that cup; the wall part is dC/d(share) times u_hidden_share, in J/K, signed.
    "wall_part_j_per_k double precision",  # null: not known; part of u_constant_j_per_k
    "hidden_share double precision",  # of the rise, as it was allowed for
    "u_hidden_share double precision",
)


def v4_wall_part(connection: Connection) -> None:
    """What a constant shares with the runs in its cup; not known of older constants."""
    for column in V4_COLUMNS:
        connection.exec_driver_sql(f"alter table constants add column {column}")
    guards = Guards(connection)
    guards.drop("constants_frozen", "constants")
    added = [column.split()[0] for column in (*V3_COLUMNS, *V4_COLUMNS)]
    guards.frozen(
        "constants",
        [*V1_FROZEN, *added],
        "a constant is never edited; calibrate again, or withdraw it",
    )


V5_AUDIT = (
    "row_sha256 text not null default ''",  # of the constant or apparatus it tells of, afterwards
    "previous_sha256 text not null default ''",  # chain_sha256 of the line before it
    "chain_sha256 text not null default ''",  # of this line; empty: older than the chain
)


def v5_chain(connection: Connection) -> None:
    """Hashes that tie lines and rows together; the chain itself begins in ``chain.begin``."""
    for column in V5_AUDIT:
        connection.exec_driver_sql(f"alter table audit add column {column}")
    # Raised by one with each change, which writes its line of the trail.
    connection.exec_driver_sql(
        "alter table apparatus add column revision bigint not null default 0"
    )
    Guards(connection).on_update(
        "apparatus_told",
        "apparatus",
        "new.id = old.id and new.revision <> (old.revision + 1)",
        "an apparatus is changed by cupledger only, which tells it in the trail",
    )


MIGRATIONS: tuple[Migration, ...] = (
    Migration(1, "cups and their constants", v1_cups_and_their_constants),
    Migration(2, "results that were kept", v2_results),
    Migration(3, "fill dependence and details of a constant", v3_fill_and_details),
    Migration(4, "what a constant shares with its cup's runs", v4_wall_part),
    Migration(5, "a chain of hashes over the trail", v5_chain),
)
