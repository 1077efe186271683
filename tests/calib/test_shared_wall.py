"""What a wall hides is shared by a cup's constant and its runs: by hand, and by moving every rise.

The cup is two bodies: the content and a wall that keeps the share δ of every change to itself
until it has gone to the room. The rises are made from the balance, without a curve.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from calib.calibration.one_run import CalibrationRun
from calib.calibration.per_cup import combine_cup
from calib.calibration.ways import constant_of_run, way_of
from calib.enthalpies import one_run
from calib.enthalpies.sources import AppliedConstant
from calib.run_model.found_rise import Rise
from calib.run_model.measured import measure
from calib.run_model.prepared import prepare
from calib.uncertainty import monte_carlo
from tests.calib.made_tables import instruments, run

TRUE_J_PER_K = 20.0
U_SHARE = 0.004
KEY = "slow wall:H1"
WAYS = ("mixing", "heater", "reaction")
TOOLS = instruments()
NITRATE = {"in_cup": "HNO3(aq)", "in_cup_mol_per_L": 1.0, "added": "KOH(aq)",
           "added_mol_per_L": 1.0}  # fmt: skip


def row(way, fill_g=200.0, label="r"):
    """A row of some way to a constant, or of a reaction, with a thermometer at 20 °C."""
    half = {"in_cup_g": fill_g / 2, "added_g": fill_g / 2, "added_C": 20.0}
    columns = {
        "mixing": {"in_cup": "water", "added": "water", **half, "added_C": 45.0},
        "heater": {"in_cup": "water", "in_cup_g": fill_g, "heater_V": 10.0, "heater_A": 2.0,
                   "heater_s": 300.0},
        "reaction": {**NITRATE, **half},
    }[way]  # fmt: skip
    return run(label, apparatus="H1", in_cup_C=20.0, room_C=20.0, **columns)


def rise_of(rise_K, hidden=0.0):
    """A rise as found from a log, the share ``hidden`` of it not seen."""
    found = rise_K * (1 - hidden)
    return Rise(found, 1.2 * U_SHARE * abs(found), 20.0, 20.0 + found, "made", True, (),
                u_wall_K=U_SHARE * abs(found), hidden_K=0.002 * abs(found))  # fmt: skip


def calibrated(way, hidden=0.0, fill_g=200.0, runs=3):
    """The cup's constant from several runs of one way whose true constant is ``TRUE_J_PER_K``."""
    made = []
    for number in range(runs):
        prepared = prepare(row(way, fill_g, f"c{number}"), TOOLS)
        true_K = _true_rise(prepared, way)
        measured = measure(prepared, rise_of(true_K, hidden))
        constant, _ = constant_of_run(measured, way)
        made.append(CalibrationRun(prepared.run, way, constant, measured, ()))
    return combine_cup("H1", made)[0]


def _true_rise(prepared, way):
    """The rise that gives back the true constant: C falls with it, so bisection finds it."""
    low, high = 0.5, 24.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        measured = measure(prepared, rise_of(middle))
        value = constant_of_run(measured, way)[0].value
        low, high = (middle, high) if value > TRUE_J_PER_K else (low, middle)
    return low


def enthalpy(monkeypatch, cup, fill_g=200.0, hidden=0.0, wall=True, rise_K=6.0):
    """A reaction in the cup, evaluated with the cup's constant."""
    source = AppliedConstant(
        "H1", cup.constant_J_per_K, cup.u_constant_J_per_K, 1, "constant:H1:1",
        wall_part_J_per_K=cup.wall.part_J_per_K if wall else None,
    )  # fmt: skip
    monkeypatch.setattr(one_run, "find_rise", lambda *_, **__: rise_of(rise_K, hidden))
    given = SimpleNamespace(constant_for=lambda *_: source)
    return one_run.evaluate_run(row("reaction", fill_g), TOOLS, given)


def wall_line(result):
    (line,) = [line for line in result.molar.lines if line.key == KEY]
    return line


def content_J_per_K(result):
    x = {one.name: one.value for one in result.measured.quantities.inputs_used()}
    return float(result.measured.C_mix(x))


@pytest.mark.parametrize("way", WAYS)
def test_the_wall_part_of_a_constant_is_the_share_of_the_whole_heat_capacity(way):
    """dC_app/dδ = C_content + C_app for each way; three runs share it whole."""
    cup = calibrated(way)
    (one, *_) = cup.runs
    measured = one.calibration.measured
    x = {i.name: i.value for i in measured.quantities.inputs_used()}
    content = float(measured.C_mix(x)) if way != "heater" else float(measured.C_1(x))
    assert way_of(measured.prepared) == way
    assert cup.constant_J_per_K == pytest.approx(TRUE_J_PER_K, abs=1e-6)
    assert cup.wall.part_J_per_K == pytest.approx(U_SHARE * (content + TRUE_J_PER_K), rel=2e-3)
    assert cup.wall.u_hidden_share == pytest.approx(U_SHARE)
    assert cup.wall.hidden_share == pytest.approx(0.002)
    assert abs(cup.wall.part_J_per_K) < cup.u_constant_J_per_K
    moved = calibrated_with_the_same_rows(way, 1e-4)
    assert (moved - TRUE_J_PER_K) / 1e-4 == pytest.approx(cup.wall.part_J_per_K / U_SHARE, rel=3e-3)


def calibrated_with_the_same_rows(way, hidden):
    return calibrated(way, hidden).constant_J_per_K


@pytest.mark.parametrize("way", WAYS)
def test_nothing_of_the_wall_is_left_at_a_like_fill_and_a_known_part_at_another(monkeypatch, way):
    """By hand: the heat moves by r u_ε (C_run − C_cal) with C the whole heat capacities."""
    cup = calibrated(way)
    calibrated_J_per_K = cup.wall.part_J_per_K / U_SHARE
    first = enthalpy(monkeypatch, cup)
    like_g = 200.0 * (calibrated_J_per_K - cup.constant_J_per_K) / content_J_per_K(first)
    like = enthalpy(monkeypatch, cup, like_g)
    alone = enthalpy(monkeypatch, cup, like_g, wall=False)
    assert abs(wall_line(like).contribution) < 0.005 * abs(wall_line(alone).contribution)
    assert like.molar.u < 0.95 * alone.molar.u
    double = enthalpy(monkeypatch, cup, 2 * like_g)
    x = {one.name: one.value for one in double.measured.quantities.inputs_used()}
    off = content_J_per_K(double) + cup.constant_J_per_K - calibrated_J_per_K
    by_hand = -6.0 * U_SHARE * off / double.measured.extent_mol(x) / 1000
    assert wall_line(double).contribution == pytest.approx(by_hand, rel=1e-3)
    assert "shared by its constant and its run" in wall_line(double).source


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("fill_g", [130.0, 200.0, 400.0])
def test_moving_every_rise_moves_the_enthalpy_by_what_the_budget_says(monkeypatch, way, fill_g):
    """All curves of the cup, calibration and run, hide one u more than was allowed for."""
    part = 0.05  # of u: the step of a derivative
    cup = calibrated(way)
    before = enthalpy(monkeypatch, cup, fill_g)
    hid = part * U_SHARE
    after = enthalpy(monkeypatch, calibrated(way, hid), fill_g, hidden=hid)
    moved = (after.molar.value - before.molar.value) / part
    whole = abs(6.0 * U_SHARE * content_J_per_K(before) / 1000 / 0.05)
    assert moved == pytest.approx(-wall_line(before).contribution, abs=2e-3 * whole)


def test_monte_carlo_and_a_falling_temperature_cancel_it_too(monkeypatch):
    cup = calibrated("mixing")
    for rise_K in (6.0, -6.0):
        result = enthalpy(monkeypatch, cup, rise_K=rise_K)
        m = result.measured

        def dH(x, m=m):
            return -m.heat_J(x, m.C_cup(x)) / m.extent_mol(x) / 1000

        drawn = monte_carlo(dH, m.quantities.inputs_used())
        assert drawn.u == pytest.approx(result.molar.u, rel=0.03)
        assert abs(wall_line(result).contribution) < 0.05 * result.molar.u


def test_a_constant_whose_wall_part_is_not_known_stays_independent(monkeypatch):
    cup = calibrated("mixing")
    result = enthalpy(monkeypatch, cup, wall=False)
    own, wall = (
        next(one for one in result.measured.quantities.inputs_used() if one.name == name)
        for name in ("constant", "wall loss")
    )
    assert own.u == cup.u_constant_J_per_K
    assert wall.source == "loss through the cup's slow wall"
    total = math.fsum(line.contribution**2 for line in result.molar.lines)
    assert result.molar.u**2 == pytest.approx(total)


def test_the_cup_s_constant_as_reported_stays_whole(monkeypatch):
    cup = calibrated("mixing")
    inputs = {one.name: one for one in enthalpy(monkeypatch, cup).measured.quantities.inputs_used()}
    assert math.hypot(inputs["constant"].u, cup.wall.part_J_per_K) == pytest.approx(
        cup.u_constant_J_per_K
    )
    assert cup.to_json()["u_constant_J_per_K"] == cup.u_constant_J_per_K
    assert replace(cup, wall=None).to_json()["shared_with_runs"] is None
