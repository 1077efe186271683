"""Errors of the averaged readings: what is random, what wanders, what steps.

All parts are covariances in K², shape (n, n):

* noise: σ² (1 + ρ)/(1 − ρ)/n on the diagonal, and what rounding adds where noise hides the steps;
* wander: the sensor's slow wander, σ_w² e^(−|s − s'|/τ_w);
* steps: rounding to a display's steps, where the noise does not dither it (`fitting.noise`);
* air: the room's air wanders about its drift by η with the memory τ, so that the content is off by
  k ∫ η ds, whose covariance is k² σ² [2 τ min(s, s') − τ² (1 − e^(−s/τ) − e^(−s'/τ) +
  e^(−|s − s'|/τ))] for two times on the same side of the mixing;
* shape: what sums of exponentials miss of a real release.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from fitting.cup.knowledge import RELEASES, SURROUNDINGS
from fitting.curve import FloatArray
from fitting.newton.rows import Rows
from fitting.newton.setting import Setting
from fitting.noise import Noise, step_covariance, step_variance

_DITHERS = 0.8  # of the noise: where it is estimated too large, it would seem to dither steps away
_STEPS_TOO_SURE = 1.3  # variance of rounding over its formula's: noise and course are not exact


@dataclass(frozen=True, eq=False)
class Errors:
    """Parts of the covariance that all models share; each of shape (n, n), K².

    ``scaled`` are those that were estimated from the readings: their standard deviation is
    multiplied by one number that the evidence finds.
    """

    noise: FloatArray
    wander: FloatArray
    steps: FloatArray
    air: FloatArray
    shape: FloatArray
    known: FloatArray

    @cached_property
    def parts(self) -> tuple[FloatArray, FloatArray]:
        """What was estimated from the readings, and all else, K²."""
        return self.noise + self.wander, self.steps + self.air + self.shape + self.known

    def total(self, scale: float = 1.0) -> FloatArray:
        """Covariance of the readings without quick processes, K²."""
        read, other = self.parts
        return np.asarray(read * scale**2 + other)


def errors_of(rows: Rows, noise: Noise, setting: Setting, rate_per_s: float) -> Errors:
    """The parts for these rows; ``rate_per_s`` is a rough k."""
    q, air = noise.resolution_K, SURROUNDINGS
    stuck = step_variance(noise.sigma_K, q)
    single = noise.sigma_K**2 * np.minimum(noise.inflation, rows.count)
    single = (single + max(q**2 / 12 - stuck, 0.0)) / rows.count + 1e-10 + (1e-3 * q) ** 2
    gap = np.abs(rows.s[:, None] - rows.s[None, :])
    slow = float(np.clip(0.5 * noise.sigma_K, 2e-4, air.reading_wander_K.u))
    finer = replace(noise, sigma_K=_DITHERS * noise.sigma_K)
    return Errors(
        np.diag(single),
        slow**2 * np.exp(-gap / air.reading_wander_s.value),
        _STEPS_TOO_SURE * step_covariance(rows.level, rows.spread, _blur(rows, noise), finer),
        _moving_air(rows, setting, rate_per_s),
        _shape_error(rows, setting),
        rows.known,
    )


def _moving_air(rows: Rows, setting: Setting, rate_per_s: float) -> FloatArray:
    size, tau = SURROUNDINGS.air_K.u, SURROUNDINGS.air_s.value
    share = np.where(rows.after > 0, 1.0, 1 / setting.ratio)
    t = np.abs(rows.s)
    decay = np.exp(-t / tau)
    apart = np.exp(-np.abs(t[:, None] - t[None, :]) / tau)
    walk = 2 * tau * np.minimum(t[:, None], t[None, :])
    walk = walk - tau**2 * (1 - decay[:, None] - decay[None, :] + apart)
    same = (rows.s[:, None] > 0) == (rows.s[None, :] > 0)
    return np.asarray(np.where(same, walk, 0.0) * np.outer(share, share) * (rate_per_s * size) ** 2)


def _shape_error(rows: Rows, setting: Setting) -> FloatArray:
    """What sums of exponentials miss of a release; it fades in minutes."""
    over = setting.source.lasts_s
    since = np.maximum(rows.s - over, 1.0)
    fades = RELEASES.shape_error_share.u * setting.size_K
    size = fades * (rows.s > over) * np.exp(-since / RELEASES.shape_error_s.value)
    apart = np.log(since)[:, None] - np.log(since)[None, :]
    return np.asarray(np.outer(size, size) * np.exp(-2 * apart**2))


def _blur(rows: Rows, noise: Noise) -> FloatArray:
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
