"""The command for practice: a curve, its sealed answer, a score; nothing overwritten unasked."""

from __future__ import annotations

import json

import pytest


@pytest.fixture
def made(cupledger, tmp_path):
    path = tmp_path / "try me.csv"
    done = cupledger("practice", path, "--with", "noise,lag", "--with", "slow-wall", "--seed", 5)
    assert done.code == 0
    return path, done


def test_it_writes_a_curve_and_says_what_may_be_known(cupledger, made):
    path, done = made
    assert path.is_file()
    assert path.with_suffix(".answer.json").is_file()
    assert "invented" in done.out
    assert f'cupledger correct "{path}" --mixed-at 180' in done.out
    truth = cupledger("practice", path, "--reveal", "--json").json["true_rise_K"]
    assert f"{abs(truth):.2f}" not in done.out
    mixing = ("--mixed-at", 180, "--capacity-ratio", 0.6)
    corrected = cupledger("correct", path, *mixing, "--json").json
    assert corrected["rise_K"] == pytest.approx(truth, rel=0.05)


def test_json_of_a_new_curve_does_not_hold_the_answer(cupledger, tmp_path):
    done = cupledger("practice", tmp_path / "p.csv", "--seed", 3, "--json")
    facts = done.json
    assert set(facts) == {"curve", "answer", "seed", "difficulties", "task", "invented"}
    assert set(facts["task"]) == {"mixed_at_s", "capacity_ratio", "room_C", "kind"}
    truth = cupledger("practice", facts["curve"], "--reveal", "--json").json["true_rise_K"]
    assert f"{abs(truth):.3f}" not in done.out


def test_without_a_name_it_lands_in_this_folder(cupledger, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    facts = cupledger("practice", "--json").json
    assert (tmp_path / f"practice-{facts['seed']}.csv").is_file()


def test_a_value_is_scored_against_the_truth_and_every_method(cupledger, made):
    path, _ = made
    truth = cupledger("practice", path, "--reveal", "--json").json["true_rise_K"]
    options = ("--reveal", "--rise", f"{truth + 0.05:.6f}", "--u", 0.04)
    facts = cupledger("practice", path, *options, "--json").json
    assert facts["error_K"] == pytest.approx(0.05, abs=2e-6)
    assert facts["holds"] is True
    assert facts["difficulties"] == ["noise", "lag", "slow-wall"]
    names = {m["name"] for m in facts["methods"]}
    assert {"extreme", "straight-line", "newton-integral", "regnault-pfaundler"} <= names
    for m in facts["methods"]:
        assert m["error_K"] == pytest.approx(m["rise_K"] - truth)
    done = cupledger("practice", path, *options)
    assert "yours" in done.out
    assert "(default)" in done.out
    assert "sensor's lag" in done.out
    assert "Your stated uncertainty holds the truth" in done.out
    bold = cupledger("practice", path, "--reveal", f"--rise={truth + 0.05}", "--u", 0.001)
    assert "too small" in bold.out


def test_the_default_of_a_plain_curve_comes_close(cupledger, tmp_path):
    """Truth from the simulated cup's energies, not from any correction."""
    path = tmp_path / "plain.csv"
    assert cupledger("practice", path, "--seed", 11).code == 0
    facts = cupledger("practice", path, "--reveal", "--json").json
    (default,) = [m for m in facts["methods"] if m["name"] == facts["default"]]
    assert abs(default["error_percent"]) < 0.6


def test_nothing_is_overwritten_unasked(cupledger, made):
    path, _ = made
    before = path.read_bytes(), path.with_suffix(".answer.json").read_bytes()
    done = cupledger("practice", path, "--seed", 6)
    assert done.code == 2
    assert "add --overwrite to replace it" in done.err
    assert (path.read_bytes(), path.with_suffix(".answer.json").read_bytes()) == before
    assert cupledger("practice", path, "--seed", 6, "--overwrite").code == 0
    assert path.read_bytes() != before[0]


def test_a_measured_curve_is_never_overwritten(cupledger, tmp_path):
    path = tmp_path / "measured.csv"
    path.write_text("time_s,temperature_C\n0,20\n", encoding="utf-8")
    done = cupledger("practice", path, "--overwrite")
    assert done.code == 2
    assert "is a logged curve, and those are never replaced" in done.err
    assert path.read_text(encoding="utf-8") == "time_s,temperature_C\n0,20\n"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--with", "ghosts"), "expected one of noise, lag"),
        (("--seed", "-3"), "0 or more"),
        (("--rise", "3"), "add --reveal"),
        (("--reveal",), "there is no such file"),
        (("--reveal", "--seed", "3"), "leave them out to open an answer"),
        (("--reveal", "--rise", "nan"), "expected a number of kelvin"),
        (("--reveal", "--rise", "5", "--u", "-1"), "more than 0"),
    ],
)
def test_words_that_cannot_be_meant(cupledger, tmp_path, words, says):
    done = cupledger("practice", tmp_path / "x.csv", *words, "--json")
    assert done.code == 2
    assert says in done.err
    assert says in done.json["errors"][0]["message"]
    assert list(tmp_path.iterdir()) == []


def test_reveal_needs_a_curve_and_a_folder_must_exist(cupledger, tmp_path):
    assert "which curve" in cupledger("practice", "--reveal").err
    done = cupledger("practice", tmp_path / "none" / "x.csv")
    assert done.code == 2
    assert "does not exist; make it first" in done.err
    assert cupledger("practice", "--rise", "warm").code == 2


def test_a_changed_curve_and_a_spoilt_answer(cupledger, made):
    path, _ = made
    answer = path.with_suffix(".answer.json")
    kept = path.read_bytes()
    path.write_bytes(kept + b"900,20\n")
    assert "it was changed" in cupledger("practice", path, "--reveal", "--rise", 5).err
    path.write_bytes(kept)
    content = json.loads(answer.read_text(encoding="utf-8"))
    answer.write_text(json.dumps(content | {"sealed": "AAAA"}), encoding="utf-8")
    done = cupledger("practice", path, "--reveal", "--rise", 5)
    assert done.code == 2
    assert "cannot be opened" in done.err
    answer.write_bytes(b"\xff\xfe\x00")
    assert cupledger("practice", path, "--reveal").code == 2
    answer.unlink()
    assert "there is no answer" in cupledger("practice", path, "--reveal").err
