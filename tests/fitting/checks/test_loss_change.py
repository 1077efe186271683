"""A loss that changes within the log is found and cut; an honest log never is."""

from __future__ import annotations

import pytest

from fitting.checks.loss_change import WORTH_S, before_the_change, find_change
from fitting.comparison import compare
from fitting.corrections import correct
from fitting.curve import Curve
from fitting.periods import CurveRefused, given_mixing
from tests.fitting.checks.own_logs import logs

HONEST = {
    "usual": {},
    "rare readings": {"samples": (5.0, 10.0)},
    "slow walls": {"wall_share": (0.02, 0.15)},
    "vapour": {"vapour": (0.5, 2.0), "rise_K": (15.0, 50.0)},
    "drifting room": {"drift_K_per_h": 3.0},
    "late release": {"release": ("slow", "solid"), "slow_s": (30.0, 120.0)},
    "coarse displays": {"steps": (0.0625, 0.1, 0.5)},
    "noise with a memory": {"memory": 0.9, "noise_K": (0.01, 0.1)},
    "forty minutes": {"lasts_s": 2400.0, "samples": (2.0, 5.0)},
}  # fmt: skip


def share_cut(seed: int, n: int, **how) -> float:
    drawn = logs(seed, n, **how)
    return sum(find_change(log.curve, log.mixed_at_s) is not None for log in drawn) / n


@pytest.mark.parametrize("name", HONEST)
def test_honest_logs_are_not_cut(name):
    """At most 1 of 100 here; fewer than 1 in 200 of the 4,000 of the long test."""
    assert share_cut(len(name), 100, **HONEST[name]) <= 0.01


@pytest.mark.long
def test_false_alarms_are_rarer_than_one_in_two_hundred():
    shares = [share_cut(1000 + i, 450, **how) for i, how in enumerate(HONEST.values())]
    assert sum(shares) / len(shares) < 0.005
    assert max(shares) < 0.012


@pytest.mark.parametrize(("at_s", "by", "least"), [
    (180.0, 5.0, 0.9), (330.0, 2.0, 0.65), (330.0, 5.0, 0.97), (480.0, 3.0, 0.9),
    (480.0, 5.0, 0.97),
])  # fmt: skip
def test_a_lifted_lid_is_found_at_its_moment(at_s, by, least):
    """Cups of 850 J/K that lose 0.03 to 0.1 W/K, 8 to 9 K warmer, until the loss is ``by`` times."""
    drawn = logs(
        int(at_s + by), 60, changes_at_s=at_s, changes_by=by, lasts_s=600.0, steps=(0.01,),
        loss_per_s=(3.5e-5, 1.2e-4), release=("quick",), rise_K=(8.0, 9.0), samples=(1.0, 2.0),
        noise_K=(0.005, 0.015), memory=0.3,
    )  # fmt: skip
    found = [(log, find_change(log.curve, log.mixed_at_s)) for log in drawn]
    seen = [(log, one) for log, one in found if one is not None]
    assert len(seen) >= least * len(drawn)
    near = [one.at_s - log.mixed_at_s for log, one in seen]
    assert sum(at_s - 60 < at < at_s + 12 for at in near) >= 0.93 * len(near)
    times = sorted(one.times for _, one in seen)[len(seen) // 2]
    assert times == pytest.approx(by, rel=0.2)


def lifted(at_s: float, by: float = 4.0):
    return logs(
        17, 1, changes_at_s=at_s, changes_by=by, lasts_s=700.0, release=("quick",), steps=(0.01,),
        rise_K=(8.0, 9.0), loss_per_s=(2e-4, 2e-4), noise_K=(0.003, 0.003), samples=(1.0,),
        lag_s=(3.0, 3.0), slug=0.0, drift_K_per_h=0.0, ratios=(1.0,), vapour=(0.0, 0.1),
    )[0]  # fmt: skip


def test_what_came_before_is_used_and_the_cut_is_said():
    log = lifted(400.0)
    found = correct(log.curve, mixed_at_s=log.mixed_at_s)
    assert found.cut_at_s == pytest.approx(log.mixed_at_s + 400, abs=20)
    assert found.warnings[0].startswith(
        f"cut at {found.cut_at_s:.0f} s: from there on the cup loses"
    )
    assert found.chosen.holds(log.rise_K)
    assert found.used_of(log.curve).time_s[-1] <= found.cut_at_s
    whole = compare(log.curve, mixed_at_s=log.mixed_at_s)
    assert whole.curve.time_s[-1] <= found.cut_at_s
    assert whole.chosen.rise_K == found.chosen.rise_K


def test_too_little_left_is_refused_with_what_can_still_be_said():
    log = lifted(80.0, 6.0)
    mixing = given_mixing(log.curve, log.mixed_at_s)
    with pytest.raises(CurveRefused, match="too little is left for a correction") as refused:
        before_the_change(log.curve, mixing)
    assert refused.value.good_until_s - log.mixed_at_s < WORTH_S
    assert "The extreme reading up to there is" in str(refused.value)


def test_a_log_too_short_to_tell_is_left_alone():
    log = lifted(400.0)
    short = log.curve.window(0.0, log.mixed_at_s + 60.0)
    assert find_change(short, log.mixed_at_s) is None
    few = Curve(short.time_s[::20], short.temperature_C[::20], 0.01)
    assert find_change(few, log.mixed_at_s) is None
