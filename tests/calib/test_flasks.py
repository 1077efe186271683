"""A flask's constant, through its registered kind and whole logged curves."""

from __future__ import annotations

import numpy as np
import pytest

from calib.runs.kind_words import lid_of_kind, vessel_of_kind
from fitting.practice.simulated_cup import Experiment, Room, Sensor, draw_flask, simulate

SENSOR = Sensor(lag_s=6.0, noise_K=0.006, step_K=0.01, wander_K=0.002)


@pytest.mark.parametrize(
    ("kind", "vessel"),
    [
        ("vacuum flask, 500 mL", "flask"), ("Steel FLASK with stopper", "flask"),
        ("double foam cup, foam lid", "cup"), ("conical flask in a foam jacket", None),
        ("metal can", "metal"), ("", None),
    ],
)  # fmt: skip
def test_a_kind_tells_the_vessel(kind, vessel):
    assert vessel_of_kind(kind) == vessel


@pytest.mark.parametrize(
    ("kind", "lid"),
    [
        ("double foam cup, foam lid", "closed"), ("foam cup, lid with a hole for the probe", "hole"),
        ("foam cup, LID WITH TWO HOLES", "hole"), ("foam cup, no lid", "open"),
        ("foam cup without a lid", "open"), ("open foam cup", "open"), ("paper cup, uncovered", "open"),
        ("vacuum flask, stopper", "closed"), ("open-cell foam cup", None), ("double foam cup", None),
        ("closed-cell foam cup", None), ("foam cup, lid with an opening", "hole"), ("", None),
    ],
)  # fmt: skip
def test_a_kind_tells_the_lid(kind, lid):
    assert lid_of_kind(kind) == lid


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Four mixing runs with curves in one simulated flask."""
    folder, rng = tmp_path_factory.mktemp("flask"), np.random.default_rng(21)
    flask = draw_flask(rng)
    lines = ["run,apparatus,date,in_cup,added,in_cup_g,added_g,added_C,curve,mixed_at_s,room_C"]
    for i in range(4):
        cold, hot, hot_C = 150 + rng.normal(), 150 + rng.normal(), 50 + rng.normal()
        e = Experiment(
            cup=flask, room=Room(21.0, 1e-4, 0.1), sensor=SENSOR, in_cup_J_per_K=cold * 4.1803,
            in_cup_C=21.2, added_J_per_K=hot * 4.1796, added_C=hot_C, heat_J=0.0, after_s=600.0,
        )  # fmt: skip
        made = simulate(e, rng)
        rows = [f"{t:g},{T:.2f}" for t, T in zip(made.time_s, made.temperature_C, strict=True)]
        path = folder / f"mix{i}.csv"
        path.write_text("\n".join(["time_s,temperature_C", *rows]) + "\n", encoding="utf-8")
        lines.append(
            f"m{i},F1,2026-10-0{i + 1},water,water,{cold:.2f},{hot:.2f},{hot_C:.2f},{path.name},"
            f"{made.mixed_at_s:g},{made.room_C:.1f}"
        )
    table = folder / "flask.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return flask, table


def test_the_constant_of_a_flask(bench, tmp_path):
    """Glass included; taken for a foam cup it would be some tens of J/K too small."""
    from calib.jobs.calibrating import calibrate_table
    from calib.registry import open_registry

    flask, table = bench
    place = str(tmp_path / "registry.sqlite")
    with open_registry(place) as store:
        store.register("F1", "vacuum flask, 500 mL")
    facts = calibrate_table(table, registry=place)
    (constant,) = facts["constants"]
    low, high = constant["interval95_J_per_K"]
    assert low < flask.constant_J_per_K < high
    assert constant["constant_J_per_K"] == pytest.approx(flask.constant_J_per_K, rel=0.12)
