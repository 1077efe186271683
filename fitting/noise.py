"""What a reading's scatter is worth: noise, its memory, and the steps of the display."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import FloatArray

_HARMONICS = np.arange(1, 9, dtype=np.float64)
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
    dof = sum(r.size - 2 for r in residuals)
    if dof < 1:
        floor = resolution_K / 4 if resolution_K > 0 else 0.0
        return Noise(floor, 0.0, resolution_K, 0)
    variance = sum(float(r @ r) for r in residuals) / dof
    product = sum(float(r[1:] @ r[:-1]) for r in residuals)
    power = sum(float(r @ r) for r in residuals)
    mean_size = float(np.mean([r.size for r in residuals]))
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
        for block in np.array_split(stretch, max(1, stretch.size // _FLICKER_BLOCK)):
            steps = np.clip(np.round(np.diff(block) / resolution_K), -1.0, 1.0)
            gone += float(np.abs(steps).sum())
            drifted += abs(float(steps.sum()))
            pairs += steps.size
    if pairs == 0:
        return 0.0
    flicker = np.sqrt(max(gone**2 - drifted**2, 0.0))
    return round(float(np.sqrt(np.pi) / 2 * resolution_K * flicker / pairs), 9)


def _line_residuals(stretch: FloatArray, block: int = 40) -> list[FloatArray]:
    pieces = np.array_split(stretch, max(1, round(stretch.size / block)))
    out = []
    for piece in pieces:
        if piece.size < 3:
            continue
        x = np.linspace(-1.0, 1.0, piece.size)
        basis = np.stack([np.ones_like(x), x], axis=1)
        coefficient, *_ = np.linalg.lstsq(basis, piece, rcond=None)
        out.append(piece - basis @ coefficient)
    return out
