"""What bad input gets: the row named with column, found, expected, remedy; no traceback."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

SAMPLE = Path(__file__).resolve().parents[2] / "sample_runs"
HEADER = (
    "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_mol_per_L,added_mol_per_L,in_cup_C,"
    "added_C,extreme_C,curve,reaction"
)
GOOD = "good,P1,2026-09-01,water,water,100,100,,,21.0,50.0,35.0,,"


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("x,P9,2026-09-01,water,water,100,100,,,21,50,35,,", "apparatus", "P9"),
        ("x,P1,2026-09-01,water,water,-5,100,,,21,50,35,,", "in_cup_g", "-5"),
        ("x,P1,2026-09-01,water,water,heavy,100,,,21,50,35,,", "in_cup_g", "heavy"),
        ("x,P1,2026-09-01,water,KNO3(s),100,5,,1.0,21,21,18,,", "added_mol_per_L", "solid"),
        ("x,P1,2026-09-01,water,water,100,100,,,21,50,,no.csv,", "curve", "no.csv"),
        (
            "x,P1,2026-09-01,HCl(aq),NaOH(aq),100,100,1,1,21,21,27,,HCl + NaOH -> NaCl",
            "reaction",
            "H",
        ),
        ("x,P1,2026-09-01,water,water,100 furlong,100,,,21,50,35,,", "in_cup_g", "furlong"),
    ],
    ids=["cup", "negative", "text", "solid", "curve", "unbalanced", "unit"],
)
def test_a_bad_row_is_named_and_the_others_are_computed(cups, tmp_path, row, column, says):
    table = tmp_path / "t.csv"
    table.write_text(f"{HEADER}\n{GOOD}\n{row}\n", encoding="utf-8")
    done = cups("calibrate", table, "--json")
    assert done.code == 1
    facts = done.json
    (error,) = facts["errors"]
    assert (error["row"], error["column"]) == ("x", column)
    assert says in error["message"] + error["found"] + error["expected"] + error["remedy"]
    assert [run["run"] for run in facts["runs"]] == ["good"]
    assert "not used: row x" in done.err


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.csv", b""),
        ("binary.csv", bytes(range(256)) * 8),
        ("three.csv", b"time_s,temperature_C\n0,20\n1,21\n2,22\n"),
        ("constant.csv", b"t,T\n" + b"".join(b"%d,20.0\n" % i for i in range(300))),
        (
            "backwards.csv",
            b"t,T\n" + b"".join(b"%d,20.%d\n" % (300 - i, i % 9) for i in range(300)),
        ),
    ],
)
def test_a_curve_that_is_none_is_refused_by_name(cups, tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    done = cups("correct", tmp_path / name)
    assert done.code == 2
    assert "error:" in done.err
    table = tmp_path / "t.csv"
    row = f"x,P1,2026-09-01,water,water,100,100,,,21,50,,{name},"
    table.write_text(f"{HEADER}\n{GOOD}\n{row}\n", encoding="utf-8")
    done = cups("calibrate", table, "--json")
    assert done.code == 1
    (error,) = done.json["errors"]
    assert (error["row"], error["column"]) == ("x", "curve")


def test_nothing_could_be_done_is_2_and_changes_nothing(cups, tmp_path):
    before = cups("constants", "--history", "--json").json["constants"]
    table = tmp_path / "t.csv"
    table.write_text(f"{HEADER}\nx,P9,2026-09-01,water,water,100,100,,,21,50,35,,\n", "utf-8")
    assert cups("calibrate", table, "--approve").code == 2
    assert cups("calibrate", tmp_path / "missing.csv", "--json").code == 2
    assert cups("constants", "--history", "--json").json["constants"] == before


def test_a_missing_column_is_said(cups, tmp_path):
    table = tmp_path / "t.csv"
    table.write_text("run,apparatus,in_cup,added,added_g\na,P1,water,water,100\n", "utf-8")
    done = cups("calibrate", table)
    assert done.code == 2
    assert "in_cup" in done.err


def test_no_constant_in_force_names_the_command_that_mends_it(cups, tmp_path):
    table = tmp_path / "t.csv"
    table.write_text(f"{HEADER}\na,P1,2026-09-01,water,KNO3(s),100,6,,,21.0,21.0,17.0,,\n", "utf-8")
    done = cups("enthalpy", table, "--json")
    assert done.code == 2
    (error,) = done.json["errors"]
    assert error["column"] == "apparatus"
    assert "cupledger calibrate" in error["message"] + error["remedy"]


def test_json_stands_alone_on_stdout_and_has_the_promised_keys(cups, tmp_path):
    curve = SAMPLE / "curves" / "class_bench07.csv"
    facts = cups("correct", curve, "--json").json
    promised = (
        "mixed_at_s before_C rise_K u_rise_K interval95_K method cooling_rate_per_s"
        " settled_after_s methods warnings"
    )
    assert set(promised.split()) <= set(facts)
    assert {"name", "rise_K", "u_rise_K", "admissible", "why"} <= set(facts["methods"][0])
    beside = (
        ("before_C", "u_before_K", "before_interval95_C"),
        ("final_C", "u_final_K", "final_interval95_C"),
        ("settles_towards_C", "u_settles_towards_K", "settles_towards_interval95_C"),
        ("settled_after_s", "u_settled_after_s", "settled_interval95_s"),
    )
    for value, u, within in beside:
        assert facts[u] > 0
        assert facts[within][0] < facts[value] < facts[within][1]
    text = cups("correct", curve).out
    for what in ("before mixing", "corrected rise", "extreme reading", "tends to", "settled after"):
        (line,) = [row for row in text.splitlines() if row.startswith(what)]
        assert "±" in line


def test_the_demo_runs_and_refuses_a_folder_of_others(cupledger, tmp_path):
    done = cupledger("demo", tmp_path / "d", "--json")
    assert done.code == 0
    facts = done.json
    assert len(facts["constants"]) == 6
    assert len(facts["runs"]) == 20
    assert facts["errors"] == []
    for constant in facts["constants"]:
        low, high = constant["interval95_J_per_K"]
        assert low <= float(constant["invented_truth"]) <= high
    for path in facts["files"]:
        assert Path(path).stat().st_size > 0
    run_keys = (
        "run apparatus constant_id constant_J_per_K rise_K u_rise_K method heat_J extent_mol"
        " limiting dH_kJ_per_mol u_dH_kJ_per_mol interval95_kJ_per_mol reference_kJ_per_mol"
        " warnings budget"
    )
    assert set(run_keys.split()) <= set(facts["runs"][0])
    assert cupledger("demo", tmp_path / "d").code == 0
    other = tmp_path / "other"
    shutil.copytree(SAMPLE / "curves", other)
    done = cupledger("demo", other)
    assert done.code == 2
    assert "nothing was written" in done.err


def test_a_draft_is_not_used_until_approved_and_withdrawing_needs_a_reason(cups, tmp_path):
    table = tmp_path / "t.csv"
    table.write_text(f"{HEADER}\n{GOOD}\n{GOOD.replace('good', 'two')}\n", encoding="utf-8")
    (made,) = cups("calibrate", table, "--json").json["constants"]
    assert made["status"] == "draft"
    again = cups("calibrate", table, "--json").json["constants"][0]
    assert again["id"] == made["id"]
    done = cups("constants", "approve", made["id"], "--reason", "checked", "--json").json
    assert done["constants"][0]["status"] == "approved"
    assert cups("constants", "withdraw", made["id"]).code == 2
    gone = cups("constants", "withdraw", made["id"], "--reason", "lid lost", "--json").json
    assert gone["constants"][0]["status"] == "withdrawn"


def calibrated(cups, tmp_path):
    table = tmp_path / "cal.csv"
    table.write_text(f"{HEADER}\n{GOOD}\n{GOOD.replace('good', 'two')}\n", encoding="utf-8")
    assert cups("calibrate", table, "--approve", "--reason", "for a test").code == 0


def test_a_metal_and_ice_show_their_own_quantity_in_every_form(cups, tmp_path):
    """Values that are no molar enthalpies print, export and carry their budget too."""
    calibrated(cups, tmp_path)
    table, out = tmp_path / "t.csv", tmp_path / "o.csv"
    table.write_text(
        f"{HEADER}\n"
        "metal,P1,2026-10-01,water,Cu(s),100,60,,,21.0,99.0,25.0,,\n"
        "ice,P1,2026-10-01,water,ice,150,30,,,30.0,0.0,12.4,,\n"
        "lost,P9,2026-10-01,water,KNO3(s),100,6,,,21.0,21.0,17.0,,\n",
        encoding="utf-8",
    )
    done = cups("enthalpy", table, "--budget", "--out", out, "--page", tmp_path / "p.html")
    assert done.code == 1
    assert "J/(g K), specific heat of Cu" in done.out
    assert "J/g, heat of fusion of ice" in done.out
    assert "u J/(g K)" in done.out
    written = out.read_text(encoding="utf-8-sig")
    assert "specific heat of Cu" in written
    (lost,) = [line for line in written.splitlines() if line.startswith("lost")]
    assert "KNO3(s)" in lost  # what was given for a row that was not used is not lost
    page = (tmp_path / "p.html").read_text(encoding="utf-8")
    assert "published 0.384" in page  # copper's specific heat, CRC Handbook (from a library)
    assert "infinite dilution 0" not in page


def test_several_are_approved_together_or_not_at_all(cups, tmp_path):
    table = tmp_path / "cal.csv"
    table.write_text(f"{HEADER}\n{GOOD}\n{GOOD.replace('good', 'two')}\n", encoding="utf-8")
    (made,) = cups("calibrate", table, "--json").json["constants"]
    assert cups("constants", "approve", made["id"], 999, "--reason", "checked").code == 2
    (kept,) = cups("constants", "--json").json["constants"]
    assert kept["status"] == "draft"
