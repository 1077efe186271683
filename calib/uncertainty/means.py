"""Means of results that share inputs: what averages away and what does not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.errors import InputError
from calib.uncertainty.propagation import Propagated, covariance_matrix


@dataclass(frozen=True, slots=True)
class Mean:
    """A weighted mean with its shared and its independent uncertainty kept apart.

    ``u_shared`` is what more results of the same kind cannot reduce: the root of the mean's
    variance that comes through keys used by at least two of them. ``shared`` names those keys
    with their contribution to the mean.
    """

    value: float
    u: float
    u_independent: float
    u_shared: float
    shared: tuple[tuple[str, float], ...]
    weights: tuple[float, ...]


def combine_mean(results: Sequence[Propagated], weights: Sequence[float] | None = None) -> Mean:
    """Mean of results that may share inputs (JCGM 100, 5.2.2), equal weights unless given."""
    if not results:
        raise InputError("a mean needs at least one result")
    w = np.full(len(results), 1.0 / len(results))
    if weights is not None:
        w = np.asarray(weights, dtype=np.float64) / float(np.sum(weights))
    total = max(_variance(results, w), 0.0)
    use: dict[str, int] = {}
    for one in results:
        for key in {line.key for line in one.lines if line.key is not None}:
            use[key] = use.get(key, 0) + 1
    common = {key for key, count in use.items() if count > 1}
    sums = dict.fromkeys(sorted(common), 0.0)
    own = 0.0
    for weight, one in zip(w, results, strict=True):
        apart = one.u**2
        by_key = dict.fromkeys(common, 0.0)
        for line in one.lines:
            if line.key in by_key:
                by_key[line.key] += line.contribution
                sums[line.key] += float(weight) * line.contribution
        apart -= sum(part**2 for part in by_key.values())
        own += float(weight) ** 2 * max(apart, 0.0)
    own = min(own, total)
    value = float(w @ np.array([one.value for one in results]))
    lines = tuple(sorted(sums.items(), key=lambda item: -abs(item[1])))
    return Mean(
        value, math.sqrt(total), math.sqrt(own), math.sqrt(total - own), lines, tuple(map(float, w))
    )


def _variance(results: Sequence[Propagated], w: np.ndarray[Any, Any]) -> float:
    """Variance of the weighted mean, Σ w_i² u_i² + Σ_k [(Σ w_i c_ik)² − Σ (w_i c_ik)²].

    c_ik is what key k contributes to result i. The same as wᵀ V w with the covariance matrix V,
    which ten thousand results would make too large to hold; it is used where keys are correlated.
    """
    if any(one.correlations for one in results):
        return float(w @ covariance_matrix(results) @ w)
    total, sums = 0.0, dict[str, float]()
    for weight, one in zip(w.tolist(), results, strict=True):
        own: dict[str, float] = {}
        for line in one.lines:
            if line.key is not None:
                own[line.key] = own.get(line.key, 0.0) + weight * line.contribution
        total += weight**2 * one.u**2 - sum(part**2 for part in own.values())
        for key, part in own.items():
            sums[key] = sums.get(key, 0.0) + part
    return total + sum(part**2 for part in sums.values())
