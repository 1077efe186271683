"""Averages over models: weights from evidence, and mixtures of normal distributions."""

from __future__ import annotations

import numpy as np

from fitting.curve import FloatArray

_STEPS = 10


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
) -> tuple[float, ...]:
    """Quantiles of a mixture of normal distributions, by Newton's rule in a shrinking bracket.

    >>> one = np.ones(1)
    >>> [round(q, 3) for q in mixture_quantiles(one, 0 * one, one, (0.025, 0.975))]
    [-1.96, 1.96]
    """
    keep = weight > 1e-3 * weight.max()
    w, m, s = weight[keep] / weight[keep].sum(), mean[keep], np.maximum(sd[keep], 1e-12)
    wanted = np.array(levels)[:, None]
    low = np.full_like(wanted, float((m - 9 * s).min()))
    high = np.full_like(wanted, float((m + 9 * s).max()))
    at = (low + high) / 2
    for _ in range(_STEPS):
        z = (at - m) / s
        miss = (normal_cdf(z) @ w)[:, None] - wanted
        low, high = np.where(miss < 0, at, low), np.where(miss < 0, high, at)
        density = (np.exp(-z * z / 2) / s @ w)[:, None] / np.sqrt(2 * np.pi)
        step = at - miss / np.maximum(density, 1e-30)
        at = np.where((step > low) & (step < high), step, (low + high) / 2)
    return tuple(float(x) for x in at[:, 0])


def normal_cdf(z: FloatArray) -> FloatArray:
    """Distribution function of the standard normal, to 1e-7.

    Source: M. Abramowitz, I. Stegun, *Handbook of Mathematical Functions*, 26.2.17.
    """
    x = np.abs(z)
    t = 1 / (1 + 0.2316419 * x)
    poly = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))  # fmt: skip # noqa: E501
    tail = np.exp(-x * x / 2) / np.sqrt(2 * np.pi) * poly
    return np.asarray(np.where(z > 0, 1 - tail, tail))
