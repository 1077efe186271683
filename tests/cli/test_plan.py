"""``cupledger plan`` as a person types it."""

from __future__ import annotations

import pytest

HEADER = "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C"
GOOD = "{},P1,2026-09-01,water,water,100,100,21.0,50.0,35.0"


def test_a_plan_in_words(cupledger):
    done = cupledger("plan", "50 mL 1 mol/L HNO3(aq)", "52 mL 1 mol/L KOH(aq)", "--benches", "12",
                     "--wanted", "2")  # fmt: skip
    assert done.code == 0
    for text in ("rise without heat loss", "limiting reagent", "HNO3(aq)", "largest error",
                 "ACID INTO THE WATER", "Caution", "safety data sheet", "Wanted uncertainty"):  # fmt: skip
        assert text in done.out


def test_a_plan_as_json(cupledger):
    facts = cupledger("plan", "200 g water", "12 g KNO3(s)", "--constant", "12", "--json").json
    keys = (
        "reaction limiting extent_mol rise_K u_rise_K interval95_K final_C shown_C u_shown_K spread"
        " dissolving heat_limit result u_result u_percent dominating wanted preparation cautions"
        " warnings errors constant_J_per_K u_constant_J_per_K"
    )
    assert set(keys.split()) <= set(facts)
    assert facts["limiting"] == "KNO3(s)"
    assert facts["interval95_K"][0] < facts["rise_K"] < facts["interval95_K"][1] < 0


def test_the_cups_own_constant_is_used(cups, tmp_path):
    table = tmp_path / "cal.csv"
    table.write_text("\n".join([HEADER, *(GOOD.format(n) for n in "abc")]) + "\n", "utf-8")
    (made,) = cups("calibrate", table, "--approve", "--reason", "test", "--json").json["constants"]
    facts = cups("plan", "200 g water", "12 g KNO3(s)", "--apparatus", "P1", "--json").json
    assert facts["constant_id"] == made["id"]
    assert facts["constant_J_per_K"] == pytest.approx(made["constant_J_per_K"])
    before = cups("plan", "200 g water", "12 g KNO3(s)", "--apparatus", "P1", "--date",
                  "2026-08-01")  # fmt: skip
    assert before.code == 2


def test_an_enthalpy_that_is_not_tabulated_is_given_by_hand(cupledger):
    """Glucose: its solution is in no table. 10 mL of 12 mol/L sulfuric acid, -60 kJ/mol by hand."""
    done = cupledger("plan", "100 g water", "5 g C6H12O6(s)")
    assert done.code == 2
    assert "--enthalpy" in done.err
    words = ("plan", "100 g water", "10 mL 12 mol/L H2SO4(aq)")
    facts = cupledger(*words, "--enthalpy", "-60", "--u-enthalpy", "2", "--json").json
    assert facts["dH_kJ_per_mol"] == -60.0
    by_hand = 0.12 * 60e3 / (117 * 3.8 + 15)  # 1.67 g/mL, some 3.8 J/(g K), assumed cup
    assert facts["rise_K"] == pytest.approx(by_hand, rel=0.05)
    assert any("ACID INTO THE WATER" in step for p in facts["preparation"] for step in p["steps"])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["water", "12 g KNO3(s)"], "no amount"),
        (["200 g water", "12 g nothing"], "not known"),
        (["200 g water", "5 mol KNO3(s)"], "5 mol"),
        (["50 mL 1 mol/L HCl(aq)", "5 g Ag(s)"], "reaction"),
        (["50 mL HCl(aq)", "5 g NaOH(s)"], "concentration"),
        (["50 mL 1 mol/L HCl(aq)", "20 mL NaOH(s)"], "weighed"),
        (["200 g water", "12 g KNO3(s)", "--apparatus", "Z9"], "Z9"),
        (["200 g water", "12 g KNO3(s)", "--date", "soon", "--apparatus", "P1"], "soon"),
        (["200 g water", "12 g KNO3(s)", "--concentrated", "HCl"], "HCl=12.0"),
        (["200 g water", "12 g KNO3(s)", "--reaction", "KNO3 -> K"], "N"),
        (["200 g water", "12 g KNO3(s)", "--constant", "-4"], "-4"),
        (["200 g water", "12 g KNO3(s)", "--constant", "nan"], "nan"),
        (["200 g water", "12 g KNO3(s)", "--benches", "1000000"], "benches"),
        (["200 g water", "12 g KNO3(s)", "--enthalpy", "1e9"], "enthalpy"),
        (["=1+1 mL <b>x</b>", "12 g KNO3(s)"], "not known"),
        (["1e400 g water", "12 g KNO3(s)"], "cannot be meant"),
    ],
)
def test_what_cannot_be_planned_is_said(cups, words, says):
    done = cups("plan", *words, "--json")
    assert done.code == 2
    assert says in done.json["errors"][0]["message"]
    assert says in done.err
