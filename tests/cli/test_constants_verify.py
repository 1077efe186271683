"""Rows changed behind the registry's back are named; rows that cannot be read take nothing down."""

from __future__ import annotations

import sqlite3
from datetime import date

import pytest

from calib.registry import NewConstant, open_registry

START = date(2026, 9, 1)


@pytest.fixture
def store(cups, tmp_path):
    """The command, and the file of a registry with P1 and P2 in force."""
    path = tmp_path / "cups.sqlite"
    with open_registry(path) as registry:
        registry.register_all(["P1", "P2"], "foam cup")
        registry.add_drafts(
            [NewConstant(cup, "hot/cold mixing", 20.0, 0.6, START) for cup in ("P1", "P2")],
            approve=True,
        )

    def run(*words):
        return cups(*words, "--registry", path)

    return run, path


def behind_its_back(path, statement):
    """What ten lines of any SQLite program can do."""
    with sqlite3.connect(path) as connection:
        for (name,) in connection.execute(
            "select name from sqlite_master where type = 'trigger'"
        ).fetchall():
            connection.execute(f"drop trigger {name}")
        connection.execute(statement)
    connection.close()


def test_a_registry_as_it_was_left(store):
    run, _ = store
    done = run("constants", "verify", "--json")
    assert (done.code, done.json["fine"], done.json["named"]) == (0, True, [])
    head = done.json["head"]
    assert len(head) == 64
    assert f"Head of the chain: {head}" in run("constants", "verify").out
    run("apparatus", "add", "P3", "--kind", "foam cup")
    later = run("constants", "verify", "--head", head, "--json")
    assert (later.code, later.json["lines_after_head"]) == (0, 1)
    lost = run("constants", "verify", "--head", "ab" * 32)
    assert (lost.code, "is nowhere in the chain" in lost.err) == (1, True)


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("update constants set constant_j_per_k = 12 where id = 1", "constant 1 of P1 was changed"),
        ("update apparatus set kind = 'glass flask' where id = 'P2'", "P2 was changed since line"),
        ("update audit set why = 'x' where id = 9", "line 9 of the trail"),
        ("delete from audit where id = 9", "a line is gone or was changed"),
        (
            "delete from constants where id = 2",
            "a constant of P2 is gone that line",
        ),
        (
            "insert into constants select 7, 'ab', apparatus, method, constant_j_per_k,"
            " u_constant_j_per_k, heat_loss_w_per_k, u_heat_loss_w_per_k, sensor_lag_s, runs,"
            " between_run_sd_j_per_k, fill_lo_ml, fill_hi_ml, temperature_lo_c, temperature_hi_c,"
            " valid_from, valid_to, recheck_due, recheck_uses, 'draft', superseded_by,"
            " failed_quality, warnings_json, digests_json, rows_json, note, made_by, made_at,"
            " software_version, '', null, '', withdrawn_by, withdrawn_at, withdrawn_why,"
            " fill_slope_j_per_k_per_ml, u_fill_slope_j_per_k_per_ml, fill_reference_ml,"
            " details_json, wall_part_j_per_k, hidden_share, u_hidden_share from constants"
            " where id = 1",
            "constant 7 of P1 stands in no line of the trail",
        ),
        ("update audit set what = 'other' where id = 2", "older than its chain"),
    ],
)
def test_what_was_changed_is_named(store, tmp_path, statement, says):
    run, path = store
    behind_its_back(path, statement)
    done = run("constants", "verify")
    assert done.code == 1
    assert says in done.err
    named = run("constants", "verify", "--json").json
    assert named["fine"] is False
    assert any(says in one["message"] for one in named["named"])
    # a certificate is refused for what the finding concerns
    refused = run("constants", "certificate", "P1", "--folder", tmp_path / "pages")
    of_p2 = statement.startswith(("update apparatus", "delete from constants"))
    assert refused.code == (0 if of_p2 else 2)
    assert ("no certificate of constant 1" in refused.err) is not of_p2


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("made_at", "'1 Sept'"),
        ("warnings_json", "'['"),
        ("details_json", "'[1]'"),
        ("valid_from", "'2026-13-01'"),
        ("constant_j_per_k", "'twenty'"),
        ("constant_j_per_k", "1e308"),
        ("method", "x'ff00fe'"),
        ("apparatus", "'P9'"),
    ],
)
def test_a_row_that_cannot_be_read_takes_nothing_else_down(
    store, cupledger, tmp_path, column, value
):
    run, path = store
    behind_its_back(path, f"update constants set {column} = {value} where id = 1")
    listed = run("constants", "--json")
    assert listed.code == 1
    assert [one["apparatus"] for one in listed.json["constants"]] == ["P2"]
    (bad,) = listed.json["unreadable"]
    assert bad["message"].startswith("constant 1 of P")
    assert "constant 1 of P" in listed.err
    for words in (("constants", "--history"), ("constants", "drift"), ("constants", "recheck")):
        assert run(*words).code == 1
    exported = run("constants", "export", tmp_path / "good.json", "--json")
    assert (exported.code, exported.json["constants"]) == (1, 1)
    assert [one["number"] for one in exported.json["left_out"]] == [1]
    with open_registry(path) as registry:
        assert registry.constant_for("P2", START).constant_J_per_K == 20.0
        with pytest.raises(Exception, match=r"P1"):
            registry.constant_for("P1", START)
    other = tmp_path / "other.sqlite"
    with open_registry(other):
        pass
    merged = cupledger("constants", "merge", path, "--registry", other, "--json")
    assert merged.code == 1
    assert [one["number"] for one in merged.json["left_out"]] == [1]
    assert [one["apparatus"] for one in merged.json["arrived"]] == ["P2"]
    if column != "apparatus":  # it can still be taken out of use, and the cup calibrated anew
        assert run("constants", "withdraw", 1, "--reason", "damaged").code == 0
        assert run("constants").code == 0
        assert run("constants", "--history").code == 1


def test_no_certificate_for_a_value_outside_its_own_interval(store, tmp_path):
    run, path = store
    with open_registry(path) as registry:
        details = '{"interval95_J_per_K": [11.74, 13.5]}'
        new = NewConstant("P1", "hot/cold mixing", 20.0, 0.45, START, details_json=details)
        registry.add_drafts([new], approve=True, reason="tried")
    refused = run("constants", "certificate", "--folder", tmp_path / "pages", "--json")
    assert (refused.code, len(refused.json["certificates"])) == (1, 1)
    (error,) = refused.json["errors"]
    assert "lies outside its own interval, 11.74 to 13.5 J/K" in error["message"]
    page = (tmp_path / "pages" / "certificate_P2_2.html").read_text(encoding="utf-8")
    head = refused.json["chain_head"]
    assert f"{head[:8]} {head[8:16]}" in page
    assert run("constants", "verify").code == 1
