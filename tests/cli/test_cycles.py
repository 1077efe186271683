"""``cupledger cycles``: the four pairings as a class types them, and what else people type."""

from __future__ import annotations

import csv

import pytest

from tests.calib.energy import mixed_water_C
from tests.calib.test_consistency import CUP, TRUE, class_of

COLUMNS = (
    *("run", "apparatus", "date", "in_cup", "in_cup_mol_per_L", "in_cup_g", "added"),
    *("added_mol_per_L", "added_g", "in_cup_C", "added_C", "extreme_C", "extreme_after_s"),
    "room_C",
)


def write(path, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, COLUMNS)
        table.writeheader()
        table.writerows(rows)
    return path


def cells(one):
    return {
        name: value
        for name in COLUMNS
        if (value := getattr(one, name)) is not None and name != "apparatus"
    } | {"apparatus": "P1"}


@pytest.fixture
def calibrated(cups, tmp_path):
    rows = [
        {"run": f"m{hot}", "apparatus": "P1", "date": "2026-09-01", "in_cup": "water",
         "added": "water", "in_cup_g": 100, "added_g": 100, "in_cup_C": 21, "added_C": hot,
         "extreme_C": f"{mixed_water_C(CUP, 100, 21, 100, hot):.3f}", "extreme_after_s": 5,
         "room_C": 21}
        for hot in (50.0, 55.0, 60.0)
    ]  # fmt: skip
    assert cups("calibrate", write(tmp_path / "m.csv", rows), "--approve").code == 0
    return cups


def test_the_four_pairings_from_a_table(calibrated, tmp_path):
    rows = [cells(one) | {"room_C": 21 + 0.1 * (n % 2)} for n, one in enumerate(class_of(2))]
    table = write(tmp_path / "class.csv", rows)  # alike in every cell, two rows would count once
    done = calibrated("cycles", table, "--as-run", "--json")
    assert done.code == 0, done.err
    facts = done.json
    assert [one["runs"] for one in facts["reactions"]] == [2, 2, 2, 2]
    assert [one["sum"] for one in facts["cycles"]] == ["R1 - R2 - R3 + R4 = nothing"]
    assert facts["cycles"][0]["closes"] is True
    x = [one["adjusted_kJ_per_mol"] for one in facts["reactions"]]
    assert x[0] - x[1] - x[2] + x[3] == pytest.approx(0.0, abs=1e-9)
    for one, truth in zip(facts["reactions"], TRUE.values(), strict=True):
        assert one["adjusted_kJ_per_mol"] == pytest.approx(
            truth, abs=2.5 * one["u_adjusted_kJ_per_mol"]
        )
    assert all(row[i] == pytest.approx(1.0) for i, row in enumerate(facts["correlations"]))
    assert facts["correlations"][0][1] > 0.2  # one cup serves both
    assert len(facts["ionizations"]) == 2


def test_people_see_sums_the_run_that_is_off_and_ionizations(calibrated, tmp_path):
    """Two tables of one class, taken together; group d2 is off by 6 kJ/mol."""
    rows = [cells(one) for one in class_of(3, d2=6.0)]
    first, second = write(tmp_path / "1.csv", rows[:6]), write(tmp_path / "2.csv", rows[6:])
    done = calibrated("cycles", first, second, "--as-run")
    assert done.code == 0, done.err
    assert "R1 - R2 - R3 + R4 = nothing" in done.out
    after = done.out.split("Runs against the adjusted values")[1].splitlines()
    assert after[3].startswith("d2 ")
    assert "CH3COOH(aq) -> H+(aq) + CH3COO-(aq)" in done.out
    assert "± is one standard uncertainty" in done.out


def test_one_bad_row_leaves_the_others(calibrated, tmp_path):
    rows = [cells(one) for one in class_of(1)]
    rows[3]["in_cup_g"] = "a lot"
    done = calibrated("cycles", write(tmp_path / "t.csv", rows), "--json")
    assert done.code == 1
    assert len(done.json["reactions"]) == 3
    assert done.json["cycles"] == []
    assert "no cycle" in done.json["words"]
    assert done.json["errors"][0]["column"] == "in_cup_g"


def test_nothing_to_compare(calibrated, tmp_path):
    assert calibrated("cycles").code == 2
    assert calibrated("cycles", tmp_path / "none.csv").code == 2
    water = {**cells(class_of(1)[0]), "in_cup": "water", "added": "water",
             "in_cup_mol_per_L": None, "added_mol_per_L": None}  # fmt: skip
    done = calibrated("cycles", write(tmp_path / "w.csv", [water]), "--json")
    assert done.code == 2
    assert done.json["errors"]
