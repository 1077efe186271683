"""Newton's integral with what real cups add to it, averaged over models by their evidence.

The models (`fitting.model_grid`) share seven parameters (`fitting.newton`); each adds the
amplitudes of its decays. Everything is linear with Gaussian knowledge, so each model is solved
exactly: the shared parameters once for a band of rates and a quick set, the two slow decays by
2 x 2 equations.

Where a solid dissolves, models are weighed by their evidence to the power 0.85: none is quite true,
and where the curve is short, full weight would settle on one too soon.

Sources: P. Grünwald, T. van Ommen, Bayesian Anal. 12 (2017) 1069, on powers of the likelihood under
models that are not true (from memory; the power itself is our choice, by simulation); C. M.
Bishop, *Pattern Recognition and Machine Learning* (2006), eqs. 3.49 to 3.51 and 3.86; block
inversion as in its eq. 2.76.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitting.curve import FloatArray
from fitting.evidence import mixture_moments, mixture_quantiles, weights_of
from fitting.model_grid import (
    SIZE,
    Setting,
    log_prior_of_shapes,
    rate_bands,
    shared_prior,
    shared_transform,
)
from fitting.newton import (
    BEFORE,
    POWER,
    RATE,
    RELEASE_S,
    RELEASE_SHARE,
    RISE,
    SOLID_RATIO,
    U_RELEASE_SHARE,
    U_RELEASE_SHIFT,
    Binned,
    covariance_of,
    master_columns,
)
from fitting.noise import Noise
from fitting.slow_wall import hidden_loss

IntArray = npt.NDArray[np.intp]

SCALES = (1.0, 0.8, 1.6)
_SCALE_WEIGHT = (0.5, 0.25, 0.25)
_HOPELESS = 18.0  # of log evidence behind the best
TRUST_SOLID = 0.85  # power of the evidence where a solid dissolves
_KEPT = (BEFORE, RISE, POWER, RATE)
FINAL, SETTLES = -1, -2  # temperature without loss; where the cup tends to: made of the kept ones
_COLUMNS = (*_KEPT, FINAL, SETTLES)


@dataclass(frozen=True, eq=False)
class Averaged:
    """All models' answers and their weights, M models.

    Attributes:
        weight: shape (M,).
        mean: of temperature before [K above the reference], rise [K], power [K/s], rate [1/s],
            temperature without loss and temperature the cup tends to [K above the reference],
            shape (M, 6); the loss through a slow wall is taken off the rise.
        sd: their standard uncertainties, shape (M, 6).
        wall_K, release_K: amplitudes at mixing of the slow wall and of the heat still to come.
        scale, band, quick, release, wall: which model, indices of shape (M,).
        hidden_K, u_hidden_K: loss through the slow wall that was taken off the rise.
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
    hidden_K: FloatArray
    u_hidden_K: FloatArray
    log_evidence: float

    def moments(self, parameter: int) -> tuple[float, float]:
        """Mean and standard uncertainty of a kept parameter over all models."""
        at = _COLUMNS.index(parameter)
        return mixture_moments(self.weight, self.mean[:, at], self.sd[:, at])

    def interval95(self, parameter: int) -> tuple[float, float]:
        """Interval that holds 95 % of a parameter's probability, 2.5 % on each side."""
        at = _COLUMNS.index(parameter)
        low, high = mixture_quantiles(self.weight, self.mean[:, at], self.sd[:, at], (0.025, 0.975))
        return low, high


def average(rows: Binned, noise: Noise, level: FloatArray, setting: Setting) -> Averaged:
    """Solve every model on the averaged readings and weigh them by evidence."""
    centre, width, band_weight = rate_bands(setting)
    precision, mean = shared_prior(centre, width, setting)
    shape = shared_transform(centre, setting.know)
    columns = master_columns(rows, setting.ratio, setting.know.walls)
    prior = np.log(band_weight)[:, None, None, None] + log_prior_of_shapes(
        setting.ratio, setting.know.walls
    )
    trust = TRUST_SOLID if setting.ratio > SOLID_RATIO else 1.0
    solved, evidence = [], []
    use = np.ones(precision.shape[:2], dtype=bool)
    for scale, weight in zip(SCALES, _SCALE_WEIGHT, strict=True):
        own = covariance_of(rows, noise, level, setting.change_K, setting.know, scale)
        root = np.linalg.cholesky(own)
        white = np.linalg.solve(root, np.column_stack([columns, rows.y]))
        log_det = float(np.log(np.diag(root)).sum())
        one = _solve_models(white.T @ white, shape, precision, mean, use, setting)
        full = np.full(prior.shape, -np.inf)
        full[use] = prior[use] + np.log(weight) + trust * (one.log_evidence - log_det)
        solved.append(one)
        evidence.append(full)
        if len(solved) == 1:  # what hopelessly misses the readings does so at every scale
            best = full.max(axis=(2, 3))
            use = best > best.max() - _HOPELESS
    return _gathered(solved, np.stack(evidence), setting)


@dataclass(frozen=True, eq=False)
class _Solved:
    """N combinations of band and quick set, with every release r and wall w.

    row: where a band and a quick set are found in the N, shape (bands, sets), −1 if left out;
    base (N, p, r): means without release and wall; inverse (N, p, p) and shift (N, p, r): their
    covariance, and what the shift of the release's time adds to it (as a root); gain_r, gain_w (N,
    p, r), (N, p, r, w): what a unit of a decay takes off them; amplitudes and their covariance
    (N, r, w).
    """

    row: IntArray
    base: FloatArray
    inverse: FloatArray
    shift: FloatArray
    gain_r: FloatArray
    gain_w: FloatArray
    pair: _Pair
    log_evidence: FloatArray


@dataclass(frozen=True, eq=False)
class _Pair:
    """Amplitudes of release and wall for every pair: shapes (N, releases, walls)."""

    log_gain: FloatArray
    release: FloatArray
    wall: FloatArray
    v_release: FloatArray
    v_wall: FloatArray
    v_both: FloatArray


def _solve_models(
    gram: FloatArray,
    shape: FloatArray,
    precision: FloatArray,
    prior_mean: FloatArray,
    use: npt.NDArray[np.bool_],
    setting: Setting,
) -> _Solved:
    """Solve the shared parameters for the bands and sets in use, then every pair of slow decays."""
    p, slow, y = slice(0, SIZE), slice(SIZE, -1), -1
    band = np.nonzero(use)[0]
    turned = shape.transpose(0, 2, 1)
    cross = (turned @ gram[p, slow])[band]
    L, m = precision[use], prior_mean[use]
    A = L + (turned @ gram[p, p] @ shape)[band]
    scale = np.sqrt(np.einsum("nii->ni", A))
    root = np.linalg.cholesky(A / (scale[:, :, None] * scale[:, None, :]))
    half = np.linalg.inv(root) / scale[:, None, :]
    inverse = half.transpose(0, 2, 1) @ half
    pull = (L @ m[..., None])[..., 0]
    target = pull + (turned @ gram[p, y])[band]
    base = (inverse @ target[..., None])[..., 0]
    log_prior = np.log(np.einsum("nii->ni", np.linalg.cholesky(L))).sum(-1)
    log_post = (np.log(np.einsum("nii->ni", root)) + np.log(scale)).sum(-1)
    fit = float(gram[y, y]) + (pull * m).sum(-1) - (target * base).sum(-1)
    known = (log_prior - log_post - fit / 2)[:, None, None]
    row = np.full(use.shape, -1)
    row[use] = np.arange(band.size)
    need = gram[slow, y] - (cross.transpose(0, 2, 1) @ base[..., None])[..., 0]
    gain = inverse @ cross
    return _solve_slow(
        row, base, inverse, gain, _Rest(gram[slow, slow], cross, gain, need), known, setting
    )


class _Rest:
    """Gram of the slow columns once the shared parameters are fitted: only the parts in need."""

    def __init__(
        self, gram: FloatArray, cross: FloatArray, gain: FloatArray, need: FloatArray
    ) -> None:
        n = RELEASE_S.size
        r, v, w = slice(0, n), slice(n, 2 * n), slice(2 * n, None)

        def same(a: slice, b: slice) -> FloatArray:
            return np.asarray(np.diag(gram[a, b]) - (cross[..., a] * gain[..., b]).sum(1))

        self.rr, self.vv, self.rv, self.ww = same(r, r), same(v, v), same(r, v), same(w, w)
        turned = cross.transpose(0, 2, 1)
        self.rw = gram[r, w] - turned[:, r] @ gain[..., w]
        self.vw = gram[v, w] - turned[:, v] @ gain[..., w]
        self.h_r, self.h_v, self.h_w = need[:, r], need[:, v], need[:, w]


def _solve_slow(
    row: IntArray, base: FloatArray, inverse: FloatArray, gain: FloatArray, rest: _Rest,
    known: FloatArray, setting: Setting,
) -> _Solved:  # fmt: skip
    """Release and wall of every pair; the shift of the release's time is eliminated first."""
    n = RELEASE_S.size
    change = max(abs(setting.change_K), 1e-3)
    t_v = 1 / (np.maximum(U_RELEASE_SHIFT, 1e-6) * change) ** 2
    free = t_v + rest.vv
    by_r, by_w = rest.rv / free, rest.vw / free[..., None]
    g_r, g_v, g_w = gain[..., :n], gain[..., n : 2 * n], gain[..., 2 * n :]
    pair = _solve_pairs(
        rest.rr - rest.rv * by_r,
        rest.ww[:, None, :] - rest.vw * by_w,
        rest.rw - rest.rv[..., None] * by_w,
        rest.h_r - by_r * rest.h_v,
        rest.h_w[:, None, :] - by_w * rest.h_v[..., None],
        setting,
    )
    gained = 0.5 * (np.log(t_v / free) + rest.h_v**2 / free)
    return _Solved(
        row,
        base[..., None] - g_v * (rest.h_v / free)[:, None, :],
        inverse,
        g_v / np.sqrt(free)[:, None, :],
        g_r - g_v * by_r[:, None, :],
        g_w[:, :, None, :] - g_v[..., None] * by_w[:, None],
        pair,
        known + gained[..., None] + pair.log_gain,
    )


def _solve_pairs(
    rr: FloatArray, ww: FloatArray, rw: FloatArray, h_r: FloatArray, h_w: FloatArray,
    setting: Setting,
) -> _Pair:  # fmt: skip
    """The two slow decays of every pair, by 2 x 2 equations; shapes (N, r), (N, r, w)."""
    change = max(abs(setting.change_K), 1e-3)
    walls = setting.know.walls
    t_r, t_w = 1 / (U_RELEASE_SHARE[:, None] * change) ** 2, 1 / (walls.u_share * change) ** 2
    mean_r = RELEASE_SHARE[:, None] * setting.change_K
    mean_w = walls.share * setting.change_K
    a, d, b = rr[..., None] + t_r, ww + t_w, rw
    x, z = h_r[..., None] + t_r * mean_r, h_w + t_w * mean_w
    det = np.maximum(a * d - b * b, 1e-12 * a * d)
    release, wall = (d * x - b * z) / det, (a * z - b * x) / det
    fit = t_w * mean_w**2 + t_r * mean_r**2 - x * release - z * wall
    log_gain = 0.5 * (np.log(t_r * t_w) - np.log(det) - fit)
    return _Pair(log_gain, release, wall, d / det, a / det, -b / det)


def _gathered(solved: list[_Solved], log_evidence: FloatArray, setting: Setting) -> Averaged:
    """The models that count (within e^-12 of the best), with their answers."""
    index = np.nonzero(log_evidence > float(log_evidence.max()) - 12)
    parts = []
    for which, one in enumerate(solved):
        mine = index[0] == which
        parts.append(_answers(one, tuple(axis[mine] for axis in index[1:]), setting))
    joined = [np.concatenate([part[i] for part in parts]) for i in range(7)]
    mean, variance, wall, release, hidden, u_hidden, log_wall = joined
    kept = log_evidence[index] + log_wall
    top = float(kept.max())
    total = top + float(np.log(np.exp(kept - top).sum()))
    sd = np.sqrt(np.maximum(variance, 1e-30))
    scale, band, quick, r, w = index
    return Averaged(
        weights_of(kept), mean, sd, wall, release, scale, band, quick, r, w, hidden, u_hidden, total
    )


def _answers(one: _Solved, index: tuple[IntArray, ...], setting: Setting) -> tuple[FloatArray, ...]:
    """Means and variances of the kept parameters, amplitudes and hidden loss of chosen models."""
    b, q, r, w = index
    n, kept = one.row[b, q], np.array(_KEPT)
    at, pair = (n[:, None], kept, r[:, None]), one.pair
    release, wall = pair.release[n, r, w], pair.wall[n, r, w]
    v_r, v_w, v_rw = (v[n, r, w][:, None] for v in (pair.v_release, pair.v_wall, pair.v_both))
    g_r, g_w = one.gain_r[at], one.gain_w[n[:, None], kept, r[:, None], w[:, None]]
    g_v = one.shift[at]
    mean = one.base[at] - g_r * release[:, None] - g_w * wall[:, None]
    variance = one.inverse[n[:, None], kept, kept] + g_v**2
    variance = variance + g_r**2 * v_r + g_w**2 * v_w + 2 * g_r * g_w * v_rw

    def together(i: int, j: int) -> FloatArray:
        """Covariance of two kept parameters."""
        both = one.inverse[n, _KEPT[i], _KEPT[j]] + g_v[:, i] * g_v[:, j]
        both = both + g_r[:, i] * g_r[:, j] * v_r[:, 0] + g_w[:, i] * g_w[:, j] * v_w[:, 0]
        return np.asarray(both + (g_r[:, i] * g_w[:, j] + g_w[:, i] * g_r[:, j]) * v_rw[:, 0])

    i, j = _KEPT.index(RISE), _KEPT.index(RATE)
    both = together(i, j)
    change = setting.change_K or 1e-9
    u_wall = np.sqrt(v_w[:, 0]) / abs(change)
    found = hidden_loss(mean[:, j], w, wall / change, u_wall, setting.know.walls)
    off, u_off = change * found.share, abs(change) * found.u_share
    per_rate = off / np.maximum(mean[:, j], 1e-9)
    mean[:, i] -= off
    variance[:, i] += u_off**2 + per_rate**2 * variance[:, j] - 2 * per_rate * both
    head = together(0, i) - per_rate * together(0, j)
    mean, variance = _with_ends(mean, variance, head, together(2, j))
    return mean, variance, wall, release, off, u_off, found.log_weight


def _with_ends(
    mean: FloatArray, variance: FloatArray, head: FloatArray, of_power: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Two more columns: T before + rise, and T∞ − reference = p/k by the first-order law.

    ``head`` is the covariance of temperature before and rise, ``of_power`` that of p and k.
    """
    k = np.maximum(mean[:, 3], 1e-9)
    rest = mean[:, 2] / k
    v_rest = (variance[:, 2] - 2 * rest * of_power + rest**2 * variance[:, 3]) / k**2
    v_final = variance[:, 0] + variance[:, 1] + 2 * head
    ends = np.column_stack([mean[:, 0] + mean[:, 1], rest])
    spread = np.maximum(np.column_stack([v_final, v_rest]), 0.0)
    return np.concatenate([mean, ends], axis=1), np.concatenate([variance, spread], axis=1)
