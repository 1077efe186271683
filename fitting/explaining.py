"""What the averaged rise's uncertainty is made of, and what the most likely model leaves over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.averaging import SCALES, Averaged
from fitting.curve import FloatArray
from fitting.model_grid import SHARED, SIZE, Setting, rate_bands, shared_prior, shared_transform
from fitting.newton import (
    BEFORE,
    PARAMETERS,
    RELEASE_S,
    RELEASE_SHARE,
    RISE,
    U_RELEASE_SHARE,
    U_RELEASE_SHIFT,
    Binned,
    covariance_of,
    master_columns,
)
from fitting.noise import Noise, step_covariance

WALL_LOSS = "loss through a slow wall"
_MODEL = "which model holds"


@dataclass(frozen=True, eq=False)
class Explained:
    """Attributes:
    parts: standard uncertainties of the rise by source, K; their squares add up to its variance.
    residual_K: readings of the after period minus the most likely course, K, shape (n,).
    """

    parts: tuple[tuple[str, float], ...]
    residual_K: FloatArray


def explain(
    found: Averaged,
    rows: Binned,
    noise: Noise,
    level: FloatArray,
    setting: Setting,
    readings: Binned,
) -> Explained:
    """Take the most likely model apart; ``readings`` are those of the after period, one by one.

    With precision A = L + XᵀC⁻¹X the rise's variance is the sum of what the readings' errors and
    what each piece of prior knowledge contribute: A⁻¹ = W C Wᵀ + A⁻¹ L A⁻¹, W = A⁻¹XᵀC⁻¹. The
    shares of the most likely model are given to the mean variance within models; the variance
    between models is a part of its own.
    """
    X, L, m, C = _most_likely(found, rows, noise, level, setting)
    course, *_ = _columns(found, readings, setting)
    back = np.linalg.solve(C, X)
    scale = np.sqrt(np.diag(L + X.T @ back))
    A = (L + X.T @ back) / np.outer(scale, scale)
    inverse = np.linalg.inv(A) / np.outer(scale, scale)
    mean = inverse @ (L @ m + back.T @ rows.y)
    row = inverse[RISE]
    reading = back @ row
    steps = (
        step_covariance(level, rows.spread, np.zeros_like(C), noise)
        if noise.resolution_K
        else 0 * C
    )
    stepped = float(reading @ steps @ reading)
    shares = {
        "noise of the reading": max(float(reading @ C @ reading) - stepped, 0.0),
        "steps of the reading": stepped,
    }
    shares |= _prior_shares(row, L)
    return Explained(_scaled(found, shares), readings.y - course @ mean)


def _prior_shares(row: FloatArray, L: FloatArray) -> dict[str, float]:
    weight = row * (L @ row)
    shares = {
        name: abs(float(weight[i])) for i, name in enumerate(PARAMETERS) if i not in (BEFORE, RISE)
    }
    shares["quick processes"] = abs(float(weight[SHARED:SIZE].sum()))
    shares["heat still released"] = abs(float(weight[SIZE : SIZE + 2].sum()))
    shares["slow wall's overshoot"] = abs(float(weight[SIZE + 2]))
    return shares


def _scaled(found: Averaged, shares: dict[str, float]) -> tuple[tuple[str, float], ...]:
    centre = float(found.weight @ found.mean[:, 1])
    between = float(found.weight @ (found.mean[:, 1] - centre) ** 2)
    within = float(found.weight @ found.sd[:, 1] ** 2)
    hidden = min(float(found.weight @ found.u_hidden_K**2), 0.95 * within)
    total = sum(shares.values()) or 1.0
    parts = [
        (name, float(np.sqrt((within - hidden) * share / total))) for name, share in shares.items()
    ]
    return (*parts, (WALL_LOSS, float(np.sqrt(hidden))), (_MODEL, float(np.sqrt(between))))


def _columns(
    found: Averaged, rows: Binned, setting: Setting
) -> tuple[FloatArray, tuple[int, int, int, int]]:
    """Columns (n, 20) of the most likely model on some rows, and which model it is."""
    top = int(np.argmax(found.weight))
    b, q, r, w = (int(axis[top]) for axis in (found.band, found.quick, found.release, found.wall))
    centre, *_ = rate_bands(setting)
    columns = master_columns(rows, setting.ratio, setting.know.walls)
    shared = columns[:, :SIZE] @ shared_transform(centre, setting.know)[b]
    pair = [SIZE + r, SIZE + RELEASE_S.size + r, SIZE + 2 * RELEASE_S.size + w]
    return np.column_stack([shared, columns[:, pair]]), (b, q, r, w)


def _most_likely(
    found: Averaged, rows: Binned, noise: Noise, level: FloatArray, setting: Setting
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Columns (n, 20), prior precision (20, 20) and mean (20,), covariance (n, n)."""
    X, (b, q, r, w) = _columns(found, rows, setting)
    centre, width, _ = rate_bands(setting)
    precision, prior_mean = shared_prior(centre, width, setting)
    change = max(abs(setting.change_K), 1e-3)
    L = np.zeros((SIZE + 3, SIZE + 3))
    L[:SIZE, :SIZE] = precision[b, q]
    L[SIZE, SIZE] = 1 / (U_RELEASE_SHARE[r] * change) ** 2
    L[SIZE + 1, SIZE + 1] = 1 / (max(U_RELEASE_SHIFT[r], 1e-6) * change) ** 2
    L[SIZE + 2, SIZE + 2] = 1 / (setting.know.walls.u_share[w] * change) ** 2
    slow = [RELEASE_SHARE[r], 0.0, setting.know.walls.share[w]]
    mean = np.concatenate([prior_mean[b, q], np.array(slow) * setting.change_K])
    scale = SCALES[int(found.scale[int(np.argmax(found.weight))])]
    C = covariance_of(rows, noise, level, setting.change_K, setting.know, scale)
    return X, L, mean, C
