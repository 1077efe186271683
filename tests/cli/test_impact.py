"""Results that are kept, what rests on a constant, and old against new."""

from __future__ import annotations

import json
from datetime import date

import pytest

from calib.registry import NewConstant, open_registry

HEADER = "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C,curve,colour"
ROWS = (
    "g1,P1,2026-10-01,water,KNO3(s),100,5.0,21.0,21.0,17.9,,blue",
    "g2,P1,2026-10-01,water,NH4Cl(s),100,5.0,21.0,21.2,17.8,,red",
    "g3,P2,2026-10-01,water,KNO3(s),100,5.0,21.0,21.0,17.9,,",
)


def constant(cup: str, value: float, u: float = 0.6) -> NewConstant:
    return NewConstant(cup, "hot/cold mixing", value, u, date(2026, 9, 1))


@pytest.fixture
def kept(cups, tmp_path):
    """Constants 1 (P1, 20 J/K) and 2 (P2, 22 J/K), and three results that rest on them."""
    with open_registry() as store:
        store.add_drafts([constant("P1", 20.0), constant("P2", 22.0)], approve=True)
    table = tmp_path / "t.csv"
    table.write_text("\n".join([HEADER, *ROWS]) + "\n", encoding="utf-8")
    done = cups("enthalpy", table, "--record", "--by", "A. Teacher", "--json")
    assert (done.code, done.json["recorded"], done.json["recorded_new"]) == (0, [1, 2, 3], 3)
    return cups, table, done.json


def replace_constant(cupledger, value: float, u: float = 0.6) -> None:
    cupledger("constants", "withdraw", 1, "--reason", "lid lost")
    with open_registry() as store:
        store.add_drafts([constant("P1", value, u)], approve=True)


def test_results_are_kept_once_with_their_constant_and_inputs(kept):
    cupledger, table, _ = kept
    again = cupledger("enthalpy", table, "--record", "--json").json
    assert (again["recorded"], again["recorded_new"]) == ([1, 2, 3], 0)
    (first, *_) = cupledger("constants", "--json").json["constants"]
    assert first["uses"] == 2
    with open_registry() as store:
        result = store.results()[0]
    assert (result.recorded_by, result.run, result.constant_ids) == ("A. Teacher", "g1", (1,))
    assert json.loads(result.inputs_json)["row"]["extra"] == {"colour": "blue"}
    assert "recorded" not in cupledger("enthalpy", table, "--json").json


def test_impact_lists_what_rests_on_a_constant(kept):
    cupledger, _, facts = kept
    found = cupledger("constants", "impact", 1, "--json").json
    assert [(r["run"], r["table"]) for r in found["results"]] == [("g1", "t.csv"), ("g2", "t.csv")]
    assert found["results"][0]["old"] == facts["runs"][0]["dH_kJ_per_mol"]
    withdrawn = cupledger("constants", "withdraw", 1, "--reason", "lid lost")
    assert "2 kept results rest on it" in withdrawn.out
    assert "cupledger constants impact 1 --recompute" in withdrawn.out


def test_nothing_changes_while_the_constant_is_the_same(kept):
    cupledger, _, _ = kept
    for one in cupledger("constants", "impact", 1, "--recompute", "--json").json["results"]:
        assert one["new"] == one["old"]
        assert one["u_new"] == one["u_old"]


def test_old_against_new_is_the_shift_that_the_heat_balance_gives(kept):
    """ΔH = −[(C_mix + C_app) rise − C_2 (T2 − T1)]/ξ, so it shifts by −ΔC·rise/ξ."""
    cupledger, _, facts = kept
    replace_constant(cupledger, 26.0)
    before = cupledger("constants", "--history", "--json").out
    found = cupledger("constants", "impact", 1, "--recompute", "--json")
    assert found.code == 0
    for one, run in zip(found.json["results"], facts["runs"], strict=False):
        shift = -6.0 * run["rise_K"] / run["extent_mol"] / 1000.0
        assert one["change"] == pytest.approx(shift, rel=2e-3)
        assert one["new_constant_ids"] == [3]
        assert one["how"] == "computed again from the kept row"
    assert cupledger("constants", "--history", "--json").out == before


def test_a_table_that_is_gone_is_no_hindrance(kept):
    cupledger, table, _ = kept
    table.unlink()
    replace_constant(cupledger, 26.0)
    found = cupledger("constants", "impact", 1, "--recompute")
    assert found.code == 0
    assert "kJ/mol" in found.out
    assert "nothing was changed" in found.out


def test_a_curve_that_is_gone_or_changed_leaves_the_slope(cups, tmp_path):
    from tests.cli.test_bad_input import SAMPLE

    with open_registry() as store:
        store.add_drafts([constant("P1", 12.5)], approve=True)
    curve = tmp_path / "bench.csv"
    curve.write_bytes((SAMPLE / "curves" / "class_bench07.csv").read_bytes())
    table = tmp_path / "t.csv"
    row = "g1,P1,2026-10-01,water,KNO3(s),100,5.0,,,,bench.csv,"
    table.write_text(f"{HEADER}\n{row}\n", encoding="utf-8")
    assert cups("enthalpy", table, "--record").code == 0
    replace_constant(cups, 14.5)
    exact = cups("constants", "impact", 1, "--recompute", "--json").json["results"][0]
    assert exact["how"] == "computed again from the kept row"
    curve.write_text("t,T\n0,1\n", encoding="utf-8")
    changed = cups("constants", "impact", 1, "--recompute", "--json").json["results"][0]
    assert "was changed since" in changed["how"]
    curve.unlink()
    gone = cups("constants", "impact", 1, "--recompute", "--json").json["results"][0]
    assert "is not at" in gone["how"]
    assert gone["new"] == changed["new"]
    assert gone["change"] == pytest.approx(exact["change"], rel=0.05)  # the rise moves a little
    assert gone["u_new"] == pytest.approx(exact["u_new"], rel=0.05)


def test_without_a_constant_in_its_place_the_rows_are_named(kept):
    cupledger, _, _ = kept
    cupledger("constants", "withdraw", 1, "--reason", "lid lost")
    cupledger("constants", "withdraw", 2, "--reason", "lid lost")
    found = cupledger("constants", "impact", 1, "--recompute", "--json")
    assert found.code == 2
    assert {e["row"] for e in found.json["errors"]} == {"g1 (t.csv)", "g2 (t.csv)"}
    assert "was withdrawn (lid lost)" in found.json["errors"][0]["message"]
    assert len(found.json["results"]) == 2


def test_numbers_that_no_constant_has(kept):
    cupledger, _, _ = kept
    refused = cupledger("constants", "impact", 99)
    assert refused.code == 2
    assert "there is no constant 99" in refused.err
    assert cupledger("constants", "impact", "first").code == 2
    assert "No kept result rests on it" in _fresh(cupledger)


def _fresh(cupledger) -> str:
    with open_registry() as store:
        (number,) = store.add_drafts([constant("P2", 23.0)])
    return cupledger("constants", "impact", number).out
