"""Practice curves: a truth from energies, a sealed answer, a fair score."""

from __future__ import annotations

import json

import numpy as np
import pytest

from fitting.errors import CurveError, OutputError
from fitting.files.curve_files import read_curve
from fitting.practice.exercise import DIFFICULTIES, VERSION, answer_beside, make_practice, reveal
from fitting.practice.truth import practice_run
from tests.benchmarks.practice_seeds import scored


def test_two_files_and_what_may_be_known(tmp_path):
    made = make_practice(tmp_path, ["lag", "noise"], seed=11)
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "practice-11.answer.json", "practice-11.csv",
    ]  # fmt: skip
    curve = read_curve(made.curve_path)
    assert made.task.mixed_at_s == 180.0
    assert curve.resolution_K == pytest.approx(0.1)
    assert made.difficulties == ("noise", "lag")
    content = json.loads(made.answer_path.read_text(encoding="utf-8"))
    assert content["version"] == VERSION
    assert set(content["task"]) == {"mixed_at_s", "capacity_ratio", "room_C", "kind"}


def test_the_answer_is_not_read_by_accident(tmp_path):
    made = make_practice(tmp_path, seed=12)
    rise = reveal(made.curve_path, 1.0).true_rise_K
    text = made.answer_path.read_text(encoding="utf-8") + made.curve_path.read_text(
        encoding="utf-8"
    )
    for places in (1, 2, 3, 4):
        assert f"{rise:.{places}f}" not in made.answer_path.read_text(encoding="utf-8")
    assert "rise" not in text


def test_same_seed_same_curve_and_another_seed_another(tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    one = make_practice(tmp_path / "a", ["spill"], seed=5)
    two = make_practice(tmp_path / "b", ["spill"], seed=5)
    other = make_practice(tmp_path / "b", ["spill"], seed=6)
    assert one.curve_path.read_bytes() == two.curve_path.read_bytes()
    assert one.answer_path.read_bytes() == two.answer_path.read_bytes()
    assert one.curve_path.read_bytes() != other.curve_path.read_bytes()


def test_a_seed_is_drawn_and_told(tmp_path):
    made = make_practice(tmp_path)
    assert 100_000 <= made.seed < 1_000_000
    assert str(made.seed) in made.curve_path.name
    assert reveal(made.curve_path, 5.0).seed == made.seed


@pytest.mark.parametrize("difficulty", DIFFICULTIES)
def test_every_difficulty_is_in_the_curve(difficulty):
    plain, hard = practice_run((), 21), practice_run((difficulty,), 21)
    changed = {
        "noise": lambda: hard.step_K == 0.1 and plain.step_K == 0.01,
        "lag": lambda: hard.facts["sensor_lag_s"] >= 12 > plain.facts["sensor_lag_s"],
        "slow-wall": lambda: (
            hard.facts["slow_wall_J_per_K"] > plain.facts["slow_wall_J_per_K"] == 0
        ),
        "evaporation": lambda: hard.rise_K > 20 > abs(plain.rise_K),
        "slow-dissolution": lambda: _half_time(hard) > 3 * _half_time(plain),
        "drifting-room": lambda: abs(hard.facts["room_drift_K_per_min"]) > 0.02,
        "no-fore": lambda: np.sum(hard.time_s < hard.mixed_at_s) in (2, 3),
        "spill": lambda: hard.rise_K != hard.rise_unspilt_K,
    }
    assert changed[difficulty]()
    if difficulty != "spill":
        assert hard.rise_K == hard.rise_unspilt_K


def _half_time(run) -> float:
    after = run.time_s > run.mixed_at_s
    share = (run.temperature_C[after] - run.before_C) / run.rise_K
    return float(run.time_s[after][np.argmax(share > 0.5)] - run.mixed_at_s)


def test_truth_is_the_energy_over_the_heat_capacity():
    """Both portions start level but for the cup's own drift until mixing: rise = Q/C to 1 %."""
    for seed in range(8):
        run = practice_run((), seed)
        wanted = run.facts["heat_J"] / run.facts["heat_capacity_J_per_K"]
        assert run.rise_K == pytest.approx(wanted, rel=0.03)


def test_spilt_liquid_takes_heat_and_capacity_along():
    """keep Q/(keep C + C_cup) against Q/(C + C_cup): the loss is the cup's share only."""
    for seed in range(8):
        run = practice_run(("spill",), seed)
        share = run.facts["spilt_share"]
        lost = 1 - run.rise_K / run.rise_unspilt_K
        assert 0 < lost < share * 0.12


def test_the_plainest_curve_is_corrected_well_by_the_default(tmp_path):
    for seed in range(4):
        made = make_practice(tmp_path, seed=seed)
        opened = reveal(made.curve_path, 1.0)
        default = next(m for m in opened.methods if m.name == "newton-integral")
        assert abs(default.error_percent) < 0.6
        extreme = next(m for m in opened.methods if m.name == "extreme")
        assert opened.uncorrected_error_K == extreme.error_K


def test_the_score_is_that_of_the_numbers(tmp_path):
    made = make_practice(tmp_path, ["slow-dissolution"], seed=3)
    truth = reveal(made.curve_path, 1.0).true_rise_K
    good = reveal(made.curve_path, truth + 0.01, u=0.02)
    assert good.error_K == pytest.approx(0.01)
    assert good.error_percent == pytest.approx(1 / abs(truth))
    assert good.holds is True
    assert "as good as a careful correction gets" in good.verdict
    assert "holds the truth" in good.verdict
    bold = reveal(made.curve_path, truth + 0.1, u=0.02)
    assert bold.holds is False
    assert "too small" in bold.verdict
    extreme = truth + (good.uncorrected_error_K or 0)
    assert "where the extreme reading is" in reveal(made.curve_path, extreme).verdict
    assert "would have been nearer" in reveal(made.curve_path, truth * 1.5).verdict
    assert "other way round" in reveal(made.curve_path, -truth).verdict
    half = reveal(made.curve_path, truth + (good.uncorrected_error_K or 0) / 2)
    assert "50 % of what the extreme reading lacks was put back" in half.verdict


def test_methods_that_may_be_used_come_first_and_best_first(tmp_path):
    made = make_practice(tmp_path, ["slow-dissolution", "lag"], seed=4)
    opened = reveal(made.curve_path, -5.0)
    assert {m.name for m in opened.methods} >= {"extreme", "newton-integral", "exponential"}
    order = [(not m.admissible, abs(m.error_K)) for m in opened.methods]
    assert order == sorted(order)
    assert list(opened.to_frame().index) == [m.name for m in opened.methods]
    assert opened.to_json()["methods"][0]["name"] == opened.methods[0].name
    json.dumps(opened.to_json())
    assert "newton-integral" in opened._repr_html_()


def test_a_curve_without_a_fore_period_is_scored_too(tmp_path):
    made = make_practice(tmp_path, ["no-fore"], seed=9)
    opened = reveal(made.curve_path, 5.0)
    assert opened.methods or opened.notes


def test_all_difficulties_at_once(tmp_path):
    made = make_practice(tmp_path, DIFFICULTIES, seed=2)
    opened = reveal(made.curve_path, 20.0)
    assert opened.difficulties == tuple(DIFFICULTIES)
    assert any("liquid was spilt" in note for note in opened.notes)


def test_names_are_read_tolerantly(tmp_path):
    made = make_practice(tmp_path, ["Slow wall", "no_fore"], seed=1, name="bench 3")
    assert made.difficulties == ("slow-wall", "no-fore")
    assert made.curve_path.name == "bench 3.csv"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            {"difficulties": ["ghosts"]},
            r"there is no difficulty 'ghosts'; expected one of noise, lag",
        ),
        ({"seed": -1}, r"the seed is -1; expected a whole number, 0 or more"),
        ({"name": "../out"}, r"leads out of .*; give a name without slashes$"),
    ],
)
def test_refusals(tmp_path, arguments, message):
    with pytest.raises(CurveError, match=message):
        make_practice(tmp_path, **arguments)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_overwritten(tmp_path):
    made = make_practice(tmp_path, seed=7)
    before = made.curve_path.read_bytes()
    with pytest.raises(
        OutputError, match=r"is there already and is an earlier practice curve .* add --overwrite"
    ):
        make_practice(tmp_path, ["noise"], seed=7)
    assert made.curve_path.read_bytes() == before
    made.curve_path.unlink()
    with pytest.raises(OutputError, match=r"answer\.json: is there already"):
        make_practice(tmp_path, seed=7)
    assert not made.curve_path.exists()


def test_a_practice_curve_is_replaced_when_told_and_nothing_else_is(tmp_path):
    made = make_practice(tmp_path, seed=7, name="bench")
    old = made.curve_path.read_bytes()
    again = make_practice(tmp_path, ["noise"], seed=8, name="bench", overwrite=True)
    assert again.curve_path.read_bytes() != old
    assert reveal(again.curve_path).seed == 8
    measured = tmp_path / "measured.csv"
    measured.write_bytes(old)
    with pytest.raises(OutputError, match=r"is a logged curve, and those are never replaced"):
        make_practice(tmp_path, seed=8, name="measured.csv", overwrite=True)
    assert measured.read_bytes() == old
    again.curve_path.write_bytes(old)  # changed since: it may hold someone's work
    with pytest.raises(OutputError, match=r"those are never replaced"):
        make_practice(tmp_path, seed=8, name="bench", overwrite=True)
    assert {p.name for p in tmp_path.iterdir()} == {
        "bench.csv", "bench.answer.json", "measured.csv",
    }  # fmt: skip


def test_an_answer_opened_without_a_value(tmp_path):
    made = make_practice(tmp_path, seed=7)
    opened = reveal(made.curve_path)
    assert opened.error_K is None
    assert opened.holds is None
    assert opened.verdict == f"The true rise is {opened.true_rise_K:.3f} K."
    assert opened.by_default() is not None
    with pytest.raises(CurveError, match=r"an uncertainty of 0\.1 K without a rise"):
        reveal(made.curve_path, u=0.1)


def test_an_uncertainty_that_is_far_too_wide_is_no_merit(tmp_path):
    made = make_practice(tmp_path, seed=7)
    opened = reveal(made.curve_path, reveal(made.curve_path).true_rise_K, 2.0)
    assert opened.holds
    assert "times as wide as a careful correction's" in opened.verdict


def test_no_folder(tmp_path):
    with pytest.raises(OutputError, match=r"does not exist; make it first or choose another$"):
        make_practice(tmp_path / "none")


def test_a_changed_curve_is_noticed(tmp_path):
    made = make_practice(tmp_path, seed=7)
    text = made.curve_path.read_text(encoding="utf-8")
    made.curve_path.write_text(text + "\n", encoding="utf-8")
    with pytest.raises(
        CurveError, match=r"this is not the curve that .* belongs to, or it was changed"
    ):
        reveal(made.curve_path, 5.0)


def test_another_curves_answer_is_noticed(tmp_path):
    one, two = make_practice(tmp_path, seed=7), make_practice(tmp_path, seed=8)
    with pytest.raises(CurveError, match=r"this is not the curve"):
        reveal(one.curve_path, 5.0, answer_path=two.answer_path)


def _spoil(content: dict, key: str, value: object) -> str:
    return json.dumps({**content, key: value})


@pytest.mark.parametrize(
    ("spoilt", "message"),
    [
        (lambda c: "{", r"this is no answer file; expected the JSON"),
        (lambda c: "[1]", r"this is no answer file; expected the format"),
        (lambda c: _spoil(c, "format", "other"), r"this is no answer file; expected the format"),
        (lambda c: _spoil(c, "version", 9), r"has version 9; this program reads version 1: update"),
        (lambda c: _spoil(c, "task", {}), r"the answer file is not complete"),
        (lambda c: _spoil(c, "sealed", "AAAA"), r"the sealed answer cannot be opened"),
        (
            lambda c: _spoil(c, "sealed", 7),
            r"the answer file is not complete \(sealed is 7, no text\)",
        ),
        (lambda c: _spoil(c, "sealed", "no base64!"), r"the sealed answer cannot be opened"),
        (lambda c: _spoil(c, "task", None), r"the answer file is not complete"),
    ],
)
def test_spoilt_answer_files(tmp_path, spoilt, message):
    made = make_practice(tmp_path, seed=7)
    content = json.loads(made.answer_path.read_text(encoding="utf-8"))
    made.answer_path.write_text(spoilt(content), encoding="utf-8")
    with pytest.raises(CurveError, match=message):
        reveal(made.curve_path, 5.0)


def test_no_answer_and_no_curve(tmp_path):
    made = make_practice(tmp_path, seed=7)
    answer = made.answer_path.read_text(encoding="utf-8")
    made.answer_path.unlink()
    with pytest.raises(CurveError, match=r"there is no answer for this curve"):
        reveal(made.curve_path, 5.0)
    made.answer_path.write_text(answer, encoding="utf-8")
    made.curve_path.unlink()
    with pytest.raises(CurveError, match=r"there is no such file; expected a logger's text export"):
        reveal(made.curve_path, 5.0)


@pytest.mark.parametrize(
    ("rise", "u", "message"),
    [
        (
            float("nan"),
            None,
            r"the rise is nan K; expected a number of kelvin between -200 and 200$",
        ),
        (5000.0, None, r"the rise is 5000.0 K"),
        (5.0, 0.0, r"its uncertainty is 0.0 K; expected kelvin, more than 0"),
        (5.0, float("inf"), r"its uncertainty is inf K"),
    ],
)
def test_student_numbers_that_cannot_be_meant(tmp_path, rise, u, message):
    made = make_practice(tmp_path, seed=7)
    with pytest.raises(CurveError, match=message):
        reveal(made.curve_path, rise, u)


def test_answer_beside():
    from pathlib import Path

    assert answer_beside(Path("a/b.c.csv")).name == "b.c.answer.json"


def test_the_default_holds_on_practice_curves():
    """Cut down from `tests.benchmarks.practice_seeds`; README's own example is seed 4."""
    held = [scored(("slow-dissolution", "noise"), seed)[2] for seed in range(1, 25)]
    assert held[3]
    assert sum(held) >= 20
