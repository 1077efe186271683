"""The dynamic model against an integrator of differential equations, closed forms and made cups.

Truth: scipy's ``solve_ivp`` for the two-body cup; ``fitting/simulated_cup.py`` for whole curves.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fitting.corrections import correct
from fitting.corrections.case import build_case
from fitting.corrections.dynamic import fit_dynamic
from fitting.curve import Curve
from fitting.dynamic_model import Rates, drift_shape, idle_shape, modes_of, unit_readings
from fitting.noise import noise_of
from fitting.periods import given_mixing
from fitting.responses import three_stage, two_stage
from fitting.simulated_cup import draw_experiment, simulate


def rates(k=2e-4, lag=6.0, pour=2.0, release=(4.0,), wall=(0.02, 50.0, 0.3)):
    def one(value):
        return np.array([float(value)])

    share, wall_s, loss = wall or (None, 50.0, 0.3)
    return Rates(
        one(k), one(lag), one(pour), np.array([release], float),
        None if share is None else one(share), one(wall_s), one(loss),
    )  # fmt: skip


def integrated(s, k, lag, pour, release, wall):
    """Content, wall and sensor after a rise of 1 K that is poured in evenly and then released."""
    share, wall_s, loss = wall or (1e-9, 50.0, 0.0)

    def slopes(t, state):
        held, content, inner, shown = state
        poured = 1 / pour if t < pour else 0.0
        to_wall = share / wall_s * (content - inner)
        return [
            poured - held / release,
            (held / release - (1 - loss) * k * content - to_wall) / (1 - share),
            (to_wall - loss * k * inner) / share,
            (content - shown) / lag,
        ]

    early = solve_ivp(slopes, (0, pour), [0, 0, 0, 0], method="LSODA", rtol=1e-10, atol=1e-13)
    late = solve_ivp(
        slopes, (pour, s[-1]), early.y[:, -1], t_eval=s, method="LSODA", rtol=1e-10, atol=1e-13
    )
    return late.y[3]


@pytest.mark.parametrize("wall", [None, (0.008, 50.0, 0.3), (0.06, 110.0, 0.5), (0.2, 8.0, 0.9)])
@pytest.mark.parametrize("release", [0.5, 6.0, 60.0])
def test_a_cup_with_a_wall_follows_its_differential_equations(wall, release):
    s = np.linspace(20.0, 700.0, 120)
    q = rates(k=3e-4, release=(release,), wall=wall)
    found = unit_readings(s, q, modes_of(q))[0, 0]
    expected = integrated(s, 3e-4, 6.0, 2.0, release, wall)
    # Gauss and Legendre's two points for the pour are exact to the fourth power of pour/time
    np.testing.assert_allclose(found, expected, atol=2e-5)


def test_rates_that_coincide_make_no_jump():
    """Release, sensor and wall alike, and nearly so: finite, and the same to the difference."""
    s = np.linspace(0.0, 600.0, 200)
    exact = rates(lag=50.0, release=(50.0, 50.0))
    near = rates(lag=50.0 * (1 + 1e-9), release=(50.0, 50.0 * (1 - 1e-9)))
    a, b = (unit_readings(s, q, modes_of(q)) for q in (exact, near))
    assert np.all(np.isfinite(a))
    np.testing.assert_allclose(a, b, atol=1e-7)


def test_chains_take_rates_of_any_shape():
    s = np.linspace(0.0, 50.0, 11)
    a, b = np.array([[0.1], [0.2]]), np.array([[0.3], [0.2]])
    many = three_stage(s, a, b, 0.05)
    for row in range(2):
        one = three_stage(s, float(a[row, 0]), float(b[row, 0]), 0.05)
        np.testing.assert_allclose(many[row], one, rtol=1e-12)
    np.testing.assert_allclose(two_stage(s, a, b)[1], s * np.exp(-0.2 * s), rtol=1e-12)


def test_without_loss_nothing_drifts_away():
    s = np.array([-100.0, 0.0, 300.0])
    np.testing.assert_allclose(idle_shape(s, np.zeros(1))[0], s)
    np.testing.assert_allclose(drift_shape(s, np.zeros(1))[0], 0.0)
    k = np.array([1e-3])
    exact = s - (1 - np.exp(-k * s)) / k
    np.testing.assert_allclose(drift_shape(s, k)[0], exact, rtol=1e-9)
    np.testing.assert_allclose(idle_shape(s, k)[0], (1 - np.exp(-k * s)) / k, rtol=1e-12)


def case_of(run, resolution_K=0.01):
    curve = Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=resolution_K)
    return build_case(
        curve, given_mixing(curve, run.mixed_at_s, 0.0), capacity_ratio=run.capacity_ratio,
        room_C=round(run.room_C, 1),
    )  # fmt: skip


def simulated(family, seed, **changes):
    rng = np.random.default_rng(seed)
    e = draw_experiment(family, rng, resolution_K=0.01)
    return simulate(replace(e, **changes) if changes else e, rng)


@pytest.mark.parametrize("family", ["fast", "mixing", "pellets"])
def test_the_wall_takes_the_bias_away(family):
    """Cups with a slow wall: without it the model is 0.2 to 0.4 % high on average."""
    plain, walled = [], []
    for seed in range(700, 706):
        run = simulated(family, seed)
        case = case_of(run)
        for walls, errors in (((0,), plain), ((0, 1, 2), walled)):
            rise, _ = fit_dynamic(case, walls).moments("rise_K")
            errors.append(100 * (rise / run.true_rise_K - 1))
    assert np.mean(plain) > 0.12
    assert abs(np.mean(walled)) < 0.12
    assert np.sqrt(np.mean(np.square(walled))) < 0.25


def test_a_heavy_wall_is_recognised():
    """A vessel whose wall takes a tenth of the heat within two minutes: its kind gets the weight."""
    run = simulated("fast", 731)
    e = run.experiment
    cup = replace(e.cup, slow_wall_J_per_K=45.0, slow_wall_s=110.0, wall_loss_share=0.3)
    heavy = simulate(replace(e, cup=cup, heat_J=4000.0), 7)
    found = fit_dynamic(case_of(heavy))
    assert found.best.model.wall == 2
    rise, u = found.moments("rise_K")
    assert abs(rise - heavy.true_rise_K) < 3 * u
    assert u < 0.02 * rise


def test_noise_is_told_about_the_model_where_a_short_after_period_bends():
    """150 s of a slow dissolution: straight lines take its bend for noise, three times too much."""
    e = draw_experiment("slow", np.random.default_rng(742), resolution_K=0.01, after_s=150.0)
    run = simulate(
        replace(e, sensor=replace(e.sensor, noise_K=0.008, wander_K=0.0, every_s=4.0)), 5
    )
    case = case_of(run)
    assert noise_of([case.y[case.after]], 0.01).sigma_K > 0.02
    assert case.noise.sigma_K == pytest.approx(0.008, rel=0.3)
    assert fit_dynamic(case).problem.noise.sigma_K == pytest.approx(0.008, rel=0.3)


def test_parts_add_up_to_the_uncertainty():
    run = simulated("slow", 741)
    curve = Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=0.01)
    one = correct(curve, mixed_at_s=run.mixed_at_s, u_mixed_at_s=2.0, method="dynamic").chosen
    assert one.u_rise_K == pytest.approx(np.sqrt(sum(u * u for _, u in one.parts)), rel=1e-9)
    assert {"loss through a slow wall", "moment of mixing"} <= {name for name, _ in one.parts}
    assert one.holds(run.true_rise_K)


def test_a_course_that_no_model_describes_is_not_admitted():
    """Heat that comes in two bursts, a minute apart, is no first-order release."""
    t = np.arange(0.0, 900.0, 2.0)
    T = 21.0 + 3.0 * (t > 180) + 3.0 * np.clip((t - 240) / 30, 0, 1)
    T = np.round(T + np.random.default_rng(3).normal(0, 0.005, t.size), 2)
    found = correct(Curve.from_arrays(t, T), mixed_at_s=180.0, method="dynamic").chosen
    assert not found.admissible
    assert "from the model" in found.why
