"""Heat release against closed forms and against simulated cups that do not obey the model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.practice.simulated_cup import draw_experiment, simulate
from fitting.release.heat_release import heat_release
from tests.benchmarks.heat_release import judge

RATE, T_INF, START, MIXED = 0.02 / 60, 21.0, 22.0, 240.0


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
    # the share leaves out what a slow wall holds back: some 0.6 % at most, nothing at the end
    assert total == pytest.approx(release.fraction * release.total_K, abs=0.006 * 5)
    assert total[-1] == pytest.approx(release.fraction[-1] * release.total_K, abs=1e-4)
    assert release.without_loss_C - release.without_loss_C[0] == pytest.approx(total, abs=1e-6)


def test_removing_the_lag_makes_the_release_quicker_by_about_the_lag():
    curve = first_order(1 / 25, lag=8.0, noise=0.003)
    corrected = correct(curve, mixed_at_s=MIXED)
    seen = heat_release(curve, corrected, sensor_lag_s=0.0)
    own = heat_release(curve, corrected, sensor_lag_s=8.0)
    assert seen.release_time_s is not None
    assert own.release_time_s is not None
    # to 1 − 1/e two first-order steps take a little less than the sum of both time constants
    assert 6.0 < seen.release_time_s - own.release_time_s < 11.0
    assert "no lag of the sensor was taken off" in seen.notes


def test_a_lag_that_is_not_known_lies_between_none_and_the_quickest_change():
    """The closed form's own times lie in the intervals whatever the lag really was."""
    for lag in (1.0, 8.0, 15.0):
        curve = first_order(1 / 40, lag=lag, noise=0.003)
        release = heat_release(curve, correct(curve, mixed_at_s=MIXED))
        assert not release.lag_known
        assert "the sensor's lag is not known" in release.notes[0]
        assert release.release_time_s is not None
        assert abs(release.release_time_s - 40) < 1.96 * (release.u_release_time_s or 0)
        low, high = release.over_interval95_s or (np.inf, None)
        assert low < 40 * np.log(100) < (high or np.inf)
        s = release.since_mixing_s
        under_way = (s > 5) & (s < 200)
        off = np.abs(release.fraction - 1 + np.exp(-s / 40))[under_way]
        assert np.mean(off < 1.96 * release.u_fraction[under_way]) > 0.9
        assert np.abs(release.fraction[s >= 200] - 1 + np.exp(-s[s >= 200] / 40)).max() < 0.01


def test_an_uncertain_lag_widens_the_end_towards_both_sides():
    curve = first_order(1 / 10, lag=8.0, noise=0.003)
    corrected = correct(curve, mixed_at_s=MIXED)
    sure = heat_release(curve, corrected, sensor_lag_s=8.0).over_interval95_s
    unsure = heat_release(curve, corrected, sensor_lag_s=8.0, u_sensor_lag_s=2.0).over_interval95_s
    assert sure is not None
    assert unsure is not None
    assert unsure[0] < sure[0]
    assert (unsure[1] or np.inf) > (sure[1] or np.inf)


def test_a_release_as_quick_as_pouring_is_said_to_be_hidden():
    """All heat within two seconds behind a lag of 8 s: the end lies between 0 and some seconds."""
    curve = first_order(1.5, lag=8.0, noise=0.003)
    release = heat_release(curve, correct(curve, mixed_at_s=MIXED), sensor_lag_s=8.0)
    assert not release.resolved
    low, high = release.over_interval95_s or (1.0, None)
    assert low == 0.0
    assert np.log(100) / 1.5 < (high or 0) < 30
    assert release.verdict.startswith("The release was quicker than this curve can show: 99 %")
    assert "pouring, stirring and the sensor's lag included" in release.verdict
    assert any("take seconds themselves" in note for note in release.notes)


def test_facts_for_scripts_say_per_heat_capacity_where_none_is_known():
    curve = first_order(1 / 20, rise=6.0, noise=0.003)
    corrected = correct(curve, mixed_at_s=MIXED)
    bare = heat_release(curve, corrected).facts()
    assert bare["total_J"] is None
    assert bare["total_K"] == corrected.chosen.rise_K
    known = heat_release(curve, corrected, heat_capacity_J_per_K=430.0).facts()
    assert known["total_J"] == pytest.approx(430.0 * known["total_K"])
    assert {"since_mixing_s", "fraction", "u_fraction", "flow_K_per_s", "u_flow_K_per_s"} == set(
        known["released"][0]
    )


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
    from fitting.drawings.curves import new_figure, plot_heat_release

    curve = first_order(1 / 20, noise=0.003)
    release = heat_release(curve, correct(curve, mixed_at_s=MIXED), sensor_lag_s=0.0)
    assert list(release.to_frame().columns)[:2] == ["since_mixing_s", "without_loss_C"]
    assert "63 % of the heat was out" in release._repr_html_()
    _, ax = new_figure()
    plot_heat_release(ax, release, show="flow")
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


@pytest.mark.parametrize("family", ["slow", "fast"])
def test_intervals_hold_the_truth_on_simulated_cups(family):
    for cell in judge(family, range(100, 105)).values():
        assert np.mean(cell.fraction_held) > 0.85
        assert sum(cell.constant_held) >= 4
        assert sum(cell.over_held) >= 4


def test_the_lag_of_two_quick_liquids_is_read_off_their_curve():
    """A pour of 1 s behind a lag of 7 s: the end is bounded by the lag, not by every lag."""
    experiment = draw_experiment("mixing", np.random.default_rng(5), resolution_K=0.01)
    experiment = replace(experiment, sensor=replace(experiment.sensor, lag_s=7.0, every_s=1.0))
    run = simulate(replace(experiment, pour_s=1.0), 5)
    curve = Curve.from_arrays(run.time_s, run.temperature_C)
    corrected = correct(curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio)
    release = heat_release(curve, corrected)
    assert release.lag_seen
    assert release.lag_known
    assert abs(release.lag_removed_s - 7.0) < 2 * release.u_lag_removed_s
    assert release.facts()["sensor_lag_from"] == "this curve"
    assert "read off this curve" in release.notes[0]
    low, high = release.over_interval95_s or (1.0, None)
    assert low == 0.0
    assert 1.0 < (high or 0) < 25.0
    told = heat_release(curve, corrected, sensor_lag_s=7.0)
    assert (told.over_interval95_s or (0, None))[1] <= (high or 0) + 1e-9


def test_a_dissolving_solid_is_no_slow_sensor():
    """A tenth of the heat capacity came in as pellets: no lag is read off the curve."""
    run = simulate(draw_experiment("pellets", np.random.default_rng(4), resolution_K=0.01), 4)
    curve = Curve.from_arrays(run.time_s, run.temperature_C)
    corrected = correct(curve, mixed_at_s=run.mixed_at_s, capacity_ratio=0.88)
    assert corrected.sensor_lag_s is None
    assert not heat_release(curve, corrected).lag_known


@pytest.mark.long
@pytest.mark.timeout(1500)
@pytest.mark.parametrize("family", ["slow", "pellets", "fast", "mixing"])
def test_intervals_hold_the_truth_on_many_simulated_cups(family):
    for name, cell in judge(family, range(1000, 1200)).items():
        held = (np.mean(cell.fraction_held), np.mean(cell.constant_held), np.mean(cell.over_held))
        print(family, name, held)
        assert min(held) > 0.90
