"""A found moment's u holds; a noted moment off the jump is told."""

from __future__ import annotations

import numpy as np
import pytest

from fitting.checks.moment import held_against_the_jump
from fitting.corrections import correct
from fitting.curve import Curve
from fitting.periods import CurveRefused, find_mixing, given_mixing, onset_offset
from tests.fitting.checks.own_logs import logs

FAMILIES = {
    "quick": {"release": ("quick",)},
    "dissolving": {"release": ("slow", "solid")},
    "very slow": {"release": ("slow",), "slow_s": (40.0, 90.0)},
    "10 Hz": {"samples": (0.1, 0.2), "lasts_s": 200.0},
    "every 10 s": {"samples": (10.0,)},
    "coarse display": {"steps": (0.1,), "samples": (1.0, 2.0)},
    "fine and quick": {
        "release": ("quick",), "lag_s": (1.0, 3.0), "noise_K": (0.002, 0.005), "steps": (0.001,),
        "samples": (1.0,),
    },
}  # fmt: skip


def held(seed: int, n: int, **how) -> float:
    """Share of logs whose true moment lies within 2 u of the found one."""
    count = told = 0
    for log in logs(seed, n, **how):
        try:
            found = find_mixing(log.curve)
        except CurveRefused:
            continue
        told += 1
        count += abs(found.time_s - log.mixed_at_s) < 2 * found.u_s
    assert told > 0.9 * n
    return count / told


@pytest.mark.parametrize("name", FAMILIES)
def test_the_found_moment_holds(name):
    assert held(300 + len(name), 60, **FAMILIES[name]) >= 0.9


@pytest.mark.long
@pytest.mark.parametrize("name", FAMILIES)
def test_the_found_moment_holds_in_95_of_100(name):
    assert held(500 + len(name), 400, **FAMILIES[name]) >= 0.94


def test_the_onset_by_the_centroids_of_two_courses():
    """m − √(n v) by hand: a ramp of 3 s seen through a lag of 5 s.

    Centroid 1.5 + 5 s, variance 0.75 + 25 s²: one stage is found 1.42 s late, two 0.68 s early; the
    offset of one stage lies between its own and the three stages' of the ramp.
    """
    m, v = 1.5 + 5.0, 3.0**2 / 12 + 5.0**2
    one, two = m - np.sqrt(v), m - np.sqrt(2 * v)
    assert (one, two) == pytest.approx((1.425, -0.676), abs=1e-3)
    for order, tau, true in ((1, np.sqrt(v), one), (2, np.sqrt(v / 2), two)):
        late, u = onset_offset(order, float(tau))
        assert abs(late - true) < 2 * u
    assert onset_offset(1, 500.0)[1] == onset_offset(1, 50.0)[1]


def test_a_true_note_is_never_spoken_against():
    for name, how in FAMILIES.items():
        for log in logs(900 + len(name), 40, **how):
            at = given_mixing(log.curve, log.mixed_at_s)
            assert held_against_the_jump(log.curve, at) == at


@pytest.fixture(scope="module")
def log():
    return logs(
        12, 1, release=("quick",), samples=(1.0,), noise_K=(0.004, 0.004), steps=(0.01,), slug=0.0,
        lag_s=(4.0, 4.0), ratios=(1.0,), rise_K=(6.0, 7.0),
    )[0]  # fmt: skip


@pytest.mark.parametrize(("off_s", "words"), [
    (-40.0, "is early: the curve changes from"), (9.0, "is late: the curve changes from"),
])  # fmt: skip
def test_a_note_off_the_jump_is_warned_of_with_the_moment_seen(log, off_s, words):
    found = correct(log.curve, mixed_at_s=log.mixed_at_s + off_s)
    (warning,) = [one for one in found.warnings if words in one]
    assert f"{find_mixing(log.curve).time_s:.1f} ±" in warning
    assert not any(words in one for one in correct(log.curve).warnings)


def test_a_wide_note_is_not_spoken_against(log):
    at = given_mixing(log.curve, log.mixed_at_s - 40.0, 30.0)
    assert held_against_the_jump(log.curve, at).warning == ""


def test_a_note_after_the_whole_change_is_refused(log):
    with pytest.raises(CurveRefused, match="lies after the whole change, which the curve shows"):
        correct(log.curve, mixed_at_s=log.mixed_at_s + 120.0)


def test_nothing_is_said_where_too_little_was_read_before():
    time = np.arange(0.0, 60.0)
    curve = Curve.from_arrays(time, 20 + 5 * -np.expm1(-np.clip(time - 3, 0, None) / 4))
    at = given_mixing(curve, 3.0)
    assert held_against_the_jump(curve, at) is at
