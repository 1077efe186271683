"""The array of cups against the simulation, cup by cup."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitting.practice.simulated_cup import FAMILIES, simulate
from tests.benchmarks.many_cups import SINCE_S, Cups, draw, read_extremes


@pytest.mark.parametrize("family", FAMILIES)
def test_a_cup_of_many_is_the_simulation_s_own(family):
    experiments, _ = draw(family, 3, lid=False)
    _, _, after, before = Cups(experiments).integrate()
    for i, e in enumerate(experiments):
        quiet = replace(e.sensor, noise_K=0.0, wander_K=0.0, every_s=10.0)
        run = simulate(replace(e, sensor=quiet))
        late = run.time_s >= run.mixed_at_s
        shown = np.interp(run.time_s[late] - run.mixed_at_s, SINCE_S, after[:, i])
        assert before[i] == pytest.approx(run.true_before_C, abs=2e-4)
        size = abs(run.true_rise_K)
        assert np.max(np.abs(shown - run.temperature_C[late])[2:]) < 1e-3 * max(size, 1.0)


def test_finer_steps_show_the_same_readings():
    both = read_extremes("slow", 5, (0.01, 0.1))
    assert np.all(np.abs(both[0.01].extreme_C - both[0.1].extreme_C) < 0.06)
    assert np.all(both[0.01].rise_K == both[0.1].rise_K)
