"""Curves at the edge: finite and honest answers where there is one, a reason where there is none."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from fitting import correct
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.periods import CurveRefused
from tests.cup_in_closed_form import cup_response

RISE, BEFORE = 6.0, 21.0


def cup(k, release, lag, *, t_inf=21.0, fore_s=180.0, after_s=600.0, every=2.0, seed=1, rise=RISE):
    """Closed form of release, loss and lag (checked on its own), with noise of 8 mK."""
    t = np.arange(-fore_s, after_s, every)
    T = np.full(t.size, BEFORE)
    T = np.where(t < 0, t_inf + (BEFORE - t_inf) * np.exp(-k * t), T)
    later = t >= 0
    T[later] = cup_response(t[later], BEFORE, t_inf, k, lag, ((rise, release),))
    T = np.round(T + np.random.default_rng(seed).normal(0.0, 0.008, t.size), 2)
    return Curve.from_arrays(t + fore_s, T)


def corrected(curve, **choices):
    found = correct(curve, **choices)
    for one in found.methods:
        assert math.isfinite(one.rise_K), one.method
        assert math.isfinite(one.u_rise_K), one.method
        assert one.u_rise_K >= 0
    return found.chosen


@pytest.mark.parametrize("k", [0.01, 0.02])
def test_rates_of_loss_release_and_sensor_coincide(k):
    """k = release = 1/lag: nobody can tell them apart, and the uncertainty says so."""
    one = corrected(cup(k, k, 1 / k), mixed_at_s=180.0)
    assert one.u_rise_K > 0.02 * RISE
    assert one.holds(RISE) or not one.admissible


def test_no_loss_at_all():
    one = corrected(cup(0.0, 0.2, 5.0), mixed_at_s=180.0)
    assert one.rise_K == pytest.approx(RISE, abs=3 * one.u_rise_K)
    assert one.u_rise_K < 0.03 * RISE


def test_the_room_is_as_warm_as_the_end():
    """The cup ends at the room's temperature: nothing cools, the loss was on the way up."""
    one = corrected(cup(1e-4, 0.05, 5.0, t_inf=BEFORE + RISE), mixed_at_s=180.0, room_C=27.0)
    assert one.rise_K == pytest.approx(RISE, abs=3 * one.u_rise_K)


def test_no_fore_period_but_a_given_moment():
    """One reading before the mixing is all there is: an answer, and a warning."""
    curve = cup(1e-4, 0.2, 5.0, fore_s=2.0)
    found = correct(curve, mixed_at_s=2.0)
    assert found.chosen.rise_K == pytest.approx(RISE, abs=3.5 * found.chosen.u_rise_K)
    assert any("readings up to the mixing" in text for text in found.warnings)


def test_no_fore_period_and_no_moment_is_refused():
    curve = cup(1e-4, 0.05, 5.0, fore_s=0.0)
    with pytest.raises(CurveRefused) as refused:
        correct(curve)
    assert refused.value.said


def refusal(curve, **choices):
    with pytest.raises(CurveRefused) as refused:
        correct(curve, **choices)
    assert refused.value.said, "nothing is said of what could still be said"
    return str(refused.value)


def test_after_period_too_short_for_any_method():
    curve = cup(1e-4, 0.2, 5.0)
    short = curve.window(0.0, 186.0)
    assert "too short for any method; log for longer" in refusal(short, mixed_at_s=180.0)


def test_sensor_pulled_out_half_way():
    """At 300 s after mixing the sensor hangs in the air of the room."""
    curve = cup(1e-4, 0.2, 5.0)
    out = curve.time_s > 480.0
    T = np.where(out, 20.0 + 7.0 * np.exp(-(curve.time_s - 480.0) / 20.0), curve.temperature_C)
    text = refusal(Curve.from_arrays(curve.time_s, np.round(T, 2)), mixed_at_s=180.0)
    assert "at 482 s" in text or "at 484 s" in text
    assert "sensor was pulled out" in text
    # what was logged until then is corrected by itself
    found = re.search(r"up to (\d+) s alone give a corrected rise of \+([\d.]+) ± ([\d.]+) K", text)
    assert found is not None
    until, rise, u = (float(part) for part in found.groups())
    assert 450 < until <= 480
    assert rise == pytest.approx(RISE, abs=3 * u)


def test_saturated_sensor():
    """The display stops at its highest value."""
    curve = cup(1e-4, 0.2, 5.0)
    T = np.minimum(curve.temperature_C, 25.0)
    text = refusal(Curve.from_arrays(curve.time_s, T), mixed_at_s=180.0)
    assert "25" in text
    assert "at least" in text


def test_gap_over_the_mixing():
    curve = cup(1e-4, 0.2, 5.0)
    keep = (curve.time_s < 150.0) | (curve.time_s > 260.0)
    text = refusal(
        Curve.from_arrays(curve.time_s[keep], curve.temperature_C[keep]), mixed_at_s=180.0
    )
    assert "no readings between" in text
    assert "raw difference" in text


@pytest.mark.parametrize("level", [0.0, 1e-4])
def test_a_curve_without_noise_is_no_saturated_one(level):
    """Closed form without noise, and a slow cup whose display repeats itself for long."""
    t = np.arange(0.0, 900.0, 2.0)
    T = np.where(t < 180, 21.0, 21.0 + 6.0 * np.exp(-level * (t - 180)) * -np.expm1(-(t - 180) / 8))
    found = correct(Curve.from_arrays(t, np.round(T, 1)), mixed_at_s=179.0)
    assert found.chosen.rise_K == pytest.approx(6.0, abs=0.15)


def test_errors_are_curve_errors():
    with pytest.raises(CurveError):
        correct(cup(1e-4, 0.2, 5.0), mixed_at_s=1e6)
