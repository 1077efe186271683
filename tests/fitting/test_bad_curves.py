"""Simulated curves at the edge and beyond it: refused for the right reason, or right.

Cut down from ``python -m tests.benchmarks.bad_curves``, whose table is kept in tests/benchmarks/FIGURES.md; the
truth comes from the simulated cup.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.noise import stepped_line
from fitting.periods import CurveRefused, what_is_seen
from fitting.practice.simulated_cup import FAMILIES
from tests.benchmarks.bad_curves import CASES, count, good

REFUSED = (
    "1 to 4 readings after", "pulled out", "gap over the mixing", "gap from 4 s on",
)  # fmt: skip


@pytest.mark.parametrize("given", [True, False])
@pytest.mark.parametrize("case", REFUSED)
def test_refused_with_the_reason(case, given):
    for step in (0.01, 0.1):
        found = count(case, range(8), step, given=given)
        assert found["refused"] == 8, (step, found)


def test_pulled_out_within_the_first_minute():
    """But for a wet sensor that goes on cooling as a dissolving salt would have."""
    found = count("pulled out early", range(12), 0.01, given=True)
    assert found["refused"] >= 11


@pytest.mark.parametrize("step", [0.01, 0.1])
def test_without_a_fore_period(step):
    """With the moment noted it is corrected; without it there is no telling, and that is said."""
    found = count("no fore period", range(8), step, given=False)
    assert found["refused"] >= 5
    assert found["refused"] + found["holds"] == 8
    assert count("no fore period", range(8), step, given=True)["holds"] >= 7


@pytest.mark.parametrize("case", ["no loss", "ends at the room", "short gap", "good"])
def test_answered_and_right(case):
    held = wrong = 0
    for step in (0.01, 0.1):
        found = count(case, range(8), step, given=True)
        held += found["holds"] + found["refused"]
        wrong += found["far off"] + found["not finite"] + found["refused for another reason"]
    assert wrong == 0
    assert held >= 14


def test_the_end_of_a_fine_sensors_range():
    for case in ("range ends half-way", "range ends near the top"):
        found = count(case, range(8), 0.01, given=True)
        assert found["far off"] == found["misses"] == 0
        assert found["refused"] >= 5
    assert count("range ends half-way", range(8), 0.1, given=True)["refused"] >= 5


def test_a_log_that_ends_within_a_minute():
    for step in (0.01, 0.1):
        found = count("10 to 60 s after", range(8), step, given=True)
        assert found["far off"] == found["not finite"] == 0
        assert found["refused"] >= 2
        assert found["holds"] + found["refused"] >= 7


def test_loss_release_and_lag_alike():
    found = count("loss, release and lag alike", range(8), 0.01, given=True)
    assert found["far off"] == found["not finite"] == found["misses"] == 0


def test_a_sensor_pulled_out_after_a_moment_that_must_be_found():
    """The larger of two sudden changes is not simply taken for the mixing."""
    t = np.arange(0.0, 600.0, 2.0)
    y = np.where(t < 150, 21.0, 21.0 + 6.0 * -np.expm1(-(t - 150) / 8))
    y = np.where(t < 400, y, 19.0 + 8.0 * np.exp(-(np.clip(t - 400, 0, None)) / 5))
    with pytest.raises(CurveRefused, match=r"changes suddenly twice: about 1[45]\d s by \+"):
        correct(Curve.from_arrays(t, np.round(y + 0.004 * np.sin(t), 2)))


def test_a_steep_fore_period_on_a_coarse_display():
    """0.6 K in 200 s in steps of 0.1 K: the line's ends are known to a few hundredths."""
    s = np.arange(-200.0, 0.0, 2.0)
    truth = 20.0 + 0.003 * s
    shown = np.round((truth + np.random.default_rng(2).normal(0, 0.01, s.size)) / 0.1) * 0.1
    from fitting.noise import noise_of

    value, covariance = stepped_line(s, shown, noise_of([shown], 0.1), (-200.0, 0.0))
    assert value == pytest.approx([19.4, 20.0], abs=0.03)
    assert np.all(np.abs(value - [19.4, 20.0]) < 3 * np.sqrt(np.diag(covariance)))


def test_what_is_seen_starts_with_the_first_reading():
    curve = Curve.from_arrays(np.array([0.0, 2.0, 4.0]), np.array([20.0, 21.0, 22.0]))
    assert what_is_seen(curve)[0] == "It starts at 20.00 °C and ends at 22.00 °C after 4 s."


@pytest.mark.long
def test_no_false_alarm_on_good_curves():
    for seed in range(50):
        for family in FAMILIES:
            for step in (0.01, 0.1):
                made = good(family, np.random.default_rng(seed), step)
                curve = Curve.from_arrays(made.time_s, made.shown_C, resolution_K=step)
                correct(curve, mixed_at_s=made.mixed_at_s, capacity_ratio=made.ratio)
                correct(curve, capacity_ratio=made.ratio)


@pytest.mark.long
@pytest.mark.parametrize("case", list(CASES))
def test_no_curve_gives_a_number_that_is_not_finite(case):
    for step in (0.01, 0.1):
        for given in (True, False):
            found = count(case, range(1000, 1030), step, given=given)
            assert found["not finite"] == 0
