"""The highest or lowest reading, corrected with a known heat-loss conductance G.

After a mixing or a dissolution nobody knows how the heat came, what a slow wall still took and how
far the display's highest reading lay above the truth: `fitting.extreme.reading` averages over them.

A heater gives its heat evenly for t_h, and the reading is taken t after it was switched off. With
Newton's law and θ = T − T∞, exactly,

    ΔT = [θ_e e^(k t) − θ_0 e^(−k t_h)] k t_h/(1 − e^(−k t_h)),    k = G/(C_content + C_app)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitting.cup.knowledge import BENCH

if TYPE_CHECKING:
    from fitting.cup.circumstances import Circumstances

__all__ = [
    "CONDUCTANCE",
    "COURSE",
    "ROOM",
    "TIME",
    "ExtremeLoss",
    "extreme_loss",
    "heated_loss",
    "rise_while_heated_K",
]

ROOM = "room temperature"
CONDUCTANCE = "heat-loss conductance"
TIME = "time of the reading"
COURSE = "course of the heat release"

MOST_RATE_PER_S = 0.05
"""Cooling by half in a quarter of a minute: no cup that anybody measures in."""


@dataclass(frozen=True, slots=True)
class ExtremeLoss:
    """What is to be added to (extreme − before), and what its uncertainty is made of. [K]"""

    correction_K: float
    u_K: float
    parts: tuple[tuple[str, float], ...]


def extreme_loss(
    before_C: float,
    extreme_C: float,
    after_s: float,
    known: Circumstances,
    *,
    u_after_s: float,
    step_K: float,
    cup_share: float | None = None,
    release: str | None = None,
) -> ExtremeLoss:
    """Correction of an extreme reading after a mixing or a dissolution.

    Arguments as for `fitting.extreme.reading.correct_extreme_reading`. The readings' own errors are
    left to the thermometer's inputs.
    """
    from fitting.extreme import reading as fitted

    if known.rate_per_s is not None:
        known = replace(known, rate_per_s=min(known.rate_per_s, MOST_RATE_PER_S))
    one = fitted.correct_extreme_reading(
        before_C, extreme_C, max(after_s, 0.0), known, u_extreme_after_s=u_after_s, u_before_K=0.0,
        u_reading_K=0.0, step_K=step_K, noise_K=min(BENCH.look_K.u, 3.0 * step_K),
        cup_share=cup_share, release=release,
    )  # fmt: skip
    found = dict(one.parts)
    names = {ROOM: fitted.ROOM, CONDUCTANCE: fitted.RATE, TIME: fitted.TIME, COURSE: fitted.COURSE}
    parts = tuple((name, found.get(theirs, 0.0)) for name, theirs in names.items())
    return _put(one.rise_K - (extreme_C - before_C), parts)


def rise_while_heated_K(
    before_K: float, extreme_K: float, rate_per_s: float, heated_s: float, since_off_s: float
) -> float:
    """Rise of an insulated cup from a reading after even heating. [K]

    ``before_K`` and ``extreme_K`` are temperatures above that which the cup settles towards (room
    plus stirring), ``since_off_s`` from switching off to the reading.

    >>> round(rise_while_heated_K(0.0, 9.5, 1e-4, 400.0, 30.0), 4)
    9.7204
    """
    through = rate_per_s * heated_s
    even = through / -math.expm1(-through) if through > 0.0 else 1.0
    grown = extreme_K * math.exp(rate_per_s * since_off_s) - before_K * math.exp(-through)
    return grown * even


def heated_loss(
    before_C: float,
    extreme_C: float,
    after_s: float,
    room_C: float,
    rate: tuple[float, float],
    *,
    heated_s: float,
    u_room_K: float,
    u_after_s: float,
) -> ExtremeLoss:
    """Correction after a heater was on for ``heated_s`` and off for ``after_s``; its uncertainty by
    steps of each input. ``rate`` is the cooling rate and its u, 1/s."""
    rate_per_s, u_rate_per_s = rate

    def correction(settles: float, rate: float, after: float) -> float:
        before, extreme = before_C - settles, extreme_C - settles
        rate, after = max(rate, 0.0), max(after, 0.0)
        return rise_while_heated_K(before, extreme, rate, heated_s, after) - (extreme_C - before_C)

    value = correction(room_C, rate_per_s, after_s)
    moved = (
        (ROOM, correction(room_C + u_room_K, rate_per_s, after_s) - value),
        (CONDUCTANCE, correction(room_C, rate_per_s + u_rate_per_s, after_s) - value),
        (TIME, correction(room_C, rate_per_s, after_s + u_after_s) - value),
        (COURSE, BENCH.heater_share.u * value),
    )
    return _put(value, tuple((name, abs(part)) for name, part in moved))


def _put(value: float, parts: tuple[tuple[str, float], ...]) -> ExtremeLoss:
    return ExtremeLoss(value, math.sqrt(sum(part**2 for _, part in parts)), parts)
