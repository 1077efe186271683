"""Propagation of distributions by the Monte Carlo method of JCGM 101:2008."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.errors import InputError
from calib.uncertainty.inputs import Correlations, FloatArray, Function, Input, correlation_matrix
from calib.uncertainty.propagation import propagate

__all__ = ["MonteCarlo", "draw_inputs", "monte_carlo"]


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """Result of propagating distributions, and whether the linear budget holds.

    ``interval95`` leaves 2.5 % on either side (JCGM 101, 7.7.2); ``shortest95`` is the shortest
    interval of the same probability (5.3.4). ``agrees`` is the validation of 8.1: both end points
    of the linear interval within ``tolerance`` of the numerical ones.
    """

    mean: float
    u: float
    interval95: tuple[float, float]
    shortest95: tuple[float, float]
    agrees: bool
    tolerance: float
    linear_value: float
    linear_u: float
    draws: int
    why: str


def draw_inputs(
    inputs: Sequence[Input],
    draws: int,
    rng: np.random.Generator,
    correlations: Correlations | None = None,
) -> dict[str, FloatArray]:
    """``draws`` values of every input. Inputs with one key move together.

    Correlated inputs are drawn through correlated normal scores; their own shapes are kept (the
    stated r is then exact for normal inputs and close for the others).
    """
    identities = list(dict.fromkeys(one.identity for one in inputs))
    scores = rng.standard_normal((len(identities), draws))
    if correlations:
        scores = _root(correlation_matrix(identities, correlations)) @ scores
    by_identity = dict(zip(identities, scores, strict=True))
    return {one.name: _shaped(one, by_identity[one.identity]) for one in inputs}


def _root(matrix: FloatArray) -> FloatArray:
    """Symmetric square root of a correlation matrix, which may be singular."""
    values, vectors = np.linalg.eigh(matrix)
    if values.min() < -1e-8:
        raise InputError("the stated correlations cannot all be true at once: no valid matrix")
    root = vectors * np.sqrt(np.clip(values, 0.0, None)) @ vectors.T
    return np.asarray(root, dtype=np.float64)


def _shaped(one: Input, score: FloatArray) -> FloatArray:
    """Turn normal scores into the input's own distribution (JCGM 101, table 1)."""
    from scipy.special import ndtr, stdtrit

    if one.u == 0.0:
        return np.full(score.shape, one.value)
    if one.shape == "normal":
        return one.value + one.u * score
    p = ndtr(score)
    if one.shape == "t":
        return np.asarray(one.value + one.u * stdtrit(one.dof, p), dtype=np.float64)
    if one.shape == "rectangular":
        unit = math.sqrt(3.0) * (2.0 * p - 1.0)
    elif one.shape == "triangular":
        side = np.where(p < 0.5, np.sqrt(2.0 * p) - 1.0, 1.0 - np.sqrt(2.0 * (1.0 - p)))
        unit = math.sqrt(6.0) * side
    elif one.shape == "arcsine":
        unit = math.sqrt(2.0) * np.sin(math.pi * (p - 0.5))
    else:
        raise InputError(f"input {one.name!r} has an unknown distribution {one.shape!r}")
    return np.asarray(one.value + one.u * unit, dtype=np.float64)


def monte_carlo(
    f: Function,
    inputs: Sequence[Input],
    draws: int = 200_000,
    seed: int = 20_250,
    correlations: Correlations | None = None,
    digits: int = 1,
) -> MonteCarlo:
    """Propagate distributions through ``f`` and validate the linear budget against them.

    Draws every input, takes mean, standard deviation and 95 % intervals of ``f`` (JCGM 101, 7),
    and compares the end points of the linear interval with the numerical ones (8.1). The
    tolerance is half a unit in the last of ``digits`` significant digits of u (7.9.2), but at
    most a tenth of u, widened by the scatter that the finite number of draws leaves in an end
    point.

    Raises InputError where fewer than 1000 draws are asked for or where ``f`` gives no finite
    value for more than one draw in a thousand.
    """
    if draws < 1000:
        raise InputError(f"a Monte Carlo check needs at least 1000 draws; found {draws}")
    linear = propagate(f, inputs, correlations)
    sample = draw_inputs(inputs, draws, np.random.default_rng(seed), correlations)
    finite = _finite_results(f, sample, draws)
    u = float(finite.std(ddof=1))
    low, high = (float(end) for end in np.quantile(finite, (0.025, 0.975)))
    want_low, want_high = linear.interval95
    tolerance = min(_numerical_tolerance(u, digits), 0.1 * u)
    tolerance += 3.0 * _end_point_scatter(u, finite.size)
    off = max(abs(low - want_low), abs(high - want_high))
    agrees = off <= tolerance
    why = (
        f"end points of the linear and the numerical 95 % interval differ by up to {off:.2g}, "
        f"{'within' if agrees else 'more than'} the tolerance {tolerance:.2g} (JCGM 101, 8.1)"
    )
    return MonteCarlo(
        mean=float(finite.mean()),
        u=u,
        interval95=(low, high),
        shortest95=_shortest(finite),
        agrees=agrees,
        tolerance=tolerance,
        linear_value=linear.value,
        linear_u=linear.u,
        draws=draws,
        why=why,
    )


def _finite_results(f: Function, sample: dict[str, FloatArray], draws: int) -> FloatArray:
    """Results of all draws in rising order."""
    with np.errstate(all="ignore"):
        values = np.broadcast_to(np.asarray(f(sample), dtype=np.float64), (draws,))
    finite = np.sort(values[np.isfinite(values)])
    if finite.size < 0.999 * draws:
        raise InputError(
            f"{draws - finite.size} of {draws} draws give no finite result: an input that is "
            "divided by, or of which a root is taken, reaches zero within its uncertainty"
        )
    return finite


def _shortest(ordered: FloatArray, p: float = 0.95) -> tuple[float, float]:
    """Shortest interval that holds the share ``p`` of the ordered draws (JCGM 101, 7.7.4)."""
    count = round(p * ordered.size)
    widths = ordered[count:] - ordered[: ordered.size - count]
    start = int(np.argmin(widths))
    return float(ordered[start]), float(ordered[start + count])


def _numerical_tolerance(u: float, digits: int) -> float:
    """½ · 10^l, u being an integer of ``digits`` digits times 10^l (JCGM 101, 7.9.2)."""
    if u == 0.0:
        return 0.0
    exponent = f"{u:.{digits - 1}e}".split("e")[1]
    return float(0.5 * 10.0 ** (int(exponent) - (digits - 1)))


def _end_point_scatter(u: float, draws: int) -> float:
    """Standard error of a 2.5 % quantile of ``draws`` normal values: √(p(1−p)/M)/φ(z) · u."""
    return u * math.sqrt(0.025 * 0.975 / draws) / 0.05844507
