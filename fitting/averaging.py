"""Newton's integral with what real cups add to it, averaged over models by their evidence.

A model is a band of cooling rates, a set of quick processes, a release time and a wall time. All
share seven parameters (`fitting.newton`); each adds the amplitudes of its decays. Everything is
linear with Gaussian knowledge, so each model is solved exactly; the shared parameters are solved
once for a band and a quick set, the two slow decays follow from 2 x 2 equations.

Source of the algebra: C. M. Bishop, *Pattern Recognition and Machine Learning* (2006), eqs. 3.49
to 3.51 and 3.86; block inversion as in its eq. 2.76.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitting.curve import FloatArray
from fitting.evidence import mixture_moments, mixture_quantiles, weights_of
from fitting.newton import (
    BEFORE,
    DRIFT,
    LATER_GIVEN_QUICK,
    MISMATCH,
    POWER,
    QUICK_S,
    QUICK_SETS,
    QUICK_WEIGHT,
    RATE,
    RELEASE_S,
    RISE,
    U_WALL_SHARE,
    VAPOUR,
    WALL_S,
    WALL_SHARE,
    WALL_WEIGHT,
    Binned,
    Knowledge,
    covariance_of,
    master_columns,
    wall_loss,
)
from fitting.noise import Noise

IntArray = npt.NDArray[np.intp]

_SHARED = 7
_SIZE = _SHARED + QUICK_S.size
_SCALES = (0.8, 1.0, 1.6)
_SCALE_WEIGHT = (0.25, 0.5, 0.25)
_ABSENT = 1e-9  # K: amplitude of a process that a model leaves out
_KEPT = (BEFORE, RISE, POWER, RATE)


@dataclass(frozen=True, eq=False)
class Setting:
    """What the models are told beside the readings."""

    change_K: float  # rough temperature change, with sign
    ratio: float  # heat capacity before / after
    room_K: float | None  # room above the reference
    u_room_K: float
    rate: tuple[float, float] | None  # known k and its standard uncertainty, 1/s
    know: Knowledge


@dataclass(frozen=True, eq=False)
class Averaged:
    """All models' answers and their weights, M models.

    Attributes:
        weight: shape (M,).
        mean: of temperature before [K above the reference], rise [K], power [K/s], rate [1/s],
            shape (M, 4); the loss through a slow wall is taken off the rise.
        sd: their standard uncertainties, shape (M, 4).
        wall_K, release_K: amplitudes at mixing of the slow wall and of the heat still to come.
        scale, band, quick, release, wall: which model, indices of shape (M,).
        log_evidence: of the readings under the average of all models.
    """

    weight: FloatArray
    mean: FloatArray
    sd: FloatArray
    wall_K: FloatArray
    release_K: FloatArray
    scale: IntArray
    band: IntArray
    quick: IntArray
    release: IntArray
    wall: IntArray
    log_evidence: float

    def moments(self, parameter: int) -> tuple[float, float]:
        """Mean and standard uncertainty of a kept parameter over all models."""
        at = _KEPT.index(parameter)
        return mixture_moments(self.weight, self.mean[:, at], self.sd[:, at])

    def interval95(self, parameter: int) -> tuple[float, float]:
        """Interval that holds 95 % of a parameter's probability, 2.5 % on each side."""
        at = _KEPT.index(parameter)
        low, high = mixture_quantiles(self.weight, self.mean[:, at], self.sd[:, at], (0.025, 0.975))
        return low, high


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
    sd = np.full((bands, sets, _SIZE), _ABSENT)
    mean = np.zeros((bands, sets, _SIZE))
    k, u = centre[:, None], width[:, None]
    sd[..., BEFORE], sd[..., RISE] = 50.0, 300.0
    sd[..., POWER] = np.hypot(know.u_stirring_K_per_s, k * u_room)
    mean[..., POWER] = know.stirring_K_per_s + k * room
    sd[..., RATE], mean[..., RATE] = u, k
    sd[..., VAPOUR] = know.u_vapour_share
    sd[..., DRIFT] = know.room_drift_K_per_s
    sd[..., MISMATCH] = know.fore_mismatch_K_per_s
    change = max(abs(setting.change_K), 1e-3)
    for at, (first, end) in enumerate(QUICK_SETS):
        sd[:, at, _SHARED + first : _SHARED + end] = know.u_quick_share * change
        mean[:, at, _SHARED + end - 2 : _SHARED + end] = -know.quick_share * setting.change_K
    precision = np.zeros((bands, sets, _SIZE, _SIZE))
    diagonal = np.arange(_SIZE)
    precision[..., diagonal, diagonal] = 1 / sd**2
    if room != 0.0:  # p = stirring + k (T_room − T1): what is known of p leans on k
        tie = 1 / sd[..., POWER] ** 2
        precision[..., RATE, RATE] += tie * room**2
        precision[..., POWER, RATE] = precision[..., RATE, POWER] = -tie * room
    return precision, mean


def _shared_transform(centre: FloatArray, know: Knowledge) -> FloatArray:
    """From the master's first columns to a band's own, shape (bands, p, p)."""
    out = np.tile(np.eye(_SIZE), (centre.size, 1, 1))
    out[:, VAPOUR, RATE] = know.vapour_share  # k (I + share·E): the vapour's usual part
    out[:, VAPOUR, VAPOUR] = centre
    out[:, DRIFT, DRIFT] = centre
    return out


def average(rows: Binned, noise: Noise, level: FloatArray, setting: Setting) -> Averaged:
    """Solve every model on the averaged readings and weigh them by evidence."""
    centre, width, band_weight = rate_bands(setting)
    precision, mean = shared_prior(centre, width, setting)
    shape = _shared_transform(centre, setting.know)
    columns = master_columns(rows, setting.ratio)
    own = covariance_of(rows, noise, level, setting.change_K, setting.know)
    prior = np.log(band_weight)[:, None, None, None] + _log_prior_of_shapes()
    solved, evidence = [], []
    for scale, weight in zip(_SCALES, _SCALE_WEIGHT, strict=True):
        root = np.linalg.cholesky(own) * scale
        white = np.linalg.solve(root, np.column_stack([columns, rows.y]))
        log_det = float(np.log(np.diag(root)).sum())
        one = _solve_models(white.T @ white, shape, precision, mean, setting)
        solved.append(one)
        evidence.append(one.log_evidence + prior + np.log(weight) - log_det)
    return _gathered(solved, np.stack(evidence), setting)


def _log_prior_of_shapes() -> FloatArray:
    """Log prior weight of quick set, release and wall, shape (1, sets, releases, walls)."""
    later = np.where(
        RELEASE_S > 0,
        LATER_GIVEN_QUICK[:, None] / (RELEASE_S.size - 1),
        1 - LATER_GIVEN_QUICK[:, None],
    )
    weight = QUICK_WEIGHT[:, None, None] * later[:, :, None] * WALL_WEIGHT
    return np.asarray(np.log(weight)[None])


@dataclass(frozen=True, eq=False)
class _Solved:
    """Shared parameters for every band b and quick set q, slow decays' 2 x 2 equations.

    base (b, q, p): means without slow decays; inverse (b, q, p, p): their covariance;
    gain (b, q, p, slow): what a unit of a slow decay takes off them; pair: see `_Pair`.
    """

    base: FloatArray
    inverse: FloatArray
    gain: FloatArray
    pair: _Pair
    log_evidence: FloatArray


@dataclass(frozen=True, eq=False)
class _Pair:
    """Amplitudes of release and wall for every pair: shapes (b, q, releases, walls)."""

    log_gain: FloatArray
    release: FloatArray
    wall: FloatArray
    v_release: FloatArray
    v_wall: FloatArray
    v_both: FloatArray

    def at(self, index: tuple[IntArray, ...]) -> tuple[FloatArray, ...]:
        """Amplitudes and variances of chosen models, each of shape (M,)."""
        return (
            self.release[index],
            self.wall[index],
            self.v_release[index],
            self.v_wall[index],
            self.v_both[index],
        )


def _solve_models(
    gram: FloatArray,
    shape: FloatArray,
    precision: FloatArray,
    prior_mean: FloatArray,
    setting: Setting,
) -> _Solved:
    """Solve the shared parameters for every band and quick set, then every pair of slow decays."""
    p, slow, y = slice(0, _SIZE), slice(_SIZE, -1), -1
    inner = shape.transpose(0, 2, 1) @ gram[p, p] @ shape
    cross = shape.transpose(0, 2, 1) @ gram[p, slow]
    moment = shape.transpose(0, 2, 1) @ gram[p, y]
    A = precision + inner[:, None]
    scale = np.sqrt(np.einsum("bqii->bqi", A))
    root = np.linalg.cholesky(A / (scale[..., :, None] * scale[..., None, :]))
    half = np.linalg.inv(root) / scale[..., None, :]
    inverse = half.swapaxes(-1, -2) @ half
    pull = (precision @ prior_mean[..., None])[..., 0]
    target = pull + moment[:, None]
    base = (inverse @ target[..., None])[..., 0]
    gain = inverse @ cross[:, None]
    log_prior = np.log(np.einsum("bqii->bqi", np.linalg.cholesky(precision))).sum(-1)
    log_post = (np.log(np.einsum("bqii->bqi", root)) + np.log(scale)).sum(-1)
    fit = float(gram[y, y]) + (pull * prior_mean).sum(-1) - (target * base).sum(-1)
    rest = gram[slow, slow] - cross[:, None].swapaxes(-1, -2) @ gain
    need = gram[slow, y] - (cross[:, None].swapaxes(-1, -2) @ base[..., None])[..., 0]
    pair = _solve_pairs(rest, need, setting)
    evidence = (log_prior - log_post - fit / 2)[..., None, None] + pair.log_gain
    return _Solved(base, inverse, gain, pair, evidence)


def _solve_pairs(rest: FloatArray, need: FloatArray, setting: Setting) -> _Pair:
    """The two slow decays of every pair, by 2 x 2 equations."""
    know, count = setting.know, RELEASE_S.size
    change = max(abs(setting.change_K), 1e-3)
    t_r, t_w = 1 / (know.u_release_share * change) ** 2, 1 / (U_WALL_SHARE * change) ** 2
    mean_r = know.release_share * setting.change_K * (RELEASE_S[:, None] > 0)
    mean_w = WALL_SHARE * setting.change_K
    r, w = np.arange(count), np.arange(count, count + WALL_S.size)
    a = rest[..., r, r][..., :, None] + t_r
    d = rest[..., w, w][..., None, :] + t_w
    b = rest[..., r[:, None], w[None, :]]
    h_r = need[..., r][..., :, None] + t_r * mean_r
    h_w = need[..., w][..., None, :] + t_w * mean_w
    det = np.maximum(a * d - b * b, 1e-12 * a * d)
    release, wall = (d * h_r - b * h_w) / det, (a * h_w - b * h_r) / det
    fit = t_w * mean_w**2 + t_r * mean_r**2 - h_r * release - h_w * wall
    log_gain = 0.5 * (np.log(t_r * t_w) - np.log(det) - fit)
    return _Pair(log_gain, release, wall, d / det, a / det, -b / det)


def _gathered(solved: list[_Solved], log_evidence: FloatArray, setting: Setting) -> Averaged:
    """The models that count (within e^-12 of the best), with their answers."""
    top = float(log_evidence.max())
    index = np.nonzero(log_evidence > top - 12)
    kept = log_evidence[index]
    parts = []
    for which, one in enumerate(solved):
        mine = index[0] == which
        parts.append(_answers(one, tuple(axis[mine] for axis in index[1:]), setting))
    mean, variance, wall, release = (np.concatenate([part[i] for part in parts]) for i in range(4))
    total = top + float(np.log(np.exp(kept - top).sum()))
    sd = np.sqrt(np.maximum(variance, 1e-30))
    scale, band, quick, r, w = index
    weight = weights_of(kept)
    return Averaged(weight, mean, sd, wall, release, scale, band, quick, r, w, total)


def _answers(
    one: _Solved, index: tuple[IntArray, ...], setting: Setting
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Kept parameters' means and variances, wall's and release's amplitude of chosen models."""
    b, q, r, w = index
    kept = np.array(_KEPT)
    release, wall, v_r, v_w, v_rw = one.pair.at(index)
    g_r = one.gain[b[:, None], q[:, None], kept, r[:, None]]
    g_w = one.gain[b[:, None], q[:, None], kept, RELEASE_S.size + w[:, None]]
    mean = one.base[b[:, None], q[:, None], kept] - g_r * release[:, None] - g_w * wall[:, None]
    variance = one.inverse[b[:, None], q[:, None], kept, kept] + g_r**2 * v_r[:, None]
    variance = variance + g_w**2 * v_w[:, None] + 2 * g_r * g_w * v_rw[:, None]
    rise, rate = _KEPT.index(RISE), _KEPT.index(RATE)
    both = one.inverse[b, q, RISE, RATE] + g_r[:, rise] * g_r[:, rate] * v_r
    both = both + g_w[:, rise] * g_w[:, rate] * v_w
    both = both + (g_r[:, rise] * g_w[:, rate] + g_w[:, rise] * g_r[:, rate]) * v_rw
    off, u_off = _wall_loss(mean[:, rate], wall, WALL_S[w], setting)
    per_rate = off / np.maximum(mean[:, rate], 1e-9)
    mean[:, rise] -= off
    variance[:, rise] += u_off**2 + per_rate**2 * variance[:, rate] - 2 * per_rate * both
    return mean, variance, wall, release


def _wall_loss(
    rate: FloatArray, wall_K: FloatArray, wall_s: FloatArray, setting: Setting
) -> tuple[FloatArray, FloatArray]:
    """What Newton's integral counts too much (`newton.wall_loss`) and its uncertainty, K.

    The readings say nothing about the share of the loss that passes the wall: it is known as
    before.
    """
    know, change = setting.know, setting.change_K
    k = np.maximum(rate, 0.0)
    share = wall_K / change if change else np.zeros_like(wall_K)
    off = change * wall_loss(k, wall_s, share, know.wall_loss_share)
    more = know.wall_loss_share + know.u_wall_loss_share
    return off, change * wall_loss(k, wall_s, share, more) - off
