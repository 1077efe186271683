"""The methods that draw lines or one law: done again by hand, and judged on three kinds of cup."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from fitting import compare
from fitting.cooling.comparing import laws_of
from fitting.corrections import correct
from fitting.corrections.case import build_case
from fitting.corrections.choice import assemble, every_method
from fitting.corrections.joint_exponential import fit_joint
from fitting.corrections.lines import main_end_s
from fitting.corrections.methods import METHODS
from fitting.cup.circumstances import Circumstances
from fitting.curve import Curve
from fitting.drawings.lines import areas_Ks, balance_of
from fitting.errors import CurveError
from fitting.periods import given_mixing
from tests.benchmarks.judges import foam
from tests.benchmarks.judges.notebook_way import rises_K
from tests.plain_cups import KINDS, PlainRun, draw

DRAWN = ("straight-line", "equal-areas", "exponential", "regnault-pfaundler", "integral")


@pytest.fixture(scope="module")
def judged():
    """24 logs a kind, each with every method beside the laws."""
    out = {}
    for kind in KINDS:
        out[kind] = [(run, *compared(run)) for run in draw(kind, 24, seed=11)]
    return out


def compared(run: PlainRun):
    """What `fitting.compare` gives, without the scans."""
    case = case_of(run)
    laws = laws_of(case)
    return assemble(case, every_method(case), None, laws), laws


def case_of(run: PlainRun):
    known = Circumstances(capacity_ratio=run.capacity_ratio)
    return build_case(run.curve, given_mixing(run.curve, run.mixed_at_s), known)


@pytest.mark.parametrize("name", ["dynamic", "dickinson"])
def test_methods_that_are_gone_get_the_list_of_those_there_are(name):
    run = draw("one-body", 1, seed=1)[0]
    with pytest.raises(CurveError, match=f"no method '{name}'; expected one of .*integral"):
        correct(run.curve, method=name)


@pytest.mark.parametrize("kind", KINDS)
def test_the_joint_exponential_is_that_of_a_general_optimiser(kind):
    """scipy's least_squares on the four parameters of the same law."""
    run = draw(kind, 1, seed=5)[0]
    case = case_of(run)
    found = fit_joint(case)
    use = (case.s <= 0) | (case.s >= main_end_s(case))
    s, y, later = case.s[use], case.y[use], case.s[use] > 0

    def misfit(p):
        T1, Tx, T_inf, k = p[0], p[1], p[2], p[3] * 1e-4
        before = T_inf + (T1 - T_inf) * np.exp(-k * s / run.capacity_ratio)
        return y - np.where(later, T_inf + (Tx - T_inf) * np.exp(-k * s), before)

    best = least_squares(misfit, [case.before_C, case.y[-1], case.before_C, 1.5], xtol=1e-14)
    expected = [*best.x[:3], best.x[3] * 1e-4]
    assert [found.before_C, found.after_C] == pytest.approx(expected[:2], abs=2e-5)
    assert found.rate_per_s == pytest.approx(expected[3], rel=2e-4)
    assert found.t_inf_C == pytest.approx(expected[2], abs=2e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_the_integral_comes_out_by_hand_from_what_is_printed(kind):
    """A spreadsheet's way: trapezoids over the readings, everything else as printed."""
    for run in draw(kind, 6, seed=3):
        one = correct(
            run.curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio
        ).named("integral")
        shown = {name: text for name, text, _ in one.worked.printed()}
        t_m, t_f, k, T_inf = (float(shown[name]) for name in ("t_m", "t_f", "k", "T∞"))
        inside = (run.curve.time_s > t_m) & (run.curve.time_s < t_f)
        t = [t_m, *run.curve.time_s[inside], t_f]
        T = [float(shown["T_i"]), *run.curve.temperature_C[inside], float(shown["T_f"])]
        area = sum((t[i + 1] - t[i]) * ((T[i] + T[i + 1]) / 2 - T_inf) for i in range(len(t) - 1))
        by_hand = (T[-1] - T[0]) + k * area
        assert round(by_hand, 4) == pytest.approx(float(shown["ΔT"]), abs=1.01e-4)
        assert float(shown["ΔT"]) == pytest.approx(one.rise_K, abs=5.1e-5)


def test_equal_areas_stand_at_the_release_time_of_one_quick_exponential():
    """Without loss the vertical stands at 1/κ exactly: ∫ (1 − F) ds from 0 on is 1/κ."""
    t = np.arange(0.0, 900.0)
    kappa = 1 / 25
    T = np.where(t < 300, 21.0, 21.0 + 6.0 * -np.expm1(-kappa * np.maximum(t - 300, 0)))
    curve = Curve.from_arrays(t, T, resolution_K=0.0)
    case = build_case(curve, given_mixing(curve, 300.0), main_end_s=250.0)
    one = METHODS["equal-areas"].function(case)
    left, right = areas_Ks(curve, one.balance)
    assert left == pytest.approx(right, rel=1e-3)
    assert one.balance.at_s - 300 == pytest.approx(25.0, abs=0.05)
    assert one.rise_K == pytest.approx(6.0, abs=1e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_the_areas_that_are_drawn_are_equal(kind):
    for run in draw(kind, 4, seed=8):
        found = correct(run.curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio)
        left, right = areas_Ks(run.curve, balance_of(found))
        assert left == pytest.approx(right, rel=0.01)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_called_admissible_holds_the_truth(judged, kind):
    """At least nine in ten of all 95 % intervals of line methods that may be used."""
    held = [
        one.holds(run.true_rise_K)
        for run, found, _ in judged[kind]
        for one in found.methods
        if one.method in DRAWN and one.admissible
    ]
    if kind == "one-body":
        assert len(held) > 60
    assert np.mean(held or [True]) >= 0.9


def test_a_line_is_rarely_admissible_where_its_picture_does_not_hold(judged):
    for kind in ("slow-wall", "late-release"):
        usable = [
            one.admissible for _, found, _ in judged[kind] for one in found.methods
            if one.method in DRAWN
        ]  # fmt: skip
        assert np.mean(usable) < 0.2


def test_the_textbook_integral_is_exact_on_one_body(judged):
    off = [found.named("integral").rise_K - run.true_rise_K for run, found, _ in judged["one-body"]]
    assert np.sqrt(np.mean(np.square(off))) < 0.004


def test_no_line_method_is_surer_than_the_average(judged):
    for _, found, _ in judged["one-body"]:
        default = found.named("newton-integral")
        for one in found.methods:
            assert one.u_rise_K >= default.u_rise_K * (1 - 1e-9)


def test_a_fading_term_is_named_by_its_sign(judged):
    """A wall leaves the liquid too far from where it started, late heat not far enough."""
    seen = {"wall": 0, "late": 0}
    for kind, right in (("slow-wall", "slow wall"), ("late-release", "heat still being released")):
        for _, _, laws in judged[kind]:
            if laws.chosen != "slow-wall":
                continue
            assert laws.meant.value == right
            seen["wall" if kind == "slow-wall" else "late"] += 1
            assert ("slow inner wall" in laws.verdict) == (kind == "slow-wall")
    assert seen["wall"] > 15
    assert seen["late"] > 0


def test_half_a_second_of_the_moment_does_not_change_the_law(judged):
    """The stretch is found from the curve; what is left is the fore line's last reading."""
    for kind in KINDS:
        for run, _, laws in judged[kind][:8]:
            for shift in (-0.5, 0.5):
                moved = replace(run, mixed_at_s=run.mixed_at_s + shift)
                assert laws_of(case_of(moved)).chosen == laws.chosen


def test_every_method_says_what_it_computes():
    assert all(method.equation and method.source for method in METHODS.values())
    assert len({method.equation for method in METHODS.values()}) == len(METHODS)


def test_a_scan_passes_through_the_value_in_use_and_asks_no_more_than_may_be():
    run = draw("one-body", 1, seed=2)[0]
    found = compare(
        run.curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio, vessel="flask"
    )
    moments, ends, lengths = found.stability.scans
    for scan in (moments, ends, lengths):
        at = [round(value, 1) for value in scan.values].index(round(scan.used, 1))
        assert scan.rise_K[at] == found.chosen.rise_K
        assert scan.u_rise_K[at] == found.chosen.u_rise_K
    # given as exact: a sampling step, not seconds that nobody doubts
    assert moments.values == (-2.0, 0.0, 2.0)


def test_a_scan_of_another_moment_knows_the_vessel():
    """A flask's scan is of a flask: the values about the one in use lie near it."""
    run = draw("one-body", 1, seed=2)[0]
    found = compare(
        run.curve, mixed_at_s=run.mixed_at_s, u_mixed_at_s=1.0, vessel="flask",
        capacity_ratio=run.capacity_ratio,
    )  # fmt: skip
    moments = found.stability.scans[0]
    assert moments.moved_K(found.chosen.rise_K) < found.chosen.u_rise_K


def test_a_correction_costs_at_most_so_many_times_a_notebooks_way():
    """Processor time, warmed up, the best of several, alternating: what a busy machine adds to one
    it adds to the other. Reached: some 30 times; 20 is wanted, 47 it was."""
    ours, notebooks = 0.0, 0.0
    for family in ("fast", "slow", "pellets"):
        run = foam.run(family, 3)
        shown = run.shown_C(0.01)
        curve = Curve.from_arrays(run.time_s, shown, resolution_K=0.01)
        least = [math.inf, math.inf]
        for _ in range(9):
            begun = time.process_time()
            correct(curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio)
            between = time.process_time()
            rises_K(run.time_s, shown, run.mixed_at_s, run.capacity_ratio)
            least[0] = min(least[0], between - begun)
            least[1] = min(least[1], time.process_time() - between)
        ours, notebooks = ours + least[0], notebooks + least[1]
    assert ours < 42 * notebooks


@pytest.mark.long
def test_a_comparison_costs_at_most_six_corrections():
    """Processor time, warmed up, the best of five."""
    run = draw("one-body", 1, seed=2)[0]
    known = {"mixed_at_s": run.mixed_at_s, "capacity_ratio": run.capacity_ratio}

    def cost(what):
        what(run.curve, **known)
        took = []
        for _ in range(5):
            begun = time.process_time()
            what(run.curve, **known)
            took.append(time.process_time() - begun)
        return min(took)

    assert cost(compare) < 6 * cost(correct)


@pytest.mark.parametrize(
    ("wall", "late", "said"),
    [
        (0.8, 0.1, "a slow wall was still warming"),
        (0.1, 0.7, "heat was still being released"),
        (0.3, 0.4, ""),
    ],
)
def test_the_averages_own_weights_decide_where_it_tells_them(judged, wall, late, said):
    """More likely than not: the readings are the same, only what the average says differs."""
    run = judged["one-body"][0][0]
    case = case_of(run)
    found = every_method(case)
    usual = assemble(case, found, None)
    found["newton-integral"] = replace(found["newton-integral"], wall_weight=wall, late_weight=late)
    told = assemble(case, found, None)
    assert usual.named("integral").admissible
    assert told.named("integral").admissible == (not said)
    assert said in told.named("integral").why
    assert told.named("integral").rise_K == usual.named("integral").rise_K


def test_an_average_that_may_not_be_used_judges_nothing(judged):
    """Then the next method is used with its own interval."""
    case = case_of(judged["one-body"][0][0])
    found = every_method(case)
    own = found["integral"]
    found["newton-integral"] = replace(
        found["newton-integral"], rise_K=99.0, admissible=False, why="withdrawn"
    )
    told = assemble(case, found, None)
    assert told.chosen.method == "integral"
    assert told.chosen.u_rise_K == own.u_rise_K
