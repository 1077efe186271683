"""A straight line through readings of a display whose steps are coarser than its noise."""

from __future__ import annotations

import numpy as np

from fitting.curve import FloatArray
from fitting.newton.evidence import normal_cdf
from fitting.noise import Noise

_LEVELS, _SLOPES = 81, 41
_STEEPEST_K_PER_S = 4e-4  # drifts of a cup before mixing: 0.024 K/min either way
_BINS = 12
_NOISE_FACTORS = (0.6, 1.0, 1.6)  # the noise itself is known to within these
_FINEST = 0.03  # of a step
_PER_STEP, _REACH_STEPS = 400, 6  # of the table of probabilities
_MORE_THAN_ONE = 1.2  # steps between the first and the last eighth of the readings


def stepped_line(
    s: FloatArray, y: FloatArray, noise: Noise, ends_s: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """What rounded readings say of a line: its values at two times and their covariance.

    A reading y of the temperature x = a + b s with noise of standard deviation σ lies between
    y − q/2 and y + q/2, so its probability is Φ((y + q/2 − x)/σ) − Φ((y − q/2 − x)/σ). The product
    over all readings is averaged over a grid of a and b, flat within a step and a half of the
    readings' mean, within the drifts that a cup shows (steeper ones where the readings pass more
    than a step: a cup far from the room), and over what the noise may be. (JCGM
    101:2008, 6.4.2, takes a single rounded reading as rectangular; this is the same for many.)

    Args:
        s, y: times [s] and readings [°C or K], shape (n,).
        noise: its step is more than 0.
        ends_s: the two times.

    Returns:
        values, shape (2,), and covariance, shape (2, 2).
    """
    q = noise.resolution_K
    centre, mean = float(s.mean()), float(y.mean())
    a = mean + np.linspace(-1.2 * q, 1.2 * q, _LEVELS)
    b = _slopes(s, y, q)
    log_weight = np.zeros((len(_NOISE_FACTORS), _LEVELS, b.size))
    bins = max(_BINS, int(12 * np.abs(b).max() * np.ptp(s) / q))
    tables = [_log_chances(max(factor * noise.sigma_K / q, _FINEST)) for factor in _NOISE_FACTORS]
    for part in np.array_split(np.arange(s.size), min(bins, s.size)):
        x = a[:, None] + b * (float(s[part].mean()) - centre)
        for value, count in zip(*np.unique(y[part], return_counts=True), strict=True):
            place = (np.abs(value - x) * (_PER_STEP / q)).astype(np.intp)
            for at, table in enumerate(tables):
                log_weight[at] += count * table.take(place, mode="clip")
    weight = np.exp(log_weight - log_weight.max()).sum(axis=0)
    weight /= weight.sum()
    values = np.stack([a[:, None] + b * (end - centre) for end in ends_s])
    expected = np.einsum("kab,ab->k", values, weight)
    off = values - expected[:, None, None]
    covariance = np.einsum("kab,lab,ab->kl", off, off, weight)
    return expected, covariance + np.eye(2) * (0.01 * q) ** 2


def _log_chances(sigma: float) -> FloatArray:
    """ln of the probability of a reading that lies so far from the temperature, either way.

    Entry i is for i/``_PER_STEP`` steps of the display; ``sigma`` is the noise in steps.
    """
    z = np.arange(_REACH_STEPS * _PER_STEP) / _PER_STEP / sigma
    half = 0.5 / sigma
    return np.asarray(np.log(np.maximum(normal_cdf(z + half) - normal_cdf(z - half), 1e-12)))


def _slopes(s: FloatArray, y: FloatArray, q: float) -> FloatArray:
    """Slopes to try, K/s: usual drifts; where more than one step was passed, the readings' too.

    A single step tells little of the slope: the least-squares line through it is half as steep
    again as the step over the stretch.
    """
    usual = np.linspace(-_STEEPEST_K_PER_S, _STEEPEST_K_PER_S, _SLOPES)
    part = max(s.size // 8, 1)
    passed = abs(float(y[-part:].mean() - y[:part].mean()))
    if s.size < 4 or passed < _MORE_THAN_ONE * q:
        return usual
    x = s - s.mean()
    own = float(x @ y) / float(x @ x)
    reach = 1.5 * q / float(np.ptp(s))
    return np.linspace(min(usual[0], own - reach), max(usual[-1], own + reach), 3 * _SLOPES)
