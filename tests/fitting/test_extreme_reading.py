"""The extreme reading with a known cooling rate: closed-form limits and simulated cups."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fitting.errors import CurveError
from fitting.extreme_reading import Course, correct_extreme_reading, courses
from tests.benchmarks.extreme_reading import rms, score


def test_without_loss_nothing_but_the_wall_is_put_back():
    """No loss: what is left is the wall that has not warmed up yet, a per cent or so at most."""
    one = correct_extreme_reading(21.0, 29.0, 60.0, 21.0, 0.0, 0.0)
    assert -0.02 * 8.0 < one.rise_K - 8.0 <= 0.002 * 8.0
    assert one.u_rise_K < 0.25


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_first_order_release_without_wall_or_lag_is_met(sign):
    """dθ/dt = κ ΔT e^(−κt) − kθ at its extreme: κ ΔT e^(−κt) = kθ, in closed form."""
    k, kappa, rise = 2e-4, 1 / 20.0, 8.0 * sign
    t = math.log(kappa / k) / (kappa - k)
    extreme = rise * kappa / (kappa - k) * (math.exp(-k * t) - math.exp(-kappa * t))
    one = correct_extreme_reading(
        20.7, 20.7 + extreme, t, 20.4, k, 0.05 * k, u_reading_K=0.005, release="slow"
    )
    assert one.holds(rise)
    assert abs(one.rise_K - rise) < 0.5 * abs(extreme - rise)


def test_sources_of_a_course_add_up_to_the_rise():
    course = Course(1.0, ((10.0, 0.8), (40.0, 0.2)), 0.01, 55.0, 6.0)
    assert sum(share for _, share in course.sources()) == pytest.approx(1.0)
    for release in (None, "fast", "slow"):
        assert sum(c.weight for c in courses(release)) == pytest.approx(1.0, abs=1e-6)


def test_parts_make_the_uncertainty():
    one = correct_extreme_reading(21.0, 28.4, 150.0, 21.5, 1.2e-4, 1e-5)
    assert one.u_rise_K == pytest.approx(math.hypot(*(u for _, u in one.parts)))
    assert one.cooling_rate_per_s == 1.2e-4
    assert "put back" in one.why


@pytest.mark.parametrize(("family", "left"), [("slow", 0.5), ("pellets", 0.4)])
def test_half_of_the_error_of_a_slow_release_goes(family, left):
    cell = score(family, 12, 0.1, told=False)
    assert cell.left < left
    assert np.mean(cell.held) >= 0.85


def test_half_of_all_families_errors_go_together_and_fast_ones_do_not_grow():
    cells = {f: score(f, 8, 0.01, told=True) for f in ("fast", "slow", "pellets")}
    raw = [x for cell in cells.values() for x in cell.raw]
    corrected = [x for cell in cells.values() for x in cell.corrected]
    assert rms(corrected) < 0.5 * rms(raw)
    assert cells["fast"].left < 1.0


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"extreme_C": math.nan}, "extreme_C is nan; expected a temperature"),
        ({"extreme_after_s": -1.0}, "expected seconds after the mixing"),
        ({"rate_per_s": 1.0}, "well below 0.1"),
        ({"u_rate_per_s": -1.0}, "expected numbers, 0 or more"),
        ({"release": "odd"}, "expected one of fast, slow or None"),
    ],
)
def test_wrong_values_are_named(changes, message):
    good = {
        "before_C": 21.0,
        "extreme_C": 28.0,
        "extreme_after_s": 60.0,
        "room_C": 21.0,
        "rate_per_s": 1e-4,
        "u_rate_per_s": 1e-5,
    }
    with pytest.raises(CurveError, match=message):
        correct_extreme_reading(**(good | changes))


@pytest.mark.parametrize("change", [0.0, 1e-6, -1e-6])
def test_no_change_at_all_gives_a_finite_answer(change):
    one = correct_extreme_reading(21.0, 21.0 + change, 30.0, 21.0, 1e-4, 1e-5)
    assert math.isfinite(one.rise_K)
    assert math.isfinite(one.u_rise_K)
    assert one.holds(0.0)
