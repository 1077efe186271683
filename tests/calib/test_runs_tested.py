"""Runs tested before they are averaged: which row is named, with what, and what the mean then is."""

from __future__ import annotations

import dataclasses
import json
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from calib.enthalpies.plausible import refuse_later_days
from calib.enthalpies.slips import KINDS
from calib.enthalpy import evaluate
from calib.run_model.refusal import RowRefusedError
from calib.substances.solubility import holds_g
from tests.calib.made_tables import fine_instruments, run, table
from tests.calib.test_enthalpy import TIGHT, dissolved, neutralization

pytestmark = pytest.mark.usefixtures("settled_readings")


def evaluated(*rows, **options):
    return evaluate(table(*rows), TIGHT, instruments=fine_instruments(), **options)


def class_of_three(**changes):
    """Two good rows and a third one with something changed."""
    rows = [
        neutralization("a", dH=-58.3, base_mL=53.0),
        neutralization("b", dH=-57.8, base_mL=53.5),
    ]
    third = neutralization("c", dH=-58.0, base_mL=53.2)
    return [*rows, dataclasses.replace(third, **changes)]


def of(report, label):
    place = [one.run.run for one in report.results].index(label)
    return report.results[place], report.tests[place]


def right(label="c"):
    return neutralization(label, dH=-58.0, base_mL=53.2)


F = lambda t: round(t * 1.8 + 32.0, 2)  # noqa: E731
SLIPS = [
    ("decimal point", {"in_cup_mol_per_L": 0.1}, {"in_cup_mol_per_L"}),
    ("decimal point", {"in_cup_g": 515.5}, {"in_cup_g"}),
    ("thousandfold", {"in_cup_g": 0.05155}, {"in_cup_g"}),
    ("thousandfold", {"added_g": 55594.0}, {"added_g"}),
    ("°F", {"extreme_C": F(right().extreme_C)}, {"extreme_C"}),
    (
        "°F",
        {"in_cup_C": F(21.0), "added_C": F(21.0), "extreme_C": F(right().extreme_C)},
        {"in_cup_C", "added_C", "extreme_C"},
    ),
    (
        "start and extreme",
        {"in_cup_C": right().extreme_C, "extreme_C": 21.0},
        {"in_cup_C", "extreme_C"},
    ),
]


@pytest.mark.parametrize(("kind", "changes", "columns"), SLIPS)
def test_a_slip_in_one_row_of_three_is_named_and_left_out(kind, changes, columns):
    report = evaluated(*class_of_three(**changes))
    one, test = of(report, "c")
    assert test.left_out
    best = test.mends[0]
    assert (best.kind, set(best.columns)) == (kind, columns)
    honest = evaluated(*class_of_three())
    assert best.gives == pytest.approx(of(honest, "c")[0].result.value, rel=0.01)
    assert one.warnings[0].startswith("left out of the mean: ")
    assert all(name in one.warnings[0] for name in columns)
    (summary,) = report.summary
    assert (summary.runs, summary.in_mean, summary.left_out) == (3, 2, ("c",))
    good = np.mean([of(honest, label)[0].result.value for label in "ab"])
    assert summary.mean == pytest.approx(good, rel=1e-9)
    assert [t.left_out for t in honest.tests] == [False] * 3


def test_every_kind_has_words_and_the_row_is_kept_in_the_table():
    report = evaluated(*class_of_three(in_cup_mol_per_L=0.1))
    assert {t.kind for t in report.tests} <= {"", *KINDS}
    facts = report.to_json()
    json.dumps(facts, allow_nan=False)
    line = facts["runs"][2]
    assert line["in_mean"] is False
    assert line["dH_kJ_per_mol"] == of(report, "c")[0].result.value
    assert line["mends"][0]["columns"] == ["in_cup_mol_per_L"]
    assert "check the row" in line["suspected"]
    assert [one["in_mean"] for one in facts["runs"]] == [True, True, False]
    assert facts["summary"][0]["runs"] == 3
    assert facts["summary"][0]["left_out"] == ["c"]


def test_keep_all_takes_it_in_and_says_it_all_the_same():
    rows = class_of_three(in_cup_mol_per_L=0.1)
    report = evaluated(*rows, keep_all=True)
    one, test = of(report, "c")
    assert not test.left_out
    assert test.kind == "decimal point"
    assert not one.warnings[0].startswith("left out")
    assert "in_cup_mol_per_L 0.1 in place of 1" in one.warnings[0]
    (summary,) = report.summary
    assert summary.in_mean == 3
    assert summary.mean < -150.0
    assert -59.0 < summary.robust_mean < -57.0  # the centre is robust by itself


def test_one_run_alone_is_told_what_would_mend_it_and_stays():
    report = evaluated(neutralization("a", base_mL=53.0, in_cup_mol_per_L=0.1))
    (one,), (test,) = report.results, report.tests
    assert not test.left_out
    assert test.mends[0].columns == ("in_cup_mol_per_L",)
    assert "is far from the value for its concentrations" in one.warnings[0]
    assert report.summary[0].in_mean == 1


def test_a_run_off_by_what_no_slip_explains_is_warned_of_by_itself():
    (one,) = evaluated(neutralization("a", dH=-40.0, base_mL=53.0)).results
    assert one.warnings[0].startswith("far off the value for its concentrations: ")
    (fine,) = evaluated(neutralization("a", dH=-58.0, base_mL=53.0)).results
    assert not any("far off" in text for text in fine.warnings)


def test_with_two_runs_the_one_off_what_is_expected_leaves():
    report = evaluated(*class_of_three(in_cup_mol_per_L=0.1)[1:])
    assert [t.left_out for t in report.tests] == [False, True]


def test_a_whole_class_in_one_slip_loses_no_row():
    rows = [
        neutralization(n, dH=-58.0 + 0.2 * i, base_mL=53.0 + 0.1 * i) for i, n in enumerate("abcd")
    ]
    report = evaluated(*(dataclasses.replace(r, in_cup_mol_per_L=0.1) for r in rows))
    assert not any(t.left_out for t in report.tests)
    assert {t.kind for t in report.tests} == {"decimal point"}
    assert report.summary[0].in_mean == 4


def test_the_search_for_slips_is_bounded(monkeypatch):
    monkeypatch.setattr("calib.enthalpies.tested.MOST_SEARCHED", 2)
    labels = "abcd"
    rows = [neutralization(n, dH=-58.0, base_mL=53.0 + 0.1 * i) for i, n in enumerate(labels)]
    report = evaluated(*(dataclasses.replace(r, in_cup_mol_per_L=0.1) for r in rows))
    assert [t.kind for t in report.tests] == ["decimal point"] * 2 + [""] * 2
    assert all("not in this one" in t.reason for t in report.tests[2:])


def test_twelve_per_cent_off_is_no_slip():
    values = [-58.1, -57.9, -58.0, -58.2, -57.8, -58.05, -51.0]
    rows = [neutralization(f"g{i}", dH=v, base_mL=53.0 + 0.01 * i) for i, v in enumerate(values)]
    report = evaluated(*rows)
    assert not any(t.reason for t in report.tests)


def test_the_amounts_of_another_bench_are_said():
    """Four masses of their own, to the milligram; the fourth bench typed the second one's."""
    masses = (4.021, 9.073, 6.034, 5.012)
    rows = [dissolved(n, grams=g) for n, g in zip("abcd", masses, strict=True)]
    rows[3] = dataclasses.replace(rows[3], added_g=9.073)
    rows[3] = dataclasses.replace(rows[3], extreme_C=dissolved(grams=4.0).extreme_C)
    _, test = of(evaluated(*rows), "d")
    assert test.left_out
    assert test.kind == "another bench's amounts"
    assert "those of b" in test.reason


def test_coarse_amounts_that_are_alike_by_chance_accuse_nobody():
    """Twelve masses to 0.1 g within 2 g: two alike are no wonder, whatever the bench's result."""
    masses = [4.1, 4.3, 4.6, 4.8, 4.9, 5.1, 5.2, 5.4, 5.5, 5.7, 5.9, 6.0]
    rows = [dissolved(f"g{i}", grams=g) for i, g in enumerate(masses)]
    odd = dataclasses.replace(dissolved("odd", grams=5.1), extreme_C=dissolved(grams=4.2).extreme_C)
    _, test = of(evaluated(*rows, odd), "odd")
    assert test.kind != "another bench's amounts"
    assert "to the last digit" not in test.reason


# --- one measurement in several rows -------------------------------------------------------------


def test_the_same_cells_under_two_labels_count_once():
    rows = class_of_three()
    twin = dataclasses.replace(rows[1], run="twin")
    report = evaluated(*rows, twin)
    assert [t.left_out for t in report.tests] == [False, False, False, True]
    assert "twin" in of(report, "b")[1].reason
    assert "b" in of(report, "twin")[1].reason
    assert report.summary[0].mean == pytest.approx(evaluated(*rows).summary[0].mean, rel=1e-12)


def test_coarse_readings_may_be_alike_by_chance_and_all_count():
    """Eight benches on a 1 K thermometer: pairs agree, which tells nothing."""
    rows = [
        run(f"g{i}", in_cup="water", in_cup_mL=100.0, added="KNO3(s)", added_g=5.0, in_cup_C=22.0,
            added_C=22.0, extreme_C=19.0 if i % 2 else 18.0, extreme_after_s=60.0)
        for i in range(8)
    ]  # fmt: skip
    report = evaluated(*rows)
    assert not any(t.left_out for t in report.tests)


SAMPLE = Path(__file__).resolve().parents[2] / "sample_runs"


def test_one_curve_in_three_rows_counts_once_under_any_name(tmp_path):
    from calib.enthalpy import FixedConstants

    text = (SAMPLE / "curves" / "class_bench02.csv").read_bytes()
    paths = [tmp_path / name for name in ("one.csv", "copy.csv", "again.csv")]
    for path in paths:
        path.write_bytes(text)
    rows = [
        run(f"r{i}", in_cup="HNO3(aq)", in_cup_mol_per_L=1.0, in_cup_g=103.06 + 0.1 * i,
            added="KOH(aq)", added_mol_per_L=1.0, added_g=106.47, added_C=20.86, curve=path.name,
            curve_path=path, mixed_at_s=180.0, room_C=21.6)
        for i, path in enumerate(paths)
    ]  # fmt: skip
    made = table(*rows, path=str(tmp_path / "t.csv"))
    report = evaluate(made, FixedConstants({"A": (9.3, 0.5)}))
    assert [t.left_out for t in report.tests] == [False, True, True]
    assert all("the very same file" in t.reason for t in report.tests)
    moved = dataclasses.replace(rows[1], mixed_at_s=600.0)
    report = evaluate(
        dataclasses.replace(made, rows=(rows[0], moved)), FixedConstants({"A": (9.3, 0.5)})
    )
    (problem,) = report.problems
    assert problem.column == "mixed_at_s"
    assert "same file as that of r0" in problem.message
    assert "r1, not used" in report.tests[0].reason


# --- what cannot be meant ------------------------------------------------------------------------


def warnings(**changes):
    (one,) = evaluated(dataclasses.replace(dissolved(), **changes)).results
    return " ".join(one.warnings)


def test_a_plain_run_has_no_remark():
    assert warnings() == ""


def test_more_salt_than_dissolves_is_said_with_what_the_table_holds():
    said = warnings(added_g=60.0)
    most = holds_g("KNO3", 100.0, dissolved().extreme_C)
    assert f"about {most.value:.3g} g" in said
    assert "not all of KNO3 can have dissolved" in said


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"room_C": 0.0}, "room_C says 0"),
        ({"room_C": 45.0}, "a cup stands near the room"),
        ({"added_C": 295.0}, "295 K would be 21.9 °C"),
        ({"extreme_after_s": 1800.0}, "within some minutes"),
        ({"extreme_after_s": 0.0}, "in the moment of mixing"),
        ({"added_g": 1e-4}, "nothing done in a cup gives so much"),
        ({"added_g": 1e-4}, "tells nothing"),
        ({"in_cup_g": 5000.0}, "no simple cup holds so much"),
    ],
)
def test_what_no_cup_can_have_is_said(changes, words):
    assert words in warnings(**changes)


def test_days_to_come_are_refused():
    today = date(2026, 9, 7)
    refuse_later_days(run(date=today + timedelta(days=1)), today)
    refuse_later_days(run(date=None), today)
    with pytest.raises(RowRefusedError, match="has not come yet"):
        refuse_later_days(run(date=date(2031, 1, 1)), today)
    report = evaluated(dissolved("a"), dissolved("b", grams=5.2, date=date(2099, 12, 31)))
    assert [one.run.run for one in report.results] == ["a"]
    assert report.problems[0].column == "date"


METAL = {
    "in_cup": "water", "in_cup_g": 200.0, "added": "Cu(s)", "added_g": 50.0, "in_cup_C": 21.0,
    "added_C": 98.0, "extreme_C": 22.7, "extreme_after_s": 30.0, "room_C": 21.0,
}  # fmt: skip


@pytest.mark.parametrize(
    "changes",
    [
        {"in_cup_C": None, "extreme_C": 23.0},  # the cup would be taken as warm as the metal
        {"added_C": 21.0},
        {"added": "SiO2(s)", "added_C": 21.0},
        {"extreme_C": 99.0},
        {"extreme_C": 20.0},
        {"added_g": 1e-300},
        {"in_cup_g": 4.9e-324},
        {"in_cup_g": 1e300},
    ],
)
def test_a_row_that_gives_no_balance_is_refused_alone(changes):
    report = evaluated(run("bad", **{**METAL, **changes}), run("good", **METAL))
    assert "good" in [one.run.run for one in report.results]
    told = [p.row for p in report.problems] + [
        one.run.run for one, t in zip(report.results, report.tests, strict=True) if one.warnings
    ]
    assert "bad" in told
    json.dumps(report.to_json(), allow_nan=False)
