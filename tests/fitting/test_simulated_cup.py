"""The judge itself: an insulated simulated cup must end where the energies say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitting.practice.simulated_cup import FAMILIES, Sensor, draw_experiment, simulate


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_an_insulated_cup_ends_where_the_energies_say(family, seed):
    """First law: without loss, stirrer and vapour the last reading is the true end."""
    e = draw_experiment(family, np.random.default_rng(seed), after_s=1800.0)
    cup = replace(e.cup, loss_W_per_K=0.0, evaporation_g_per_s_kPa=0.0, stirrer_W=0.0)
    sensor = Sensor(lag_s=4.0, noise_K=0.0, step_K=0.0, wander_K=0.0, every_s=5.0)
    run = simulate(replace(e, cup=cup, sensor=sensor, standing_s=3600.0), seed)
    # the slow wall starts half way to the room and has an hour to follow the liquid
    assert run.temperature_C[-1] - run.true_before_C == pytest.approx(run.true_rise_K, rel=2e-5)


def test_the_same_seed_gives_the_same_log():
    e = draw_experiment("fast", np.random.default_rng(5))
    first, second = simulate(e, 9), simulate(e, 9)
    np.testing.assert_array_equal(first.temperature_C, second.temperature_C)


def test_the_step_of_the_sensor_is_kept():
    e = draw_experiment("slow", np.random.default_rng(5), resolution_K=0.1)
    shown = simulate(e, 1).temperature_C
    assert np.allclose(np.round(shown / 0.1), shown / 0.1, atol=1e-6)
