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

from dataclasses import dataclass, replace

import numpy as np

from fitting.curve import FloatArray
from fitting.noise import Noise, step_covariance, step_variance
from fitting.slow_wall import CUP_WALLS, FLASK_WALLS, Walls

# parameters that every model has, in this order
BEFORE, RISE, POWER, RATE, VAPOUR, DRIFT, MISMATCH = range(7)
PARAMETERS = (
    "temperature before", "rise", "stirring and room", "cooling rate", "vapour", "drifting room",
    "fore drift",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What is known of a stirred cup before its curve is seen. (common practice, no source)

    Times in s, temperatures in K, rates in 1/s; shares of the temperature change where it says so.
    """

    rate_per_s: float = 1.2e-4  # median of k; 0.004 to 0.014 1/min for a foam cup with a lid
    rate_spread: float = 0.45  # of ln k, such cups
    rate_spread_other: float = 1.3  # flasks, and cups without a lid
    other_weight: float = 0.15
    stirring_K_per_s: float = 6e-5  # 0.001 to 0.01 K/min
    u_stirring_K_per_s: float = 5e-5
    u_room_unknown_K: float = 2.0
    room_drift_K_per_s: float = 3e-4  # 0.3 K in 1000 s
    fore_mismatch_K_per_s: float = 1.5e-5
    vapour_share: float = 0.03  # of the loss at the temperature before mixing
    u_vapour_share: float = 0.04
    quick_share: float = 1.2  # of the change: the slowest quick process, counted back to mixing
    u_quick_share: float = 0.3
    u_quick_each: float = 0.4  # of each of the three that stand for it
    u_quicker_share: float = 0.6
    wander_K: float = 0.002  # slow wander of the reading; at most half its noise
    wander_s: float = 50.0
    shape_error_share: float = 3e-4  # of the change: what sums of exponentials miss of a release
    shape_error_s: float = 120.0
    walls: Walls = CUP_WALLS


VESSELS: dict[str, Knowledge] = {
    "cup": Knowledge(),
    "flask": Knowledge(rate_per_s=2.2e-5, rate_spread=0.5, walls=FLASK_WALLS),
}
"""What is known of each kind of vessel; a closed vacuum flask loses 0.0005 to 0.002 1/min.
(common practice, no source)"""


# releases: none left; a slower second process; one slow process that releases most of the heat.
# Times in s; shares of the change, mean and standard deviation.
# Between two times of the grid the shape is moved by its derivative with respect to ln τ.
_SECOND_S = 20.0 * 1.2 ** np.arange(10)
_SINGLE_S = 20.0 * 1.2 ** np.arange(14)
RELEASE_S = np.concatenate([[0.0], _SECOND_S, _SINGLE_S])
RELEASE_SHARE = np.concatenate([[0.0], np.full(10, 0.2), np.full(14, 0.9)])
U_RELEASE_SHARE = np.concatenate([[0.12], np.full(10, 0.12), np.full(14, 0.3)])
U_RELEASE_SHIFT = np.log(1.2) / np.sqrt(12) * np.hypot(RELEASE_SHARE, U_RELEASE_SHARE)
QUICK_S = 3.0 * 1.3 ** np.arange(10)  # sensor, pouring, quick release: 3 to 32 s
# sets of them: (first, slowest three): three neighbours stand for one process of any time between
# them; those from `first` on before the three for what is quicker still. The last set has no such
# three: it goes with one slow release, and holds the sensor's lag only.
QUICK_SETS = (*((j, j) for j in range(5)), *((0, j) for j in range(1, 8)), (0, 6))
LAG_ONLY = len(QUICK_SETS) - 1


SOLID_RATIO = 0.93  # heat capacity before / after: above it a solid was added, no liquid


def shape_weights(ratio: float) -> FloatArray:
    """Prior weight of each quick set with each release, shape (sets, releases).

    A release over in seconds leaves only the sensor's lag to be seen (narrow sets) and seldom a
    slow remainder, unless a solid dissolves; a release that is seen itself (wide sets) has one more
    often. Solids mostly have one, two liquids seldom. (common practice, no source)
    """
    quick = np.array([*(5 * [0.09]), *(7 * [0.5 / 7]), 0.05])
    if ratio > SOLID_RATIO:
        later = np.array([*(5 * [0.75]), *(7 * [0.88])])
    else:
        later = np.array([*(5 * [0.03]), *(7 * [0.25])])
    second = np.exp(-((np.log(_SECOND_S / 48.0) / 0.5) ** 2) / 2)
    out = np.zeros((len(QUICK_SETS), RELEASE_S.size))
    out[:LAG_ONLY, 0] = 1 - later
    out[:LAG_ONLY, 1:11] = later[:, None] * second / second.sum()
    single = np.exp(-((np.log(_SINGLE_S / 50.0) / 0.6) ** 2) / 2)
    out[LAG_ONLY, 11:] = single / single.sum()
    return quick[:, None] * out


@dataclass(frozen=True, eq=False)
class Binned:
    """Readings averaged over short stretches; rows before the mixing come first.

    Attributes: s [s], y [K above the reference], integral [K s], vapour [K s], spread [K moved
    within the stretch], count, after (1 or 0), each of shape (n,); known: covariance of rows whose
    error is known apart [K²], shape (n, n); their count is infinite.
    """

    s: FloatArray
    y: FloatArray
    integral: FloatArray
    vapour: FloatArray
    spread: FloatArray
    count: FloatArray
    after: FloatArray
    known: FloatArray


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


_DITHERS = 0.8  # of the noise: where it is estimated too large, it would seem to dither steps away
_STEPS_TOO_SURE = 1.3  # variance of rounding over its formula's: noise and course are not exact


def covariance_of(
    rows: Binned, noise: Noise, level: FloatArray, change_K: float, know: Knowledge, scale: float
) -> FloatArray:
    """Covariance of the averaged readings' own errors: noise, wander and display steps, K².

    ``scale`` multiplies the standard deviation of what was estimated from the readings; the steps
    of the display are known.
    """
    q = noise.resolution_K
    stuck = step_variance(noise.sigma_K, q)
    single = noise.sigma_K**2 * np.minimum(noise.inflation, rows.count)
    single = single + max(q**2 / 12 - stuck, 0.0)
    gap = np.abs(rows.s[:, None] - rows.s[None, :])
    slow = float(np.clip(0.5 * noise.sigma_K, 2e-4, know.wander_K))
    wander = slow**2 * np.exp(-gap / know.wander_s)
    floor = 1e-10 + (1e-3 * q) ** 2
    finer = replace(noise, sigma_K=_DITHERS * noise.sigma_K)
    steps = _STEPS_TOO_SURE * step_covariance(level, rows.spread, _blur(rows, noise), finer)
    own = (np.diag(single / rows.count) + wander) * scale**2 + floor * np.eye(rows.s.size)
    return np.asarray(own + steps + rows.known + _shape_error(rows, change_K, know))


def _shape_error(rows: Binned, change_K: float, know: Knowledge) -> FloatArray:
    """Covariance of what sums of exponentials miss of a real release, K²; it fades in minutes."""
    since = np.maximum(rows.s, 1.0)
    size = know.shape_error_share * change_K * rows.after * np.exp(-since / know.shape_error_s)
    apart = np.log(since)[:, None] - np.log(since)[None, :]
    return np.asarray(np.outer(size, size) * np.exp(-2 * apart**2))


def _blur(rows: Binned, noise: Noise) -> FloatArray:
    """How well the temperature's movement between two rows is known before the fit, K.

    Before the mixing drifts of some 5e-5 K/s either way are not seen; after it the smooth course
    is known to a step and a half over the period. Between the periods nothing is known to within
    a step.
    """
    after = rows.after > 0
    span = float(rows.s[after][-1] - rows.s[after][0]) if after.any() else 1.0
    rate = np.where(after, 1.5 * noise.resolution_K / max(span, 1.0), 5e-5)
    gap = np.abs(rows.s[:, None] - rows.s[None, :])
    blur = np.sqrt(np.outer(rate, rate)) * gap
    return np.asarray(np.where(after[:, None] == after[None, :], blur, 1e3))


def master_columns(rows: Binned, ratio: float, walls: Walls = CUP_WALLS) -> FloatArray:
    """Columns that every model is built from, shape (n, 7 + quick + 2 releases + walls).

    A time of 0 gives a column of zeros: no such process. The releases come twice: e^(−s/τ), and
    its derivative with respect to ln τ, (s/τ) e^(−s/τ).
    """
    share = np.where(rows.after > 0, 1.0, 1 / ratio)
    since = np.clip(rows.s, 0, None)[:, None]
    after = rows.after[:, None]
    quick, release, wall = (
        np.exp(-since / np.maximum(times, 1e-3)) * after
        for times in (QUICK_S, RELEASE_S, walls.time_s)
    )
    shift = release * since / np.maximum(RELEASE_S, 1e-3)
    plain = [
        np.ones_like(rows.s),
        rows.after,
        share * rows.s,
        -share * rows.integral,
        -share * rows.vapour,
        share * rows.s**2 / 2,
        (1 - rows.after) * rows.s,
    ]
    return np.column_stack([*plain, quick, -release, -shift, wall])
