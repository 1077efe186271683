"""Measured reactions that must agree: cycles, their closure, and adjusted values.

Reactions i with enthalpies x_i and covariance V form a cycle when Σ c_i (reaction i) is nothing.

    closure      w = Σ c_i x_i,     u²(w) = cᵀ V c          (nought expected)
    adjusted     x̂ = x - V Aᵀ (A V Aᵀ)⁻¹ A x,     V̂ = V - V Aᵀ (A V Aᵀ)⁻¹ A V
    residual     r_i = (x_i - x̂_i) / √(V_ii - V̂_ii)        (normal, 0 ± 1 when all is well)

least squares with conditions A x = 0, the rows of A being the independent cycles (any text on
adjustment of observations; W. E. Deming, Statistical Adjustment of Data, 1943, from memory).
Reactions are compared as net ionic equations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from math import erfc, sqrt
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from calib.errors import InputError
from calib.estimate import Estimate
from calib.reactions.equation import Equation, Species, tidy
from calib.reactions.ionic import net_numbers
from calib.reactions.linear import nullspace

Matrix: TypeAlias = npt.NDArray[np.float64]
MAX_FOR_ALL_CYCLES = 12
DISAGREES = 2.0
"""A residual or closure beyond this many u is pointed out (about 95 %)."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One measured reaction: its mean enthalpy [kJ per mole as written] and u."""

    name: str
    equation: Equation
    dH: float
    u: float


@dataclass(frozen=True, slots=True)
class Cycle:
    """Whole numbers c_i with Σ c_i (reaction i) = nothing, by reaction name."""

    numbers: tuple[tuple[str, int], ...]

    def __str__(self) -> str:
        text = " ".join(f"{'+' if n > 0 else '-'} {_times(n)}{name}" for name, n in self.numbers)
        return f"{text.removeprefix('+ ')} = nothing"


def _times(number: int) -> str:
    return "" if abs(number) == 1 else f"{abs(number)} × "


@dataclass(frozen=True, slots=True)
class Closure:
    """What a cycle's enthalpies add up to [kJ/mol], which should be nought."""

    cycle: Cycle
    value: float
    u: float

    @property
    def ratio(self) -> float:
        """|closure| / u; above 2 the cycle does not close."""
        return (
            abs(self.value) / self.u if self.u > 0 else (0.0 if self.value == 0 else float("inf"))
        )

    @property
    def probability(self) -> float:
        """Chance of a closure at least this far from nought if only chance is at work."""
        return erfc(self.ratio / sqrt(2.0))


@dataclass(frozen=True, slots=True)
class AdjustedValue:
    """One reaction after adjustment. ``implied`` is what the others alone say of it."""

    name: str
    measured: Estimate
    adjusted: Estimate
    residual: float | None
    implied: Estimate | None


@dataclass(frozen=True, slots=True)
class Consistency:
    """Result of ``check``: cycles with closures, adjusted values, and who disagrees."""

    closures: tuple[Closure, ...]
    values: tuple[AdjustedValue, ...]
    covariance: Matrix
    chi2: float
    degrees_of_freedom: int
    disagreeing: tuple[str, ...]
    words: str


def species_matrix(equations: Sequence[Equation]) -> tuple[list[Species], list[list[Fraction]]]:
    """Net ionic numbers: a row per species, a column per reaction."""
    columns = [net_numbers(equation) for equation in equations]
    species = list(dict.fromkeys(s for column in columns for s in column))
    return species, [[column.get(s, Fraction(0)) for column in columns] for s in species]


def find_cycles(measured: Sequence[Measured]) -> tuple[Cycle, ...]:
    """Every shortest cycle among the reactions (an independent set above 12 reactions)."""
    _, matrix = species_matrix([one.equation for one in measured])
    basis = nullspace(matrix)
    if len(basis) > 1 and len(measured) <= MAX_FOR_ALL_CYCLES:
        basis = _shortest(matrix, len(measured), rank=len(measured) - len(basis))
    return tuple(_cycle(measured, vector) for vector in basis)


def _shortest(matrix: list[list[Fraction]], columns: int, rank: int) -> list[list[int]]:
    """Vectors of the nullspace whose support holds no smaller one."""
    found: list[list[int]] = []
    for size in range(1, rank + 2):
        for chosen in combinations(range(columns), size):
            space = nullspace([[row[c] for c in chosen] for row in matrix])
            if len(space) == 1 and all(space[0]):
                vector = [0] * columns
                for column, number in zip(chosen, space[0], strict=True):
                    vector[column] = number
                found.append(vector)
    return found


def _cycle(measured: Sequence[Measured], vector: list[int]) -> Cycle:
    return Cycle(tuple((m.name, n) for m, n in zip(measured, vector, strict=True) if n))


def check(measured: Sequence[Measured], covariance: Matrix | None = None) -> Consistency:
    """Closures, adjusted values and what disagrees.

    ``covariance`` [kJ²/mol²], shape (n, n), in the order of ``measured``: runs that share a cup's
    constant or a stock solution are correlated. Without it the u's are taken as independent.
    Raises ``InputError`` where shapes or names do not fit.
    """
    v = _covariance(measured, covariance)
    x = np.array([one.dH for one in measured], dtype=float)
    _, matrix = species_matrix([one.equation for one in measured])
    conditions = np.array(nullspace(matrix), dtype=float).reshape(-1, len(measured))
    closures = tuple(_closure(cycle, measured, x, v) for cycle in find_cycles(measured))
    adjusted, v_adjusted, chi2 = _adjust(x, v, conditions)
    residuals = _residuals(x - adjusted, np.diag(v - v_adjusted))
    values = tuple(
        AdjustedValue(
            one.name,
            Estimate(one.dH, float(sqrt(v[i, i])), "kJ/mol", "measured", "measured"),
            _estimate(adjusted[i], v_adjusted[i, i], "least squares over the cycles"),
            residuals[i],
            _implied(i, x, v, conditions),
        )
        for i, one in enumerate(measured)
    )
    disagreeing, words = _verdict(values, closures, len(conditions))
    return Consistency(closures, values, v_adjusted, chi2, len(conditions), disagreeing, words)


def _covariance(measured: Sequence[Measured], covariance: Matrix | None) -> Matrix:
    names = [one.name for one in measured]
    if len(set(names)) != len(names):
        raise InputError(f"reactions need names of their own; found {', '.join(names)}")
    if covariance is None:
        return np.diag([one.u**2 for one in measured])
    v = np.asarray(covariance, dtype=float)
    if v.shape != (len(names), len(names)):
        raise InputError(f"the covariance has shape {v.shape}; expected {(len(names),) * 2}")
    symmetric: Matrix = (v + v.T) / 2
    return symmetric


def _closure(cycle: Cycle, measured: Sequence[Measured], x: Matrix, v: Matrix) -> Closure:
    numbers = dict(cycle.numbers)
    c = np.array([numbers.get(one.name, 0) for one in measured], dtype=float)
    return Closure(cycle, float(c @ x), float(sqrt(max(0.0, c @ v @ c))))


def _adjust(x: Matrix, v: Matrix, conditions: Matrix) -> tuple[Matrix, Matrix, float]:
    if not len(conditions):
        return x, v, 0.0
    gain = v @ conditions.T @ np.linalg.pinv(conditions @ v @ conditions.T)
    misfit = conditions @ x
    chi2 = float(misfit @ np.linalg.pinv(conditions @ v @ conditions.T) @ misfit)
    return x - gain @ misfit, v - gain @ conditions @ v, chi2


def _residuals(moved: Matrix, variance: Matrix) -> list[float | None]:
    scale = max(float(np.max(np.abs(variance), initial=0.0)), 1e-30)
    return [
        float(m / sqrt(s)) if s > 1e-12 * scale else None
        for m, s in zip(moved, variance, strict=True)
    ]


def _implied(i: int, x: Matrix, v: Matrix, conditions: Matrix) -> Estimate | None:
    """Reaction i from the others alone: the adjustment with i's own variance made huge."""
    if not len(conditions) or not np.any(conditions[:, i]):
        return None
    others = v.copy()
    others[i, :] = others[:, i] = 0.0
    others[i, i] = 1e8 * max(float(np.max(np.diag(v))), 1e-6)
    adjusted, v_adjusted, _ = _adjust(x, others, conditions)
    return _estimate(adjusted[i], v_adjusted[i, i], "from the other reactions of its cycles")


def _estimate(value: float, variance: float, source: str) -> Estimate:
    return Estimate(float(value), float(sqrt(max(0.0, variance))), "kJ/mol", source, "computed")


def _verdict(
    values: Sequence[AdjustedValue], closures: Sequence[Closure], free: int
) -> tuple[tuple[str, ...], str]:
    if not closures:
        return (), "no cycle: no reaction can be had from the others, so nothing can be compared"
    open_ones = [one for one in closures if one.ratio > DISAGREES]
    if not open_ones:
        return (), "every cycle closes within twice its u"
    if free == 1:
        names = tuple(name for name, _ in open_ones[0].cycle.numbers)
        return names, (
            f"the cycle is off by {open_ones[0].value:+.2f} kJ/mol, {open_ones[0].ratio:.1f} times "
            "its u; one cycle alone cannot tell which of its reactions is wrong: compare each with "
            "the value the others imply and with the handbook"
        )
    ranked = sorted(values, key=lambda one: -abs(one.residual or 0.0))
    worst = [one.name for one in ranked if abs(one.residual or 0.0) > DISAGREES][:1]
    text = f"{len(open_ones)} of {len(closures)} cycles do not close"
    if worst:
        text += f"; {worst[0]} lies furthest from what the others say"
    return tuple(worst), text


# --- sums and differences of reactions ------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Combination:
    """A reaction got from others, its enthalpy and what it is made of."""

    equation: Equation
    dH: Estimate
    words: str


def combine(
    measured: Sequence[Measured],
    numbers: Sequence[float | Fraction],
    covariance: Matrix | None = None,
) -> Combination:
    """Σ c_i (reaction i) as a net ionic equation with its enthalpy, correlations kept."""
    v = _covariance(measured, covariance)
    c = np.array([float(n) for n in numbers])
    total: dict[Species, Fraction] = {}
    for one, number in zip(measured, numbers, strict=True):
        for species, n in net_numbers(one.equation).items():
            total[species] = total.get(species, Fraction(0)) + n * Fraction(number)
    left = tuple((tidy(-n), s) for s, n in total.items() if n < 0)
    right = tuple((tidy(n), s) for s, n in total.items() if n > 0)
    value = float(c @ np.array([one.dH for one in measured]))
    words = " ".join(
        f"{float(n):+g} × ({one.name})" for one, n in zip(measured, numbers, strict=True) if n
    )
    dH = _estimate(value, float(c @ v @ c), f"{words}, correlations kept")
    return Combination(Equation(left, right), dH, words)


def ionization_enthalpies(
    measured: Sequence[Measured], covariance: Matrix | None = None
) -> tuple[Combination, ...]:
    """Ionization of each weak acid and base, from its neutralization less the strong pair's.

    HA + OH- less H+ + OH- gives HA -> H+ + A-; B + H+ less it gives B + H2O -> BH+ + OH-.
    Empty where no strong acid was measured with a strong base.
    """
    strong = next(((i, _strong_pairs(m)) for i, m in enumerate(measured) if _strong_pairs(m)), None)
    if strong is None:
        return ()
    index, pairs = strong
    found = []
    for i, one in enumerate(measured):
        takes = _takes_of_strong(one)
        if i == index or not takes:
            continue
        numbers = [Fraction(0)] * len(measured)
        numbers[i] = Fraction(1)
        numbers[index] = Fraction(-takes, pairs)
        found.append(combine(measured, numbers, covariance))
    return tuple(found)


_H, _OH = ("H", "aq", 1), ("OH", "aq", -1)


def _strong_pairs(one: Measured) -> Fraction:
    """k where the reaction is k (H+ + OH- -> H2O), else 0."""
    keyed = {s.key: n for s, n in net_numbers(one.equation).items()}
    return -keyed[_H] if set(keyed) == {_H, _OH, ("H2O", "l", 0)} else Fraction(0)


def _takes_of_strong(one: Measured) -> Fraction:
    """Moles of H+ or OH- that a weak partner takes up; 0 for other reactions."""
    keyed = {s.key: n for s, n in net_numbers(one.equation).items()}
    h, oh = keyed.get(_H, Fraction(0)), keyed.get(_OH, Fraction(0))
    weak = [key for key, n in keyed.items() if n < 0 and key not in {_H, _OH} and key[1] == "aq"]
    if len(weak) != 1 or (h < 0) == (oh < 0):
        return Fraction(0)
    return -h if h < 0 else -oh
