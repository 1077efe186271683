"""The highest or lowest reading, corrected with a known heat-loss conductance.

With Newton's law, heat released at first order (rate κ) from the moment of mixing on, θ = T − T∞::

    dθ/dt = κ ΔT e^(−κt) − k θ

At the extreme, dθ/dt = 0 at time t_e, which gives the release rate κ and, exactly,

    ΔT = θ_e e^(k t_e) − θ_0 (1 − k/κ),      κ ΔT e^(−κ t_e) = k θ_e

Where no such κ exists (nothing turns round) the release is taken as at once, κ → ∞.

A heater gives its heat evenly for t_h, and the reading is taken t after it was switched off:

    ΔT = [θ_e e^(k t) − θ_0 e^(−k t_h)] k t_h/(1 − e^(−k t_h))
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["ExtremeLoss", "extreme_loss", "rise_at_extreme_K", "rise_while_heated_K"]

MODEL_SHARE = 0.15
"""u of the correction from its model, as a share: heat released evenly until t_e loses half as much
as heat released at once, a rectangle of half-width a quarter about the middle (our estimate)."""
HEATER_SHARE = 0.03
"""The same for a heater, whose course is known; what the heater itself holds back is left."""


@dataclass(frozen=True, slots=True)
class ExtremeLoss:
    """What is to be added to (extreme − before), and what its uncertainty is made of. [K]"""

    correction_K: float
    u_K: float
    parts: tuple[tuple[str, float], ...]


def rise_at_extreme_K(
    before_K: float, extreme_K: float, rate_per_s: float, after_s: float
) -> float:
    """Rise of an insulated cup from the extreme reading. [K]

    ``before_K`` and ``extreme_K`` are temperatures above that which the cup settles towards (room
    plus stirring), ``rate_per_s`` the cooling rate after mixing, ``after_s`` the time from mixing
    to the extreme.

    >>> round(rise_at_extreme_K(0.0, 9.5, 1e-3, 50.0), 4)
    9.9871
    """
    grown = extreme_K * math.exp(rate_per_s * after_s)
    rise = grown - before_K
    if rate_per_s <= 0.0 or after_s <= 0.0 or extreme_K * rise <= 0.0:
        return rise
    product = 5.0
    for _ in range(200):
        kappa = product / after_s
        rise = grown - before_K * (1.0 - rate_per_s / kappa)
        ratio = kappa * rise / (rate_per_s * extreme_K)
        if ratio <= math.e:
            return grown - before_K
        following = math.log(ratio)
        if abs(following - product) < 1e-10:
            break
        product = following
    return rise


def rise_while_heated_K(
    before_K: float, extreme_K: float, rate_per_s: float, heated_s: float, since_off_s: float
) -> float:
    """Rise of an insulated cup from a reading after even heating. [K]

    Arguments as for :func:`rise_at_extreme_K`; ``since_off_s`` from switching off to the reading.

    >>> round(rise_while_heated_K(0.0, 9.5, 1e-4, 400.0, 30.0), 4)
    9.7204
    """
    through = rate_per_s * heated_s
    even = through / -math.expm1(-through) if through > 0.0 else 1.0
    grown = extreme_K * math.exp(rate_per_s * since_off_s) - before_K * math.exp(-through)
    return grown * even


def extreme_loss(
    before_C: float,
    extreme_C: float,
    settles_C: float,
    rate_per_s: float,
    after_s: float,
    *,
    u_settles_K: float,
    u_rate_per_s: float,
    u_after_s: float,
    heated_s: float | None = None,
) -> ExtremeLoss:
    """Correction of an extreme reading with its uncertainty, by steps of each input.

    ``heated_s`` is how long a heater was on; ``after_s`` then counts from switching it off.
    """

    def correction(settles: float, rate: float, after: float) -> float:
        before, extreme = before_C - settles, extreme_C - settles
        rate, after = max(rate, 0.0), max(after, 0.0)
        if heated_s is not None:
            rise = rise_while_heated_K(before, extreme, rate, heated_s, after)
        else:
            rise = rise_at_extreme_K(before, extreme, rate, after)
        return rise - (extreme_C - before_C)

    value = correction(settles_C, rate_per_s, after_s)
    parts = (
        ("room temperature", correction(settles_C + u_settles_K, rate_per_s, after_s) - value),
        (
            "heat-loss conductance",
            correction(settles_C, rate_per_s + u_rate_per_s, after_s) - value,
        ),
        ("time of the reading", correction(settles_C, rate_per_s, after_s + u_after_s) - value),
        (
            "course of the heat release",
            (MODEL_SHARE if heated_s is None else HEATER_SHARE) * value,
        ),
    )
    u = math.sqrt(sum(part**2 for _, part in parts))
    return ExtremeLoss(value, u, tuple((name, abs(part)) for name, part in parts))
