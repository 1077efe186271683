"""Means of results that share inputs: what averages away and what does not; robust centres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.errors import InputError
from calib.uncertainty.propagation import Propagated, covariance_matrix

FEW = 8
"""Fewer values than this have the median for their centre."""
_MAD_OF_FEW = {2: 1.196, 3: 1.495, 4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}
U_MEDIAN = 1.25
"""u of a robust centre of n values over s/√n (ISO 13528:2015, 7.7.3; from memory)."""


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


def robust_mean(values: Sequence[float] | np.ndarray[Any, Any]) -> tuple[float, float]:
    """Robust centre and robust standard deviation of n values.

    Below eight values: the median and the scaled median absolute deviation (ISO 13528:2015, C.2.1
    and C.2.2, from memory), which one bad value of three cannot move beyond the other two; the
    deviation is made unbiased for few values by the factors of Croux and Rousseeuw (1992, from
    memory; held against a simulation in tests/published). Algorithm A breaks down at one bad value
    of four, so it serves from eight on (C.3.1): values further than 1.5 robust standard deviations
    from the mean are drawn in to that distance, mean and 1.134 times the standard deviation are
    taken again, until nothing changes.
    """
    x = np.asarray(values, dtype=np.float64)
    middle = float(np.median(x))
    if x.size < FEW:
        return middle, spread_about(x, middle)
    spread = 1.483 * float(np.median(np.abs(x - middle)))
    if spread == 0.0:
        return middle, spread
    for _ in range(200):
        drawn = np.clip(x, middle - 1.5 * spread, middle + 1.5 * spread)
        new, new_spread = float(drawn.mean()), 1.134 * float(drawn.std(ddof=1))
        done = abs(new - middle) < 1e-9 * spread and abs(new_spread - spread) < 1e-9 * spread
        middle, spread = new, new_spread
        if done or spread == 0.0:
            break
    return middle, spread


def spread_about(values: Sequence[float] | np.ndarray[Any, Any], middle: float) -> float:
    """Scaled median absolute deviation, unbiased for a normal's few values."""
    x = np.asarray(values, dtype=np.float64)
    few = _MAD_OF_FEW.get(x.size, x.size / (x.size - 0.8) if x.size > 1 else 1.0)
    return 1.4826 * few * float(np.median(np.abs(x - middle)))


def u_robust_mean(spread: float, n: int) -> float:
    """Standard uncertainty of a robust centre, 1.25 s*/√n (ISO 13528:2015, 7.7.3; from memory)."""
    return (U_MEDIAN if n > 2 else 1.0) * spread / math.sqrt(n)
