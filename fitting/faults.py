"""Curves that look like curves but are none: the sensor left the cup, or its range ended.

Both are looked for after the mixing only, and refused with what can still be said. A smooth course,
however quick, is no fault: a release of time constant τ makes neighbouring differences *smaller*
with time, a sensor that is pulled out makes them larger of a sudden.
"""

from __future__ import annotations

import math

import numpy as np

from fitting.curve import Curve, FloatArray
from fitting.noise import Noise
from fitting.periods import CurveRefused, MixingMoment, quick_noise, what_is_seen

_QUIET_FROM_S = 60.0  # pouring, quick release and the sensor's lag are over
_WINDOW_S = 12.0
_JUMP_SHARE = 0.04  # of the change
_LEAST_JUMP_K = 0.25
_RUN = 20  # identical readings at the extreme
_UNLIKELY = 1e-6
_WIDE_FLICKER = 0.02  # share of neighbours that differ by two steps or more


def refuse_faults(curve: Curve, mixing: MixingMoment) -> None:
    """Refuse a curve whose sensor was pulled out, or stopped at the end of its range.

    Raises:
        CurveRefused: with the time, and what can still be said.
    """
    _refuse_jump(curve, mixing)
    _refuse_saturated(curve, mixing)


def _refuse_jump(curve: Curve, mixing: MixingMoment) -> None:
    """A sudden change long after the mixing, larger than any change just before it."""
    s, y = curve.time_s - mixing.time_s, curve.temperature_C
    first = int(np.searchsorted(s, _QUIET_FROM_S))
    w = max(round(_WINDOW_S / max(curve.step_s, 1e-9)), 3)
    if y.size - first < 5 * w or first < w:
        return
    medians = np.median(np.lib.stride_tricks.sliding_window_view(y, w), axis=1)
    steps = medians[w:] - medians[:-w]  # steps[i]: readings i+w.. against i..i+w
    now, before = steps[w:], steps[:-w]
    swing = float(np.ptp(y[: first + w]))
    limit = max(_JUMP_SHARE * swing, _LEAST_JUMP_K, 10 * _u_median(quick_noise(curve), w))
    sudden = (np.abs(now) > 2 * np.abs(before) + limit) & (np.arange(now.size) + w >= first)
    if not sudden.any():
        return
    start = int(np.argmax(sudden))
    largest = start + int(np.argmax(np.abs(now[start : start + 2 * w])))
    at = largest + 2 * w  # the first reading of the later window
    at -= int(np.argmax(np.abs(np.diff(y[at - w : at + w])[::-1])) - w + 1)
    at = int(np.clip(at, first, y.size - 1))
    size = float(now[largest])
    raise CurveRefused(
        curve,
        f"at {curve.time_s[at]:g} s, {s[at]:.0f} s after the mixing, the temperature jumps by "
        f"{size:+.2g} K: the sensor was pulled out, or something was added or spilt; what was "
        "logged from then on says nothing of the cup",
        (
            f"The {s[at - 1]:.0f} s between the mixing and the jump may do by themselves: cut the "
            f"file after {curve.time_s[at - 1]:g} s and correct it again.",
            _extreme_words(curve, mixing, at),
        ),
    )


def _u_median(noise: Noise, w: int) -> float:
    """Standard deviation of the difference of two windows' medians, K."""
    return float(np.sqrt(2) * np.hypot(1.25 * noise.sigma_K / np.sqrt(w), noise.resolution_K / 3))


def _refuse_saturated(curve: Curve, mixing: MixingMoment) -> None:
    """The extreme value over and over, from a display that flickers everywhere else.

    Noise of standard deviation σ keeps a reading within one step q of the display with at most the
    probability p = erf(q/(2√2 σ)), so n equal readings in a row have p^n at most. A display that
    flickers between two steps only tells nothing: the temperature may have stood between them.
    """
    s, y = curve.time_s - mixing.time_s, curve.temperature_C
    fore = y[s < 0]
    if fore.size < 12:
        return
    apart, q = np.abs(np.diff(fore)), curve.resolution_K
    if float(np.mean(apart > 1.5 * q)) < _WIDE_FLICKER:
        return
    sigma = float(np.sqrt(max(float(np.mean(apart**2)) / 2 - q**2 / 12, 1e-12)))
    stays = math.erf(q / (2 * math.sqrt(2) * sigma)) if q > 0 else 0.1
    for extreme in (float(y.max()), float(y.min())):
        start, length = _longest_run((y == extreme) & (s > 0))
        if length < _RUN or length * math.log(stays) > math.log(_UNLIKELY):
            continue
        change = extreme - float(np.median(fore[-5:]))
        raise CurveRefused(
            curve,
            f"from {curve.time_s[start]:g} s on {length} readings in a row are {extreme:g} °C, "
            "although the display flickers before the mixing: the sensor has reached the end of "
            "its range; use one that reaches further",
            (
                f"The content changed by at least {change:+.3g} K (the true change is larger).",
                *what_is_seen(curve),
            ),
        )


def _longest_run(flags: FloatArray) -> tuple[int, int]:
    """Start and length of the longest run of true values; (0, 0) where there is none."""
    padded = np.concatenate([[0], np.asarray(flags, dtype=np.int8), [0]])
    edges = np.diff(padded)
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    if starts.size == 0:
        return 0, 0
    longest = int(np.argmax(ends - starts))
    return int(starts[longest]), int((ends - starts)[longest])


def _extreme_words(curve: Curve, mixing: MixingMoment, until: int) -> str:
    """The extreme reading up to a reading, as what can still be said."""
    time, y = curve.time_s, curve.temperature_C
    fore = y[time < mixing.time_s]
    head = float(np.median(fore[-5:])) if fore.size else float(y[0])
    inside = np.flatnonzero((time > mixing.time_s) & (np.arange(y.size) < until))
    if inside.size == 0:
        return f"Before the mixing it read {head:.2f} °C."
    at = inside[int(np.argmax(np.abs(y[inside] - head)))]
    return (
        f"Until then the extreme reading is {y[at]:.2f} °C, {time[at] - mixing.time_s:.0f} s after "
        f"the mixing, a raw change of {y[at] - head:+.3f} K that is not corrected."
    )
