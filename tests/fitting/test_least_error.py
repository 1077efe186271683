"""The bound that tests/benchmarks/FIGURES.md sets the corrections against, where it can be had in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fitting.practice.simulated_cup import Cup, Experiment, Room, Sensor, draw_experiment
from tests.benchmarks.least_error import least_u, least_u_of_steps, score, unknowns

TIGHT = Cup(8.0, 0.0, 60.0, loss_W_per_K=0.0, evaporation_g_per_s_kPa=0.0, stirrer_W=0.0)


def _plain(sensor: Sensor) -> Experiment:
    """A cup that loses nothing and has no slow wall: two levels, a step between them."""
    return Experiment(
        cup=TIGHT, room=Room(21.0), sensor=sensor, rates_per_s=(5.0, 0.05), fore_s=200.0,
        after_s=400.0, pour_s=0.0,
    )  # fmt: skip


def test_two_levels_and_white_noise_give_the_error_of_two_means() -> None:
    """u² = sigma² (1/n + 1/m), elementary statistics; the sensor's first seconds count a little."""
    sigma, every = 0.02, 2.0
    e = _plain(Sensor(0.5, noise_K=sigma, step_K=0.0, wander_K=0.0, every_s=every))
    two = tuple(one for one in unknowns("fast", told=True) if one.name in ("heat_J", "in_cup_C"))
    expected = sigma * math.sqrt(1 / 100 + 1 / 200)
    assert least_u(e, two)["all"] == pytest.approx(expected, rel=0.02)


def test_wander_does_not_average_away_like_white_noise() -> None:
    """Neighbours tell the same, so a mean gains less; a level is never off by more than a draw."""
    e = _plain(Sensor(0.5, noise_K=1e-4, step_K=0.0, wander_K=0.01, wander_s=20.0, every_s=2.0))
    two = tuple(one for one in unknowns("fast", told=True) if one.name in ("heat_J", "in_cup_C"))
    white = replace(e, sensor=replace(e.sensor, noise_K=0.01, wander_K=0.0))
    assert 2.5 * least_u(white, two)["all"] < least_u(e, two)["all"] < 0.01 * math.sqrt(2)


def test_a_display_that_never_moves_leaves_the_width_of_its_step() -> None:
    """Both levels somewhere within a step q and no noise: u² = 2 q²/12 (JCGM 100, F.2.2.1)."""
    q = 0.1
    e = _plain(Sensor(0.5, noise_K=1e-4, step_K=q, wander_K=0.0, every_s=2.0))
    found = [
        least_u_of_steps(replace(e, in_cup_C=21.0 + by), "fast", np.random.default_rng(0), 121)
        for by in (-0.013, 0.01, 0.02)
    ]
    expected = q / math.sqrt(6)
    assert np.mean(found) == pytest.approx(expected, rel=0.06)


def test_telling_more_never_hurts() -> None:
    """Information only adds: the bound falls with every quantity that is told."""
    e = draw_experiment("fast", np.random.default_rng(5), resolution_K=0.01)
    found = least_u(e, unknowns("fast", told=False), parts=True)
    assert all(value <= found["all"] * (1 + 1e-9) for value in found.values())
    assert least_u(e, unknowns("fast", told=True))["all"] < found["all"]


def test_a_short_after_period_tells_less() -> None:
    rows = [score("slow", 2, after_s=s, resolution_K=0.01, first_seed=7) for s in (600.0, 150.0)]
    assert rows[1].ranges > 1.3 * rows[0].ranges > rows[0].told
