"""Noise, memory and display steps against draws of known noise (numpy's generator is the judge)."""

from __future__ import annotations

import numpy as np
import pytest

from fitting.noise import (
    Noise,
    flicker_noise,
    noise_of,
    step_covariance,
    step_variance,
    stepped_line,
)


def shown(true_C, sigma_K, step_K, rng):
    return np.round((true_C + rng.normal(0.0, sigma_K, true_C.size)) / step_K) * step_K


@pytest.mark.parametrize("sigma_K", [0.0, 0.01, 0.02, 0.04])
def test_what_averaging_leaves_of_a_display_step(sigma_K):
    """Mean of many rounded readings of one temperature, over temperatures anywhere in a step."""
    rng = np.random.default_rng(1)
    places = rng.uniform(20.0, 20.1, 400)
    off = [shown(np.full(2000, x), sigma_K, 0.1, rng).mean() - x for x in places]
    expected = step_variance(sigma_K, 0.1) + (sigma_K**2 + 0.1**2 / 12) / 2000
    assert np.mean(np.square(off)) == pytest.approx(expected, rel=0.25)


def test_rounding_of_one_temperature_is_common_to_all_its_readings():
    noise = Noise(0.0, 0.0, 0.1, 100)
    level = np.array([0.0, 0.0, 0.05])
    found = step_covariance(level, np.zeros(3), np.zeros((3, 3)), noise)
    assert found[0, 1] == pytest.approx(found[0, 0])
    assert found[0, 2] < 0  # half a step on, the saw-tooth has the other sign
    moved = step_covariance(level, np.full(3, 1.0), np.zeros((3, 3)), noise)
    assert np.abs(moved).max() < 1e-6  # ten whole steps within each average


@pytest.mark.parametrize("sigma_K", [0.006, 0.012, 0.025])
def test_noise_finer_than_a_step_is_told_from_its_flicker(sigma_K):
    """A drift of one step in a quarter of an hour; 40 logs, so that every place in a step comes."""
    rng = np.random.default_rng(2)
    logs = [
        shown(21.0 + rng.uniform(0, 0.1) + 1e-4 * np.arange(900.0), sigma_K, 0.1, rng)
        for _ in range(40)
    ]
    found = np.mean([flicker_noise([log], 0.1) for log in logs])
    assert found == pytest.approx(sigma_K, rel=0.25)


def test_a_reading_that_only_drifts_has_no_flicker():
    assert flicker_noise([np.round(np.linspace(21.0, 21.6, 600), 1)], 0.1) < 0.004


def test_memory_of_the_noise_is_found():
    """AR(1) noise with correlation 0.6 has mean variance (1 + 0.6)/(1 - 0.6) = 4 times white's."""
    rng = np.random.default_rng(3)
    kicks = rng.normal(0.0, 0.01 * np.sqrt(1 - 0.6**2), 2000)
    noise = np.zeros(2000)
    for i in range(1, 2000):
        noise[i] = 0.6 * noise[i - 1] + kicks[i]
    found = noise_of([21.0 + noise], 0.0)
    assert found.sigma_K == pytest.approx(0.01, rel=0.1)
    assert found.inflation == pytest.approx(4.0, rel=0.3)


@pytest.mark.parametrize("sigma_K", [0.004, 0.012, 0.025])
def test_a_line_through_stepped_readings_is_as_good_as_it_says(sigma_K):
    """Lines anywhere in a step with a cup's drifts: error over stated u, end of the line."""
    rng = np.random.default_rng(4)
    s = np.arange(-200.0, 0.0, 2.0)
    z, off = [], []
    for _ in range(150):
        true = 21.0 + rng.uniform(0.0, 0.1) + rng.normal(0.0, 1e-4) * s
        log = shown(true, sigma_K, 0.1, rng)
        value, covariance = stepped_line(s, log, Noise(sigma_K, 0.0, 0.1, 500), (-200.0, 0.0))
        off.append(value[1] - true[-1])
        z.append(off[-1] / np.sqrt(covariance[1, 1]))
    assert 0.6 < np.sqrt(np.mean(np.square(z))) < 1.15
    assert np.sqrt(np.mean(np.square(off))) < 0.8 * 0.1 / np.sqrt(12)
    assert np.mean(np.abs(z) < 2) > 0.92
