"""A cooling rate known beforehand: its weight, what it buys, and which methods take it."""

from __future__ import annotations

import numpy as np
import pytest

from fitting import correct
from fitting.checks.prior_weight import PriorWeight, weigh_prior
from fitting.curve import Curve
from tests.benchmarks.prior_rescue import score

K, ROOM = 2e-4, 21.0


def newton_curve(after_s=240.0, sigma=0.004, seed=5):
    """Closed form: 10 K at once at 180 s, then Newton's law towards 21 °C; fore period at 21 °C."""
    t = np.arange(0.0, 180.0 + after_s, 2.0)
    T = np.where(t < 180.0, ROOM, ROOM + 10.0 * np.exp(-K * (t - 180.0)))
    T += np.random.default_rng(seed).normal(0, sigma, t.size)
    return Curve.from_arrays(t, T)


@pytest.mark.parametrize(
    "name", ["newton-integral", "exponential", "integral", "regnault-pfaundler"]
)
def test_every_method_with_a_rate_takes_the_prior(name):
    """A sharp prior draws each rate to itself; without one it lies elsewhere."""
    curve = newton_curve()
    choices = {"mixed_at_s": 179.0, "method": name}
    wrong = 1.12 * K
    drawn = correct(curve, **choices, prior_rate_per_s=wrong, u_prior_rate_per_s=0.001 * wrong)
    assert drawn.chosen.cooling_rate_per_s == pytest.approx(wrong, rel=0.06)
    free = correct(curve, **choices)
    assert abs(free.chosen.cooling_rate_per_s - wrong) > abs(
        drawn.chosen.cooling_rate_per_s - wrong
    )


def test_a_rate_far_off_the_curves_own_is_left_out_and_said():
    """Three times the true rate, sharply known: another cup. Ways that disagree are not averaged."""
    curve = newton_curve(after_s=900.0, sigma=0.002)
    told = {"prior_rate_per_s": 3.0 * K, "u_prior_rate_per_s": 0.05 * K}
    found = correct(curve, mixed_at_s=179.0, **told)
    free = correct(curve, mixed_at_s=179.0)
    assert found.chosen.rate_left_out
    assert found.chosen.rise_K == pytest.approx(free.chosen.rise_K, abs=1e-9)
    assert any("was left out" in text for text in found.warnings)
    assert weigh_prior(curve, found).share == 0.0
    near = correct(curve, mixed_at_s=179.0, prior_rate_per_s=K, u_prior_rate_per_s=0.1 * K)
    assert not near.chosen.rate_left_out


def weighed(rate, u, **changes):
    curve = newton_curve(**changes)
    choices = {"mixed_at_s": 179.0, "prior_rate_per_s": rate, "u_prior_rate_per_s": u}
    return weigh_prior(curve, correct(curve, **choices))


def test_the_share_is_large_for_a_sharp_prior_and_small_for_a_vague_one():
    assert weighed(K, 0.01 * K, after_s=60.0).share > 0.8
    assert weighed(K, 3.0 * K, after_s=900.0).share < 0.05


def test_a_prior_that_disagrees_is_said_to():
    """Two standard cups apart, on a long and clean curve."""
    found = weighed(3.0 * K, 0.05 * K, after_s=900.0, sigma=0.002)
    assert found.apart > 3
    assert "another lid, another fill, or another cup?" in found.verdict
    assert "disagrees" not in weighed(K, 0.1 * K, after_s=900.0).verdict


def test_no_prior_no_weight():
    curve = newton_curve()
    assert weigh_prior(curve, correct(curve, mixed_at_s=179.0)) is None


def test_a_method_without_a_rate_says_so():
    none = PriorWeight(K, 0.1 * K, None, None, None, None, float("nan"), 1.0, 0.1, 1.0, 0.1)
    assert "takes no cooling rate" in none.verdict
    assert np.isnan(none.apart)


def test_a_cup_without_a_lid_and_a_short_after_period_gain():
    """Loss far from usual cups', two minutes: the benchmark's table has all families and lengths."""
    cell = score("slow", 2.0, 6, lid=False)
    without, with_prior = cell.rmse()
    assert with_prior < 0.95 * without  # what is left is the release, which no loss tells
    assert np.mean(cell.held_with) >= 0.75
    assert np.mean(cell.share) > 0.3
