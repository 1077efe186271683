"""What stands beside the rise has an uncertainty that holds: before, tended to, settled."""

from __future__ import annotations

import numpy as np
import pytest

from fitting.corrections import METHODS, correct
from fitting.curve import Curve
from fitting.practice.simulated_cup import Cup, Experiment
from fitting.release.settling import settled
from tests.benchmarks.coverage_beside import judge, rests_at, shown_after

RATE, T_INF, START, MIXED = 0.02 / 60, 21.0, 22.0, 240.0


def first_order(kappa: float, rise: float, noise: float = 0.003, end: float = 900.0) -> Curve:
    """Release of rate kappa in a cup that loses by Newton's law, in closed form.

    After mixing T = T∞ + a e^(−kt) + b e^(−κt), b = −rise κ/(κ − k); before it T relaxes alone.
    """
    time = np.arange(0.0, MIXED + end + 1, 2.0)
    t = np.clip(time - MIXED, 0.0, None)
    fore = T_INF + (START - T_INF) * np.exp(-RATE * np.minimum(time, MIXED))
    b = -rise * kappa / (kappa - RATE)
    after = T_INF + (fore[-1] - T_INF - b) * np.exp(-RATE * t) + b * np.exp(-kappa * t)
    reading = np.where(time < MIXED, fore, after)
    reading = reading + np.random.default_rng(3).normal(0, noise, time.size)
    return Curve.from_arrays(time, reading, resolution_K=0.0)


@pytest.mark.parametrize("rise", [-5.0, 8.0])
@pytest.mark.parametrize("kappa", [1 / 15, 1 / 40])
def test_ninety_nine_per_cent_of_a_first_order_release(kappa, rise):
    """ln(100)/κ after the mixing the loss-corrected change is within 1 % of its end."""
    curve = first_order(kappa, rise)
    when = settled(curve, correct(curve, mixed_at_s=MIXED))
    assert when is not None
    low, high = when.interval95_s
    assert low < np.log(100) * (1 / kappa) < (high or np.inf)
    assert when.after_s == pytest.approx(np.log(100) / kappa, abs=3 * (when.u_s or 0))
    assert (when.u_s or 0) < 0.25 * np.log(100) / kappa


def test_the_temperatures_of_a_cup_that_obeys_newton():
    curve = first_order(1 / 15, 8.0)
    before = T_INF + (START - T_INF) * np.exp(-RATE * MIXED)
    found = correct(curve, mixed_at_s=MIXED)
    for one in found.methods:
        low, high = one.before_interval95_C
        assert low < before < high, one.method
        assert 0 < one.u_before_K < 0.05
        if one.t_inf_C is not None:
            assert one.u_t_inf_K > 0
            assert one.t_inf_interval95_C[0] < one.t_inf_C < one.t_inf_interval95_C[1]
    chosen = found.chosen
    assert chosen.t_inf_interval95_C[0] < T_INF < chosen.t_inf_interval95_C[1]
    assert chosen.final_interval95_C[0] < before + 8.0 < chosen.final_interval95_C[1]
    # what is too high before is missing from the rise: the end is known better than both
    assert chosen.u_final_K < 1.05 * float(np.hypot(chosen.u_before_K, chosen.u_rise_K))
    assert set(METHODS) == {m.method for m in found.methods}


def test_where_a_simulated_cup_rests():
    """Without vapour it is T_room + P/G, with G of both ways out side by side."""
    cup = Cup(loss_W_per_K=0.05, stirrer_W=0.03, evaporation_g_per_s_kPa=0.0, wall_loss_share=0.0)
    assert rests_at(Experiment(cup=cup), 20.0) == pytest.approx(20.6, abs=1e-6)
    walled = Cup(loss_W_per_K=0.05, stirrer_W=0.03, evaporation_g_per_s_kPa=0.0)
    through, out = walled.slow_wall_J_per_K / walled.slow_wall_s, 0.2 * 0.05
    by_both = 0.8 * 0.05 + through * out / (through + out)  # the wall's share meets two resistances
    assert rests_at(Experiment(cup=walled), 20.0) == pytest.approx(20 + 0.03 / by_both, abs=1e-6)
    wet = Cup(loss_W_per_K=0.05, stirrer_W=0.03, evaporation_g_per_s_kPa=4e-6)
    assert rests_at(Experiment(cup=wet), 20.0) < 20.55


def test_a_sensor_alone_decides_where_all_heat_comes_at_once():
    e = Experiment(pour_s=0.0, rates_per_s=(5.0, 1.0))
    assert shown_after(e) == pytest.approx(np.log(100) * e.sensor.lag_s + 0.2, abs=0.3)


def test_intervals_hold_on_a_few_simulated_curves():
    """Cut down from the table in tests/benchmarks/FIGURES.md; its seeds are others."""
    held = []
    for family in ("fast", "slow"):
        for cell in judge(family, range(700, 706), 0.01, room_noted=True).values():
            assert cell.missing == 0
            held += cell.held
    assert np.mean(held) > 0.9


@pytest.mark.long
@pytest.mark.parametrize("family", ["fast", "mixing", "slow", "pellets"])
def test_intervals_hold_on_many_simulated_curves(family):
    for step in (0.01, 0.1):
        for name, cell in judge(family, range(91_000, 91_100), step, room_noted=False).items():
            assert np.mean(cell.held) > 0.9, (family, step, name)
