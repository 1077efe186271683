"""The tests' own closed form against an integrator of differential equations."""

from __future__ import annotations

import numpy as np
from scipy.integrate import solve_ivp

from tests.cup_in_closed_form import cup_response, three_stage, two_stage


def test_chains_take_rates_of_any_shape():
    s = np.linspace(0.0, 50.0, 11)
    a, b = np.array([[0.1], [0.2]]), np.array([[0.3], [0.2]])
    many = three_stage(s, a, b, 0.05)
    for row in range(2):
        one = three_stage(s, float(a[row, 0]), float(b[row, 0]), 0.05)
        np.testing.assert_allclose(many[row], one, rtol=1e-12)
    np.testing.assert_allclose(two_stage(s, a, b)[1], s * np.exp(-0.2 * s), rtol=1e-12)


def test_a_cup_with_lag_and_two_releases_follows_its_differential_equations():
    """scipy's LSODA; 8 K, of which 3 K come slowly, at k = 0.001 1/s, sensor of 6 s."""
    k, lag, heats = 1e-3, 6.0, ((5.0, 0.2), (3.0, 0.02))

    def slopes(s, state):
        content, shown = state
        freed = sum(rise * rate * np.exp(-rate * s) for rise, rate in heats)
        return [freed - k * (content - 20.0), (content - shown) / lag]

    s = np.linspace(0.0, 600.0, 121)
    shown = solve_ivp(slopes, (0, 600), [21.0, 21.0], t_eval=s, rtol=1e-10, atol=1e-10).y[1]
    np.testing.assert_allclose(cup_response(s, 21.0, 20.0, k, lag, heats), shown, atol=1e-6)
