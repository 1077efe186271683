"""Averages over models: weights from evidence, and mixtures of normal distributions."""

from __future__ import annotations

import numpy as np

from fitting.curve import FloatArray

_STEPS, _CLOSE = 60, 1e-3  # of the narrowest part: the next step would be its square


def weights_of(log_evidence: FloatArray) -> FloatArray:
    """Probabilities from log evidences, shape kept, summing to 1."""
    raised = np.exp(log_evidence - log_evidence.max())
    return np.asarray(raised / raised.sum())


def mixture_moments(weight: FloatArray, mean: FloatArray, sd: FloatArray) -> tuple[float, float]:
    """Mean and standard deviation of a mixture of normal distributions."""
    centre = float(weight @ mean)
    return centre, float(np.sqrt(weight @ (sd**2 + (mean - centre) ** 2)))


def mixture_quantiles(
    weight: FloatArray, mean: FloatArray, sd: FloatArray, levels: tuple[float, ...]
) -> FloatArray:
    """Quantiles of mixtures of normal distributions, by Newton's rule in a shrinking bracket.

    Args:
        weight: of the M parts, shape (M,).
        mean, sd: of each part, shape (M,) or, for several mixtures at once, (any, M).
        levels: L probabilities.

    Returns:
        shape (L,) or (any, L).

    >>> one = np.ones(1)
    >>> mixture_quantiles(one, 0 * one, one, (0.025, 0.975)).round(3).tolist()
    [-1.96, 1.96]
    """
    keep = weight > 1e-3 * weight.max()
    w = weight[keep] / weight[keep].sum()
    m, s = mean[..., None, keep], np.maximum(sd[..., None, keep], 1e-12)
    wanted = np.array(levels)
    low = np.repeat((m - 9 * s).min(axis=-1), wanted.size, axis=-1)
    high = np.repeat((m + 9 * s).max(axis=-1), wanted.size, axis=-1)
    centre = (m @ w)[..., 0]
    whole = np.sqrt((s**2 + (m - centre[..., None, None]) ** 2) @ w)[..., 0]
    usual = centre[..., None] + np.where(wanted < 0.5, -1.96, 1.96) * whole[..., None]
    at = np.clip(usual, low, high)
    close = _CLOSE * s.min(axis=-1)
    for _ in range(_STEPS):
        z = (at[..., None] - m) / s
        bell = np.exp(-z * z / 2)
        miss = _cdf(z, bell) @ w - wanted
        low, high = np.where(miss < 0, at, low), np.where(miss < 0, high, at)
        density = (bell / s) @ w / np.sqrt(2 * np.pi)
        step = at - miss / np.maximum(density, 1e-30)
        step = np.where((step > low) & (step < high), step, (low + high) / 2)
        moved, at = np.abs(step - at), step
        if (moved < close).all():
            break
    return np.asarray(at)


def normal_cdf(z: FloatArray) -> FloatArray:
    """Distribution function of the standard normal, to 1e-7.

    Source: M. Abramowitz, I. Stegun, *Handbook of Mathematical Functions*, 26.2.17.
    """
    return _cdf(z, np.exp(-z * z / 2))


def _cdf(z: FloatArray, bell: FloatArray) -> FloatArray:
    """As `normal_cdf`, where e^(−z²/2) is at hand."""
    t = 1 / (1 + 0.2316419 * np.abs(z))
    poly = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))  # fmt: skip # noqa: E501
    tail = bell / np.sqrt(2 * np.pi) * poly
    return np.asarray(np.where(z > 0, 1 - tail, tail))
