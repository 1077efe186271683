"""Heat loss from a cooling log alone, and what waiting does to hot water."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.calibration import calibrate
from calib.run_model.hot_water import pouring_input, temperature_at_pouring
from calib.run_model.prepared import prepare
from calib.run_model.refusal import RowRefusedError
from calib.run_model.rise import find_rise
from fitting.curve import Curve
from tests.calib.made_tables import fine_instruments, run, table
from tests.calib.test_calibration import calibrated, mixing


def cooling_curve(k=5e-5, room=21.0, start=45.0, noise=0.01, hours=1.0, seed=0):
    t = np.arange(0.0, 3600.0 * hours, 5.0)
    T = (
        room
        + (start - room) * np.exp(-k * t)
        + np.random.default_rng(seed).normal(0, noise, t.size)
    )
    return Curve.from_arrays(t, np.round(T, 2))


def write(curve, path):
    lines = ["time_s,temperature_C"]
    lines += [f"{t:g},{T:.2f}" for t, T in zip(curve.time_s, curve.temperature_C, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def log_row(curve, folder, room=21.0):
    path = write(curve, folder / "cooling.csv")
    return run("c", in_cup="water", in_cup_g=200.0, room_C=room, curve=path.name, curve_path=path)


def rise_of(curve, folder, room=21.0):
    return find_rise(prepare(log_row(curve, folder, room), fine_instruments()), C_app=15.0)


def test_cooling_rate_of_an_exact_exponential(tmp_path):
    """Closed form: the rate that made the curve comes back; the stated u covers what else a cup may
    do (a drifting room, vapour, a wall), so that it is wide for a curve that does none of it."""
    for seed in range(6):
        found = rise_of(cooling_curve(seed=seed), tmp_path, 21.0 + 0.3 * math.sin(seed))
        assert found.cooling_rate_per_s == pytest.approx(5e-5, rel=0.08)
        assert abs(found.cooling_rate_per_s - 5e-5) <= 2 * found.u_cooling_rate_per_s


def test_without_a_room_temperature_it_is_less_certain(tmp_path):
    noted, blind = (rise_of(cooling_curve(), tmp_path, room) for room in (21.0, None))
    assert blind.u_cooling_rate_per_s > 1.5 * noted.u_cooling_rate_per_s
    assert abs(blind.cooling_rate_per_s - 5e-5) < 2 * blind.u_cooling_rate_per_s
    assert any("the room's temperature was not noted" in warning for warning in blind.warnings)


def test_a_hot_open_cup_is_warned_of(tmp_path):
    """It cools faster than an exponential at first: loss k θ + v θ^3.2, by small steps."""
    t = np.arange(0.0, 9000.0, 5.0)
    T, room = [75.0], 21.0
    for _ in t[1:]:
        T.append(T[-1] - 5.0 * (5e-5 * (T[-1] - room) + 4e-9 * (T[-1] - room) ** 3.2))
    found = rise_of(Curve.from_arrays(t, np.round(T, 2)), tmp_path)
    middle = 5e-5 + 4e-9 * (float(np.mean(T)) - room) ** 2.2
    assert abs(found.cooling_rate_per_s - middle) <= 2 * found.u_cooling_rate_per_s
    assert 0.05 < found.u_cooling_rate_per_s / found.cooling_rate_per_s < 0.2
    assert any("the loss grows faster than linearly" in warning for warning in found.warnings)


@pytest.mark.parametrize(
    ("curve", "match"),
    [
        (cooling_curve(hours=0.005), r"log for longer"),
        (cooling_curve(k=1e-9), r"a cooling rate needs some 0.3 K or more: log for longer"),
    ],
)
def test_logs_without_cooling_are_refused(curve, match, tmp_path):
    with pytest.raises(RowRefusedError, match=match) as refused:
        rise_of(curve, tmp_path)
    assert refused.value.problems[0].column == "curve"


def test_a_cooling_log_alone_tells_the_loss(tmp_path):
    row = log_row(cooling_curve(), tmp_path)
    report = calibrate(table(row), instruments=fine_instruments())
    assert report.problems == ()
    (constant,) = report.constants
    assert constant.combined is None
    assert constant.heat_loss_W_per_K == pytest.approx(5e-5 * 200 * 4.18, rel=0.1)
    assert constant.failed_quality == "no constant: cooling logs only"
    facts = report.to_json()
    assert facts["constants"][0]["constant_J_per_K"] is None


def test_a_cooling_log_adds_to_a_mixing_constant(tmp_path):
    row = log_row(cooling_curve(), tmp_path)
    (constant,) = calibrated(mixing("m"), row).constants
    # the loss that the log tells corrects the mixing run's extreme reading, 20 s after the mixing;
    # what a slow wall may still take by then is in the budget
    assert constant.constant_J_per_K == pytest.approx(18.0, abs=2 * constant.u_constant_J_per_K)
    assert constant.u_constant_J_per_K < 6.0
    assert constant.heat_loss_W_per_K == pytest.approx(5e-5 * (200 * 4.18 + 18), rel=0.1)
    assert len(constant.runs) == 2


def test_nothing_added_and_no_curve_is_refused():
    row = run("c", in_cup="water", in_cup_g=200.0, in_cup_C=40.0, extreme_C=35.0)
    (problem,) = calibrated(row).problems
    assert problem.column == "added"


def test_a_wait_that_was_noted_is_taken_off():
    """Newton's law in an open beaker at 0.03 1/min: 51 °C, 20 s, room 21 °C: −0.30 K (C)."""
    row = run("w", added_C=51.0, extra={"added_read_s": "20"})
    one = pouring_input(row, 21.0)
    assert one.value == pytest.approx(30.0 * (math.exp(-0.03 * 20 / 60) - 1.0))
    assert one.u > 0.05
    assert pouring_input(run("w", added_C=51.0, extra={"added_read_s": "0"}), 21.0) is None


def test_a_wait_that_was_not_noted_costs_its_uncertainty():
    one = pouring_input(run("w", added_C=51.0), 21.0)
    assert one.value == 0.0
    assert one.u == pytest.approx(30 * 0.0005 * 5 / math.sqrt(3))
    assert one.key is not None
    assert pouring_input(run("w", added_C=22.0), 21.0) is None
    assert pouring_input(run("w", added_C=51.0, u={"added_C": 0.1}), 21.0) is None


def test_a_wait_in_words_is_refused():
    with pytest.raises(RowRefusedError, match=r"column added_read_s.*'soon'.*0 to 3600"):
        pouring_input(run("w", added_C=51.0, extra={"added_read_s": "soon"}), 21.0)


def test_an_own_log_is_extrapolated_to_the_pouring(tmp_path):
    """An exact exponential: the temperature 30 s after the last reading."""
    beaker = cooling_curve(k=5e-4, start=60.0, hours=0.1)
    end = float(beaker.time_s[-1])
    truth = 21.0 + 39.0 * math.exp(-5e-4 * (end + 30.0))
    found = temperature_at_pouring(beaker, end + 30.0)
    assert found.value == pytest.approx(truth, abs=3 * found.u)
    assert found.u < 0.05
    with pytest.raises(ValueError, match=r"more than 120 s after the log's end$"):
        temperature_at_pouring(beaker, end + 500.0)
    write(beaker, tmp_path / "beaker.csv")
    poured = 21.0 + 39.0 * math.exp(-5e-4 * end)
    row = mixing("a", hot_C=poured)
    import dataclasses

    row = dataclasses.replace(row, added_C=None, extra={"added_curve": "beaker.csv"})
    report = calibrate(
        table(row, path=tmp_path / "t.csv"), instruments=fine_instruments(),
    )  # fmt: skip
    assert report.problems == ()
    sources = [line.source for line in report.runs[0].calibration.constant.lines]
    assert "added liquid's own log, extrapolated to pouring" in sources
    gone = dataclasses.replace(row, extra={"added_curve": "../beaker.csv"})
    report = calibrate(table(gone, path=tmp_path / "t.csv"), instruments=fine_instruments())
    assert report.problems[0].column == "added_curve"
