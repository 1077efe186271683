"""What a reading's scatter is worth: noise, its memory, and the steps of the display.

At the end stands a straight line through readings of a display whose steps are coarser
than its noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from fitting.curve import FloatArray
from fitting.newton.evidence import normal_cdf

_HARMONICS = np.arange(1, 9, dtype=np.float64)
_NO_HARMONIC = 1e-18  # of q²: the readings' own variance is never below 1e-6 of it
_MAX_RHO = 0.97
_FEW = 30
_FLICKER_BLOCK = 25  # readings over which the temperature goes one way
_HIDDEN = 0.35  # of a step: finer noise no longer dithers it away


@dataclass(frozen=True, slots=True)
class Noise:
    """Scatter of single readings about a smooth curve.

    Attributes:
        sigma_K: standard deviation of the reading's own scatter, K (steps of the display apart).
        rho: correlation of neighbouring readings, AR(1), 0 to 0.97.
        resolution_K: step of the reading, K; 0 where none is seen.
        dof: degrees of freedom that ``sigma_K`` rests on.
    """

    sigma_K: float
    rho: float
    resolution_K: float
    dof: int

    @property
    def coarse(self) -> bool:
        """Whether the display's steps hide the noise."""
        return self.resolution_K > 0 and self.sigma_K < _HIDDEN * self.resolution_K

    @property
    def inflation(self) -> float:
        """Variance of a mean over that of white noise: (1 + rho)/(1 - rho)."""
        return (1 + self.rho) / (1 - self.rho)

    def u_mean(self, n: int) -> float:
        """Standard uncertainty of the mean of ``n`` neighbouring readings, K.

        The steps of a display do not average away while the temperature stays within one step
        and the noise is too small to dither it: that share of q²/12 is kept whole.
        """
        white = self.sigma_K**2 * min(self.inflation, float(n)) / max(n, 1)
        return float(np.sqrt(white + step_variance(self.sigma_K, self.resolution_K)))


@lru_cache(maxsize=256)
def step_variance(sigma_K: float, resolution_K: float) -> float:
    """Part of a display step's variance that averaging cannot remove, K².

    A reading is rounded to steps q after noise of standard deviation s was added. The mean of
    many readings of one temperature x is then off by a saw-tooth in x, whose harmonics are damped
    by the noise: (q/πm)·exp(−2π²m²s²/q²)·sin(2πmx/q). Averaged over x its variance is
    Σ_m (q/πm)²/2·exp(−4π²m²s²/q²): q²/12 without noise, nothing once s ≥ q/2.

    Source: B. Widrow, I. Kollár, *Quantization Noise* (Cambridge 2008), ch. 19 on dither.

    >>> round(step_variance(0.0, 0.1) / (0.1**2 / 12), 2)
    0.93
    """
    if resolution_K <= 0:
        return 0.0
    damping = np.exp(-((2 * np.pi * _HARMONICS * sigma_K / resolution_K) ** 2))
    return float(np.sum((resolution_K / (np.pi * _HARMONICS)) ** 2 / 2 * damping))


def step_covariance(
    level_K: FloatArray, spread_K: FloatArray, blur_K: FloatArray, noise: Noise
) -> FloatArray:
    """Covariance of the display's rounding between readings of a slowly moving temperature, K².

    As `step_variance`, for two temperatures x and x': each harmonic gives
    (q/πm)²/2·exp(−4π²m²s²/q²)·cos(2πm(x − x')/q), the phase of the grid being unknown. The
    difference x − x' is known to ``blur_K`` only, which damps a harmonic by exp(−2π²m²blur²/q²).
    Readings averaged over a stretch in which x moves by ``spread_K`` carry sinc(m·spread/q).

    Args:
        level_K: smooth temperature at each (averaged) reading, shape (n,).
        spread_K: how far it moves within each average, shape (n,).
        blur_K: standard uncertainty of the difference of each two levels, shape (n, n).
        noise: scatter and step of the reading.

    Returns:
        shape (n, n), positive semi-definite up to rounding; zeros where no step is seen.
    """
    q = noise.resolution_K
    out = np.zeros((level_K.size, level_K.size))
    if q <= 0:
        return out
    apart = level_K[:, None] - level_K[None, :]
    for m in _HARMONICS:
        weight = (q / (np.pi * m)) ** 2 / 2 * np.exp(-((2 * np.pi * m * noise.sigma_K / q) ** 2))
        if weight < _NO_HARMONIC * q**2:
            break  # the higher ones are smaller still
        smear = np.sinc(m * spread_K / q)
        damping = np.exp(-2 * (np.pi * m * blur_K / q) ** 2)
        out += weight * np.outer(smear, smear) * np.cos(2 * np.pi * m * apart / q) * damping
    return out


def lag1(residual: FloatArray) -> float:
    """Correlation of neighbouring residuals; 0 where it cannot be told.

    >>> lag1(np.array([1.0, -1.0, 1.0, -1.0]))
    -0.75
    """
    centred = residual - residual.mean() if residual.size else residual
    power = float(centred @ centred)
    if centred.size < 3 or power <= 0:
        return 0.0
    return float(centred[1:] @ centred[:-1]) / power


def noise_of(stretches: list[FloatArray], resolution_K: float) -> Noise:
    """Scatter of readings about a low polynomial in each stretch, with its memory.

    Each stretch is cut into blocks of some 40 readings with a straight line through each, so that
    the slow course of the curve does not pass for noise; the correlation is corrected for what
    the lines take away (about (2 + 3 rho)/n a block, M. G. Kendall, Biometrika 41 (1954)).
    The step's own q²/12 is taken off the variance, since it is accounted for apart. Where the
    display's steps are coarser than the noise, its flicker tells the noise (`flicker_noise`).
    """
    if resolution_K > 0:
        count = sum(stretch.size for stretch in stretches)
        flicker = flicker_noise(stretches, resolution_K)
        if flicker < _HIDDEN * resolution_K and count >= _FEW:
            return Noise(max(flicker, 0.03 * resolution_K), 0.0, resolution_K, count)
    residuals = [r for stretch in stretches for r in _line_residuals(stretch)]
    count, blocks = sum(r.size for r in residuals), sum(len(r) for r in residuals)
    dof = count - 2 * blocks
    if dof < 1:
        floor = resolution_K / 4 if resolution_K > 0 else 0.0
        return Noise(floor, 0.0, resolution_K, 0)
    power = sum(float(np.vdot(r, r)) for r in residuals)
    product = sum(float((r[:, 1:] * r[:, :-1]).sum()) for r in residuals)
    variance = power / dof
    mean_size = count / blocks
    rho = product / power if power > 0 else 0.0
    rho = (rho + 2 / mean_size) / max(1 - 4 / mean_size, 0.3)
    if rho < 2 / np.sqrt(dof):
        rho = 0.0
    own = max(variance - resolution_K**2 / 12, (0.1 * resolution_K) ** 2)
    return Noise(float(np.sqrt(own)), float(np.clip(rho, 0.0, _MAX_RHO)), resolution_K, dof)


def flicker_noise(stretches: list[FloatArray], resolution_K: float) -> float:
    """Standard deviation of noise that is finer than the display's step q, K.

    Two readings of one temperature fall on either side of a step with the probability
    2∫Φ(1 − Φ) dx/q = 2s/(q√π), if the temperature may lie anywhere between two steps: in n pairs of
    neighbours the display goes F = 2sn/(q√π) steps forth and back. A drift over D steps makes D
    by itself; both together are taken as √(F² + D²).

    >>> flicker_noise([np.array([20.0, 20.0, 20.0, 20.1, 20.1])], 0.1)
    0.0
    """
    gone = drifted = 0.0
    pairs = 0
    for stretch in stretches:
        for blocks in _blocks(stretch, max(1, stretch.size // _FLICKER_BLOCK)):
            steps = np.clip(np.round(np.diff(blocks) / resolution_K), -1.0, 1.0)
            gone += float(np.abs(steps).sum())
            drifted += float(np.abs(steps.sum(axis=1)).sum())
            pairs += steps.size
    if pairs == 0:
        return 0.0
    flicker = np.sqrt(max(gone**2 - drifted**2, 0.0))
    return round(float(np.sqrt(np.pi) / 2 * resolution_K * flicker / pairs), 9)


def _blocks(stretch: FloatArray, count: int) -> list[FloatArray]:
    """A stretch in ``count`` neighbouring blocks: the longer ones, shape (blocks, length), then
    those that are shorter by one."""
    length, longer = divmod(stretch.size, count)
    cut = longer * (length + 1)
    parts = (stretch[:cut].reshape(longer, length + 1), stretch[cut:].reshape(-1, length))
    return [part for part in parts if part.size]


def _line_residuals(stretch: FloatArray, block: int = 40) -> list[FloatArray]:
    """Residuals about a least-squares line through each block of three and more readings."""
    out = []
    for blocks in _blocks(stretch, max(1, round(stretch.size / block))):
        if blocks.shape[1] < 3:
            continue
        x = np.linspace(-1.0, 1.0, blocks.shape[1])
        level = blocks - blocks.mean(axis=1, keepdims=True)
        out.append(level - np.outer(level @ x / (x @ x), x))
    return out


_LEVELS, _SLOPES = 81, 41
_STEEPEST_K_PER_S = 4e-4  # drifts of a cup before mixing: 0.024 K/min either way
_BINS = 12
_NOISE_FACTORS = (0.6, 1.0, 1.6)  # the noise itself is known to within these
_FINEST = 0.03  # of a step
_PER_STEP, _REACH_STEPS = 400, 6  # of the table of probabilities
_FEW_LINES, _HOPELESS = 200, 40.0  # of log probability
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
    No reading makes a line likelier, so that one is left out once it has fallen e^40 times below
    what the least-squares line reaches with all readings: it could not move the mean any more.

    Args:
        s, y: times [s] and readings [°C or K], shape (n,).
        noise: its step is more than 0.
        ends_s: the two times.

    Returns:
        values, shape (2,), and covariance, shape (2, 2).
    """
    q = noise.resolution_K
    centre, mean = float(s.mean()), float(y.mean())
    slopes = _slopes(s, y, q)
    a = np.repeat(mean + np.linspace(-1.2 * q, 1.2 * q, _LEVELS), slopes.size)
    b = np.tile(slopes, _LEVELS)
    bins = max(_BINS, int(12 * np.abs(slopes).max() * np.ptp(s) / q))
    since, value, count = _counted(s, y, min(bins, s.size))
    since = since - centre
    tables = np.stack(
        [_log_chances(max(factor * noise.sigma_K / q, _FINEST)) for factor in _NOISE_FACTORS],
        axis=1,
    )

    def chances(a: FloatArray | float, b: FloatArray | float, i: int | slice) -> FloatArray:
        """Log probability of some readings for each line and noise, shape (lines, noises)."""
        place = (np.abs(value[i] - (a + b * since[i])) * (_PER_STEP / q)).astype(np.intp)
        return np.asarray(tables.take(place, axis=0, mode="clip"))

    x = s - centre
    slope = float(x @ y) / max(float(x @ x), 1e-300)
    reached = float((count @ chances(mean, slope, slice(None))).max())
    log_weight = np.zeros((a.size, len(_NOISE_FACTORS)))
    outermost = np.argsort(-np.abs(since), kind="stable").tolist()
    for done, i in enumerate(outermost):
        log_weight += count[i] * chances(a, b, i)
        if a.size > _FEW_LINES and done % 2:
            best = np.maximum.reduce([log_weight[:, at] for at in range(len(_NOISE_FACTORS))])
            likely = best > reached - _HOPELESS
            a, b, log_weight = a[likely], b[likely], log_weight[likely]
    weight = np.exp(log_weight - log_weight.max()).sum(axis=1)
    weight /= weight.sum()
    values = np.stack([a + b * (end - centre) for end in ends_s])
    expected = values @ weight
    off = values - expected[:, None]
    return expected, (off * weight) @ off.T + np.eye(2) * (0.01 * q) ** 2


def _counted(s: FloatArray, y: FloatArray, bins: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What was read in each of ``bins`` neighbouring stretches: mean time, value, how often."""
    length, longer = divmod(s.size, bins)
    sizes = np.repeat([length + 1, length], [longer, bins - longer])
    edges = np.concatenate([[0], np.cumsum(sizes)]).tolist()
    middle = np.array([float(s[i:j].mean()) for i, j in pairwise(edges)])
    levels, which = np.unique(y, return_inverse=True)
    keys, count = np.unique(
        np.repeat(np.arange(bins), sizes) * levels.size + which, return_counts=True
    )
    return middle[keys // levels.size], levels[keys % levels.size], count.astype(np.float64)


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
