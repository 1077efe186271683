"""Isolated wrong readings are set aside, honest ones never."""

from __future__ import annotations

import numpy as np
import pytest

from fitting.checks.glitches import isolated, leave_out, said, without_glitches
from fitting.corrections import correct
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.files.curve_files import read_curve
from fitting.periods import CurveRefused
from tests.fitting.checks.own_logs import logs

HONEST = {
    "usual": {},
    "coarse displays and rare readings": {
        "samples": (1.0, 10.0, 30.0), "steps": (0.0625, 0.1, 0.5),
    },
    "10 Hz": {"samples": (0.1,), "lasts_s": 200.0},
    "overshoot, quick sensor": {"slug": 1.0, "lag_s": (0.5, 3.0), "samples": (1.0, 5.0, 10.0)},
    "hot metal": {"rise_K": (20.0, 50.0), "slug": 1.0, "lag_s": (0.5, 3.0)},
    "noise with a long memory": {"memory": 0.97, "noise_K": (0.01, 0.2)},
}  # fmt: skip


@pytest.mark.parametrize("name", HONEST)
def test_no_reading_of_an_honest_log_is_set_aside(name):
    for log in logs(abs(hash_of(name)), 80, **HONEST[name]):
        assert not isolated(log.curve).any()


def hash_of(name: str) -> int:
    """A seed for a name, the same in every run."""
    return sum(ord(letter) * (i + 1) for i, letter in enumerate(name))


def planted(rng, log, size_K, *, in_a_row):
    """Indices and readings with one to four wrong ones, away from the jump."""
    s, n = log.curve.time_s - log.mixed_at_s, len(log.curve)
    calm = np.flatnonzero((s < -6 * log.sampled_s) | (s > 200))
    calm = calm[(calm > 2) & (calm < n - 7)]
    count = int(rng.integers(1, 5))
    if in_a_row:
        first = int(rng.choice(calm[calm + count < n - 3]))
        at = np.arange(first, first + count)
    else:
        at = np.sort(rng.choice(calm, count, replace=False))
    y = log.curve.temperature_C.copy()
    y[at] += rng.choice([-1, 1]) * size_K
    return at, Curve(log.curve.time_s, y, log.curve.resolution_K)


@pytest.mark.parametrize("in_a_row", [True, False])
def test_what_was_planted_is_found_and_nothing_else(in_a_row):
    """2 K off: all of it; 20 times the noise: all where the drift does not hide it."""
    rng = np.random.default_rng(3)
    drawn = logs(31, 150, loss_per_s=(5e-5, 3e-4), slow_s=(8.0, 30.0), samples=(1.0, 2.0))
    missed = 0
    for log in drawn:
        noise = float(np.hypot(log.noise_K, log.curve.resolution_K / np.sqrt(12)))
        for size in (2.0, 20 * noise):
            at, curve = planted(rng, log, size, in_a_row=in_a_row)
            found = set(np.flatnonzero(isolated(curve)).tolist())
            assert found <= set(at.tolist())
            missed += len(set(at.tolist()) - found) if size < 2 else 0
            assert size < 2 or 10 * noise > 2 or found == set(at.tolist())
    assert missed <= 0.03 * 150 * 2.5


@pytest.mark.parametrize("value", [85.0, 850.0, -127.0, 0.0])
@pytest.mark.parametrize("place", ["fore", "jump", "after", "first", "last"])
def test_a_sensors_empty_value_costs_nothing(value, place):
    log = logs(5, 1, release=("quick",), ratios=(1.0,), noise_K=(0.01, 0.01), samples=(1.0,))[0]
    at = {
        "fore": 20, "jump": int(log.mixed_at_s) + 8, "after": 400, "first": 0, "last": -1,
    }[place]  # fmt: skip
    y = log.curve.temperature_C.copy()
    y[at] = value
    curve = Curve(log.curve.time_s, y, log.curve.resolution_K)
    found = correct(curve, mixed_at_s=log.mixed_at_s)
    clean = correct(log.curve, mixed_at_s=log.mixed_at_s)
    assert [(one.time_s, one.temperature_C) for one in found.left_out] == [
        (float(curve.time_s[at]), value)
    ]
    assert abs(found.chosen.rise_K - clean.chosen.rise_K) < 0.3 * clean.chosen.u_rise_K
    assert f"{value:g} °C at {curve.time_s[at]:g} s" in found.warnings[0]
    assert clean.left_out == ()


def test_a_lone_reading_before_the_mixing_is_kept():
    curve = Curve.from_arrays(np.arange(30.0), np.r_[20.0, 27.0 - 0.01 * np.arange(29.0)])
    assert not isolated(curve).any()


def test_a_bad_contact_is_refused():
    log = logs(7, 1, samples=(1.0,))[0]
    y = log.curve.temperature_C.copy()
    y[5::9] = 0.0
    with pytest.raises(CurveRefused, match="the sensor's contact is bad"):
        without_glitches(Curve(log.curve.time_s, y, 0.01))


def test_sifting_twice_finds_nothing_more():
    rng = np.random.default_rng(8)
    for log in logs(81, 30):
        once = without_glitches(planted(rng, log, 3.0, in_a_row=False)[1])
        assert without_glitches(once) is once


def test_left_out_by_hand():
    curve = Curve.from_arrays(np.arange(20.0), 20 + 0.1 * np.arange(20.0))
    kept = leave_out(curve, ((3.0, 5.0), (9.0, 9.0)))
    assert len(kept) == 16
    assert [one.time_s for one in kept.left_out] == [3.0, 4.0, 5.0, 9.0]
    assert said(kept)[0].startswith("4 readings were set aside, all others are used: 20.3")
    assert leave_out(curve, ()) is curve
    for spans in (((50.0, 60.0),), ((5.0, 3.0),), ((np.nan, 3.0),)):
        with pytest.raises(CurveError, match="no reading lies between"):
            leave_out(curve, spans)
    with pytest.raises(CurveError, match="fewer than three"):
        leave_out(curve, ((0.0, 18.0),))


def test_a_cell_that_no_cup_can_have_is_named_with_its_line(tmp_path):
    lines = ["time_s,T (°C)", *(f"{i},{20 + 0.01 * i:.2f}" for i in range(40))]
    lines[12] = "11,850"
    file = tmp_path / "c.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    curve = read_curve(file)
    assert len(curve) == 39
    assert curve.resolution_K == 0.01
    assert [(one.time_s, one.temperature_C) for one in curve.left_out] == [(11.0, 850.0)]
    assert curve.left_out[0].why == "line 13: no cup of liquid is outside −80 to 200 °C"
    assert any("1 reading that no cup of liquid can have set aside" in g for g in curve.guesses)
    for i in range(2, 9):
        lines[i] = f"{i - 1},-127"
    file.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(CurveError, match="8 of 40 readings are outside"):
        read_curve(file)
