"""``constants plan``: runs, masses and temperatures for a wanted uncertainty, what limits it."""

from __future__ import annotations

import pytest


def test_a_wanted_uncertainty_gets_a_number_of_runs(cups):
    done = cups("constants", "plan", "--wanted", "1.5", "--wait", "0", "--step", "0.01", "--json")
    assert done.code == 0, done.err
    facts = done.json
    plan = facts["plan"]
    assert facts["reached"] is True
    assert plan["u_J_per_K"] <= 1.5
    assert plan["cold_g"] + plan["hot_g"] == pytest.approx(200.0)
    by_runs = {one["runs"]: one["u_J_per_K"] for one in facts["by_number_of_runs"]}
    assert by_runs[plan["runs"]] == pytest.approx(plan["u_J_per_K"])
    assert all(u > 1.5 for runs, u in by_runs.items() if runs < plan["runs"])
    assert sum(line["share_percent"] for line in plan["limits"]) == pytest.approx(100.0, abs=1.0)


def test_people_see_mixtures_budget_and_cautions(cups):
    done = cups("constants", "plan", "--runs", "2")
    assert done.code == 0
    for words in ("Mixtures, best first", "2 runs give the constant to ±", "limited by",
                  "Budget of the plan", "Caution: Hot water scalds"):  # fmt: skip
        assert words in done.out
    assert "expected constant: 15 j/k (given)" in done.out.lower()


def test_a_finer_thermometer_and_a_log_need_fewer_runs(cups):
    def u(*options):
        return cups("constants", "plan", "--runs", "4", *options, "--json").json["plan"][
            "u_J_per_K"
        ]

    coarse, fine = u("--step", "0.1"), u("--step", "0.01")
    assert fine < coarse
    assert u("--step", "0.1", "--no-log") > 2 * coarse
    assert "log a curve instead" in cups("constants", "plan", "--no-log").out


def test_what_cannot_be_reached_says_what_stands_in_the_way(cups):
    """Nobody notes when the hot water is poured, and it must go into the cold."""
    done = cups("constants", "plan", "--wanted", "0.02")
    assert done.code == 0
    assert "0.02 J/K is out of reach: even 40 runs give ±" in done.out
    assert "what the runs share stays at" in done.out


def test_a_registered_cup_brings_its_own_constant(cups, tmp_path):
    plain = cups("constants", "plan", "--apparatus", "P1", "--json").json
    assert plain["expected_from"].startswith("15 J/K assumed")
    table = tmp_path / "t.csv"
    table.write_text(
        "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C\n"
        "a,P1,2026-09-01,water,water,100,100,21,50,35\n",
        encoding="utf-8",
    )
    assert cups("calibrate", table, "--approve").code == 0
    stored = cups("constants", "--json").json["constants"][0]
    facts = cups("constants", "plan", "--apparatus", "P1", "--json").json
    assert facts["expected_constant_J_per_K"] == pytest.approx(stored["constant_J_per_K"])
    assert facts["expected_from"] == f"constant {stored['id']} of P1"


@pytest.mark.parametrize(
    ("options", "match"),
    [
        (("--wanted", "0.5", "--runs", "3"), "either the number of runs or the wanted uncertainty"),
        (("--wanted", "-1"), "a wanted uncertainty of -1 J/K; expected 0.001 to 1000"),
        (("--runs", "0"), "0 runs cannot be planned; expected 1 to 40"),
        (("--fill", "2"), "a fill of 2 g; expected 10 to 5000"),
        (("--cold", "59", "--hottest", "60"), "at least 2 K apart are needed"),
        (("--readings", "nowhere.toml"), "nowhere.toml: there is no such file"),
        (("--step", "0"), "a display step of 0 for temperature"),
        (("--apparatus", "Z9"), "Z9"),
        (("--constant", "nan"), "a constant of nan J/K"),
        (("--wait", "-5"), "a wait of -5 s; expected 0 to 3600"),
    ],
)
def test_impossible_wishes_are_refused(cups, options, match):
    done = cups("constants", "plan", *options)
    assert done.code == 2
    assert match in done.err
    as_json = cups("constants", "plan", *options, "--json")
    assert as_json.code == 2
    assert match in as_json.json["errors"][0]["message"]
