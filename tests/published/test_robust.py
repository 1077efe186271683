"""Robust centres: the estimators of ISO 13528:2015 (from memory) on numbers worked by hand, and the
factors for few values (Croux and Rousseeuw 1992, from memory) held against a simulation.
"""

from __future__ import annotations

import numpy as np
import pytest

from calib.uncertainty.means import robust_mean, spread_about, u_robust_mean


def test_one_bad_row_of_three_does_not_move_the_centre():
    for bad in (3354.0, -1e6, 0.0):
        middle, spread = robust_mean([33.45, 32.59, bad])
        assert 32.59 <= middle <= 33.45
        assert spread < 0.86 * 1.4826 * 1.495 + 1e-9


def test_three_bad_of_seven_do_not_move_it_out_of_the_good_ones():
    middle, _ = robust_mean([-58.1, -57.9, -58.0, -58.2, 0.0, 900.0, -5e4])
    assert -58.2 <= middle <= -57.9


@pytest.mark.parametrize("n", [3, 4, 5, 6, 7, 9, 12])
def test_the_spread_of_few_values_is_unbiased(n):
    """Mean of the scaled deviation over many normal samples: 1 within 2 %."""
    rng = np.random.default_rng(5)
    x = rng.normal(size=(40_000, n))
    found = [spread_about(row, float(np.median(row))) for row in x[:8000]]
    assert np.mean(found) == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize(("n", "low", "high"), [(3, 0.9, 1.1), (5, 0.9, 1.1), (20, 0.9, 1.3)])
def test_its_uncertainty_is_what_it_scatters_by(n, low, high):
    """1.25 s/√n against the scatter of the centre of normal samples; Algorithm A is better."""
    rng = np.random.default_rng(6)
    scatter = np.std([robust_mean(rng.normal(size=n))[0] for _ in range(4000)])
    assert low < u_robust_mean(1.0, n) / scatter < high


def test_algorithm_a_on_eight_and_more():
    """One value far off counts as drawn in to 1.5 robust standard deviations."""
    x = [10.0, 10.1, 9.9, 10.2, 9.8, 10.05, 9.95, 30.0]
    middle, spread = robust_mean(x)
    drawn = np.clip(x, middle - 1.5 * spread, middle + 1.5 * spread)
    assert middle == pytest.approx(float(drawn.mean()), abs=1e-6)
    assert spread == pytest.approx(1.134 * float(drawn.std(ddof=1)), rel=1e-6)
    assert abs(middle - 10.0) < 0.15
