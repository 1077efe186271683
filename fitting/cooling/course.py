"""The course of a cup that does a little of everything, for many sets of parameters at once.

    θ = T − T∞ − c t,    dT/dt = −k θ |θ/θr|^m + d/dt [b e^(−t/τ)]

k [1/s] is the loss over the temperature difference at θr (the middle of the stretch), T∞ [°C] the
temperature that the cup tends to at the start, c [K/s] the room's drift, m = n − 1 the steepness,
b [K] and τ [s] what a wall that is not level takes or gives. One of them alone is one of the laws
of `fitting.cooling.laws`; m = 0, c = 0, b = 0 is Newton's.

Solved by splitting: half of a step's drift, the exact flow of the power law, the other half. The
power law's flow over h is θ (1 + m k h |θ/θr|^m)^(−1/m). Source: G. Strang, SIAM J. Numer. Anal. 5
(1968) 506 (from memory).
"""

from __future__ import annotations

import numpy as np

from fitting.curve import FloatArray

START, RATE, T_INF, DRIFT, STEEP, WALL, WALL_S = range(7)
SIZE = 7
_FINE = 0.04  # of 1/k: longest step of the splitting
_MOST_PARTS = 12  # beyond that the cup has settled within a bin


def course(p: FloatArray, t: FloatArray, middle_C: float) -> FloatArray:
    """Temperature at the times t for every set of parameters. [°C]

    Args:
        p: T0 [°C], k [1/s], T∞ [°C], c [K/s], m, b [K], τ [s]; shape (S, 7).
        t: times since the start, s, ascending, shape (n,).
        middle_C: temperature at which k is the loss over the difference.

    Returns:
        shape (S, n).
    """
    k, t_inf, c, steep, wall = (p[:, i] for i in (RATE, T_INF, DRIFT, STEEP, WALL))
    m = np.maximum(steep, 1e-7)
    scale = m * np.log(np.maximum(np.abs(middle_C - t_inf), 1e-3))
    theta = p[:, START] - wall - t_inf
    usual = float(np.median(k))
    out = np.empty((t.size, p.shape[0]))
    for i, gap in enumerate(np.diff(t, prepend=0.0)):
        parts = min(max(int(np.ceil(gap * usual / _FINE)), 1), _MOST_PARTS)
        h = gap / parts
        for _ in range(parts):
            theta = theta - c * h / 2
            size = np.exp(np.minimum(m * np.log(np.abs(theta) + 1e-9) - scale, 60.0))
            theta = theta * np.exp(-np.log1p(m * k * h * size) / m) - c * h / 2
        out[i] = theta
    fading = wall[:, None] * np.exp(-t / p[:, WALL_S, None])
    return np.asarray(out.T + t_inf[:, None] + c[:, None] * t + fading)
