"""One file, two commands, one answer.

Whatever is asked twice is answered once: the heat loss of a cooling log by ``cooldown`` and by
``calibrate``, the rise of a curve by ``correct`` and by the tables' commands, and the value in use
by every scan of what it rests on. The files are the invented ones of ``sample_runs``.
"""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from calib import balance
from calib.calibration.one_run import run_calibration
from calib.enthalpies.one_run import evaluate_run
from calib.enthalpies.sources import FixedConstants
from calib.jobs.calibrating import calibrate_table
from calib.jobs.cooling_down import cool_down
from calib.jobs.correcting import correct_file
from calib.jobs.known_loss import KnownLoss
from calib.jobs.vessels import told_kinds
from calib.registry import open_registry
from calib.run_model.prepared import prepare
from calib.run_model.shared_wall import CupsShare
from calib.runs.instruments import Instruments
from calib.runs.reader import read_table
from fitting import correct
from fitting.checks import stability
from fitting.corrections.choice import correct_known
from fitting.cup.circumstances import Circumstances
from fitting.extreme.courses import Courses, responses
from tests.benchmarks.coverage import IN_A_FLASK, logged, simulated

SAMPLES = Path(__file__).parents[2] / "sample_runs"
FILL_G, ROOM_C = 210.0, 21.0


# --- a cooling log -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def registry(tmp_path_factory):
    """Cup P1 with the constant of its sample calibrations, approved."""
    folder = tmp_path_factory.mktemp("agreement")
    place = str(folder / "registry.sqlite")
    with open_registry(place) as store:
        store.register("P1", "double foam cup, foam lid")
    with (SAMPLES / "calibrations.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    mine = [
        row | {"curve": str(SAMPLES / row["curve"])} for row in rows if row["apparatus"] == "P1"
    ]
    (folder / "curves").mkdir()
    for row in mine:
        name = Path(row["curve"]).name
        (folder / "curves" / name).write_bytes(Path(row["curve"]).read_bytes())
        row["curve"] = f"curves/{name}"
    path = folder / "P1.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, list(rows[0]))
        table.writeheader()
        table.writerows(mine)
    calibrate_table(path, registry=place, approve=True)
    return place


def cooling_table(folder, room):
    """A table whose only row is the sample log of a cup that cools."""
    log = folder / "cooling_P1.csv"
    log.write_bytes((SAMPLES / "curves" / "cooling_P1.csv").read_bytes())
    path = folder / "cool.csv"
    path.write_text(
        "run,apparatus,date,in_cup,in_cup_g,curve,room_C\n"
        f"c,P1,2026-10-01,water,{FILL_G},{log.name},{'' if room is None else room}\n",
        encoding="utf-8",
    )
    return path, log


@pytest.mark.parametrize("room", [ROOM_C, None])
def test_calibrate_stores_what_cooldown_says(registry, tmp_path, room):
    """k ± u to the last digit; G ± u with the heat capacity that each works out for itself."""
    path, log = cooling_table(tmp_path, room)
    (run,) = read_table(path).rows
    u_room = 0.5 if room is None else Instruments.default().u("room_C", room, run).u
    said = cool_down(
        log, apparatus="P1", fill_g=FILL_G, registry=registry, room_C=room, u_room_K=u_room
    )
    facts = calibrate_table(path, registry=registry)
    (stored,), (row,) = facts["constants"], facts["runs"]
    assert row["cooling_rate_per_s"] == pytest.approx(said.log.rate_per_s, rel=1e-9)
    assert row["u_cooling_rate_per_s"] == pytest.approx(said.log.u_rate_per_s, rel=1e-9)
    assert stored["heat_loss_W_per_K"] == pytest.approx(said.log.conductance_W_per_K, rel=1e-3)
    assert stored["u_heat_loss_W_per_K"] == pytest.approx(said.log.u_conductance_W_per_K, rel=0.01)
    for warning in said.warnings:
        assert any(warning in text for text in stored["warnings"])
    assert any("room's temperature was not noted" in w for w in said.warnings) == (room is None)


def test_the_rooms_default_uncertainty_moves_little(registry, tmp_path):
    """A table's room carries its thermometer as well as the half kelvin that `cooldown` assumes."""
    path, log = cooling_table(tmp_path, ROOM_C)
    said = cool_down(log, apparatus="P1", fill_g=FILL_G, registry=registry, room_C=ROOM_C)
    (stored,) = calibrate_table(path, registry=registry)["constants"]
    u = said.log.u_conductance_W_per_K
    assert abs(stored["heat_loss_W_per_K"] - said.log.conductance_W_per_K) < 0.2 * u
    assert stored["u_heat_loss_W_per_K"] == pytest.approx(u, rel=0.15)


# --- a mixing curve ------------------------------------------------------------------------------


def rows_of(name, registry):
    with open_registry(registry, create=False) as store:
        return told_kinds(read_table(SAMPLES / name), store).rows


@pytest.mark.parametrize("constant", [15.0, 60.0])
def test_calibrate_corrects_as_correct_does(registry, constant):
    """The circumstances worked out by hand: two portions of water, c_p from their masses."""
    tools = Instruments.default()
    run = next(one for one in rows_of("calibrations.csv", registry) if one.apparatus == "P1")
    by_table = run_calibration(run, tools, C_app=constant).rise
    prepared = prepare(run, tools)
    start = by_table.corrected.named("extreme").before_C
    before, after = prepared.heat_capacity_before(start), prepared.heat_capacity_after(start, start)
    assert after / before == pytest.approx((run.in_cup_g + run.added_g) / run.in_cup_g, rel=1e-3)
    alone = correct_file(
        run.curve_path,
        known=Circumstances(
            mixed_at_s=run.mixed_at_s, u_mixed_at_s=1.2, room_C=run.room_C,
            capacity_ratio=(before + constant) / (after + constant), vessel="cup", lid="closed",
            u_room_K=tools.u("room_C", run.room_C, run).u,
        ),
    ).corrected.chosen  # fmt: skip
    assert by_table.rise_K == pytest.approx(alone.rise_K, abs=0.01 * alone.u_rise_K)
    assert by_table.u_own_K == pytest.approx(alone.u_rise_K, rel=0.01)


def test_enthalpy_corrects_as_correct_does_with_the_cups_loss(registry):
    """k = G/C and its u by hand, u of G, content and cup together."""
    tools = Instruments.default()
    run = next(one for one in rows_of("class_curves.csv", registry) if one.mixed_at_s is not None)
    name = run.apparatus
    cup = FixedConstants({name: (15.0, 2.0)}, {name: (0.035, 0.003)})
    by_table = evaluate_run(run, tools, cup).measured.rise
    prepared = prepare(run, tools)
    start = by_table.corrected.named("extreme").before_C
    content = prepared.heat_capacity_after(start, start)
    specific = prepared.contents.specific_heat(start, start)
    u_C = math.hypot(content * specific.u / specific.value, 2.0)
    k = 0.035 / (content + 15.0)
    assert balance.cooling_rate_per_s(0.035, content, 15.0) == pytest.approx(k)
    given = run.u.get("mixed_at_s")
    alone = correct_file(
        run.curve_path,
        known=Circumstances(
            mixed_at_s=run.mixed_at_s, u_mixed_at_s=1.2 if given is None else given,
            room_C=run.room_C,
            u_room_K=0.5 if run.room_C is None else tools.u("room_C", run.room_C, run).u,
            capacity_ratio=(prepared.heat_capacity_before(start) + 15.0) / (content + 15.0),
            rate_per_s=k, u_rate_per_s=k * math.hypot(0.003 / 0.035, u_C / (content + 15.0)),
            vessel=run.vessel, lid=run.lid,
        ),
    ).corrected  # fmt: skip
    assert by_table.rise_K == pytest.approx(alone.chosen.rise_K, abs=0.01 * alone.chosen.u_rise_K)
    assert by_table.u_own_K == pytest.approx(alone.chosen.u_rise_K, rel=0.01)
    assert by_table.corrected.known.expected_rate == pytest.approx(alone.known.expected_rate)


def test_a_registered_cup_tells_correct_what_it_tells_a_table(registry):
    """Vessel and lid from the kind's words; an option that was given stays."""
    run = next(one for one in rows_of("calibrations.csv", registry) if one.apparatus == "P1")
    with open_registry(registry, create=False) as store:
        stored = store.constant_for("P1", date.today())
    for lid in (None, "open"):
        told = correct_file(
            run.curve_path, known=Circumstances(mixed_at_s=run.mixed_at_s, lid=lid),
            apparatus="P1", registry=registry,
            release={"heat_capacity_J_per_K": 850.0, "u_heat_capacity_J_per_K": 5.0},
        ).corrected.known  # fmt: skip
        assert (told.vessel, told.lid) == (run.vessel, lid or run.lid) == ("cup", lid or "closed")
        assert told.rate_per_s == pytest.approx(stored.heat_loss_W_per_K / 850.0)


# --- scans of what a rise rests on ---------------------------------------------------------------


def asked_with_everything(curve, run, *, given, vessel, method=None):
    """A correction that is told all there is to tell."""
    return correct(
        curve, capacity_ratio=run.capacity_ratio, vessel=vessel, lid="closed", method=method,
        mixed_at_s=run.mixed_at_s if given else None, u_mixed_at_s=1.0 if given else 0.0,
        room_C=round(run.room_C, 1), u_room_K=0.3,
        prior_rate_per_s=1.1 * run.true_rate_per_s, u_prior_rate_per_s=0.1 * run.true_rate_per_s,
    )  # fmt: skip


def in_use(corrected):
    return corrected.chosen.rise_K, corrected.chosen.u_rise_K


@pytest.mark.parametrize("given", [True, False], ids=["noted", "found"])
@pytest.mark.parametrize("vessel", ["cup", "flask", None])
@pytest.mark.parametrize("family", ["fast", "slow"])
def test_every_scan_passes_through_the_value_in_use(family, vessel, given):
    """Rise and u, computed anew with nothing changed, and as the scans hold them."""
    run = simulated(family + (IN_A_FLASK if vessel == "flask" else ""), 70_003)
    curve = logged(run, "own", 0.01)
    found = asked_with_everything(curve, run, given=given, vessel=vessel)
    assert stability._Tried(curve, found).rise() == pytest.approx(in_use(found), abs=1e-9)
    for scan in stability.scan_stability(curve, found).scans:
        at = scan.values.index(scan.used)
        assert (scan.rise_K[at], scan.u_rise_K[at]) == pytest.approx(in_use(found), abs=1e-9)


@pytest.mark.parametrize(
    ("vessel", "method"), [("cup", None), ("flask", None), ("cup", "exponential")]
)
def test_a_scan_answers_as_if_the_command_were_asked_with_that_choice(vessel, method):
    """Another moment of mixing, told: the same rise ± u, with all else that was told."""
    run = simulated("slow" + (IN_A_FLASK if vessel == "flask" else ""), 70_001)
    curve = logged(run, "own", 0.01)
    found = asked_with_everything(curve, run, given=True, vessel=vessel, method=method)
    moments = stability.scan_stability(curve, found).scans[0]
    assert len(moments.values) >= 3
    for shift, *answer in zip(moments.values, moments.rise_K, moments.u_rise_K, strict=True):
        told = replace(found.known, mixed_at_s=run.mixed_at_s + shift)
        asked = correct_known(curve, told, found.chosen.method)
        assert tuple(answer) == pytest.approx(in_use(asked), abs=1e-9)


def test_a_flask_scanned_as_a_cup_would_be_seen():
    """What the tests above hold against: told of a cup, the same curve gives another rise."""
    run = simulated("fast" + IN_A_FLASK, 70_003)
    curve = logged(run, "own", 0.01)
    flask = asked_with_everything(curve, run, given=True, vessel="flask")
    cup = replace(flask, known=replace(flask.known, vessel="cup"))
    apart = abs(stability._Tried(curve, cup).rise()[0] - flask.chosen.rise_K)
    assert apart > 1e-3  # a million times the tolerance above


def test_a_run_takes_off_what_its_cups_calibration_found():
    """The share of the calibration at the run's heat capacity, whichever command asks for it."""
    share = CupsShare.of(0.003, 0.001, 0.5)
    assert share is not None
    assert share.capacity_J_per_K == pytest.approx(500.0)
    assert share.at(250.0) == pytest.approx((0.006, 0.002))
    assert CupsShare.of(None, 0.001, 0.5) is None
    assert CupsShare.of(0.003, 0.0, 0.5) is None
    run = simulated("fast", 70_004)
    curve = logged(run, "own", 0.01)
    plain = Circumstances(
        mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio, room_C=round(run.room_C, 1)
    )
    loss = KnownLoss("P1", 1, 0.05, 0.01, 500.0, 5.0, hidden=share)
    told = loss.added_to(plain)
    assert (told.hidden_share, told.u_hidden_share) == pytest.approx((0.003, 0.001))
    same = replace(plain, rate_per_s=told.rate_per_s, u_rate_per_s=told.u_rate_per_s)
    own, cups = correct_known(curve, same).chosen, correct_known(curve, told).chosen
    assert own.hidden_K is not None
    assert cups.hidden_K is not None
    assert cups.rise_K + cups.hidden_K[0] == pytest.approx(own.rise_K + own.hidden_K[0], abs=1e-9)
    assert cups.hidden_K[1] / abs(cups.rise_K) == pytest.approx(0.001, rel=0.02)


@pytest.mark.parametrize("rate", [5e-5, 2e-4, 5e-4])
@pytest.mark.parametrize(("share", "time_s", "through"), [(0.01, 6.0, 0.6), (0.02, 40.0, 0.4)])
def test_an_extreme_readings_courses_hide_what_the_curves_engine_says(rate, share, time_s, through):
    """The courses of a cup that nobody logged, put through Newton's integral as a log would be,
    come out too large by the share that `fitting.newton.walls` says a wall hides: one wall, one
    loss, in two forms (to first order in the wall's share of the heat capacity)."""
    one = np.ones(1)
    quick = 50.0 * one  # release and sensor: at once
    course = Courses(
        quick, quick, 0 * one, share * one, time_s * one, through * one, quick, one, one, 0 * one,
        0 * one,
    )  # fmt: skip
    since = np.concatenate([np.linspace(0.0, 60.0, 3001), np.linspace(60.5, 2400.0, 4000)])
    reading = responses(course, rate, since)[0][0]
    late = -math.log(reading[-1] / reading[-400]) / (since[-1] - since[-400])
    integral = float(np.sum(np.diff(since) * (reading[1:] + reading[:-1]) / 2))
    gamma = 1 / (1 + through * rate * time_s / share)
    hidden = share * (1 - gamma**2)
    assert reading[-1] + late * integral - 1 == pytest.approx(hidden, rel=0.03)
