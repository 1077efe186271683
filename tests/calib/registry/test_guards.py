"""The database refuses edits by itself, whichever program asks."""

from __future__ import annotations

import re
from datetime import date

import pytest
from sqlalchemy.exc import DBAPIError

from calib.registry import NewResult, Registry

TRAIL = "the audit trail is kept as it is"
EDIT = "a constant is never edited; calibrate again, or withdraw it"
BACK = "a constant goes from draft to approved to superseded or withdrawn, never back"
DECIDED = "what was decided about a constant stays on record"
REMOVED = "constants are withdrawn, never removed"
RESULTS = "kept results stay as they are"

ATTEMPTS = [
    ("update audit set why = 'because' where id = 1", TRAIL),
    ("delete from audit", TRAIL),
    ("update constants set constant_j_per_k = 20.0 where id = 1", EDIT),
    ("update constants set u_constant_j_per_k = 0.1 where id = 3", EDIT),
    ("update constants set heat_loss_w_per_k = null where id = 1", EDIT),
    ("update constants set recheck_due = '2030-01-01' where id = 2", EDIT),
    ("update constants set details_json = '[]' where id = 2", EDIT),
    ("update constants set fill_slope_j_per_k_per_ml = 0.1 where id = 2", EDIT),
    ("update constants set wall_part_j_per_k = 0.1 where id = 2", EDIT),
    ("update constants set apparatus = 'H2' where id = 2", EDIT),
    ("update constants set status = 'draft' where id = 2", BACK),
    ("update constants set status = 'approved' where id = 1", BACK),
    ("update constants set status = 'draft' where id = 4", BACK),
    ("update constants set valid_from = '2020-01-01' where id = 2", DECIDED),
    ("update constants set valid_to = '2030-01-01' where id = 1", DECIDED),
    ("update constants set valid_to = null where id = 1", DECIDED),
    ("update constants set approved_why = 'x' where id = 2", DECIDED),
    ("update constants set withdrawn_why = 'x' where id = 4", DECIDED),
    ("delete from constants where id = 3", REMOVED),
    ("delete from apparatus where id = 'H3'", "apparatus are retired, never removed"),
    ("update apparatus set id = 'H7' where id = 'H3'", "an apparatus keeps its identifier"),
    ("delete from results", RESULTS),
    ("update results set value = 0", RESULTS),
    ("delete from result_constants", RESULTS),
    ("update result_constants set constant_id = 1", RESULTS),
    ("delete from cupledger_schema", "the record of the schema is kept as it is"),
]
SQLITE_ATTEMPTS = [
    ("insert or replace into audit select * from audit where id = 1", TRAIL),
    ("insert or replace into constants select * from constants where id = 1", REMOVED),
    ("insert or replace into results select * from results", RESULTS),
    ("insert or replace into result_constants select * from result_constants", RESULTS),
    ("insert or replace into apparatus select * from apparatus", "apparatus are retired, never"),
]
POSTGRES_ATTEMPTS = [
    ("truncate audit", TRAIL),
    ("truncate constants, results, result_constants", ""),
]


@pytest.fixture
def kept(cups: Registry, constant) -> Registry:
    """Constants 1 superseded, 2 approved, 3 draft, 4 withdrawn, and one result."""
    cups.add_drafts([constant(), constant(valid_from=date(2027, 1, 11))], approve=True, reason="ok")
    cups.add_drafts([constant(), constant()])
    cups.withdraw(4, "wet lid")
    cups.record([NewResult("1", "H1", -55.9, 0.7, (2,))])
    return cups


def test_edits_are_refused_by_the_database(kept: Registry) -> None:
    before = kept.constants(), kept.audit(), kept.results(), kept.list_apparatus()
    sqlite = kept.where.endswith(".sqlite")
    for statement, sentence in ATTEMPTS + (SQLITE_ATTEMPTS if sqlite else POSTGRES_ATTEMPTS):
        message = re.escape(f"refused: {sentence}")
        with pytest.raises(DBAPIError, match=message), kept._store.engine.begin() as opened:
            opened.exec_driver_sql(statement)
    assert (kept.constants(), kept.audit(), kept.results(), kept.list_apparatus()) == before


def test_the_rules_on_values_are_the_database_s_too(kept: Registry) -> None:
    names = "uid, apparatus, method, runs, valid_from, made_by, made_at, software_version"
    some = "'a', 'H1', 'mixing', 1, '2026-09-01', 'x', 'x', 'x'"
    for extra, given, constraint in (
        ("constant_j_per_k, u_constant_j_per_k, status", "20, 0, 'draft'", "ck_constants_u"),
        (
            "constant_j_per_k, u_constant_j_per_k, status, approved_at",
            "20, 1, 'good', 'now'",
            "ck_constants_status",
        ),
        (
            "constant_j_per_k, u_constant_j_per_k, status",
            "20, 1, 'approved'",
            "ck_constants_approved",
        ),
        (
            "constant_j_per_k, u_constant_j_per_k, status, approved_at",
            "20, 1, 'approved', 'now'",
            "uq_constants_approved|constants.apparatus",
        ),
    ):
        with pytest.raises(DBAPIError, match=constraint), kept._store.engine.begin() as opened:
            opened.exec_driver_sql(
                f"insert into constants ({names}, {extra}) values ({some}, {given})"
            )
    with pytest.raises(DBAPIError, match=r"(?i)foreign key"), kept._store.engine.begin() as opened:
        opened.exec_driver_sql(
            "insert into constants (uid, apparatus, method, runs, valid_from, made_by, made_at,"
            " software_version, constant_j_per_k, u_constant_j_per_k, status)"
            " values ('b', 'H9', 'mixing', 1, '2026-09-01', 'x', 'x', 'x', 20, 1, 'draft')"
        )


def test_check_finds_what_should_not_be(kept: Registry) -> None:
    assert kept.check() == ()
    with kept._store.engine.begin() as opened:
        opened.exec_driver_sql(
            "insert into constants (uid, apparatus, method, runs, valid_from, valid_to, superseded_by,"
            " made_by, made_at, software_version, constant_j_per_k, u_constant_j_per_k, status,"
            " approved_at) values ('b', 'H1', 'mixing', 1, '2026-10-01', '2026-12-01', 2, 'x', 'x',"
            " 'x', 20, 1, 'superseded', 'now')"
        )
    assert kept.check() == (
        "constants 1 and 5 of H1 are both in force on 2026-10-01",
        "constant 5 of H1 is superseded, and the trail has no line for it",
    )
