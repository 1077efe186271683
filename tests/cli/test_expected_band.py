"""The class at 2 mol/L: the band in words on terminal and page, the bottle that nobody read, cycles."""

from __future__ import annotations

from datetime import date

import pytest

from calib.registry import NewConstant, open_registry

COLUMNS = (
    "run,apparatus,date,in_cup,in_cup_mol_per_L,in_cup_mL,added,added_mol_per_L,added_mL,in_cup_C,"
    "added_C,extreme_C,extreme_after_s,room_C"
)
PAIRS = {"HCl NaOH": 34.2, "HCl NH3": 33.6, "CH3COOH NaOH": 33.6, "CH3COOH NH3": 33.0}


@pytest.fixture
def class_at_2(cups, tmp_path):
    with open_registry() as store:
        store.add_drafts(
            [NewConstant("P1", "hot/cold mixing", 15.0, 0.6, date(2026, 9, 1))], approve=True
        )
    lines = [COLUMNS]
    for letter, (pair, extreme) in zip("abcd", PAIRS.items(), strict=True):
        acid, base = pair.split()
        lines += [
            f"{letter}{n},P1,2026-10-01,{acid}(aq),2,50,{base}(aq),2,50,21.0,,{extreme + 0.1 * n},40,21"
            for n in (1, 2)
        ]
    table = tmp_path / "class.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return table


def test_expected_value_is_a_band_in_words(cups, class_at_2, tmp_path):
    page = tmp_path / "class.html"
    done = cups("enthalpy", class_at_2, "--page", page)
    assert done.code == 0, done.err
    assert "cannot be given" not in done.out
    assert "it lies between -5" in done.out
    text = page.read_text(encoding="utf-8")
    assert "lies between −5" in text
    assert "expected here, 95" in text
    facts = cups("enthalpy", class_at_2, "--json").json
    by = {line["reaction"]: line for line in facts["summary"]}
    strong = next(line for name, line in by.items() if name.startswith("HCl(aq) + NaOH"))
    weak = next(line for name, line in by.items() if name.startswith("CH3COOH(aq) + NaOH"))
    assert strong["expected_band"] is None
    assert "NaCH3COO" in weak["expected_band"]


def test_the_bottle_that_nobody_read_is_said_first_and_shared(cups, class_at_2):
    done = cups("enthalpy", class_at_2)
    first = next(line for line in done.err.splitlines() if line.startswith("warning"))
    assert "only one liquid's temperature was read" in first
    facts = cups("enthalpy", class_at_2, "--json").json
    lines = [
        one for run in facts["runs"] for one in run["budget"] if "not read" in str(one["source"])
    ]
    assert lines
    assert all(one["shared"] for one in lines)
    of_base = {one["source"] for one in lines if "NaOH" in one["source"]}
    of_ammonia = {one["source"] for one in lines if "NH3" in one["source"]}
    assert of_base
    assert of_ammonia


def test_the_cycle_at_2_closes_and_its_u_tells_something(cups, class_at_2):
    facts = cups("cycles", class_at_2, "--json").json
    (cycle,) = facts["cycles"]
    assert cycle["closes"] is True
    assert cycle["u_closure_kJ_per_mol"] < 1.2
    by = {one["reaction"]: one for one in facts["ionizations"]}
    assert len(by) == 2
    for one in by.values():
        assert one["u_dH_kJ_per_mol"] < 1.5
        assert abs(one["dH_kJ_per_mol"] - one["reference_kJ_per_mol"]) < 2 * one["u_dH_kJ_per_mol"]
