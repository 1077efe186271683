"""Linear models with Gaussian knowledge, many at a time: their answers and how likely each is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import FloatArray


@dataclass(frozen=True, eq=False)
class Posteriors:
    """Answers of B linear models with p parameters each.

    Attributes:
        mean: shape (B, p).
        covariance: shape (B, p, p).
        log_evidence: log of the probability of the readings under each model, shape (B,), up to
            a constant that all models share.
    """

    mean: FloatArray
    covariance: FloatArray
    log_evidence: FloatArray


def solve(
    gram: FloatArray,
    moment: FloatArray,
    power: float,
    prior_precision: FloatArray,
    prior_mean: FloatArray,
) -> Posteriors:
    """Posterior mean, covariance and evidence of linear Gaussian models.

    With readings y = X b + e, e ~ N(0, C), and b ~ N(m, L⁻¹):

        precision  A = L + XᵀC⁻¹X,   mean  A⁻¹(L m + XᵀC⁻¹y),
        2 log evidence = log|L| − log|A| − yᵀC⁻¹y − mᵀL m + (L m + XᵀC⁻¹y)ᵀ mean

    (terms of C alone are left to the caller).

    Args:
        gram: XᵀC⁻¹X, shape (B, p, p).
        moment: XᵀC⁻¹y, shape (B, p).
        power: yᵀC⁻¹y.
        prior_precision: L, shape (B, p, p), positive definite.
        prior_mean: m, shape (B, p).

    Source: C. M. Bishop, *Pattern Recognition and Machine Learning* (2006), eqs. 3.49-3.51, 3.86.
    """
    scale = np.sqrt(np.einsum("bii->bi", gram + prior_precision))
    unit = scale[:, :, None] * scale[:, None, :]
    root = np.linalg.cholesky((gram + prior_precision) / unit)
    inverse = np.linalg.inv(root)
    covariance = np.einsum("bki,bkj->bij", inverse, inverse) / unit
    pull = np.einsum("bij,bj->bi", prior_precision, prior_mean)
    target = pull + moment
    mean = np.einsum("bij,bj->bi", covariance, target)
    prior_root = np.linalg.cholesky(prior_precision)
    log_prior = np.log(np.einsum("bii->bi", prior_root)).sum(axis=1)
    log_posterior = (np.log(np.einsum("bii->bi", root)) + np.log(scale)).sum(axis=1)
    fit = power + np.einsum("bi,bi->b", pull, prior_mean) - np.einsum("bi,bi->b", target, mean)
    return Posteriors(mean, covariance, log_prior - log_posterior - fit / 2)


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
    """Quantiles of a mixture of normal distributions, by bisection.

    >>> one = np.ones(1)
    >>> [round(q, 3) for q in mixture_quantiles(one, 0 * one, one, (0.025, 0.975))]
    [-1.96, 1.96]
    """
    keep = weight > 1e-4 * weight.max()
    w, m, s = weight[keep] / weight[keep].sum(), mean[keep], np.maximum(sd[keep], 1e-12)
    out = []
    for level in levels:
        low, high = float((m - 9 * s).min()), float((m + 9 * s).max())
        for _ in range(45):
            middle = (low + high) / 2
            if float(w @ normal_cdf((middle - m) / s)) < level:
                low = middle
            else:
                high = middle
        out.append((low + high) / 2)
    return tuple(out)


def normal_cdf(z: FloatArray) -> FloatArray:
    """Distribution function of the standard normal, to 1e-7.

    Source: M. Abramowitz, I. Stegun, *Handbook of Mathematical Functions*, 26.2.17.
    """
    x = np.abs(z)
    t = 1 / (1 + 0.2316419 * x)
    poly = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))  # fmt: skip # noqa: E501
    tail = np.exp(-x * x / 2) / np.sqrt(2 * np.pi) * poly
    return np.asarray(np.where(z > 0, 1 - tail, tail))
