"""What a probe says of a liquid: one lag or two, white noise and a slow wander."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.judges.record import FloatArray


@dataclass(frozen=True, slots=True)
class Probe:
    """Lags [s] (the second one 0 for a bare tip), noise [K], wander [K] and its time, interval."""

    lag_s: float
    sheath_s: float
    noise_K: float
    wander_K: float
    wander_s: float
    every_s: float


def follow(time_s: FloatArray, true_C: FloatArray, lag_s: float) -> FloatArray:
    """A first-order lag behind ``true_C``, exact for straight lines between the times, shape (n,).

    Times increase strictly; the probe begins at the liquid's own temperature.
    """
    if lag_s <= 0:
        return true_C
    step = np.diff(time_s) / lag_s
    keep = np.exp(-step)
    # s' = (x - s)/lag with x = x0 + m t:  s(h) = x1 - m lag + (s0 - x0 + m lag) keep
    behind = np.diff(true_C) / step
    out = [float(true_C[0])]
    for x0, x1, d, k in zip(
        true_C[:-1].tolist(), true_C[1:].tolist(), behind.tolist(), keep.tolist(), strict=True
    ):
        out.append(x1 - d + (out[-1] - x0 + d) * k)
    return np.array(out)


def read(
    time_s: FloatArray, true_C: FloatArray, at_s: FloatArray, probe: Probe,
    rng: np.random.Generator,
) -> FloatArray:  # fmt: skip
    """Readings at times ``at_s`` (equally spaced) of a liquid known at ``time_s``. [°C]"""
    from scipy.signal import lfilter

    behind = follow(time_s, follow(time_s, true_C, probe.sheath_s), probe.lag_s)
    n = len(at_s)
    keep = math.exp(-probe.every_s / probe.wander_s)
    kicks = rng.normal(0.0, probe.wander_K * math.sqrt(1.0 - keep**2), n)
    kicks[0] = rng.normal(0.0, probe.wander_K)
    wander = lfilter([1.0], [1.0, -keep], kicks)
    white = rng.normal(0.0, probe.noise_K, n)
    return np.asarray(np.interp(at_s, time_s, behind) + wander + white, dtype=np.float64)
