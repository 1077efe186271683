"""The extreme reading with a known cooling rate: closed forms, integrations and simulated cups."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fitting.cup.circumstances import Circumstances
from fitting.errors import CurveError
from fitting.extreme.courses import TIMES_S, courses, on_grid, responses
from fitting.extreme.reading import COURSE, RATE, ROOM, TIME, correct_extreme_reading
from tests.benchmarks.extreme_reading import best_possible, known_rates, rms, score
from tests.benchmarks.many_cups import read_extremes
from tests.cup_in_closed_form import cup_response


def corrected(before_C, extreme_C, after_s, room_C, rate_per_s, u_rate_per_s, **more):
    known = Circumstances(room_C=room_C, rate_per_s=rate_per_s, u_rate_per_s=u_rate_per_s)
    return correct_extreme_reading(before_C, extreme_C, after_s, known, **more)


def test_without_loss_nothing_but_wall_and_noise_is_put_back():
    """No loss: what is left is the wall that has not warmed up yet, a per cent or so at most; of a
    solid nobody knows whether it was dissolved, since such a reading does not turn."""
    one = corrected(21.0, 29.0, 60.0, 21.0, 0.0, 0.0, release="fast")
    assert -0.02 * 8.0 < one.rise_K - 8.0 <= 0.003 * 8.0
    assert one.u_rise_K < 0.25
    slow = corrected(21.0, 29.0, 60.0, 21.0, 0.0, 0.0, release="slow")
    assert slow.holds(8.0)
    assert slow.u_rise_K > one.u_rise_K


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_first_order_release_without_wall_or_lag_is_met(sign):
    """dθ/dt = κ ΔT e^(−κt) − kθ at its extreme: κ ΔT e^(−κt) = kθ, in closed form."""
    k, kappa, rise = 2e-4, 1 / 20.0, 8.0 * sign
    t = math.log(kappa / k) / (kappa - k)
    extreme = rise * kappa / (kappa - k) * (math.exp(-k * t) - math.exp(-kappa * t))
    one = corrected(
        20.7, 20.7 + extreme, t, 20.7, k, 0.05 * k, step_K=0.0, noise_K=0.001, release="slow"
    )
    assert one.holds(rise)
    assert abs(one.rise_K - rise) < 0.5 * abs(extreme - rise)


def test_a_course_obeys_the_two_bodies():
    """R and J against a general integrator on the three equations of the docstring."""
    some = courses("slow").only(np.array([3, 50, 211]))
    times, k = np.array([5.0, 40.0, 150.0, 600.0]), 5e-4
    per_kelvin, pushed = responses(some, k, times)
    for i in range(3):
        a, tau, g = some.wall_share[i], some.wall_s[i], some.wall_loss[i]
        p, lam = some.second_share[i], some.lag_per_s[i]
        kappas = (some.rate_per_s[i], some.second_per_s[i])

        def slopes(t, y, heat, push, a=a, tau=tau, g=g, p=p, lam=lam, kappas=kappas):
            T, wall, shown = y
            first, second = (q * math.exp(-q * t) for q in kappas)
            to_wall = a / tau * (T - wall)
            q = heat * ((1 - p) * first + p * second) + push
            out = (q - k * (1 - g) * T - to_wall) / (1 - a)
            return [out, (to_wall - g * k * wall) / a, lam * (T - shown)]

        tight = {"t_eval": times, "rtol": 1e-9, "atol": 1e-12, "method": "LSODA"}
        heated = solve_ivp(slopes, (0, 600), [0, 0, 0], args=(1.0, 0.0), **tight).y[2]
        assert per_kelvin[i] == pytest.approx(heated, abs=1e-7)
        # a push that was there before the mixing already: wall and sensor follow, so J has no lag
        long = solve_ivp(slopes, (0, 600), [0, 0, 0], args=(0.0, 1.0), **tight).y[2]
        assert pushed[i][2:] == pytest.approx(long[2:], rel=0.2)
        assert pushed[i][0] == pytest.approx(5.0, rel=0.01)


def test_a_course_without_wall_is_the_closed_form_of_a_lagging_cup():
    some = courses("slow").only(np.array([7, 8]))
    bare = replace(some, wall_share=np.full(2, 1e-9), wall_loss=np.zeros(2))
    times, k = np.array([10.0, 60.0, 300.0]), 2e-4
    per_kelvin, _ = responses(bare, k, times)
    for i in range(2):
        p = some.second_share[i]
        heats = ((1 - p, some.rate_per_s[i]), (p, some.second_per_s[i]))
        shown = cup_response(times, 0.0, 0.0, k, 1 / some.lag_per_s[i], heats)
        assert per_kelvin[i] == pytest.approx(shown, abs=1e-6)


@pytest.mark.parametrize("rate", [0.0, 3e-6, 1.3e-4, 7e-4])
def test_the_table_of_courses_is_fine_enough(rate):
    for kind in ("fast", "slow", None):
        some = courses(kind)
        table, exact = on_grid(kind, rate), responses(some, rate, TIMES_S)
        soon = TIMES_S < 400.0
        assert np.max(np.abs(table[0] - exact[0])[:, soon]) < 2e-4  # K per kelvin of rise
        assert np.max(np.abs(table[1] / exact[1] - 1)[:, soon]) < 5e-4


def test_the_highest_of_many_noisy_readings_is_known_to_lie_above_the_curve():
    """A cup that loses nothing, without wall: 100 readings of a flat curve, no physics but noise."""
    rng = np.random.default_rng(5)
    true, noise = 8.0, 0.05
    shown = true + rng.normal(0.0, noise, (200, 100))
    at = 40.0 + 2.5 * np.argmax(shown, axis=1)
    rises = [
        corrected(21.0, 21.0 + float(top), float(t), 21.0, 0.0, 0.0, step_K=0.0,
                                noise_K=noise, release="fast", cup_share=0.005).rise_K
        for top, t in zip(shown.max(axis=1), at, strict=True)
    ]  # fmt: skip
    assert np.mean(shown.max(axis=1)) - true > 2.0 * noise
    assert abs(np.mean(rises) - true) < 0.65 * (np.mean(shown.max(axis=1)) - true)


def test_parts_make_the_uncertainty():
    one = corrected(21.0, 28.4, 150.0, 21.5, 1.2e-4, 1e-5)
    assert one.u_rise_K == pytest.approx(math.hypot(*(u for _, u in one.parts)))
    assert {ROOM, RATE, TIME, COURSE} < set(dict(one.parts))
    assert one.cooling_rate_per_s == 1.2e-4
    assert "put back" in one.why


def test_warming_and_cooling_are_mirror_images():
    up = corrected(21.0, 28.4, 150.0, 21.0, 1.2e-4, 1e-5, release="slow")
    down = corrected(21.0, 13.6, 150.0, 21.0, 1.2e-4, 1e-5, release="slow")
    assert up.rise_K - 7.4 == pytest.approx(7.4 * 0.02, rel=0.9)
    assert -down.rise_K == pytest.approx(up.rise_K, abs=0.03)  # but for the stirrer's warmth


def test_hot_water_in_the_cup_goes_on_cooling_and_nothing_turns():
    """Newton's law after a sudden change, read a minute later: T_∞ + (T_f − T_∞) e^(−k t)."""
    k = 5e-5
    shown = 21.0 + 14.0 * math.exp(-60 * k)
    one = corrected(49.0, shown, 60.0, 21.0, k, 0.1 * k, release="fast")
    assert one.holds(-14.0)
    assert one.u_rise_K < 0.02 * 14.0


@pytest.mark.parametrize("release", ["fast", "slow"])
@pytest.mark.parametrize("after", [0.5, 5.0, 15.0, 2000.0])
def test_a_time_that_cannot_be_is_not_believed(release, after):
    """The value alone then tells the rise to some per cent, whatever time was noted."""
    one = corrected(21.0, 35.0, after, 21.0, 5e-5, 5e-6, release=release)
    assert abs(one.rise_K - 14.0) < max(
        0.03 * 14.0, one.u_rise_K
    )  # 15 s can be, with a quick probe
    assert one.u_rise_K > 0.003 * 14.0


def test_no_wall_holds_more_than_the_cup():
    """A small cup's wall overshoots less, so that less is taken off the reading again."""
    free = corrected(21.0, 29.0, 50.0, 21.0, 1e-4, 1e-5, release="fast")
    told = corrected(21.0, 29.0, 50.0, 21.0, 1e-4, 1e-5, release="fast", cup_share=0.003)
    assert told.rise_K > free.rise_K


@pytest.mark.parametrize(
    ("family", "lid", "left"),
    [("slow", True, 0.5), ("pellets", True, 0.4), ("fast", False, 0.45), ("mixing", False, 0.45),
     ("slow", False, 0.4), ("pellets", False, 0.35)],
)  # fmt: skip
def test_at_least_half_of_the_error_goes_where_the_loss_makes_it(family, lid, left):
    cell = score(family, 60, 0.01, told=True, lid=lid, first_seed=500)
    assert cell.left < left
    assert np.mean(cell.held) >= 0.85
    assert rms(cell.ours) < 1.05 * rms(cell.literal)


@pytest.mark.parametrize("family", ["fast", "mixing"])
@pytest.mark.parametrize("step", [0.01, 0.1])
def test_where_the_loss_is_small_the_correction_does_no_harm(family, step):
    cell = score(family, 80, step, told=True, first_seed=900)
    assert cell.left < {0.01: 0.95, 0.1: 1.06}[step]
    assert np.mean(cell.held) >= 0.88


def test_ours_is_near_the_best_that_these_readings_allow():
    """A regression that knows the family's own distribution is the mark."""
    more = read_extremes("mixing", 1500, (0.01,), lid=False, first_seed=7000)[0.01]
    best = rms(best_possible(more, known_rates(more, 7000), 0.01))
    assert rms(score("mixing", 80, 0.01, told=True, lid=False, first_seed=40).ours) < 1.3 * best


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"extreme_C": math.nan}, "extreme_C is nan; expected a temperature"),
        ({"extreme_after_s": -1.0}, "expected seconds after the mixing"),
        ({"rate_per_s": 1.0}, "well below 0.1"),
        ({"u_rate_per_s": -1.0}, "of the cooling rate is -1 1/s; expected 0 1/s or more"),
        ({"room_C": None}, "corrected with the room temperature; give it"),
        ({"rate_per_s": None, "u_rate_per_s": None}, "corrected with the cooling rate; give it"),
        ({"step_K": -0.1}, "expected numbers, 0 or more"),
        ({"release": "odd"}, "expected one of fast, slow or None"),
    ],
)
def test_wrong_values_are_named(changes, message):
    good = {"before_C": 21.0, "extreme_C": 28.0, "extreme_after_s": 60.0}
    known = {"room_C": 21.0, "rate_per_s": 1e-4, "u_rate_per_s": 1e-5}
    with pytest.raises(CurveError, match=message):
        correct_extreme_reading(
            **(good | {k: v for k, v in changes.items() if k not in known}),
            known=Circumstances(**(known | {k: v for k, v in changes.items() if k in known})),
        )


@pytest.mark.parametrize("change", [0.0, 1e-6, -1e-6])
def test_no_change_at_all_gives_a_finite_answer(change):
    one = corrected(21.0, 21.0 + change, 30.0, 21.0, 1e-4, 1e-5)
    assert math.isfinite(one.rise_K)
    assert math.isfinite(one.u_rise_K)
    assert one.holds(0.0)


@pytest.mark.parametrize("after", [0.0, 1.0, 3.0, 900.0, 5000.0])
@pytest.mark.parametrize("rate", [0.0, 1e-4, 0.05])
def test_odd_times_and_rates_give_finite_answers(after, rate):
    one = corrected(21.0, 29.0, after, 20.0, rate, 0.1 * rate, step_K=0.1)
    assert math.isfinite(one.rise_K)
    assert math.isfinite(one.u_rise_K)
