"""A noted moment of mixing that lies off the jump which the curve shows.

Looked for with the fore line and three readings first, which costs next to nothing; only where
these speak against the moment is the onset found (`fitting.periods.find_mixing`) and named.

* *Late*: the last readings before the moment have already left the line of the earlier ones, by
  more than six times their uncertainty and 3 % of the change. If they have gone nearly all the way,
  the jump lies wholly before the moment: nothing is left to correct, and the curve is refused.
* *Early*: after the moment the readings keep to the fore line for longer than pouring, the sensor's
  lag and a slow release explain: 2 % of the change is reached after 15 s and later (a release of
  200 s behind a lag of 15 s takes √(2 · 0.02 · 15 · 200) s = 11 s).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitting.curve import Curve
from fitting.periods import (
    CurveRefused,
    MixingMoment,
    find_mixing,
    quick_noise,
    what_is_seen,
)

_FEWEST = 8  # readings before the moment
_LAST = 3
_LATE_SHARE, _SURE, _WHOLLY = 0.03, 6.0, 0.95
_HALF = 0.5
_EARLY_SHARE, _EARLY_NOISE, _EARLY_S = 0.02, 5.0, 15.0
_APART_S = 5.0  # that a person's note may be off by without a word


def held_against_the_jump(curve: Curve, mixing: MixingMoment) -> MixingMoment:
    """The moment, with a warning where it lies off the jump.

    Raises:
        CurveRefused: the jump lies wholly before a moment that was noted.
    """
    if not mixing.given:
        return mixing
    s, y = curve.time_s - mixing.time_s, curve.temperature_C
    before = int(np.searchsorted(s, 0.0, side="right"))
    if before < _FEWEST or y.size - before < _FEWEST:
        return mixing
    start = float(np.median(y[:_LAST]))
    whole = float(y[int(np.argmax(np.abs(y - start)))]) - start
    gone = float(np.median(y[before - _LAST : before])) - start
    if abs(gone) > _HALF * abs(whole):
        return _late(curve, mixing, gone / whole)
    noise = quick_noise(curve)
    u = float(np.hypot(noise.sigma_K, noise.resolution_K / np.sqrt(12)))
    level, drift, u_level = _early_line(s[:before], y[:before], u)
    away = y - level - drift * s
    swing = float(away[before:][np.argmax(np.abs(away[before:]))])
    gone = float(np.median(away[before - _LAST : before]))
    if abs(gone) > max(_SURE * u_level, _LATE_SHARE * abs(swing)) and gone * swing > 0:
        return _late(curve, mixing, gone / swing)
    seen = np.abs(away[before:]) > max(_EARLY_NOISE * u, _EARLY_SHARE * abs(swing))
    first = int(np.argmax(seen[:-1] & seen[1:])) if seen.size > 1 else 0
    if float(s[before + first]) > _EARLY_S + 2 * mixing.u_s + 2 * curve.step_s:
        return _early(curve, mixing)
    return mixing


def _early_line(s: np.ndarray, y: np.ndarray, u: float) -> tuple[float, float, float]:
    """Level at the moment, drift and u of the level from the first two thirds before it, °C, K/s.

    A drift that is not seen beyond its uncertainty is left out: carried on, it only adds to it.
    """
    use = slice(0, max(2 * s.size // 3, _FEWEST - _LAST))
    x = s[use] - s[use].mean()
    power = float(x @ x)
    slope = float(x @ y[use]) / power if power > 0 else 0.0
    u_slope = u / np.sqrt(power) if power > 0 else np.inf
    slope = slope if abs(slope) > 3 * u_slope else 0.0
    reach = -float(s[use].mean())
    level = float(y[use].mean()) + slope * reach
    carried = u_slope * reach if slope else 0.0
    return level, slope, float(np.hypot(u, carried))


def _found(curve: Curve) -> MixingMoment | None:
    try:
        return find_mixing(curve)
    except CurveRefused:
        return None


def _late(curve: Curve, mixing: MixingMoment, share: float) -> MixingMoment:
    found = _found(curve)
    if found is None or mixing.time_s - found.time_s < _allowed(mixing, found):
        return mixing
    seen = f"{found.time_s:.1f} ± {found.u_s:.1f} s"
    if share > _WHOLLY:
        raise CurveRefused(
            curve,
            f"the moment of mixing given, {mixing.time_s:g} s, lies after the whole change, which "
            f"the curve shows from {seen} on: give the moment on the curve's own clock",
            what_is_seen(curve),
        )
    return replace(
        mixing,
        warning=f"the moment of mixing given, {mixing.time_s:g} s, is late: the curve changes from "
        f"{seen} on, and {100 * share:.0f} % of the change lies before the moment; part of the "
        "rise is taken for the temperature before it",
    )


def _early(curve: Curve, mixing: MixingMoment) -> MixingMoment:
    found = _found(curve)
    if found is None or found.time_s - mixing.time_s < _allowed(mixing, found):
        return mixing
    return replace(
        mixing,
        warning=f"the moment of mixing given, {mixing.time_s:g} s, is early: the curve changes "
        f"from {found.time_s:.1f} ± {found.u_s:.1f} s on only, later than pouring and a lag "
        "explain; another clock?",
    )


def _allowed(mixing: MixingMoment, found: MixingMoment) -> float:
    """How far a note may lie off without a word, s."""
    return _APART_S + 2 * float(np.hypot(mixing.u_s, found.u_s))
