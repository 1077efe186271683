"""From whole logged curves of a simulated cup to constants and enthalpies."""

from __future__ import annotations

import numpy as np
import pytest

from calib.calibration import calibrate
from calib.enthalpy import FixedConstants, evaluate
from fitting.practice.simulated_cup import Cup, Experiment, Room, Sensor, simulate
from tests.calib.energy import solution_J_per_K
from tests.calib.made_tables import instruments, run, table

CUP = Cup(fast_J_per_K=16.0, slow_wall_J_per_K=4.0, slow_wall_s=45.0, loss_W_per_K=0.05,
          evaporation_g_per_s_kPa=1.5e-6, stirrer_W=0.015)  # fmt: skip
SENSOR = Sensor(lag_s=6.0, noise_K=0.008, step_K=0.01, wander_K=0.002)


def tools():
    return instruments(temperature={"u": 0.003, "step": 0.01, "slope_percent": 0.02},
                       mass={"step": 0.01}, concentration={"relative_u_percent": 0.1})  # fmt: skip


def logged(e, rng, path):
    made = simulate(e, rng)
    lines = ["time_s,temperature_C"]
    lines += [f"{t:g},{T:.2f}" for t, T in zip(made.time_s, made.temperature_C, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return made, {"curve": path.name, "curve_path": path, "mixed_at_s": made.mixed_at_s,
                  "room_C": made.room_C}  # fmt: skip


@pytest.fixture(scope="module")
def calibration(tmp_path_factory):
    folder, rng, rows = tmp_path_factory.mktemp("curves"), np.random.default_rng(12), []
    for i in range(3):
        cold, hot, hot_C = 100 + rng.normal(), 100 + rng.normal(), 50 + rng.normal()
        e = Experiment(
            cup=CUP, room=Room(21.0, 1e-4, 0.1), sensor=SENSOR, in_cup_J_per_K=cold * 4.1803,
            in_cup_C=21.2, added_J_per_K=hot * 4.1796, added_C=hot_C, heat_J=0.0,
        )  # fmt: skip
        _, columns = logged(e, rng, folder / f"mix{i}.csv")
        rows.append(
            run(f"m{i}", in_cup="water", added="water", in_cup_g=round(cold, 2),
                added_g=round(hot, 2), added_C=round(hot_C, 2), extra={"added_read_s": "0"}, **columns)
        )  # fmt: skip
    return calibrate(table(*rows), instruments=tools())


def test_constant_and_loss_from_three_mixing_curves(calibration):
    (constant,) = calibration.constants
    assert calibration.problems == ()
    assert constant.constant_J_per_K == pytest.approx(CUP.constant_J_per_K, abs=1.0)
    low, high = constant.combined.interval95
    assert low < CUP.constant_J_per_K < high
    assert constant.heat_loss_W_per_K == pytest.approx(CUP.loss_W_per_K, rel=0.15)
    assert constant.heat_loss_W_per_K == pytest.approx(
        CUP.loss_W_per_K, abs=3 * constant.u_heat_loss_W_per_K
    )
    assert constant.fill_mL[0] == pytest.approx(202, abs=3)


def dissolution(rng, path, dH=34.1):
    """10 g of potassium nitrate in 190 g of water; some of it dissolves slowly."""
    grams = 10.0
    after = solution_J_per_K({"KNO3": grams, "H2O": 190.0}, 20.0)
    e = Experiment(
        cup=CUP, room=Room(21.0, 1e-4, 0.1), sensor=SENSOR, in_cup_J_per_K=190.0 * 4.184,
        in_cup_C=21.2, added_J_per_K=after - 190.0 * 4.184, added_C=21.2,
        heat_J=-1000 * dH * grams / 101.103, rates_per_s=(1 / 20.0, 1 / 80.0), slow_share=0.3,
    )  # fmt: skip
    made, columns = logged(e, rng, path)
    return made, run("KNO3", in_cup="water", in_cup_g=190.0, added="KNO3(s)", added_g=grams,
                     added_C=21.2, **columns)  # fmt: skip


def neutralization(rng, path, dH=-59.3):
    """100 mL of 1 mol/L nitric acid and a little more potassium hydroxide."""
    acid, base, n = 103.1, 107.7, 0.0999
    mixed = {"KNO3": n * 101.103, "KOH": 0.003 * 56.105}
    after = solution_J_per_K({**mixed, "H2O": acid + base - sum(mixed.values())}, 24.0)
    before = solution_J_per_K({"HNO3": n * 63.012, "H2O": acid - n * 63.012}, 21.0)
    e = Experiment(
        cup=CUP, room=Room(21.0, 1e-4, 0.1), sensor=SENSOR, in_cup_J_per_K=before, in_cup_C=21.2,
        added_J_per_K=after - before, added_C=21.2, heat_J=-1000 * dH * n, rates_per_s=(1.0, 0.05),
    )  # fmt: skip
    made, columns = logged(e, rng, path)
    return made, run("HNO3", in_cup="HNO3(aq)", in_cup_g=acid, in_cup_mol_per_L=1.0,
                     added="KOH(aq)", added_g=base, added_mol_per_L=1.0, added_C=21.2, **columns)  # fmt: skip


@pytest.fixture(scope="module")
def benches(tmp_path_factory, calibration):
    """Two runs evaluated, and what the simulated cups really did."""
    folder, rng = tmp_path_factory.mktemp("class"), np.random.default_rng(5)
    constant = calibration.constants[0]
    known = FixedConstants(
        {"A": (constant.constant_J_per_K, constant.u_constant_J_per_K)},
        {"A": (constant.heat_loss_W_per_K, constant.u_heat_loss_W_per_K)},
    )
    slow_made, slow = dissolution(rng, folder / "slow.csv")
    fast_made, fast = neutralization(rng, folder / "fast.csv")
    return evaluate(table(slow, fast), known, instruments=tools()), (slow_made, fast_made)


@pytest.fixture(scope="module")
def classwork(benches):
    return benches[0]


def cost_percent(made):
    """What the simulated cup's extreme reading falls short of the rise without loss by."""
    rise = made.true_rise_K
    extreme = np.max if rise > 0 else np.min
    shown = extreme(made.temperature_C) - made.true_before_C
    return 100 * (1 - shown / rise)


def test_enthalpies_from_curves(classwork):
    assert classwork.problems == ()
    slow, fast = classwork.results
    assert slow.molar.value == pytest.approx(34.1, rel=0.01)
    assert fast.molar.value == pytest.approx(-59.3, rel=0.01)
    for one, truth in ((slow, 34.1), (fast, -59.3)):
        low, high = one.molar.interval95
        assert low < truth < high


def test_what_the_extreme_reading_costs(benches):
    """Design page: 2 to 4 % for a slow dissolution; a fast neutralization costs 0.4 to 0.7 % with a
    quick thermometer, less here where noise lifts the highest reading; a cup of 20 J/K left out 2.4 %.
    """
    report, made = benches
    slow, fast = ({t.left_out: t.shift_percent for t in r.treatments} for r in report.results)
    extreme = next(key for key in slow if "heat loss" in key)
    assert 1.5 < -slow[extreme] < 4.5
    for shift, truth in (
        (slow[extreme], cost_percent(made[0])),
        (fast[extreme], cost_percent(made[1])),
    ):
        assert -shift == pytest.approx(truth, abs=0.6)  # the rise itself is known to 0.1 to 0.3 %
    assert -fast["the cup's constant"] == pytest.approx(2.4, abs=0.25)


def test_a_curve_too_short_is_named(tmp_path):
    path = tmp_path / "short.csv"
    path.write_text("time_s,temperature_C\n0,21\n1,22\n2,23\n", encoding="utf-8")
    row = run("s", in_cup="water", added="water", in_cup_g=100.0, added_g=100.0, added_C=50.0,
              curve=path.name, curve_path=path)  # fmt: skip
    report = calibrate(table(row), instruments=tools())
    (problem,) = report.problems
    assert problem.column == "curve"
    assert problem.message
