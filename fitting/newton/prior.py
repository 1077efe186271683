"""What is known beforehand of the parameters that all models share, in bands of cooling rates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.cup.knowledge import SURROUNDINGS
from fitting.curve import FloatArray
from fitting.newton.rows import (
    BEFORE,
    DRIFT,
    MISMATCH,
    POWER,
    RATE,
    RISE,
    SHARED,
    VAPOUR,
    vapour_height,
)
from fitting.newton.setting import Setting


@dataclass(frozen=True, eq=False)
class Bands:
    """Normal bands whose mixture stands for what is known of k: centre, u [1/s] and weight (B,)."""

    centre: FloatArray
    width: FloatArray
    weight: FloatArray


def rate_bands(setting: Setting) -> Bands:
    """Bands a factor 1.6 apart that follow the log-normal prior; a known rate is one band."""
    if setting.rate is not None:
        k, u = setting.rate
        return Bands(np.array([k]), np.array([max(u, 1e-3 * k, 1e-9)]), np.ones(1))
    vessel = setting.vessel
    z = np.arange(-5, 6) * np.log(1.6)
    usual = np.exp(-((z / vessel.rate_per_s.u) ** 2) / 2)
    other = np.exp(-((z / vessel.other_rate_spread.value) ** 2) / 2)
    share = vessel.other_weight.value
    weight = (1 - share) * usual / usual.sum() + share * other / other.sum()
    centre = vessel.rate_per_s.value * np.exp(z)
    return Bands(centre, 0.25 * centre, weight)


def one_wide_band(setting: Setting) -> Bands:
    """One band that hardly says more than that k is positive: a first look at the curve."""
    k = setting.vessel.rate_per_s.value
    return Bands(np.array([2 * k]), np.array([6 * k]), np.ones(1))


@dataclass(frozen=True, eq=False)
class Prior:
    """Gaussian knowledge of the shared parameters: precision (B, 7, 7), its product with the mean
    (B, 7), meanᵀ·precision·mean (B,) and log determinant of the precision (B,)."""

    precision: FloatArray
    pull: FloatArray
    power: FloatArray
    log_det: FloatArray


def shared_prior(bands: Bands, setting: Setting) -> Prior:
    """What is known of the shared parameters in each band.

    Stirring, room and vapour push together: p = stirring + k (T_room − T1) − v D with
    D = (1 − humidity)(e/e' + T_room − T1), since an open cup tends below the room. What is known of
    stirring, room and humidity is known of that sum. Vapour's part is v = w k, w by the lid.
    """
    near, lid = SURROUNDINGS, setting.lid.vapour_share
    k, u_k = bands.centre, bands.width
    room = 0.0 if setting.room_K is None else setting.room_K
    u_room = near.room_K.u if setting.room_K is None else setting.u_room_K
    height = vapour_height(setting.reference_C) + room
    D, u_D = (1 - near.humidity.value) * height, near.humidity.u * height
    u_pull = np.hypot(
        near.stirring_K_per_s.u, k * np.hypot(u_room, np.hypot(lid.value, lid.u) * u_D)
    )
    sd = np.empty((k.size, SHARED))
    sd[:, BEFORE], sd[:, RISE] = 50.0, 300.0
    sd[:, POWER], sd[:, RATE] = 1.0, u_k  # p is known by the sum only
    sd[:, VAPOUR] = lid.u * np.hypot(k, u_k)
    sd[:, DRIFT] = np.maximum(k, 2e-6) * near.room_drift_K_per_s.u
    sd[:, MISMATCH] = near.fore_mismatch_K_per_s.u
    mean = np.zeros_like(sd)
    mean[:, RATE], mean[:, VAPOUR] = k, lid.value * k
    along = np.zeros(SHARED)
    along[[POWER, RATE, VAPOUR]] = 1.0, -room, D
    tie = 1 / u_pull**2
    stirring = near.stirring_K_per_s.value
    diagonal = np.eye(SHARED) / (sd**2)[:, None, :]
    precision = diagonal + tie[:, None, None] * np.outer(along, along)
    pull = mean / sd**2 + (tie * stirring)[:, None] * along
    scale = np.sqrt(np.einsum("bii->bi", precision))
    unit = precision / (scale[:, :, None] * scale[:, None, :])
    log_det = np.linalg.slogdet(unit)[1] + 2 * np.log(scale).sum(1)
    middle = np.linalg.solve(unit, (pull / scale)[..., None])[..., 0] / scale
    return Prior(precision, pull, (pull * middle).sum(1), log_det)
