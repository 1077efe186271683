"""The sensor's time constant against simulated logs, and what the residuals of a method are.

Truth: ``fitting/practice/simulated_cup.py`` knows the sensor's lag; scipy's integrator makes one log apart.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.practice.simulated_cup import draw_experiment, simulate


def corrected(family, seed, lag_s, method=None, **sensor):
    e = draw_experiment(family, np.random.default_rng(seed), resolution_K=0.01)
    e = replace(e, sensor=replace(e.sensor, lag_s=lag_s, every_s=1.0, **sensor))
    run = simulate(e, seed)
    curve = Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=0.01)
    return correct(
        curve, mixed_at_s=run.mixed_at_s, room_C=run.room_C,
        capacity_ratio=run.capacity_ratio, method=method,
    )  # fmt: skip


@pytest.mark.parametrize("lag_s", [4.0, 8.0, 14.0])
@pytest.mark.parametrize("family", ["mixing", "fast"])
def test_the_lag_of_the_sensor_is_seen_where_liquids_were_mixed(family, lag_s):
    found = corrected(family, 31, lag_s)
    assert found.sensor_lag_s is not None
    assert found.u_sensor_lag_s is not None
    assert abs(found.sensor_lag_s - lag_s) < 2.5 * found.u_sensor_lag_s
    assert found.u_sensor_lag_s < 0.3 * lag_s


def test_a_dissolving_solid_hides_the_lag():
    found = corrected("slow", 32, 6.0)
    assert found.sensor_lag_s is None
    assert found.u_sensor_lag_s is None


def test_the_lag_of_a_log_integrated_by_scipy():
    """Pour over 3 s, loss and a sensor of 9 s; scipy's LSODA makes the log."""

    def slopes(t, state):
        content, shown = state
        pour = 12.0 / 3.0 if t < 3.0 else 0.0
        return [pour - 1e-4 * (content - 21.0), (content - shown) / 9.0]

    s = np.arange(0.0, 400.0, 1.0)
    after = solve_ivp(slopes, (0, 400), [21.0, 21.0], t_eval=s, max_step=0.5, rtol=1e-8).y[1]
    time = np.arange(-120.0, 400.0) + 120.0
    shown = np.concatenate([np.full(120, 21.0), after])
    shown = np.round(shown + np.random.default_rng(5).normal(0, 0.005, shown.size), 2)
    found = correct(Curve.from_arrays(time, shown), mixed_at_s=120.0, capacity_ratio=0.5)
    assert found.sensor_lag_s == pytest.approx(9.0, abs=2 * found.u_sensor_lag_s)


@pytest.mark.parametrize("family", ["fast", "slow", "pellets"])
def test_residuals_of_the_default_are_the_noise_of_the_readings(family):
    """Noise of 0.01 K and steps of 0.01 K: rms √(0.01² + 0.01²/12) K about the right course."""
    found = corrected(family, 34, 6.0, noise_K=0.01, wander_K=0.0)
    expected = np.hypot(0.01, 0.01 / np.sqrt(12))
    assert found.chosen.residual_rms_K == pytest.approx(expected, rel=0.35)
