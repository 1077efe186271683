"""A lagging sensor in a stirred cup, in closed form: truth for tests, apart from what they test."""

from __future__ import annotations

import numpy as np

from fitting.curve import FloatArray

Rate = float | FloatArray

_CLOSE = 0.3  # of (largest − smallest rate)·time: below it the series is used


def decay_mean(x: FloatArray) -> FloatArray:
    """(1 − e^(−x))/x for x ≥ 0, 1 at x = 0."""
    safe = np.where(x == 0, 1.0, x)
    return np.asarray(np.where(x == 0, 1.0, -np.expm1(-safe) / safe))


def two_stage(s: FloatArray, a: Rate, b: Rate) -> FloatArray:
    """Convolution of e^(−a s) and e^(−b s): (e^(−a s) − e^(−b s))/(b − a), s e^(−a s) at a = b.

    It is minus the first divided difference of e^(−x s) in x. Times s [s] and rates a, b [1/s] of
    shapes that broadcast.
    """
    low, high = np.minimum(a, b), np.maximum(a, b)
    return np.asarray(np.exp(-low * s) * s * decay_mean((high - low) * s))


def three_stage(s: FloatArray, a: Rate, b: Rate, c: Rate) -> FloatArray:
    """Convolution of e^(−a s), e^(−b s) and e^(−c s), for any rates, equal ones included.

    It is the second divided difference f[a, b, c] of f(x) = e^(−x s). Far apart it is
    (f[b, c] − f[a, b])/(c − a). Close together, with d the distances from the mean m,

        f[a, b, c] = s² e^(−m s) [1/2 + s² h2/24 − s³ h3/120 + s⁴ h4/720 − …],

    h_j the complete homogeneous polynomials of the distances: h2 = Σd²/2, h3 = Σd³/3,
    h4 = (Σd²)²/8 + Σd⁴/4 since Σd = 0. Times and rates of shapes that broadcast.

    Source: C. de Boor, *Divided differences*, Surveys in Approximation Theory 1 (2005) 46.

    >>> s = np.array([2.0])
    >>> bool(np.allclose(three_stage(s, 0.1, 0.1, 0.1), s**2 / 2 * np.exp(-0.1 * s)))
    True
    """
    rates = np.sort(np.stack(np.broadcast_arrays(*np.atleast_1d(a, b, c))), axis=0)
    low, middle, high = rates
    mean = rates.mean(axis=0)
    d = rates - mean
    square = (d**2).sum(axis=0)
    h2, h3 = square / 2, (d**3).sum(axis=0) / 3
    h4 = square**2 / 8 + (d**4).sum(axis=0) / 4
    apart = np.maximum(high - low, 1e-300)
    t = np.minimum(s, _CLOSE / apart)
    bracket = 0.5 + t * t * (h2 / 24 - t * (h3 / 120 - t * (h4 / 720)))
    near = s**2 * np.exp(-mean * s) * bracket
    far = (two_stage(s, low, middle) - two_stage(s, middle, high)) / apart
    return np.asarray(np.where((high - low) * s < _CLOSE, near, far))


def cup_response(
    s: FloatArray, before_C: float, t_inf_C: float, k: float, lag_s: float,
    heats: tuple[tuple[float, float], ...],
) -> FloatArray:  # fmt: skip
    """Reading of a lagging sensor in a stirred cup after mixing, °C.

        dT/dt = Σ D_j κ_j e^(−κ_j s) − k (T − T∞),    τ dS/dt = T − S,    T(0) = S(0) = T1

    With λ = 1/τ and the convolutions above,
    S = T∞ + (T1 − T∞)[e^(−λ s) + λ·two(k, λ)] + Σ D_j κ_j λ·three(k, κ_j, λ).

    Args:
        s: seconds since mixing, s ≥ 0, shape (n,).
        before_C, t_inf_C: T1 and T∞.
        k: cooling rate, 1/s, ≥ 0.
        lag_s: the sensor's time constant τ, s; 0 for none.
        heats: pairs (D_j, κ_j): adiabatic rise [K] and release rate [1/s].
    """
    if lag_s <= 0:
        out = t_inf_C + (before_C - t_inf_C) * np.exp(-k * s)
        for rise, rate in heats:
            out = out + rise * rate * two_stage(s, k, rate)
        return np.asarray(out)
    lam = 1 / lag_s
    out = t_inf_C + (before_C - t_inf_C) * (np.exp(-lam * s) + lam * two_stage(s, k, lam))
    for rise, rate in heats:
        out = out + rise * rate * lam * three_stage(s, k, rate, lam)
    return np.asarray(out)
