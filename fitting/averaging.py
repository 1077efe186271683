"""Newton's integral with what real cups add to it, averaged over models by their evidence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitting.curve import FloatArray
from fitting.evidence import Posteriors, mixture_moments, mixture_quantiles, solve, weights_of
from fitting.newton import (
    BEFORE,
    DRIFT,
    FAST_S,
    MISMATCH,
    POWER,
    RATE,
    RELEASE,
    RELEASE_S,
    RELEASE_WEIGHT,
    RISE,
    VAPOUR,
    WALL,
    WALL_LOSS,
    WALL_S,
    WALL_WEIGHT,
    Binned,
    Knowledge,
    covariance_of,
    fast_covariance,
    master_columns,
)
from fitting.noise import Noise

IntArray = npt.NDArray[np.intp]
_SIZE = 10
_NOISE_SCALES = (1.0, 1.7)
_TINY = 1e-9


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
class Grid:
    """Models: every combination of a band of rates, a release time and a wall time, shape (B,)."""

    rate: FloatArray
    u_rate: FloatArray
    release: IntArray
    wall: IntArray
    log_weight: FloatArray


@dataclass(frozen=True, eq=False)
class Averaged:
    """All models' answers and their weights.

    Attributes:
        weight: shape (M,); posteriors: mean (M, 10) and covariance (M, 10, 10), K and s.
        grid index, fast set and noise scale of each model.
        log_evidence: of the readings under the average of all models.
    """

    weight: FloatArray
    mean: FloatArray
    covariance: FloatArray
    model: IntArray
    fast: IntArray
    scale: FloatArray
    grid: Grid
    setting: Setting
    log_evidence: float

    def moments(self, parameter: int) -> tuple[float, float]:
        """Mean and standard uncertainty of a parameter over all models."""
        sd = np.sqrt(self.covariance[:, parameter, parameter])
        return mixture_moments(self.weight, self.mean[:, parameter], sd)

    def interval95(self, parameter: int) -> tuple[float, float]:
        """Interval that holds 95 % of a parameter's probability, 2.5 % on each side."""
        sd = np.sqrt(self.covariance[:, parameter, parameter])
        low, high = mixture_quantiles(self.weight, self.mean[:, parameter], sd, (0.025, 0.975))
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
    step = np.log(1.8)
    z = np.arange(-4, 5) * step
    centre = know.rate_per_s * np.exp(z)
    weight = np.exp(-((z / know.rate_spread) ** 2) / 2)
    return centre, 0.33 * centre, weight / weight.sum()


def make_grid(setting: Setting) -> Grid:
    """All combinations, with their prior weights."""
    centre, width, weight = rate_bands(setting)
    shape = (centre.size, RELEASE_S.size, WALL_S.size)
    i, j, m = (axis.ravel() for axis in np.indices(shape))
    log_weight = np.log(weight[i]) + np.log(RELEASE_WEIGHT[j]) + np.log(WALL_WEIGHT[m])
    return Grid(centre[i], width[i], j, m, log_weight)


def prior_of(grid: Grid, setting: Setting) -> tuple[FloatArray, FloatArray]:
    """Prior precision (B, 10, 10) and mean (B, 10) of the models' parameters."""
    know, size = setting.know, grid.rate.size
    change = max(abs(setting.change_K), 1e-3)
    sd = np.empty((size, _SIZE))
    mean = np.zeros((size, _SIZE))
    sd[:, BEFORE], sd[:, RISE] = 50.0, 300.0
    room = 0.0 if setting.room_K is None else setting.room_K
    u_room = know.u_room_unknown_K if setting.room_K is None else setting.u_room_K
    sd[:, POWER] = np.hypot(know.u_stirring_K_per_s, grid.rate * u_room)
    mean[:, POWER] = know.stirring_K_per_s + grid.rate * room
    sd[:, RATE], mean[:, RATE] = grid.u_rate, grid.rate
    sd[:, VAPOUR], mean[:, VAPOUR] = know.u_vapour_share, know.vapour_share
    sd[:, DRIFT] = know.room_drift_K_per_s
    sd[:, MISMATCH] = know.fore_mismatch_K_per_s
    present = grid.wall > 0
    sd[:, WALL_LOSS] = np.where(present, know.u_wall_loss_share, _TINY)
    mean[:, WALL_LOSS] = np.where(present, know.wall_loss_share, 0.0)
    sd[:, RELEASE] = np.where(grid.release > 0, know.release_share * change, _TINY)
    sd[:, WALL] = np.where(present, know.u_wall_share * change, _TINY)
    mean[:, WALL] = np.where(present, know.wall_share * setting.change_K, 0.0)
    precision = np.zeros((size, _SIZE, _SIZE))
    diagonal = np.arange(_SIZE)
    precision[:, diagonal, diagonal] = 1 / sd**2
    if room != 0.0:  # p = stirring + k (T_room − T1): what is known of p leans on k
        tie = 1 / sd[:, POWER] ** 2
        precision[:, RATE, RATE] += tie * room**2
        precision[:, POWER, RATE] = precision[:, RATE, POWER] = -tie * room
    return precision, mean


def transform_of(grid: Grid, setting: Setting) -> FloatArray:
    """From the master columns to each model's own, shape (B, columns, 10)."""
    size, releases = grid.rate.size, RELEASE_S.size
    out = np.zeros((size, 7 + releases + WALL_S.size, _SIZE))
    out[:, 0, BEFORE] = out[:, 1, RISE] = out[:, 2, POWER] = out[:, 3, RATE] = 1
    out[:, 4, RATE] = setting.know.vapour_share  # k (I + share·E): the vapour's usual part
    out[:, 4, VAPOUR] = grid.rate
    out[:, 5, DRIFT] = grid.rate
    out[:, 6, MISMATCH] = 1
    out[:, 1, WALL_LOSS] = grid.rate * WALL_S[grid.wall] * setting.change_K
    rows = np.arange(size)
    out[rows, 7 + grid.release, RELEASE] = 1
    out[rows, 7 + releases + grid.wall, WALL] = 1
    return out


def average(rows: Binned, noise: Noise, level: FloatArray, setting: Setting) -> Averaged:
    """Solve every model on the averaged readings and weigh them by evidence."""
    grid = make_grid(setting)
    precision, mean = prior_of(grid, setting)
    shape = transform_of(grid, setting)
    columns = master_columns(rows, setting.ratio)
    own = covariance_of(rows, noise, level, setting.know)
    change = max(abs(setting.change_K), 1e-3) * setting.know.fast_share
    parts: list[Posteriors] = []
    for times in FAST_S:
        quick = fast_covariance(rows, times, change)
        for scale in _NOISE_SCALES:
            parts.append(
                _solve_all(rows.y, columns, scale**2 * own + quick, shape, precision, mean, grid)
            )
    size = grid.rate.size
    log_evidence = np.concatenate([p.log_evidence for p in parts])
    weight = weights_of(log_evidence)
    top = float(log_evidence.max())
    total = top + float(np.log(np.exp(log_evidence - top).sum()))
    count = len(_NOISE_SCALES)
    return Averaged(
        weight,
        np.concatenate([p.mean for p in parts]),
        np.concatenate([p.covariance for p in parts]),
        np.tile(np.arange(size), len(parts)),
        np.repeat(np.arange(len(FAST_S)), count * size),
        np.tile(np.repeat(np.array(_NOISE_SCALES), size), len(FAST_S)),
        grid,
        setting,
        total,
    )


def _solve_all(
    y: FloatArray,
    columns: FloatArray,
    covariance: FloatArray,
    shape: FloatArray,
    precision: FloatArray,
    mean: FloatArray,
    grid: Grid,
) -> Posteriors:
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(root, np.column_stack([columns, y]))
    X, z = white[:, :-1], white[:, -1]
    gram, moment = X.T @ X, X.T @ z
    small = np.einsum("bci,cd,bdj->bij", shape, gram, shape, optimize=True)
    target = np.einsum("bci,c->bi", shape, moment)
    # the vapour's usual part was put on the rate's column: its own parameter is the deviation
    centred = mean.copy()
    centred[:, VAPOUR] = 0.0
    found = solve(small, target, float(z @ z), precision, centred)
    log_det = float(np.log(np.diag(root)).sum())
    return Posteriors(found.mean, found.covariance, found.log_evidence + grid.log_weight - log_det)


def predicted(found: Averaged, rows: Binned) -> FloatArray:
    """Most likely model's values at the averaged readings, K above the reference, shape (n,).

    Quick processes of free amplitude are not part of it.
    """
    top = int(np.argmax(found.weight))
    which = found.model[top : top + 1]
    grid = found.grid
    one = Grid(
        grid.rate[which], grid.u_rate[which], grid.release[which], grid.wall[which],
        grid.log_weight[which],
    )  # fmt: skip
    columns = master_columns(rows, found.setting.ratio)
    return np.asarray(columns @ (transform_of(one, found.setting)[0] @ found.mean[top]))
