"""Curves that look like curves but are none: the sensor left the cup, or its range ended.

Both are looked for after the mixing only, and refused with what can still be said. A smooth course,
however quick, is no fault: a release of time constant τ makes neighbouring differences *smaller*
with time, a sensor that is pulled out makes them larger of a sudden. (The end of
the range: `fitting.checks.range_end`.)
"""

from __future__ import annotations

import numpy as np

from fitting.checks.range_end import reached_end
from fitting.cup.knowledge import FLASK
from fitting.curve import Curve, FloatArray
from fitting.noise import Noise
from fitting.periods import CurveRefused, MixingMoment, quick_noise, seen_until, what_is_seen

_QUIET_FROM_S = 60.0  # pouring, quick release and the sensor's lag are over
_WINDOW_S = 12.0
_JUMP_SHARE = 0.04  # of the change
_LEAST_JUMP_K = 0.25
_EARLY_S = 90.0
_LEFT_WITHIN_S = 200.0  # k of 0.005 1/s: 1 W/K on 200 J/K, an open metal beaker has a third of it
_LEFT_SHARE = 0.63
_PART_S, _PART_GOES_ON = 100.0, 0.4
_PART_SHARE = FLASK.slow_wall.share.value + 2 * FLASK.slow_wall.share.u  # its glass may take that


def refuse_faults(curve: Curve, mixing: MixingMoment) -> None:
    """Refuse a curve whose sensor was pulled out, or stopped at the end of its range.

    Raises:
        CurveRefused: with the time, and what can still be said.
    """
    _refuse_jump(curve, mixing)
    _refuse_early_out(curve, mixing)
    _refuse_saturated(curve, mixing)


def _refuse_jump(curve: Curve, mixing: MixingMoment) -> None:
    """A sudden change long after the mixing, larger than any change just before it."""
    s, y = curve.time_s - mixing.time_s, curve.temperature_C
    first = int(np.searchsorted(s, _QUIET_FROM_S))
    w = max(round(_WINDOW_S / max(curve.step_s, 1e-9)), 3)
    if y.size - first < 5 * w or first < w:
        return
    swing = float(np.ptp(y[: first + w]))
    limit = max(_JUMP_SHARE * swing, _LEAST_JUMP_K, 10 * _u_median(quick_noise(curve), w))
    if _widest_change(y[first:], w) <= limit:
        return
    medians = np.median(np.lib.stride_tricks.sliding_window_view(y, w), axis=1)
    steps = medians[w:] - medians[:-w]  # steps[i]: readings i+w.. against i..i+w
    now, before = steps[w:], steps[:-w]
    sudden = (np.abs(now) > 2 * np.abs(before) + limit) & (np.arange(now.size) + w >= first)
    if not sudden.any():
        return
    start = int(np.argmax(sudden))
    largest = start + int(np.argmax(np.abs(now[start : start + 2 * w])))
    at = largest + 2 * w  # the first reading of the later window
    at -= int(np.argmax(np.abs(np.diff(y[at - w : at + w])[::-1])) - w + 1)
    at = int(np.clip(at, first, y.size - 1))
    good = float(curve.time_s[max(start + w, first) - 1])
    raise CurveRefused(
        curve,
        f"at {curve.time_s[at]:g} s, {s[at]:.0f} s after the mixing, the temperature jumps by "
        f"{float(now[largest]):+.2g} K: the sensor was pulled out, or something was added or "
        "spilt; what was logged from then on says nothing of the cup",
        (
            f"To use what came before, cut the file after {good:g} s and correct it again.",
            *seen_until(curve, mixing.time_s, good),
        ),
        good,
    )


def _widest_change(y: FloatArray, w: int) -> float:
    """No less than the largest change within 2 w readings, K.

    Any 2 w readings lie in three neighbouring blocks of w: no two medians in them differ by more.
    """
    at = np.arange(0, y.size, w)
    high, low = np.maximum.reduceat(y, at), np.minimum.reduceat(y, at)
    if at.size < 3:
        return float(high.max() - low.min())
    high = np.maximum(np.maximum(high[2:], high[1:-1]), high[:-2])
    low = np.minimum(np.minimum(low[2:], low[1:-1]), low[:-2])
    return float((high - low).max())


def _refuse_early_out(curve: Curve, mixing: MixingMoment) -> None:
    """Most of the change gone again within minutes of an early extreme: no cup of water does that.

    k = G/C: with 200 J/K in it a cup that loses 63 % in 200 s has G = 1 W/K.
    """
    s, y = curve.time_s - mixing.time_s, curve.temperature_C
    fore, later = y[s <= 0], np.flatnonzero(s > 0)
    if fore.size == 0 or later.size < 8:
        return
    head = float(np.median(fore[-5:]))
    change = y[later] - head
    top = int(np.argmax(np.abs(change)))
    early = np.flatnonzero(s[later] <= _EARLY_S)
    if early.size:
        peak = int(early[np.argmax(np.abs(change[early]))])
        crossed = np.sign(change[top]) != np.sign(change[peak])
        top = peak if crossed and abs(change[peak]) > 10 * quick_noise(curve).sigma_K else top
    at, size = later[top], float(change[top])
    limit = 10 * float(np.hypot(quick_noise(curve).sigma_K, curve.resolution_K / 3))
    if s[at] > _EARLY_S or abs(size) < max(limit, _LEAST_JUMP_K):
        return
    gone = _gone_again(s - s[at], np.sign(size) * (y - head), abs(size), limit)
    if gone is None:
        return
    share, within = gone
    raise CurveRefused(
        curve,
        f"{within:.0f} s after its extreme reading at {curve.time_s[at]:g} s {100 * share:.0f} % "
        "of the change is gone again: no cup of liquid loses its heat so quickly; the sensor was "
        "pulled out, or did not stand in the liquid",
        (*seen_until(curve, mixing.time_s, float(curve.time_s[at])), *what_is_seen(curve)),
        float(curve.time_s[at]),
    )


def _gone_again(
    since: FloatArray, change: FloatArray, size: float, limit: float
) -> tuple[float, float] | None:
    """Share of the change that was lost too quickly, and within how many seconds; None: none was.

    Either most of it within minutes; or some of it, and then hardly any more: a cup goes on losing,
    a sensor in the air comes to rest there. (A cup's wall takes a hundredth, glass a quarter.)
    """
    later = since > 0
    left = later & (change < (1 - _LEFT_SHARE) * size)
    if left.any() and since[int(np.argmax(left))] <= _LEFT_WITHIN_S:
        return _LEFT_SHARE, float(since[int(np.argmax(left))])
    levels = []
    for at in (_PART_S, 2 * _PART_S):
        near = np.abs(since - at) < 0.15 * _PART_S
        if not near.any():
            return None
        levels.append(float(np.median(change[near])))
    first, second = size - levels[0], levels[0] - levels[1]
    if first < _PART_SHARE * size + limit or second > _PART_GOES_ON * first:
        return None
    return first / size, _PART_S


def _u_median(noise: Noise, w: int) -> float:
    """Standard deviation of the difference of two windows' medians, K."""
    return float(np.sqrt(2) * np.hypot(1.25 * noise.sigma_K / np.sqrt(w), noise.resolution_K / 3))


def _refuse_saturated(curve: Curve, mixing: MixingMoment) -> None:
    """One reading over and over at the extreme, where a sensor in a cup would have gone on."""
    found = reached_end(curve, mixing.time_s)
    if found is None:
        return
    s, y = curve.time_s - mixing.time_s, curve.temperature_C
    fore = y[s <= 0]
    head = float(np.median(fore[-5:])) if fore.size else float(y[0])
    raise CurveRefused(
        curve,
        f"from {curve.time_s[found.start]:g} s on {found.length} readings in a row are "
        f"{found.value_C:g} °C, {found.why}: the sensor has reached the end of its range; use one "
        "that reaches further",
        (
            f"The content changed by at least {found.value_C - head:+.3g} K (the true change is "
            "larger).",
            *seen_until(curve, mixing.time_s, float(curve.time_s[max(found.start - 1, 0)]))[:1],
            *what_is_seen(curve),
        ),
    )
