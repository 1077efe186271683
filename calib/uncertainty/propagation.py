"""The law of propagation of uncertainty, JCGM 100:2008, with a budget line per input."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from calib.errors import InputError
from calib.uncertainty.inputs import (
    Correlations,
    FloatArray,
    Function,
    Input,
    correlation_matrix,
)

COMPLEX_STEP = 1e-30
CORRELATION_SOURCE = "correlation between inputs"


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of a budget: ``contribution`` = sensitivity · u, with its sign.

    ``share_percent`` is 100 · contribution²/u_c²; the shares of all lines and of the correlation
    term add up to 100.
    """

    source: str
    u: float
    sensitivity: float
    contribution: float
    share_percent: float
    key: str | None = None
    name: str = ""
    dof: float = math.inf

    @property
    def identity(self) -> str:
        """What correlations are keyed by: the shared key, else the input's name."""
        return self.key if self.key is not None else self.name


@dataclass(frozen=True, slots=True)
class Propagated:
    """A result with its combined standard uncertainty and the lines that make it up."""

    value: float
    u: float
    lines: tuple[BudgetLine, ...]
    correlation_term: float = 0.0
    effective_dof: float = math.inf
    correlations: Correlations = field(default_factory=dict)

    @property
    def correlation_share_percent(self) -> float:
        """Share of the correlation term in u²; negative where correlations help."""
        return 100.0 * self.correlation_term / self.u**2 if self.u > 0 else 0.0

    @property
    def correlation_line(self) -> BudgetLine | None:
        """The correlation term as a line of the budget; ``None`` where nothing is correlated."""
        if self.correlation_term == 0.0:
            return None
        size = math.copysign(math.sqrt(abs(self.correlation_term)), self.correlation_term)
        return BudgetLine(
            CORRELATION_SOURCE, abs(size), 1.0, size, self.correlation_share_percent, None, ""
        )

    @property
    def all_lines(self) -> tuple[BudgetLine, ...]:
        """Lines by falling size, the correlation term last; the shares add up to 100."""
        lines = sorted(self.lines, key=lambda line: -abs(line.contribution))
        last = self.correlation_line
        return (*lines, last) if last is not None else tuple(lines)

    def coverage_factor(self, probability: float = 0.95) -> float:
        """Student's t for the effective degrees of freedom (JCGM 100, G.3)."""
        return coverage_factor(self.effective_dof, probability)

    @property
    def interval95(self) -> tuple[float, float]:
        """Interval that is to hold the true value 95 % of the time."""
        half = self.coverage_factor() * self.u
        return self.value - half, self.value + half


def coverage_factor(dof: float, probability: float = 0.95) -> float:
    """Two-sided quantile of Student's t, of the normal distribution for infinite ``dof``."""
    from scipy.special import ndtri, stdtrit

    p = 0.5 + probability / 2.0
    return float(ndtri(p)) if math.isinf(dof) else float(stdtrit(dof, p))


def dof_of_factor(factor: float, probability: float = 0.95) -> float:
    """Degrees of freedom whose Student's t is ``factor``; infinite at or below the normal's."""
    from scipy.optimize import brentq

    if not factor > coverage_factor(math.inf, probability) * 1.001:
        return math.inf
    if factor >= coverage_factor(1.0, probability):
        return 1.0
    found = brentq(lambda nu: coverage_factor(float(nu), probability) - factor, 1.0, 5000.0)
    return float(found)


def propagate(
    f: Function, inputs: Sequence[Input], correlations: Correlations | None = None
) -> Propagated:
    """Combined standard uncertainty by the law of propagation (JCGM 100, equation 13).

        u_c² = Σ_i (c_i u_i)² + 2 Σ_{i<j} c_i c_j u_i u_j r_ij,   c_i = ∂f/∂x_i

    The derivatives come from the complex step (exact to rounding); where ``f`` cannot take complex
    numbers, or silently drops their imaginary part, from central differences. ``correlations``
    maps pairs of identities (key, else name) to r; two inputs with one key have r = 1.

    Raises InputError for doubled names, for a pair that names no input, for |r| > 1, and for a
    result that is not a finite number.
    """
    _check(inputs, correlations or {})
    values = {one.name: one.value for one in inputs}
    value = float(f(values))
    slopes = _gradient(f, inputs, values)
    if not (math.isfinite(value) and np.all(np.isfinite(slopes))):
        raise InputError(f"the result or a sensitivity is not a finite number (result {value!r})")
    parts = slopes * np.array([one.u for one in inputs])
    matrix = correlation_matrix([one.identity for one in inputs], correlations or {})
    np.fill_diagonal(matrix, 0.0)
    with np.errstate(over="ignore", invalid="ignore"):
        cross = float(parts @ matrix @ parts)
        variance = max(float(parts @ parts) + cross, 0.0)
    if not math.isfinite(variance):
        raise InputError(f"the uncertainty is not a finite number (result {value!r})")
    lines = tuple(
        BudgetLine(
            source=one.source or one.name,
            u=one.u,
            sensitivity=float(slope),
            contribution=float(part),
            share_percent=100.0 * float(part) ** 2 / variance if variance > 0 else 0.0,
            key=one.key,
            name=one.name,
            dof=one.dof,
        )
        for one, slope, part in zip(inputs, slopes, parts, strict=True)
    )
    dof = _effective_dof(variance, parts, [one.dof for one in inputs])
    return Propagated(value, math.sqrt(variance), lines, cross, dof, dict(correlations or {}))


def _check(inputs: Sequence[Input], correlations: Correlations) -> None:
    names = [one.name for one in inputs]
    if len(set(names)) != len(names):
        doubled = sorted({name for name in names if names.count(name) > 1})
        raise InputError(f"input names must differ; found twice: {', '.join(doubled)}")
    known = {one.identity for one in inputs}
    for (a, b), r in correlations.items():
        if a not in known or b not in known or not abs(r) <= 1.0 + 1e-12:
            raise InputError(
                f"correlation {a!r} with {b!r} = {r}: both must be inputs and -1 <= r <= 1"
            )


def _gradient(f: Function, inputs: Sequence[Input], values: Mapping[str, float]) -> FloatArray:
    """∂f/∂x of every input: complex step if it proves itself, else central differences."""
    exact = _complex_gradient(f, inputs, values)
    if exact is not None and _along_agrees(f, inputs, values, exact):
        return exact
    return np.array([_central(f, values, one) for one in inputs], dtype=np.float64)


def _complex_gradient(
    f: Function, inputs: Sequence[Input], values: Mapping[str, float]
) -> FloatArray | None:
    slopes = np.empty(len(inputs))
    try:
        with np.errstate(all="ignore"):
            for index, one in enumerate(inputs):
                shifted = {**values, one.name: complex(one.value, COMPLEX_STEP)}
                slopes[index] = complex(f(shifted)).imag / COMPLEX_STEP
    except (TypeError, ValueError, NotImplementedError):
        return None
    return slopes if bool(np.all(np.isfinite(slopes))) else None


def _step(one: Input) -> float:
    """A step for differences: a fraction of u, never lost in the value's own rounding."""
    floor = 1e-5 * abs(one.value) if one.value else 1e-7
    return max(0.03 * one.u, floor)


def _along_agrees(
    f: Function, inputs: Sequence[Input], values: Mapping[str, float], slopes: FloatArray
) -> bool:
    """Whether the complex-step slopes foretell the change along one mixed direction."""
    signs = np.where(np.arange(len(inputs)) % 3 == 1, -1.0, 1.0) * (
        1.0 + 0.37 * np.cos(np.arange(len(inputs)) * 1.7)
    )
    steps = np.array([_step(one) for one in inputs]) * signs * 0.1
    up = {one.name: one.value + step for one, step in zip(inputs, steps, strict=True)}
    down = {one.name: one.value - step for one, step in zip(inputs, steps, strict=True)}
    try:
        seen = (float(f(up)) - float(f(down))) / 2.0
    except (TypeError, ValueError, ArithmeticError):
        return False
    scale = float(np.sum(np.abs(slopes * steps))) + abs(seen)
    rounding = 1e-12 * abs(float(f(values)))
    return abs(seen - float(slopes @ steps)) <= 1e-4 * scale + rounding


def _central(f: Function, values: Mapping[str, float], one: Input) -> float:
    step = _step(one)
    up = float(f({**values, one.name: one.value + step}))
    down = float(f({**values, one.name: one.value - step}))
    return (up - down) / (2.0 * step)


def _effective_dof(variance: float, parts: FloatArray, dofs: Sequence[float]) -> float:
    """Welch–Satterthwaite (JCGM 100, equation G.2b)."""
    below = sum(
        float(part) ** 4 / dof for part, dof in zip(parts, dofs, strict=True) if dof < math.inf
    )
    return variance**2 / below if below > 0 else math.inf


def covariance_between(a: Propagated, b: Propagated) -> float:
    """Covariance of two results: Σ c_i u_i r_ij c_j u_j over their keys (JCGM 100, F.1.2.3).

    Lines without a key are a result's own; stated correlations between *keys* are honoured.
    """
    pairs = {**a.correlations, **b.correlations}
    total = 0.0
    for one in a.lines:
        if one.key is None:
            continue
        for other in b.lines:
            if other.key is None:
                continue
            r = pairs.get((one.key, other.key), pairs.get((other.key, one.key), 0.0))
            r = 1.0 if one.key == other.key else r
            total += one.contribution * r * other.contribution
    return total


def covariance_matrix(results: Sequence[Propagated]) -> FloatArray:
    """Covariances of several results, shape (n, n), the variances on the diagonal."""
    keys = sorted({line.key for one in results for line in one.lines if line.key is not None})
    place = {key: index for index, key in enumerate(keys)}
    shared = np.zeros((len(results), len(keys)))
    pairs: dict[tuple[str, str], float] = {}
    for row, one in enumerate(results):
        pairs.update(one.correlations)
        for line in one.lines:
            if line.key is not None:
                shared[row, place[line.key]] += line.contribution
    between_keys = {pair: r for pair, r in pairs.items() if pair[0] in place and pair[1] in place}
    matrix = shared @ correlation_matrix(keys, between_keys) @ shared.T
    np.fill_diagonal(matrix, [one.u**2 for one in results])
    return np.asarray(matrix, dtype=np.float64)
