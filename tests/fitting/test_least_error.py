"""The bound that tests/benchmarks/FIGURES.md sets the corrections against, where it can be had in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fitting.practice.simulated_cup import Cup, Experiment, Room, Sensor, draw_experiment
from tests.benchmarks.judges.ensemble import learnt_rmse
from tests.benchmarks.judges.linearised import bench, linearised
from tests.benchmarks.least_error import (
    TOLD,
    information,
    least_of_curve,
    least_u,
    least_u_of_steps,
    posterior,
    score,
    unknowns,
)
from tests.benchmarks.two_judges import JUDGES

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


def _banded_by_hand(n: int, white_K2: float, wander_K: float, keep: float) -> np.ndarray:
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    return white_K2 * np.eye(n) + wander_K**2 * keep**apart


@pytest.mark.parametrize("wander_K", [0.0, 0.003, 0.02])
def test_information_is_that_of_the_full_covariance(wander_K: float) -> None:
    """J' R⁻¹ J by three diagonals against the inverse of the whole R."""
    J = np.random.default_rng(3).normal(size=(90, 4))
    full = J.T @ np.linalg.solve(_banded_by_hand(90, 1e-4, wander_K, 0.9), J)
    assert information(J, 1e-4, wander_K, 0.9) == pytest.approx(full, rel=1e-9)


def _straight_line(at: np.ndarray, sigma: float, level_of: float, prior: float) -> float:
    """Standard error of a line's value at ``level_of``, its two numbers of prior spread ``prior``."""
    J = prior * np.column_stack([np.ones(len(at)), at])
    known = information(J, sigma**2, 0.0, 0.5) + np.eye(2)
    form = prior * np.array([1.0, level_of])
    return math.sqrt(float(form @ posterior(known, []) @ form))


def test_a_straight_line_has_its_textbook_error() -> None:
    """u² = sigma² [1/n + (x - mean)²/S_xx] (D. C. Montgomery, E. A. Peck, G. G. Vining, *Introduction to
    Linear Regression Analysis*, confidence of the mean response; from memory), the prior being wide."""
    at, sigma, x = np.arange(0.0, 60.0, 2.0), 0.02, -10.0
    off = (x - at.mean()) ** 2 / np.sum((at - at.mean()) ** 2)
    expected = sigma * math.sqrt(1 / len(at) + off)
    assert _straight_line(at, sigma, x, prior=1e3) == pytest.approx(expected, rel=1e-6)


def test_more_noise_gives_a_larger_bound_and_none_larger_than_the_prior() -> None:
    at = np.arange(0.0, 60.0, 2.0)
    found = [_straight_line(at, sigma, 0.0, prior=1.0) for sigma in (0.01, 0.1, 1.0, 1e4)]
    assert found == sorted(found)
    assert found[-1] == pytest.approx(1.0, rel=1e-3)


def test_a_form_told_exactly_is_known_and_moves_what_goes_with_it() -> None:
    """Of two numbers of spread 1 the sum is told: each keeps 1/√2, opposite (conditional normal)."""
    cov = posterior(np.eye(2), [np.array([1.0, 1.0])])
    assert cov == pytest.approx(np.array([[0.5, -0.5], [-0.5, 0.5]]))


@pytest.mark.parametrize("judge", ["lumped", "foam"])
def test_a_tape_gives_the_judges_own_run_again(judge: str) -> None:
    """The draw that is linearised is the one that the correction is scored on, apart from noise."""
    run, one = JUDGES[judge]("slow", 500_003), bench(judge, "slow", 500_003)
    quiet_run = one.quiet(one.experiment)
    assert quiet_run.true_rise_K == pytest.approx(run.true_rise_K, rel=1e-5)
    s = one.sensor
    off = run.raw_C - quiet_run.raw_C
    assert np.std(off) == pytest.approx(math.hypot(s.noise_K, s.wander_K), rel=0.4)


def test_coordinates_of_a_tape_are_standard_normal() -> None:
    """Every continuous number of the judges, over many draws: mean 0, spread 1."""
    z = np.array(
        [
            value
            for seed in range(400)
            for kind, value in bench("lumped", "fast", seed).tape.kept
            if kind in ("uniform", "normal")
        ]
    )
    assert abs(float(z.mean())) < 4 / math.sqrt(len(z))
    assert float(z.std()) == pytest.approx(1.0, abs=0.03)


def test_the_judges_bound_falls_with_what_is_told_and_rises_with_the_noise() -> None:
    curve = linearised("lumped", "fast", 500_001)
    fine = least_of_curve(curve, 0.01, found=False)
    assert all(fine[name] <= fine["nothing"] * (1 + 1e-9) for name in TOLD)
    assert fine["cup, room"] < fine["cup"] < fine["wall"]
    assert least_of_curve(curve, 0.1, found=False)["nothing"] > fine["nothing"]
    noisy_one = replace(curve, noise_K=3 * curve.noise_K)
    assert least_of_curve(noisy_one, 0.01, found=False)["nothing"] > fine["nothing"]
    assert least_of_curve(curve, 0.01, found=True)["nothing"] >= fine["nothing"] * (1 - 1e-9)


def test_learning_finds_a_rule_and_no_more_than_the_noise_allows() -> None:
    """y = 1 + 0.05 x + 0.02 x² + noise of 0.3 %: held-out error 0.3 %, whatever else is on offer."""
    rng = np.random.default_rng(4)
    x = rng.normal(size=(1500, 5))
    y = 1 + 0.05 * x[:, 0] + 0.02 * x[:, 0] ** 2 + rng.normal(0.0, 0.003, 1500)
    assert learnt_rmse(x, y, np.ones(1500)) == pytest.approx(0.3, rel=0.2)
