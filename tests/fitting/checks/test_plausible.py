"""A correction that goes against the loss's sign is caught, an honest one never."""

from __future__ import annotations

import pytest

from fitting.checks.plausible import held_to_the_reading
from fitting.corrections import correct, newton_integral
from fitting.corrections.case import build_case
from fitting.corrections.result import replaced
from fitting.cup.circumstances import Circumstances
from fitting.periods import given_mixing
from tests.fitting.checks.own_logs import logs


def case_and_default(log, **known):
    moment = given_mixing(log.curve, log.mixed_at_s)
    case = build_case(log.curve, moment, Circumstances(**known))
    return case, newton_integral.correct(case)


def moved_to(one, rise_K):
    """The same correction about another value."""
    shift = rise_K - one.rise_K
    low, high = one.interval95_K
    return replaced(one, rise_K=rise_K, interval95_K=(low + shift, high + shift))


LOSING = {
    "release": ("quick",), "ratios": (1.0,), "samples": (1.0,), "steps": (0.01,), "slug": 0.0,
    "loss_per_s": (3e-4, 8e-4), "noise_K": (0.003, 0.01), "rise_K": (5.0, 10.0),
    "wall_share": (0.0, 0.002),
}  # fmt: skip


def test_a_true_rise_is_left_alone():
    """Whatever a method gives: if it is the truth, it is not against the loss's sign."""
    for log in logs(5, 150, wall_share=(0.0, 0.003), vapour=(0.0, 1.5)):
        case, one = case_and_default(log, capacity_ratio=log.ratio)
        true = moved_to(one, log.rise_K)
        assert held_to_the_reading(case, true) == (true, "")


def test_a_correction_below_the_reading_is_widened_and_not_admissible():
    for log in logs(6, 40, **LOSING):
        case, one = case_and_default(log)
        wrong = moved_to(one, 0.9 * log.rise_K)
        held, words = held_to_the_reading(case, wrong)
        assert not held.admissible
        assert held.why == words
        assert held.holds(log.rise_K)
        assert abs(held.interval95_K[1] - held.rise_K) <= 1.97 * held.u_rise_K or log.rise_K < 0
        loses = "above the room loses heat" if log.rise_K > 0 else "below the room gains heat"
        assert loses in words
        assert f"{0.9 * log.rise_K:+.3f} K, is smaller than the reading showed" in words


def test_a_flask_may_swallow_heat():
    log = logs(6, 1, **LOSING)[0]
    case, one = case_and_default(log, vessel="flask")
    wrong = moved_to(one, 0.9 * log.rise_K)
    assert held_to_the_reading(case, wrong) == (wrong, "")


def test_a_cup_that_gains_what_it_gave_is_left_alone():
    """Started far below the room, it is warmed by the room: the rise is smaller than the reading."""
    log = logs(7, 1, **{**LOSING, "rise_K": (0.8, 1.0), "loss_per_s": (1e-5, 1.2e-5)})[0]
    case, one = case_and_default(log)
    low = moved_to(one, 0.999 * one.rise_K)
    assert held_to_the_reading(case, low) == (low, "")


def test_the_default_tells_it(monkeypatch):
    """Called where methods are put together: warning, interval and choice follow."""
    from fitting.corrections import methods

    log = logs(6, 1, **LOSING)[0]
    plain = methods.METHODS[newton_integral.NAME]
    low = replaced(plain, function=lambda case: moved_to(plain.function(case), 0.97 * log.rise_K))
    monkeypatch.setattr(
        "fitting.corrections.choice.METHODS", {**methods.METHODS, newton_integral.NAME: low}
    )
    found = correct(log.curve, mixed_at_s=log.mixed_at_s)
    assert "is smaller than the reading showed" in found.warnings[0]
    assert not found.named(newton_integral.NAME).admissible
    assert found.chosen.method != newton_integral.NAME
    assert pytest.approx(log.rise_K, rel=0.02) == found.chosen.rise_K
