"""``correct --compare`` and ``correct --apparatus``: laws, stability and a registered heat loss."""

from __future__ import annotations

import numpy as np
import pytest

from fitting.curve import Curve
from fitting.files.plain_curves import write_curve


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Closed form: 8 K within seconds at 120 s, then Newton's law; 0.06 W/K on 400 J/K."""
    t = np.arange(0.0, 420.0, 3.0)
    s = np.clip(t - 120.0, 0.0, None)
    T = 21.0 + 8.0 * np.exp(-1.5e-4 * s) * -np.expm1(-s / 5.0)
    T += np.random.default_rng(2).normal(0.0, 0.004, t.size)
    path = tmp_path_factory.mktemp("curve") / "cup.csv"
    write_curve(path, Curve.from_arrays(t, T))
    return path


@pytest.fixture
def registered(cups, monkeypatch):
    """P1's constant with a heat loss, as a calibration would have stored it."""
    from calib.registry import open_registry

    with open_registry(None) as store:
        monkeypatch.setattr(type(store), "constant_for", _stored)
        yield cups


def _stored(self, apparatus, day=None):
    from types import SimpleNamespace

    known = apparatus == "P1"
    return SimpleNamespace(
        id=7,
        heat_loss_W_per_K=0.06 if known else None,
        u_heat_loss_W_per_K=0.004 if known else None,
        hidden_share=None,
        u_hidden_share=None,
        wall_part_J_per_K=None,
    )


def test_compare_tells_rule_laws_and_stability(cupledger, path):
    done = cupledger("correct", path, "--mixed-at", "120", "--compare", "--json")
    facts = done.json
    assert done.code == 0
    assert {m["name"] for m in facts["methods"]} >= {"newton-integral", "exponential", "extreme"}
    laws = facts["cooling_laws"]
    assert laws["laws"][0]["name"] == "newton"
    assert laws["chosen"] == "newton"
    assert len(facts["stability"]["scans"]) == 3
    assert facts["stability"]["u_rise_K"] == facts["u_rise_K"]
    assert facts["rule"]


def test_compare_prints_tables_for_people(cupledger, path):
    done = cupledger("correct", path, "--mixed-at", "120", "--compare")
    assert "Cooling laws: " in done.out
    assert "of the choices tried" in done.out


def test_a_registered_cup_says_its_weight(registered, path):
    options = ("--mixed-at", "120", "--apparatus", "P1", "--heat-capacity", "400")
    facts = registered("correct", path, *options, "--json").json
    assert facts["known_loss"]["expected_rate_per_s"] == pytest.approx(1.5e-4)
    assert 0 < facts["prior"]["share"] <= 1
    assert facts["interval95_K"][0] < 8.0 < facts["interval95_K"][1]
    assert "of what is known of the cooling rate" in registered("correct", path, *options).out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--room", "300"], "the room temperature is 300 °C; expected -20 to 60 °C: it looks like"),
        (["--room", "nan"], "the room temperature is nan °C; expected -20 to 60 °C"),
        (["--capacity-ratio", "418"], "the ratio of heat capacities is 418; expected 0.02 to 1.5"),
        (["--capacity-ratio", "-1"], "the ratio of heat capacities is -1; expected 0.02 to 1.5"),
        (["--capacity-ratio", "inf"], "the ratio of heat capacities is inf; expected 0.02 to 1.5"),
        (["--u-mixed-at", "2"], "the moment of mixing has an uncertainty of 2 s but no value"),
        (
            ["--mixed-at", "120", "--u-mixed-at", "-2"],
            "of the moment of mixing is -2 s; expected 0",
        ),
        (["--vessel", "pot"], "there is no vessel 'pot'; expected one of cup, flask"),
        (["--lid", "ajar"], "there is no lid 'ajar'; expected one of closed, hole, open"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_a_sentence(cupledger, path, words, says):
    done = cupledger("correct", path, *words)
    assert done.code == 2
    assert done.err.startswith("error: ")
    assert says in done.err


def test_a_moment_with_its_uncertainty_widens_the_rise(cupledger, path):
    exact, vague = (
        cupledger("correct", path, "--mixed-at", "120", "--u-mixed-at", u, "--json").json
        for u in ("0", "4")
    )
    assert (exact["u_mixed_at_s"], vague["u_mixed_at_s"]) == (0.0, 4.0)
    assert vague["u_rise_K"] >= exact["u_rise_K"]
    said = cupledger("correct", path, "--mixed-at", "120", "--u-mixed-at", "4").out
    assert "as given, ± 4 s" in said


def test_vessel_and_lid_that_are_told_are_said(cupledger, path):
    options = ("--mixed-at", "120", "--vessel", "cup", "--lid", "hole")
    facts = cupledger("correct", path, *options, "--json").json
    assert (facts["vessel"], facts["lid"]) == ("cup", "hole")
    assert cupledger("correct", path, "--mixed-at", "120", "--json").json["lid"] is None


def test_what_a_registered_cup_needs_is_said(registered, path):
    bare = registered("correct", path, "--apparatus", "P1")
    assert bare.code == 2
    assert "--apparatus needs --heat-capacity" in bare.err
    no_loss = registered("correct", path, "--apparatus", "P2", "--heat-capacity", "400")
    assert no_loss.code == 2
    assert "has no heat loss" in no_loss.err


def test_an_unknown_cup_is_named(cups, path):
    done = cups("correct", path, "--apparatus", "Q9", "--heat-capacity", "400")
    assert done.code == 2
    assert "Q9" in done.err


def test_wrong_readings_are_set_aside_by_rule_and_by_hand(cupledger, path, tmp_path):
    """One 85.0 between good readings, and three that the user names: all are told, none is lost."""
    lines = path.read_text(encoding="utf-8").split("\n")
    wrong = tmp_path / "wrong.csv"
    lines[101] = lines[101].split(",")[0] + ",85.0"
    wrong.write_text("\n".join(lines), encoding="utf-8")
    done = cupledger(
        "correct", wrong, "--mixed-at", "120", "--leave-out", "210:216", "--leave-out", "33:33",
        "--json",
    )  # fmt: skip
    left = done.json["left_out"]
    assert [one["time_s"] for one in left] == [33, 210, 213, 216, 300]
    assert left[-1]["temperature_C"] == 85
    assert "off the readings before and after it" in left[-1]["why"]
    assert {one["why"] for one in left[:-1]} == {"left out by hand"}
    assert any(w.startswith("5 readings were set aside") for w in done.json["warnings"])
    good = cupledger("correct", path, "--mixed-at", "120", "--json").json
    assert good["left_out"] == []
    assert abs(done.json["rise_K"] - good["rise_K"]) < good["u_rise_K"] / 2


@pytest.mark.parametrize("words", ["210", "a:b", "216:210", "9000:9001", "nan:3"])
def test_a_span_to_leave_out_that_cannot_be_meant(cupledger, path, words):
    done = cupledger("correct", path, "--mixed-at", "120", "--leave-out", words)
    assert done.code == 2
    assert "expected FROM:TO" in done.err or "no reading lies between" in done.err


def test_the_moments_uncertainty_can_be_told(cupledger, path):
    sure = cupledger("correct", path, "--mixed-at", "120", "--json").json
    wide = cupledger("correct", path, "--mixed-at", "120", "--u-mixed-at", "3", "--json").json
    assert (sure["u_mixed_at_s"], wide["u_mixed_at_s"]) == (0.0, 3.0)
    assert wide["u_rise_K"] >= sure["u_rise_K"]
    assert cupledger("correct", path, "--u-mixed-at", "3").code == 2
