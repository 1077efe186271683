"""Heat loss from a cooling log alone, and what waiting does to hot water."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.calibration import calibrate
from calib.errors import CurveError
from calib.run_model.cooling import fit_cooling
from calib.run_model.hot_water import pouring_input, temperature_at_pouring
from calib.run_model.refusal import RowRefusedError
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


def test_cooling_rate_of_an_exact_exponential():
    """Closed form: the rate that made the curve comes back, within its interval in 95 % of cases."""
    hits = 0
    for seed in range(40):
        fit = fit_cooling(cooling_curve(seed=seed), 21.0 + 0.3 * math.sin(seed))
        hits += abs(fit.rate_per_s - 5e-5) <= 2 * fit.u_rate_per_s
        assert fit.rate_per_s == pytest.approx(5e-5, rel=0.15)
    assert hits >= 34


def test_without_a_room_temperature_it_is_less_certain():
    with_room = fit_cooling(cooling_curve(), 21.0)
    without = fit_cooling(cooling_curve(), None)
    assert without.u_rate_per_s > with_room.u_rate_per_s
    assert abs(without.rate_per_s - 5e-5) < 3 * without.u_rate_per_s


def test_vapour_is_seen_as_a_misfit():
    """A hot, open cup cools faster than an exponential at first."""
    t = np.arange(0.0, 9000.0, 5.0)
    T, room = [75.0], 21.0
    for _ in t[1:]:
        T.append(T[-1] - 5.0 * (5e-5 * (T[-1] - room) + 4e-9 * (T[-1] - room) ** 3.2))
    fit = fit_cooling(Curve.from_arrays(t, np.round(T, 2)), room)
    local = [5e-5 + 4e-9 * (x - room) ** 2.2 for x in (T[0], T[-1])]
    assert local[1] < fit.rate_per_s < local[0]
    assert fit.halves[0] > 1.1 * fit.halves[1]
    assert any("the room's 21.0 °C: vapour" in warning for warning in fit.warnings)
    assert any("vapour or a slow wall; log nearer" in warning for warning in fit.warnings)
    assert fit.u_rate_per_s > 0.03 * fit.rate_per_s


@pytest.mark.parametrize(
    ("curve", "match"),
    [
        (Curve.from_arrays(range(5), [30.0, 29.9, 29.8, 29.7, 29.6]), r"5 readings are too few"),
        (cooling_curve(k=1e-9), r"too little for a cooling rate; log for longer, or start"),
    ],
)
def test_logs_without_cooling_are_refused(curve, match):
    with pytest.raises(CurveError, match=match):
        fit_cooling(curve, 21.0)


def write(curve, path):
    lines = ["time_s,temperature_C"]
    lines += [f"{t:g},{T:.2f}" for t, T in zip(curve.time_s, curve.temperature_C, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_cooling_log_alone_tells_the_loss(tmp_path):
    path = write(cooling_curve(), tmp_path / "cooling.csv")
    row = run("c", in_cup="water", in_cup_g=200.0, room_C=21.0, curve=path.name, curve_path=path)
    report = calibrate(table(row), instruments=fine_instruments())
    assert report.problems == ()
    (constant,) = report.constants
    assert constant.combined is None
    assert constant.heat_loss_W_per_K == pytest.approx(5e-5 * 200 * 4.18, rel=0.1)
    assert constant.failed_quality == "no constant: cooling logs only"
    facts = report.to_json()
    assert facts["constants"][0]["constant_J_per_K"] is None


def test_a_cooling_log_adds_to_a_mixing_constant(tmp_path):
    path = write(cooling_curve(), tmp_path / "cooling.csv")
    row = run("c", in_cup="water", in_cup_g=200.0, room_C=21.0, curve=path.name, curve_path=path)
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
