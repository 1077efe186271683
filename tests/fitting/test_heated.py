"""An electrically heated cup: closed form of Newton's law under constant power."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitting.cup.circumstances import Circumstances
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.newton.heated import heated_rise


def heated_curve(
    *, C=854.3, G=0.04, watt=18.0, on=180.0, heated=400.0, room=21.0, start=21.0, after=900.0,
    lag=0.0, noise=0.005, step=0.01, seed=0,
):  # fmt: skip
    """C dT/dt = P − G (T − T_room), solved exactly before, during and after the heating; a sensor
    that lags shows the temperature ``lag`` seconds ago (exact for the slow parts of the curve)."""
    t = np.arange(0.0, on + heated + after, 2.0)
    k, hot, at = G / C, room + watt / G, np.maximum(t - lag, 0.0)
    at_on = room + (start - room) * np.exp(-k * on)
    at_off = hot + (at_on - hot) * np.exp(-k * heated)
    T = np.select(
        [at < on, at < on + heated],
        [
            room + (start - room) * np.exp(-k * at),
            hot + (at_on - hot) * np.exp(-k * (at - on)),
        ],
        room + (at_off - room) * np.exp(-k * (at - on - heated)),
    )
    shown = T + np.random.default_rng(seed).normal(0.0, noise, t.size)
    curve = Curve.from_arrays(t, np.round(shown / step) * step if step else shown)
    return curve, watt * heated / C, k


@pytest.mark.parametrize(
    "course",
    [
        {},
        {"heated": 100.0, "watt": 30.0},
        {"heated": 600.0, "start": 19.0},
        {"start": 24.0},
        {"lag": 8.0},
        {"G": 0.08},
        {"step": 0.1, "noise": 0.02},
    ],
)
@pytest.mark.parametrize("noted", [True, False])
def test_the_exact_solution_comes_back(course, noted):
    hits = 0
    for seed in range(4):
        curve, rise, k = heated_curve(seed=seed, **course)
        known = Circumstances(mixed_at_s=180.0 if noted else None, room_C=21.0)
        found = heated_rise(curve, course.get("heated", 400.0), known)
        assert found.rise_K == pytest.approx(rise, rel=0.004)
        assert found.cooling_rate_per_s == pytest.approx(k, abs=3.5 * found.u_cooling_rate_per_s)
        hits += abs(found.rise_K - rise) <= 2.0 * found.u_rise_K
        assert found.u_rise_K < 0.004 * rise + 0.02
        if not noted:
            assert found.on_s == pytest.approx(180.0 + course.get("lag", 0.0), abs=6.0)
            assert "found to begin at" in found.warnings[0]
    assert hits >= 3


def test_without_the_room_the_rate_is_less_certain():
    curve, rise, _ = heated_curve()
    known, unknown = (
        heated_rise(curve, 400.0, Circumstances(mixed_at_s=180.0, room_C=r)) for r in (21.0, None)
    )
    assert unknown.u_rise_K >= known.u_rise_K
    assert unknown.rise_K == pytest.approx(rise, abs=3 * unknown.u_rise_K)


def test_a_known_loss_helps_a_short_log():
    curve, rise, k = heated_curve(after=150.0)
    known = Circumstances(mixed_at_s=180.0, room_C=21.0)
    plain = heated_rise(curve, 400.0, known)
    helped = heated_rise(curve, 400.0, replace(known, rate_per_s=k, u_rate_per_s=0.03 * k))
    assert helped.u_rise_K < 0.7 * plain.u_rise_K
    assert helped.rise_K == pytest.approx(rise, abs=3 * helped.u_rise_K)


def test_a_wrong_duration_is_seen():
    curve, *_ = heated_curve()
    found = heated_rise(curve, 250.0, Circumstances(mixed_at_s=180.0, room_C=21.0))
    assert any("does not look like 250 s of heating" in w for w in found.warnings)


@pytest.mark.parametrize(
    ("heated", "on", "match"),
    [
        (1300.0, 180.0, r"0 s after the heater went off at 1480 s; at least 90 s are needed"),
        (1400.0, None, r"cannot hold 1400 s of heating with readings before it and 90 s after it"),
        (400.0, 4.0, r"only 2 readings before the heating at 4 s; at least 5 are needed"),
    ],
)
def test_logs_that_cannot_do_are_refused(heated, on, match):
    curve, *_ = heated_curve()
    with pytest.raises(CurveError, match=match):
        heated_rise(curve, heated, Circumstances(mixed_at_s=on))
