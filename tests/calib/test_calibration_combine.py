"""Combining runs: weights, between-run spread, honest intervals for few runs, fill dependence."""

from __future__ import annotations

import numpy as np
import pytest

from calib.calibration.combine import combine, combine_values
from calib.calibration.consistency import compare_ways
from calib.errors import InputError
from calib.uncertainty import Input, propagate
from tests.calib.test_calibration import calibrated, mixing

pytestmark = pytest.mark.usefixtures("settled_readings")


def made(values, u_own=0.5, u_shared=0.0):
    return [
        propagate(
            lambda x: x["own"] + x["shared"],
            (Input("own", v, u_own), Input("shared", 0.0, u_shared, key="balance")),
        )
        for v in values
    ]


def test_equal_runs_get_the_plain_mean():
    c = combine(made([10.0, 11.0, 12.0]))
    assert c.value == pytest.approx(11.0)
    assert c.weights == pytest.approx((1 / 3,) * 3)
    assert c.leverage == pytest.approx((1 / 3,) * 3)


def test_weights_follow_the_uncertainties():
    """Inverse-variance weights (any text on weighted means)."""
    results = [*made([10.0], 0.1), *made([12.0], 0.2)]
    c = combine(results, prior_sd=1e-9)
    w = np.array([100.0, 25.0]) / 125.0
    # with no spread allowed the estimate of τ still answers the disagreement
    assert c.weights[0] > c.weights[1]
    near = combine([*made([10.0], 0.1), *made([10.1], 0.2)])
    assert near.weights == pytest.approx(tuple(w))


def test_mandel_paule_solves_its_equation():
    """Σ (y − ȳ)²/(u² + τ²) = n − 1 (Paule & Mandel 1982, M)."""
    y, u = np.array([9.0, 11.5, 10.2, 14.0, 8.1]), np.array([0.4, 0.6, 0.5, 0.7, 0.3])
    c = combine_values(y, np.diag(u**2), u**2)
    w = 1.0 / (u**2 + c.between_sd**2)
    mean = (w * y).sum() / w.sum()
    assert (w * (y - mean) ** 2).sum() == pytest.approx(4.0, rel=1e-4)
    assert c.value == pytest.approx(mean)


def test_reml_solves_its_equation():
    """For equal u the REML estimate is s² − u² exactly."""
    y, u = np.array([9.0, 11.5, 10.2, 14.0, 8.1]), 0.5
    c = combine_values(y, np.eye(5) * u**2, np.full(5, u**2), between="reml")
    assert c.between_sd**2 == pytest.approx(y.var(ddof=1) - u**2, rel=1e-3)
    again = combine_values(y, np.eye(5) * u**2, np.full(5, u**2))
    assert again.between_sd == pytest.approx(c.between_sd, rel=1e-3)


def test_shared_part_stays():
    c = combine(made([10.0, 10.1, 9.9, 10.0] * 4, u_own=0.4, u_shared=0.3))
    assert c.u_shared == pytest.approx(0.3, rel=0.02)
    assert c.u > 0.3


def test_no_runs_is_an_error():
    with pytest.raises(InputError, match=r"0 runs cannot decide 1 coefficients; more runs"):
        combine_values(np.array([]), np.zeros((0, 0)), np.array([]))
    with pytest.raises(InputError, match=r"'best' is not known: mandel-paule or reml$"):
        combine(made([1.0, 2.0]), between="best")


@pytest.mark.parametrize("n", [2, 4, 8])
@pytest.mark.parametrize("tau", [0.0, 0.5, 1.0])
def test_intervals_hold_for_few_runs(n, tau):
    """Own error 1, spread tau, an error of 0.5 common to all: 95 % intervals hold 92 to 98.5 %."""
    rng, hits, sets = np.random.default_rng(5), 0, 300
    for _ in range(sets):
        y = rng.normal(size=n) * np.hypot(1.0, tau) + 0.5 * rng.normal()
        c = combine_values(y, np.eye(n) + 0.25, np.ones(n), compare=False)
        hits += c.interval95[0] <= 0.0 <= c.interval95[1]
    assert 0.92 <= hits / sets <= 0.99


def test_scattered_runs_cost_a_wide_interval():
    """Five runs that scatter by 50 with u 10 to 20: the interval is near the plain t interval."""
    y = np.array([121.0, 76.0, 103.0, 198.0, 93.0])
    u = np.array([16.0, 11.0, 11.0, 21.0, 11.0])
    c = combine_values(y, np.diag(u**2), u**2)
    plain = 2.776 * y.std(ddof=1) / np.sqrt(5)
    half = (c.interval95[1] - c.interval95[0]) / 2
    assert 0.6 * plain < half < 1.2 * plain


def test_constants_that_differ_by_chance_agree():
    a, b = made([10.0, 10.4], 0.5), made([10.3, 10.9], 0.5)
    assert compare_ways("a", combine(a), a, "b", combine(b), b).consistent
    far = made([19.0, 19.5], 0.5)
    found = compare_ways("a", combine(a), a, "b", combine(far), far)
    assert not found.consistent
    assert "a and b DISAGREE" in found.sentence


def test_a_shared_error_cancels_between_ways():
    a, b = made([10.0, 10.1], 0.1, u_shared=2.0), made([10.4, 10.5], 0.1, u_shared=2.0)
    found = compare_ways("a", combine(a), a, "b", combine(b), b)
    assert found.u_J_per_K < 0.5


def filled(slope, fills=(80.0, 80.0, 140.0, 140.0, 200.0, 200.0)):
    rows = []
    for i, ml in enumerate(fills):
        C = 14.0 + slope * (ml - 140.0)
        rows.append(mixing(str(i), C=C, cold_g=ml / 2, hot_g=ml / 2))
    return calibrated(*rows).constants[0]


def test_a_cup_that_takes_part_as_far_as_it_is_wet():
    constant = filled(0.06)
    assert constant.slope_J_per_K_per_mL == pytest.approx(0.06, abs=0.01)
    assert "linear in the liquid's volume" in constant.model_choice
    expected = 14.0 + 0.06 * (constant.reference_fill_mL - 140.0)
    assert constant.constant_J_per_K == pytest.approx(expected, abs=0.7)


def test_a_cup_that_does_not_care_stays_constant():
    constant = filled(0.0)
    assert constant.slope_J_per_K_per_mL == 0.0
    assert constant.model_choice.startswith("constant")


def test_fills_that_hardly_differ_ask_for_no_slope():
    constant = calibrated(mixing("1"), mixing("2", cold_g=103.0)).constants[0]
    assert constant.model_choice == "constant: the fills hardly differ"


def test_errors_that_grow_with_the_fill_keep_the_reference_within_reach():
    """A thermometer's error is worth more in more water, so that constant and slope are correlated;
    what is stated must be at a fill that was run, with u at the ends no smaller than the runs'."""
    constant = filled(0.06, fills=(80.0, 120.0, 160.0, 200.0, 80.0, 200.0))
    low, high = constant.fill_mL
    assert low <= constant.reference_fill_mL <= high
    assert constant.constant_J_per_K == pytest.approx(
        14.0 + 0.06 * (constant.reference_fill_mL - 140.0), abs=0.7
    )
    assert not constant.failed_quality
    for end in (low, high):
        at_end = [
            one.calibration.constant.u
            for one in constant.runs
            if abs(one.calibration.prepared.fill_mL - end) < 1.0
        ]
        away = constant.u_slope_J_per_K_per_mL * (end - constant.reference_fill_mL)
        assert np.hypot(constant.u_constant_J_per_K, away) > 0.5 * min(at_end)
