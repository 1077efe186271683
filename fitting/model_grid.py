"""The models that are averaged, and what each is told before it sees the readings.

A model is a band of cooling rates, a set of quick processes, a release time and a wall time. What
is known beforehand (`fitting.newton.Knowledge`) becomes the mean and the precision of its
parameters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import FloatArray
from fitting.newton import (
    BEFORE,
    DRIFT,
    LAG_ONLY,
    MISMATCH,
    POWER,
    QUICK_S,
    QUICK_SETS,
    RATE,
    RISE,
    VAPOUR,
    Knowledge,
    shape_weights,
)
from fitting.slow_wall import CUP_WALLS, Walls

SHARED = 7
SIZE = SHARED + QUICK_S.size
_ABSENT = 1e-9  # K: amplitude of a process that a model leaves out


@dataclass(frozen=True, eq=False)
class Setting:
    """What the models are told beside the readings."""

    change_K: float  # rough temperature change, with sign
    ratio: float  # heat capacity before / after
    room_K: float | None  # room above the reference
    u_room_K: float
    rate: tuple[float, float] | None  # known k and its standard uncertainty, 1/s
    know: Knowledge


def rate_bands(setting: Setting) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Normal bands whose mixture stands for what is known of k: centre, width, weight.

    Without prior knowledge of this cup, ln k is normal; bands a factor 1.8 apart follow it. A known
    rate becomes one band.
    """
    if setting.rate is not None:
        k, u = setting.rate
        return np.array([k]), np.array([max(u, 1e-3 * k, 1e-9)]), np.ones(1)
    know = setting.know
    z = np.arange(-5, 6) * np.log(1.6)
    centre = know.rate_per_s * np.exp(z)
    usual = np.exp(-((z / know.rate_spread) ** 2) / 2)
    other = np.exp(-((z / know.rate_spread_other) ** 2) / 2)
    share = know.other_weight
    weight = (1 - share) * usual / usual.sum() + share * other / other.sum()
    return centre, 0.25 * centre, weight


def shared_prior(
    centre: FloatArray, width: FloatArray, setting: Setting
) -> tuple[FloatArray, FloatArray]:
    """Prior precision and mean of shared and quick parameters.

    Returns: shapes (bands, quick sets, p, p) and (bands, quick sets, p).
    """
    know, bands, sets = setting.know, centre.size, len(QUICK_SETS)
    room = 0.0 if setting.room_K is None else setting.room_K
    u_room = know.u_room_unknown_K if setting.room_K is None else setting.u_room_K
    sd = np.full((bands, sets, SIZE), _ABSENT)
    mean = np.zeros((bands, sets, SIZE))
    k, u = centre[:, None], width[:, None]
    sd[..., BEFORE], sd[..., RISE] = 50.0, 300.0
    sd[..., POWER] = np.hypot(know.u_stirring_K_per_s, k * u_room)
    mean[..., POWER] = know.stirring_K_per_s + k * room
    sd[..., RATE], mean[..., RATE] = u, k
    sd[..., VAPOUR] = know.u_vapour_share
    sd[..., DRIFT] = know.room_drift_K_per_s
    sd[..., MISMATCH] = know.fore_mismatch_K_per_s
    precision = np.zeros((bands, sets, SIZE, SIZE))
    diagonal = np.arange(SIZE)
    precision[..., diagonal, diagonal] = 1 / sd**2
    _quick_prior(precision, mean, setting)
    if room != 0.0:  # p = stirring + k (T_room − T1): what is known of p leans on k
        tie = 1 / sd[..., POWER] ** 2
        precision[..., RATE, RATE] += tie * room**2
        precision[..., POWER, RATE] = precision[..., RATE, POWER] = -tie * room
    return precision, mean


def _quick_prior(precision: FloatArray, mean: FloatArray, setting: Setting) -> None:
    """Put the quick processes' knowledge in place.

    The slowest is one exponential of unknown time: three neighbours of which the *sum* is known
    (mean and spread), while each alone may vary more.
    """
    know = setting.know
    change = max(abs(setting.change_K), 1e-3)
    each, total = (know.u_quick_each * change) ** 2, (know.u_quick_share * change) ** 2
    common = (total / 3 - each) / 2  # covariance that gives the sum its variance
    block = np.linalg.inv(np.full((3, 3), common) + (each - common) * np.eye(3))
    for at, (first, three) in enumerate(QUICK_SETS):
        quicker = np.arange(SHARED + first, SHARED + three)
        precision[:, at, quicker, quicker] = 1 / (know.u_quicker_share * change) ** 2
        if at == LAG_ONLY:
            continue
        last = slice(SHARED + three, SHARED + three + 3)
        precision[:, at, last, last] = block
        mean[:, at, last] = -know.quick_share * setting.change_K / 3


def shared_transform(centre: FloatArray, know: Knowledge) -> FloatArray:
    """From the master's first columns to a band's own, shape (bands, p, p)."""
    out = np.tile(np.eye(SIZE), (centre.size, 1, 1))
    out[:, VAPOUR, RATE] = know.vapour_share  # k (I + share·E): the vapour's usual part
    out[:, VAPOUR, VAPOUR] = centre
    out[:, DRIFT, DRIFT] = centre
    return out


def log_prior_of_shapes(ratio: float, walls: Walls = CUP_WALLS) -> FloatArray:
    """Log prior weight of quick set, release and wall, shape (1, sets, releases, walls)."""
    weight = np.maximum(shape_weights(ratio)[:, :, None] * walls.weight, 1e-300)
    return np.asarray(np.log(weight)[None])
