"""Whether a sensor stopped at the end of its range: three signs, each by itself enough.

1. *No flicker.* A display that flickers everywhere else stands still at its extreme. Noise of
   standard deviation σ keeps a reading within one step q of the display with at most the
   probability p = erf(q/(2√2 σ)), so n equal readings in a row have p^n at most.
2. *Stopped short.* Pouring, release and lag approach their end gradually: if the reading moved by
   D₂ and then by D₁ = r D₂ in two equal stretches before it stopped, it goes on by about
   D₁ r/(1 − r) (exponential approach). A sensor at the end of its range stops there and then.
3. *Flat, then falling at once.* The fall after the extreme, drawn back to the middle of the flat
   stretch, lies well above it, though the top of a curve that turns is round.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitting.cup.knowledge import USUAL_RATE_PER_S
from fitting.curve import Curve, FloatArray
from fitting.noise import Noise
from fitting.periods import quick_noise

_RUN = 20  # identical readings at the extreme
_UNLIKELY = 1e-6
_WIDE_FLICKER = 0.02  # share of neighbours that differ by two steps or more
_SHORT_RUN, _SHORT_RUN_S = 5, 10.0
_STRETCHES = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 18, 22, 27, 33, 40)  # readings
_SHORT_SHARE = 0.03  # of the change
_SURE = 3.5  # times the uncertainty of what was still due
_STEPS_ROUND = 3.0
_SAYS_THE_SAME = 0.3  # of the readings that follow
_STEPS_LONG = 2.0  # steps that may be lost while the reading stands: one, and the top is round
_STEPS_STOOD, _STOOD_S = 2.5, 150.0  # steps that such a cup would have moved by; longer than a top


@dataclass(frozen=True, slots=True)
class RangeEnd:
    """Where the readings stood still: index of the first, how many, at what, and the sign seen."""

    start: int
    length: int
    value_C: float
    why: str


def reached_end(curve: Curve, mixed_at_s: float) -> RangeEnd | None:
    """The stretch at the end of the sensor's range, None where there is none."""
    s, y = curve.time_s - mixed_at_s, curve.temperature_C
    noise = quick_noise(curve)
    for value in (float(y.max()), float(y.min())):
        start, length = longest_run((y == value) & (s > 0))
        if length < _SHORT_RUN or s[start + length - 1] - s[start] < _SHORT_RUN_S:
            continue
        why = (
            _without_flicker(y[s < 0][:-3], curve.resolution_K, length)
            or (
                ""
                if _one_step_long(s, y, start, length, curve.resolution_K)
                else _stopped_short(y, start, length, noise, int((s <= 0).sum()))
            )
            or _then_falling(s, y, start, length, noise)
        )
        if why:
            return RangeEnd(start, length, value, why)
    return None


def _without_flicker(fore: FloatArray, q: float, length: int) -> str:
    if fore.size < 12 or length < _RUN:
        return ""
    apart = np.abs(np.diff(fore))
    if float(np.mean(apart > 1.5 * q)) < _WIDE_FLICKER:
        return ""
    sigma = float(np.sqrt(max(float(np.mean(apart**2)) / 2 - q**2 / 12, 1e-12)))
    stays = math.erf(q / (2 * math.sqrt(2) * sigma)) if q > 0 else 0.1
    if length * math.log(max(stays, 1e-300)) > math.log(_UNLIKELY):
        return ""
    return "although the display flickers before the mixing"


def _stopped_short(y: FloatArray, start: int, length: int, noise: Noise, fore: int) -> str:
    """Stretches that begin before the mixing tell nothing; ``fore`` readings lie there."""
    last, q = start - 1, noise.resolution_K
    sign = np.sign(y[start] - y[0]) or 1.0
    swing = abs(float(y[start] - np.median(y[: max(start // 4, 3)])))
    u = float(np.sqrt(2) * np.hypot(noise.sigma_K, q / np.sqrt(12)))
    for w in _STRETCHES:
        if last - 2 * w < fore or length < 2 * w:
            break
        d1 = float(sign * (y[last] - y[last - w]))
        d2 = float(sign * (y[last - w] - y[last - 2 * w]))
        if d1 <= 0 or d2 <= 0:
            continue
        r = min(d1 / d2, 0.9)
        due = d1 * r / (1 - r) * (1 - r ** (length / w))
        u_due = u * float(np.hypot(2 * r - r * r, r * r)) / (1 - r) ** 2
        came = float(sign * (y[start] - y[last]))
        if due - came > q + _SURE * u_due + _SHORT_SHARE * swing:
            return (
                f"though it was moving so fast that another {due - came:.2g} K were due had it "
                "ended gradually"
            )
    return ""


def _one_step_long(s: FloatArray, y: FloatArray, start: int, length: int, q: float) -> bool:
    """Whether the reading stood no longer than a display's step takes to be lost, as after grains
    that are suddenly gone: t = q/|dT/dt|, the fall read from what follows. A sensor at its end goes
    on saying the same, whatever interrupts it."""
    end = start + length
    reach = max(2 * length, 20)
    t, T = s[end : end + reach], y[end : end + reach]
    if q <= 0 or t.size < 5 or float(np.mean(y[start] == T)) > _SAYS_THE_SAME:
        return False
    x = t - t.mean()
    slope = abs(float(x @ T) / float(x @ x))
    stood = float(s[end - 1] - s[start])
    return stood * slope <= _STEPS_LONG * q


def _then_falling(s: FloatArray, y: FloatArray, start: int, length: int, noise: Noise) -> str:
    end = start + length
    reach = max(length // 2, 5)
    if end + reach > y.size:
        return ""
    t, T = s[end : end + reach], y[end : end + reach]
    x = t - t.mean()
    slope = float(x @ T) / float(x @ x)
    middle = float(s[start] + s[end - 1]) / 2
    due = float(T.mean()) + slope * (middle - float(t.mean()))
    over = abs(due - y[start])
    away = np.sign(due - y[start]) == np.sign(y[start] - y[0])
    if not away or over < _STEPS_ROUND * noise.resolution_K + 4 * noise.sigma_K:
        return ""
    return f"though the fall that follows, drawn back, passes {over:.2g} K beyond"


def stands_long(curve: Curve, mixed_at_s: float) -> str:
    """A caution where the extreme reading stands for longer than a usual cup's would; else empty.

    A display with coarse steps stands still for q/(k |T − T1|) seconds; two and a half times that
    is either a very good cup or the end of the sensor's range.
    """
    s, y = curve.time_s - mixed_at_s, curve.temperature_C
    fore = y[s <= 0]
    head = float(np.median(fore[-5:])) if fore.size else float(y[0])
    at = int(np.argmax(np.abs(y - head) * (s > 0)))
    start, length = longest_run((y == y[at]) & (s > 0))
    stood = float(s[start + length - 1] - s[start])
    fall = USUAL_RATE_PER_S * abs(float(y[at]) - head) * stood
    if length < _RUN or stood < _STOOD_S or fall < _STEPS_STOOD * max(curve.resolution_K, 1e-3):
        return ""
    return (
        f"{length} readings in a row, {stood:.0f} s, are {y[at]:g} °C, while a usual cup would "
        f"have moved by {fall:.2g} K: if that is the end of the sensor's range, the change is "
        "larger than said here"
    )


def longest_run(flags: npt.NDArray[np.bool_]) -> tuple[int, int]:
    """Start and length of the longest run of true values; (0, 0) where there is none."""
    padded = np.concatenate([[0], flags.astype(np.int8), [0]])
    edges = np.diff(padded)
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    if starts.size == 0:
        return 0, 0
    longest = int(np.argmax(ends - starts))
    return int(starts[longest]), int((ends - starts)[longest])
