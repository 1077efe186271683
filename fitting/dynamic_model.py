"""Reading of a stirred cup with a slow inner wall, in closed form.

Content (temperature T) and wall (W, share a of the heat capacity C) exchange heat with the wall's
time constant τ_w; the share g of the loss k leaves through the wall::

    (1 − a) dT/dt = Σ D_j κ_j e^(−κ_j s) + p − (1 − g) k (T − T_room) − (a/τ_w) (T − W)
          dW/dt   = (T − W)/τ_w − (g k/a) (W − T_room)
        τ dS/dt   = T − S

D_j is the rise that the heat j would give the whole cup, κ_j its release rate, p the stirring power
over C [K/s], S the reading. A sudden heat D is answered by

    T = D/(1 − a) · [c1 e^(−λ1 s) + c2 e^(−λ2 s)],    c1 = (λ2 − m)/(λ2 − λ1),    c2 = 1 − c1,

with m = [(1 − g) k + a/τ_w]/(1 − a) and λ1 < λ2 the rates of the two-body system; release and
sensor make it a chain of first-order steps (`fitting.responses.three_stage`). A pour of even speed
over so many seconds is two sudden ones, by Gauss and Legendre. Without wall λ1 = k, c1 = 1.

What the cup would do by itself, stirred and losing heat, is taken from the slow rate λ1 alone.
(own derivation; checked in the tests against an integrator of differential equations)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import FloatArray
from fitting.responses import decay_mean, three_stage

_POUR_AT = 0.5 + np.array([-1.0, 1.0]) / np.sqrt(12)
_POUR_WEIGHT = np.array([0.5, 0.5])


@dataclass(frozen=True, eq=False)
class Rates:
    """B sets of what the reading does not depend on linearly, each of shape (B,).

    rate_per_s: k; lag_s: the sensor's τ; pour_s; release_s: 1/κ, shape (B, releases); wall_share:
    a, None where there is no wall; wall_s: τ_w; wall_loss: g.
    """

    rate_per_s: FloatArray
    lag_s: FloatArray
    pour_s: FloatArray
    release_s: FloatArray
    wall_share: FloatArray | None
    wall_s: FloatArray
    wall_loss: FloatArray


@dataclass(frozen=True, eq=False)
class Modes:
    """The two-body system: rates λ [1/s] and weights c/(1 − a), shape (B, 1 or 2); k as a lasting
    difference to the room sees it, shape (B,)."""

    rate: FloatArray
    weight: FloatArray
    steady_rate: FloatArray


def modes_of(q: Rates) -> Modes:
    """Rates and weights of the content's answer to a sudden heat."""
    k = q.rate_per_s
    if q.wall_share is None:
        return Modes(k[:, None], np.ones((k.size, 1)), k)
    a, b, g = q.wall_share, 1 / q.wall_s, q.wall_loss
    to_room = g * k / a
    m, w = ((1 - g) * k + a * b) / (1 - a), b + to_room
    determinant = ((1 - g) * k * w + b * g * k) / (1 - a)
    half = (m + w) / 2
    fast = half + np.sqrt((m - w) ** 2 / 4 + a * b * b / (1 - a))
    slow = determinant / fast
    c1 = (fast - m) / (fast - slow)
    weight = np.stack([c1, 1 - c1], axis=1) / (1 - a)[:, None]
    steady = k * (1 - g + g * b / w)
    return Modes(np.stack([slow, fast], axis=1), weight, steady)


def unit_readings(s: FloatArray, q: Rates, modes: Modes) -> FloatArray:
    """Reading at s ≥ 0 after a rise of 1 K by each release, shape (B, releases, n)."""
    kappa = 1 / q.release_s[:, :, None, None, None]
    lam = 1 / q.lag_s[:, None, None, None, None]
    since = np.maximum(s - q.pour_s[:, None, None] * _POUR_AT[:, None], 0.0)
    chain = three_stage(since[:, None, None], modes.rate[:, None, :, None, None], kappa, lam)
    part = modes.weight[:, None, :, None, None] * _POUR_WEIGHT[:, None] * kappa * lam
    return np.asarray((part * chain).sum(axis=(2, 3)))


def idle_shape(s: FloatArray, rate_per_s: FloatArray) -> FloatArray:
    """(1 − e^(−λ s))/λ: how far 1 K/s has moved a cup that loses it at λ, s; shape (B, n).

    Holds before the mixing (s < 0) as well.
    """
    return np.asarray(s * decay_mean(np.maximum(rate_per_s[:, None] * s, -50.0)))


def drift_shape(s: FloatArray, rate_per_s: FloatArray) -> FloatArray:
    """s − (1 − e^(−λ s))/λ: what a room that drifts by 1 K/s makes of the content, s; (B, n)."""
    x = rate_per_s[:, None] * s
    series = s * (x / 2 - x**2 / 6)
    return np.asarray(np.where(np.abs(x) < 1e-3, series, s - idle_shape(s, rate_per_s)))
