"""Heat release against closed forms and against simulated cups that do not obey the model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.heat_release import heat_release
from fitting.simulated_cup import draw_experiment, simulate

RATE, T_INF, START, MIXED = 0.02 / 60, 21.0, 22.0, 240.0
ROOT = 1 - np.exp(-1)


def first_order(
    kappa: float, rise: float = -5.0, lag: float = 0.0, noise: float = 0.0, end: float = 900.0
) -> Curve:
    """Release of rate kappa in a cup that loses by Newton's law, seen through a lag: closed form.

    After mixing T = T∞ + a e^(−kt) + b e^(−κt); a first-order sensor turns each term c e^(−rt) into
    c (e^(−rt) − e^(−t/τ))/(1 − r τ) and keeps what it showed before.
    """
    time = np.arange(0.0, MIXED + end + 1, 2.0)
    t = np.clip(time - MIXED, 0.0, None)
    fore = T_INF + (START - T_INF) * np.exp(-RATE * np.minimum(time, MIXED))
    b = -rise * kappa / (kappa - RATE)
    a = fore[-1] - T_INF - b
    if lag == 0:
        after = T_INF + a * np.exp(-RATE * t) + b * np.exp(-kappa * t)
    else:
        rest = np.exp(-t / lag)
        seen = [c * (np.exp(-r * t) - rest) / (1 - r * lag) for c, r in ((a, RATE), (b, kappa))]
        after = T_INF + (fore[-1] - T_INF) * rest + seen[0] + seen[1]
    reading = np.where(time < MIXED, fore, after)
    if noise:
        reading = reading + np.random.default_rng(7).normal(0, noise, time.size)
    return Curve.from_arrays(time, reading, resolution_K=0.0)


@pytest.mark.parametrize("rise", [-5.0, 8.0])
@pytest.mark.parametrize("lag", [0.0, 8.0])
@pytest.mark.parametrize("kappa", [1 / 15, 1 / 40])
def test_a_first_order_release_is_found(kappa, lag, rise):
    curve = first_order(kappa, rise, lag, noise=0.003)
    release = heat_release(curve, correct(curve, mixed_at_s=MIXED), sensor_lag_s=lag)
    s = release.since_mixing_s
    truth = 1 - np.exp(-kappa * s)
    assert np.abs(release.fraction - truth)[s > 4].max() < 0.02
    assert release.release_time_s == pytest.approx(1 / kappa, rel=0.03)
    assert release.over_interval95_s is not None
    low, high = release.over_interval95_s
    assert low < -np.log(0.01) / kappa < (high or np.inf)
    flow = rise * kappa * np.exp(-kappa * s)
    middle = (s > 0.3 / kappa) & (s < 3 / kappa)
    assert np.abs(release.flow_K_per_s - flow)[middle].max() < 0.06 * abs(rise) * kappa
    assert np.sign(np.trapezoid(release.flow_K_per_s, s)) == np.sign(rise)


def test_the_flow_adds_up_to_the_release():
    curve = first_order(1 / 20, noise=0.003)
    release = heat_release(curve, correct(curve, mixed_at_s=MIXED))
    s, q = release.since_mixing_s, release.flow_K_per_s
    total = np.concatenate([[0.0], np.cumsum(np.diff(s) * (q[1:] + q[:-1]) / 2)])
    assert total == pytest.approx(release.fraction * release.total_K, abs=1e-6)
    assert release.without_loss_C - release.without_loss_C[0] == pytest.approx(total, abs=1e-6)


def test_removing_the_lag_makes_the_release_quicker_by_about_the_lag():
    curve = first_order(1 / 25, lag=8.0, noise=0.003)
    corrected = correct(curve, mixed_at_s=MIXED)
    seen = heat_release(curve, corrected)
    own = heat_release(curve, corrected, sensor_lag_s=8.0)
    assert seen.release_time_s is not None
    assert own.release_time_s is not None
    # to 1 − 1/e two first-order steps take a little less than the sum of both time constants
    assert 6.0 < seen.release_time_s - own.release_time_s < 11.0
    assert "the sensor's lag is not known" in " ".join(seen.notes)


def test_watts_and_joules():
    curve = first_order(1 / 20, rise=6.0, noise=0.003)
    corrected = correct(curve, mixed_at_s=MIXED)
    release = heat_release(
        curve, corrected, heat_capacity_J_per_K=430.0, u_heat_capacity_J_per_K=4.3
    )
    assert release.flow_W == pytest.approx(430.0 * release.flow_K_per_s)
    assert release.total_J == pytest.approx(430.0 * corrected.chosen.rise_K)
    relative = np.hypot(corrected.chosen.u_rise_K / corrected.chosen.rise_K, 0.01)
    assert release.u_total_J == pytest.approx(430.0 * corrected.chosen.rise_K * relative)
    plain = heat_release(curve, corrected)
    assert plain.flow_W is None
    assert plain.total_J is None


def test_a_release_that_outlasts_the_log_is_not_called_over():
    curve = first_order(1 / 400, noise=0.003, end=500.0)
    corrected = replace(correct(curve, mixed_at_s=MIXED), settled_after_s=None)
    wide = replace(
        corrected.chosen, rise_K=-5.0, u_rise_K=0.3, cooling_rate_per_s=RATE, t_inf_C=T_INF
    )
    release = heat_release(curve, replace(corrected, chosen=wide))
    assert release.over_after_s is None
    assert "99 % was not reached within the log" in release.verdict


def test_views(tmp_path):
    from fitting.plots import new_figure

    curve = first_order(1 / 20, noise=0.003)
    release = heat_release(curve, correct(curve, mixed_at_s=MIXED))
    assert list(release.to_frame().columns)[:2] == ["since_mixing_s", "without_loss_C"]
    assert "63 % of the heat was out" in release._repr_html_()
    _, ax = new_figure()
    release.plot(ax, "flow")
    assert ax.lines
    assert all(len(row) == 5 for row in release.table())


def test_same_input_same_answer():
    curve = first_order(1 / 20, noise=0.01)
    corrected = correct(curve, mixed_at_s=MIXED)
    a, b = heat_release(curve, corrected), heat_release(curve, corrected)
    assert np.array_equal(a.fraction, b.fraction)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"sensor_lag_s": -1.0}, r"sensor_lag_s is -1.0; expected seconds, 0 or more$"),
        ({"u_sensor_lag_s": np.nan}, r"u_sensor_lag_s is nan; expected seconds, 0 or more$"),
        ({"heat_capacity_J_per_K": 0.0}, r"heat_capacity_J_per_K is 0.0; expected more than 0"),
        ({"over_share": 1.0}, r"over_share is 1.0; expected a share from 0.5 to 0.999$"),
    ],
)
def test_arguments_out_of_range(options, message):
    curve = first_order(1 / 20)
    with pytest.raises(CurveError, match=message):
        heat_release(curve, correct(curve, mixed_at_s=MIXED), **options)


def test_refused_where_no_method_knows_how_the_cup_cools():
    curve = first_order(1 / 20)
    corrected = correct(curve, mixed_at_s=MIXED)
    bare = replace(corrected.chosen, cooling_rate_per_s=None, t_inf_C=None)
    with pytest.raises(CurveError, match=r"no method in use knows how this cup cools"):
        heat_release(curve, replace(corrected, chosen=bare, methods=(bare,)))


def test_too_few_readings_after_mixing():
    curve = first_order(1 / 20)
    corrected = correct(curve, mixed_at_s=MIXED)
    with pytest.raises(CurveError, match=r"4 readings after the mixing; .* needs at least 8"):
        heat_release(curve.window(0, MIXED + 8.5), corrected)


def test_a_long_log_is_averaged_and_agrees():
    run = simulate(draw_experiment("slow", np.random.default_rng(8), after_s=700.0), 8)
    curve = Curve.from_arrays(run.time_s, run.temperature_C)
    thin = Curve.from_arrays(run.time_s[::3], run.temperature_C[::3])
    answers = [
        heat_release(c, correct(c, mixed_at_s=run.mixed_at_s)).release_time_s for c in (curve, thin)
    ]
    assert answers[0] == pytest.approx(answers[1], abs=2.5)


def judged(family: str, seeds: range) -> dict[str, float]:
    """Shares of simulated runs in which the stated 95 % intervals hold the truth."""
    inside: dict[str, list[float]] = {"fraction": [], "time constant": [], "over": []}
    grid = np.linspace(0.0, 700.0, 70001)
    for seed in seeds:
        experiment = draw_experiment(family, np.random.default_rng(seed))
        run = simulate(experiment, seed)
        curve = Curve.from_arrays(run.time_s, run.temperature_C)
        corrected = correct(curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio)
        release = heat_release(curve, corrected, sensor_lag_s=experiment.sensor.lag_s)
        (k1, k2), w = experiment.rates_per_s, experiment.slow_share

        def truth(s, k1=k1, k2=k2, w=w):
            return 1 - (1 - w) * np.exp(-k1 * s) - w * np.exp(-k2 * s)

        late = release.since_mixing_s > 5
        off = np.abs(release.fraction - truth(release.since_mixing_s))[late]
        inside["fraction"].append(float(np.mean(off < 1.96 * release.u_fraction[late])))
        at = grid[np.argmax(truth(grid) >= ROOT)]
        assert release.release_time_s is not None
        off_s = abs(release.release_time_s - at)
        inside["time constant"].append(off_s < 1.96 * (release.u_release_time_s or 0))
        low, high = release.over_interval95_s or (np.inf, None)
        inside["over"].append(low <= grid[np.argmax(truth(grid) >= 0.99)] <= (high or np.inf))
    return {name: float(np.mean(values)) for name, values in inside.items()}


@pytest.mark.parametrize("family", ["slow", "pellets"])
def test_intervals_hold_the_truth_on_simulated_cups(family):
    held = judged(family, range(100, 112))
    assert held["fraction"] > 0.85
    assert held["time constant"] >= 10 / 12
    assert held["over"] >= 9 / 12


@pytest.mark.long
@pytest.mark.parametrize("family", ["slow", "pellets"])
def test_intervals_hold_the_truth_on_many_simulated_cups(family):
    held = judged(family, range(1000, 1200))
    print(family, held)
    assert held["fraction"] > 0.92
    assert held["time constant"] > 0.93
    assert held["over"] > 0.88
