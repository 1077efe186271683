"""Heater, mixing and known reaction on one simulated cup give one constant, and the wall's part of
it is the same for all three: it belongs to the cup."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.calibration.combine import independent_variances
from calib.calibration.one_run import run_calibration
from calib.calibration.per_cup import combine_cup
from calib.run_model.shared_wall import wall_key
from calib.runs.instruments import Instruments
from calib.runs.reader import read_table
from tests.benchmarks.judges.school import heater_task, mixing_task, neutralization_task
from tests.benchmarks.whole_job import CUPS, School, draw_instruments, make_world, write_rows

RUNS = 2


@pytest.fixture(scope="module")
def constants(tmp_path_factory):
    """Of each of six cups of the lumped judge: a constant by each way, two runs a way."""
    folder = tmp_path_factory.mktemp("three_ways")
    rng = np.random.default_rng(46)
    world = make_world("lumped", rng, flask=False)
    school = School(folder, world, draw_instruments(rng), rng)
    rows = []
    for cup in CUPS:
        for number in range(RUNS):
            for way in ("heater", "mixing", "reaction"):
                rows.append(_row(school, cup, way, f"{way} {cup} {number}"))
    names = list(dict.fromkeys(name for row in rows for name in row))
    write_rows(folder / "t.csv", [{name: row.get(name, "") for name in names} for row in rows])
    table = read_table(folder / "t.csv")
    assert table.problems == ()
    tools = Instruments.load(table)
    found = {}
    for cup in CUPS:
        runs = [run_calibration(run, tools) for run in table.rows if run.apparatus == cup]
        for way in ("heater", "mixing", "reaction"):
            (found[cup, way],) = combine_cup(cup, [one for one in runs if one.way == way])
    return world, found


def _row(school, cup, way, label):
    if way == "heater":
        task, true = heater_task(school.rng, 0.0)
        cells = {
            "in_cup": "water", "heater_s": f"{true['heater_s']:.0f}",
            "heater_V": f"{true['heater_V']:.3f}", "heater_A": f"{true['heater_A']:.3f}",
        }  # fmt: skip
    elif way == "mixing":
        task, true = mixing_task(school.rng)
        cells = {"in_cup": "water", "added": "water", "added_read_s": "0"}
    else:
        task, true = neutralization_task(school.rng, 1.0, {})
        cells = {"in_cup": "HNO3(aq)", "in_cup_mol_per_L": "1.000", "added": "KOH(aq)",
                 "added_mol_per_L": "1.000"}  # fmt: skip
    log = school.log(label.replace(" ", "_"), cup, task)
    return {"run": label, "apparatus": cup, "date": "2026-09-01", **cells,
            **school.weighed(true, cup), **log}  # fmt: skip


def test_three_ways_give_one_constant_within_what_they_state(constants):
    """The difference of two ways against its u, the shared wall taken once; 5 % may lie outside."""
    _, found = constants
    over = []
    for cup in CUPS:
        for a, b in (("heater", "mixing"), ("mixing", "reaction"), ("heater", "reaction")):
            one, other = found[cup, a], found[cup, b]
            common = one.wall.part_J_per_K * other.wall.part_J_per_K
            u2 = one.u_constant_J_per_K**2 + other.u_constant_J_per_K**2 - 2.0 * common
            over.append((one.constant_J_per_K - other.constant_J_per_K) / math.sqrt(u2))
    assert len(over) == 18
    assert np.sqrt(np.mean(np.square(over))) < 1.3
    assert np.mean(np.abs(over) < 2.5) >= 0.9


def test_the_wall_moves_all_three_ways_alike(constants):
    """dC_app/dδ is the whole heat capacity, 4.18 J/(g K) × 200 g and the cup's, whichever way."""
    _, found = constants
    for (cup, way), one in found.items():
        (first, *_) = one.runs
        wall = one.wall
        assert wall.part_J_per_K > 0.0, (cup, way)
        x = {i.name: i.value for i in first.calibration.measured.quantities.inputs_used()}
        whole = float(first.calibration.measured.C_mix(x)) + one.constant_J_per_K
        assert wall.part_J_per_K / wall.u_hidden_share == pytest.approx(whole, rel=0.03), (cup, way)
        assert wall.part_J_per_K <= one.u_constant_J_per_K


def test_runs_of_one_cup_share_the_wall_and_it_does_not_average_away(constants):
    _, found = constants
    for (cup, way), one in found.items():
        results = [run.calibration.constant for run in one.runs]
        own = independent_variances(results)
        for result, left in zip(results, own, strict=True):
            wall = sum(line.contribution for line in result.lines if line.key == wall_key(cup))
            assert left <= result.u**2 - 0.99 * wall**2, (cup, way)
