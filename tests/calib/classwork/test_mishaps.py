"""Mishaps: their size by hand, honest runs need none, planted ones are named.

A sum by hand takes water's 4.18 J/(g K), 1 g/mL and no cup (OpenStax Chemistry 2e, chapter 5, F);
it agrees with the full balance to some per cent of the mishap, which is what is asked of it here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.classwork.mishaps import Goal, explain, explain_mean, goal_of, mishaps
from calib.enthalpies.one_run import evaluate_run
from calib.enthalpies.sources import FixedConstants
from calib.runs.instruments import Instruments
from calib.runs.model import Run
from sample_runs.invented_school import heat_capacity

CUP = FixedConstants({"H1": (20.0, 1.0)}, {"H1": (0.04, 0.004)})
ACID = Run(
    run="acid", apparatus="H1", in_cup="HCl(aq)", added="NaOH(aq)", in_cup_mL=100.0,
    added_mL=105.0, in_cup_mol_per_L=2.0, added_mol_per_L=2.0, in_cup_C=21.0, added_C=21.0,
    extreme_C=34.1, extreme_after_s=40.0, room_C=21.0,
)  # fmt: skip
SALT = Run(
    run="salt", apparatus="H1", in_cup="water", added="NH4Cl(s)", in_cup_g=200.0, added_g=10.0,
    in_cup_C=21.0, added_C=21.0, extreme_C=17.7, extreme_after_s=120.0, room_C=21.0,
)  # fmt: skip
METAL = Run(
    run="metal", apparatus="H1", in_cup="water", added="Cu(s)", in_cup_g=100.0, added_g=60.0,
    in_cup_C=21.0, added_C=99.0, extreme_C=24.8, room_C=21.0,
)  # fmt: skip
ICE = Run(
    run="ice", apparatus="H1", in_cup="water", added="ice", in_cup_g=150.0, added_g=30.0,
    in_cup_C=30.0, added_C=0.0, extreme_C=12.6, room_C=21.0,
)  # fmt: skip
TOOLS = Instruments.default()


def result(run):
    return evaluate_run(run, TOOLS, CUP)


def change(run, words):
    (found,) = [m for m in mishaps(result(run)) if words in m.name]
    return found.change_percent


def test_every_mishap_of_the_list_is_there():
    names = [m.name for run in (ACID, SALT) for m in mishaps(result(run))]
    for words in ("two drops", "0.5 K off", "20 s late", "constant ignored", "4.18", "extreme",
                  "2 % weak", "5 % water", "undissolved", "last digit"):  # fmt: skip
        assert any(words in name for name in names), words


@pytest.mark.parametrize(
    ("run", "words", "percent", "within"),
    [
        # 20 J/K beside some 205 g of solution
        (ACID, "constant ignored", -100 * 20 / (20 + 205 * 4.0), 0.5),
        (SALT, "constant ignored", -100 * 20 / (20 + 210 * 4.05), 0.2),
        # the second liquid brings half of the heat capacity: 0.25 K of about 13 K
        (ACID, "0.5 K off", 100 * 0.25 / 13.1, 0.15),
        (ACID, "HCl(aq) 2 % weak", -2.0, 0.05),
        (ACID, "NaOH(aq) 2 % weak", 0.0, 0.05),  # 5 % in excess: it still does not limit
        (SALT, "5 % water", -5.0, 0.1),
        (SALT, "undissolved", -5.0, 0.1),
        (SALT, "last digit", -100 * 0.1 / 3.35, 0.15),
        (METAL, "constant ignored", -100 * 20 / (20 + 418), 0.1),
        (METAL, "last digit", 100 * 0.1 / 3.8 * (1 + 3.8 / 74.2), 0.1),
        (ICE, "constant ignored", -100 * 20 * 17.4 / (30 * 333.5), 0.3),
    ],
)
def test_sizes_by_hand(run, words, percent, within):
    assert change(run, words) == pytest.approx(percent, abs=within)


def test_two_drops_count_little_and_mostly_as_capacity():
    """0.1 of 205 mL less to warm: 0.05 %."""
    assert abs(change(ACID, "two drops")) == pytest.approx(0.05, abs=0.02)
    assert abs(change(SALT, "two drops")) == pytest.approx(0.05, abs=0.02)


def test_waters_specific_heat_is_as_much_too_large():
    """Against thermo's heat capacity of the mixture (Laliberte 2009, read from the library)."""
    mixed = {"NH4Cl": 10.0, "H2O": 200.0}
    true = heat_capacity(mixed, 19.0) + 20.0
    percent = 100 * (210 * 4.184 + 20.0) / true - 100
    assert change(SALT, "4.18") == pytest.approx(percent, abs=0.3)


def test_a_lid_left_off_loses_what_an_open_cup_evaporates():
    """About 0.1 g/(m² s) at 13 K above the room (common practice) and 2.4 kJ/g: 1 to 3 W."""
    one = result(ACID)
    lost_J = abs(change(ACID, "20 s late")) / 100 * one.heat_J
    assert 10 < lost_J < 80


def test_the_peak_in_place_of_the_corrected_rise():
    one = result(ACID)
    percent = 100 * (ACID.extreme_C - ACID.in_cup_C) / one.measured.rise.rise_K - 100
    assert change(ACID, "extreme reading taken") == pytest.approx(percent, abs=1e-6)


# --- which of them explains ----------------------------------------------------------------------


def exact(run, dH, rng=None, **truth):
    """Readings of a run whose enthalpy is ``dH``; ``truth`` replaces fields of what truly was."""
    truly = replace(run, **truth)
    b = result(truly)
    rise = b.measured.rise.rise_K * dH / b.molar.value
    extreme = run.in_cup_C + rise - b.measured.rise.loss_K
    noise = rng.normal(0.0, 0.03) if rng is not None else 0.0
    return replace(run, extreme_C=round(extreme + noise, 1))


def goal(run):
    return goal_of(result(run))


def test_an_honest_run_needs_no_explanation():
    """The deviation is a reading's rounding, a stock within its 0.5 %, a draw of the reference."""
    rng = np.random.default_rng(4)
    needed = 0
    for run in (ACID, SALT):
        where = goal(run)
        for _ in range(100):
            dH = where.value + rng.normal(0.0, where.u)
            honest = exact(run, dH * (1 + rng.normal(0, 0.003)), rng)
            verdict = explain(result(honest), goal(honest))
            needed += verdict.needed
            if not verdict.needed:
                assert verdict.explaining == ()
                assert verdict.sentence.startswith("no mishap needed")
    assert needed <= 10  # 5 in 100 are meant to lie outside a 95 % interval


SHARP = {"extreme_C": 0.01, "in_cup_C": 0.01, "added_C": 0.01, "in_cup_mol_per_L": 0.002}


@pytest.mark.parametrize(
    ("run", "truth", "words"),
    [
        (ACID, {"in_cup_mol_per_L": 1.96}, "HCl(aq) 2 % weak"),
        (SALT, {"added_g": 9.5}, "5 % water"),
        (SALT, {"added_g": 9.5}, "undissolved"),
    ],
)
def test_a_planted_mishap_is_among_those_that_explain(run, truth, words):
    sharp = replace(run, u=SHARP)
    where = goal(sharp)
    one = result(exact(sharp, where.value, **truth))
    verdict = explain(one, Goal(where.value, 0.05, "what it truly is"))
    assert verdict.needed
    assert any(words in m.name for m in verdict.explaining)
    assert verdict.mishaps[0].explains
    assert words in verdict.sentence


def test_a_warmer_second_liquid_explains_either_way():
    """0.6 K more or less than was written shifts the result by some 2 % in either direction."""
    sharp = replace(ACID, u=SHARP)
    where = goal(sharp)
    for off in (-0.6, 0.6):
        by = off * 0.5 / 13.1 * where.value
        verdict = explain(result(exact(sharp, where.value + by)), Goal(where.value, 0.05, "truth"))
        assert verdict.needed
        (found,) = [m for m in verdict.explaining if "0.5 K off" in m.name]
        assert found.change * verdict.deviation > 0


def test_a_deviation_that_none_explains_says_so():
    odd = replace(SALT, extreme_C=10.0)
    verdict = explain(result(odd), goal(odd))
    assert verdict.needed
    assert verdict.explaining == ()
    assert verdict.sentence.startswith("not explained")


def test_without_a_value_to_compare_with():
    verdict = explain(result(SALT), None)
    assert verdict.deviation is None
    assert not verdict.needed
    assert verdict.mishaps


def test_a_whole_class_with_a_weak_stock():
    """Twelve groups, one bottle: the mean shows what no single group's interval does."""
    sharp = replace(ACID, u=SHARP)
    where = goal(sharp)
    honest = [result(replace(exact(sharp, where.value), run=f"g{n}")) for n in range(12)]
    weak = [
        result(replace(exact(sharp, where.value, in_cup_mol_per_L=1.96), run=f"g{n}"))
        for n in range(12)
    ]
    for runs, needed in ((honest, False), (weak, True)):
        mean = sum(one.result.value for one in runs) / len(runs)
        verdict = explain_mean(runs, mean, 0.2, 2.0)
        assert verdict.needed is needed
        if needed:
            assert any("HCl(aq) 2 % weak" in m.name for m in verdict.explaining)


def test_no_mean_is_judged_without_a_value_to_compare_with():
    odd = result(replace(METAL, added="Cu(s)"))
    assert explain_mean([], 0.0, 1.0, 2.0) is None
    assert explain_mean([odd, odd], odd.result.value, odd.result.u, 2.0).needed is False
