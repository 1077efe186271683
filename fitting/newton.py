"""Newton's law of cooling in its integral form, fitted to fore and after period together.

The energy balance of cup and content (heat capacity C, conductance G to the room, stirrer P)

    C dT/dt = Q̇ − G (T − T_room) + P,      k = G/C,      T∞ = T_room + P/G

integrated from the mixing (s = 0, T = T1) gives, with T* the temperature of an insulated cup,

    T(s) = T1 + rise − k ∫₀^s (T − T1) ds' + p s,      p = k (T∞ − T1)           (after)
    T(s) = T1 − (k/r) ∫₀^s (T − T1) ds' + (p/r) s,     r = C before / C after      (before)

because G, P and T∞ belong to the cup and stay. It is *linear* in T1, rise, k and p: the integral
is taken from the readings themselves. A sensor that lags by τ reads S = T − τ dS/dt; put into the
equation, the lag adds τ k (S_f − T∞) at the end, takes it off at the start, takes k τ (S_f − S_i)
out of the integral: the three cancel to first order, so nothing is corrected for it.

Real cups add terms, each linear as well and each with what is known beforehand about its size
(`Knowledge`): a slow wall, heat still being released, vapour, a drifting room, the display's steps.
`fitting.corrections.newton_integral` averages over these models by their evidence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import FloatArray
from fitting.noise import Noise, step_covariance, step_variance

# parameters of one model, in this order
BEFORE, RISE, POWER, RATE, VAPOUR, DRIFT, MISMATCH, WALL_LOSS, RELEASE, WALL = range(10)
PARAMETERS = (
    "temperature before", "rise", "stirring and room", "cooling rate", "vapour", "drifting room",
    "fore drift", "loss through the slow wall", "heat still released", "slow wall",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What is known of a stirred cup before its curve is seen. (common practice, no source)

    Times in s, temperatures in K, rates in 1/s; shares of the temperature change where it says so.
    """

    rate_per_s: float = 1.1e-4  # median of k: 0.003 to 0.03 1/min for foam cups, less for flasks
    rate_spread: float = 0.9  # of ln k
    stirring_K_per_s: float = 5e-5  # 0.001 to 0.01 K/min
    u_stirring_K_per_s: float = 8e-5
    u_room_unknown_K: float = 2.0
    room_drift_K_per_s: float = 3e-4  # 0.3 K in 1000 s
    fore_mismatch_K_per_s: float = 1.5e-5
    vapour_share: float = 0.03  # of the loss at the temperature before mixing
    u_vapour_share: float = 0.04
    wall_share: float = 0.01  # transient left by the slow wall at mixing, share of the change
    u_wall_share: float = 0.012
    wall_loss_share: float = 1 / 3  # side, bottom and lid lose alike; one of them lags
    u_wall_loss_share: float = 0.2
    release_share: float = 0.3  # of the change, still to be released, counted back to mixing
    fast_share: float = 1.0
    wander_K: float = 0.002
    wander_s: float = 50.0


WALL_S = np.array([0.0, 20.0, 35.0, 55.0, 80.0, 120.0])  # 0: no slow wall
WALL_WEIGHT = np.array([0.3, 0.12, 0.17, 0.17, 0.14, 0.1])
RELEASE_S = np.array([0.0, 22.0, 32.0, 46.0, 66.0, 95.0, 135.0])  # 0: release over
RELEASE_WEIGHT = np.array([0.4, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1])
FAST_S = (np.array([3.0, 5.0, 8.0, 12.0]), np.array([3.0, 5.0, 8.0, 12.0, 18.0, 27.0]))


@dataclass(frozen=True, eq=False)
class Binned:
    """Readings averaged over short stretches; rows before the mixing come first.

    Attributes: s [s], y [K above the reference], integral [K s], vapour [K s], spread [K moved
    within the stretch], count, after (bool), each of shape (n,).
    """

    s: FloatArray
    y: FloatArray
    integral: FloatArray
    vapour: FloatArray
    spread: FloatArray
    count: FloatArray
    after: FloatArray


def vapour_excess(y_K: FloatArray, reference_C: float) -> FloatArray:
    """How much faster than linearly vapour's loss grows, in K of an equal Newton loss.

    Loss by vapour follows the saturation pressure e(T); scaled to the slope at the reference,
    the excess over a straight line is [e(T) − e(T1)]/e'(T1) − (T − T1).

    Source: O. A. Alduchov, R. E. Eskridge, J. Appl. Meteor. 35 (1996) 601, eq. 21 (Magnus form).
    """

    def pressure(t: FloatArray) -> FloatArray:
        return np.asarray(6.1094 * np.exp(17.625 * t / (t + 243.04)))

    ref = np.asarray(float(np.clip(reference_C, -30.0, 95.0)))
    hot = np.clip(reference_C + y_K, -30.0, 105.0)
    slope = pressure(ref) * 17.625 * 243.04 / (ref + 243.04) ** 2
    return np.asarray((pressure(hot) - pressure(ref)) / slope - (hot - ref))


def covariance_of(rows: Binned, noise: Noise, level: FloatArray, know: Knowledge) -> FloatArray:
    """Covariance of the averaged readings' own errors: noise, wander and display steps, K²."""
    q = noise.resolution_K
    stuck = step_variance(noise.sigma_K, q)
    single = noise.sigma_K**2 * np.minimum(noise.inflation, rows.count)
    single = single + max(q**2 / 12 - stuck, 0.0)
    gap = np.abs(rows.s[:, None] - rows.s[None, :])
    wander = know.wander_K**2 * np.exp(-gap / know.wander_s)
    floor = 1e-10 + (1e-3 * q) ** 2
    steps = step_covariance(level, rows.spread, noise)
    return np.asarray(np.diag(single / rows.count + floor) + wander + steps)


def fast_covariance(rows: Binned, times_s: FloatArray, scale_K: float) -> FloatArray:
    """Covariance left by quick processes of unknown size (sensor, pouring, quick release), K².

    A sum of exp(−s/τ) with independent normal amplitudes of standard deviation scale_K.
    """
    shapes = np.exp(-rows.s[:, None] / times_s) * rows.after[:, None] * scale_K
    return np.asarray(shapes @ shapes.T)


def master_columns(rows: Binned, ratio: float) -> FloatArray:
    """Columns that every model is built from, shape (n, 7 + walls + releases)."""
    before = 1 - rows.after
    share = np.where(rows.after > 0, 1.0, 1 / ratio)
    e_release = -np.exp(-np.clip(rows.s, 0, None)[:, None] / np.maximum(RELEASE_S, 1e-3))
    e_wall = np.exp(-np.clip(rows.s, 0, None)[:, None] / np.maximum(WALL_S, 1e-3))
    after = rows.after[:, None]
    plain = np.stack(
        [
            np.ones_like(rows.s),
            rows.after,
            share * rows.s,
            -share * rows.integral,
            -share * rows.vapour,
            share * rows.s**2 / 2,
            before * rows.s,
        ],
        axis=1,
    )
    return np.concatenate([plain, e_release * after, e_wall * after], axis=1)
