"""How heat comes out over time in the foam judge; none of the courses is a sum of exponentials.

Each function gives the fraction released, shape (n,), at times since the pouring began [s].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.benchmarks.judges.record import FloatArray

SIZES = 41  # of grains; an equal number of grains in each class


def shrinking_grains(since_s: FloatArray, end_s: float, spread: float, power: float) -> FloatArray:
    """Grains that dissolve at their surface: left of a grain, (1 - t/t_i)^power.

    Power 3: its radius falls steadily (surface-limited); 3/2: its surface does (diffusion-limited).
    Sizes are log-normal with ``spread`` = standard deviation of ln(radius) cut at ±2 of it; t_i goes
    with the radius (power 3) or its square (3/2), and a grain weighs radius³. ``end_s`` is the end of
    the median grain.
    """
    from scipy.special import ndtri

    share = (np.arange(SIZES) + 0.5) / SIZES
    ln_radius = spread * ndtri(0.0228 + 0.9544 * share)
    weight = np.exp(3.0 * ln_radius)
    ends = end_s * np.exp((1.0 if power == 3.0 else 2.0) * ln_radius)
    left = np.clip(1.0 - np.maximum(since_s, 0.0)[:, None] / ends, 0.0, 1.0) ** power
    return np.asarray(1.0 - left @ (weight / weight.sum()), dtype=np.float64)


def constant_stretch(since_s: FloatArray, end_s: float) -> FloatArray:
    """Zero order: the same heat every second until nothing is left."""
    return np.clip(since_s / end_s, 0.0, 1.0)


def second_order(since_s: FloatArray, k_per_s: float, excess: float) -> FloatArray:
    """dx/dt = k (1 - x)(r - x), r = ``excess`` > 1 times the amount needed: x = r(1-E)/(r-E).

    E = exp(-(r-1) k t); for r → 1 the textbook's 1 - 1/(1 + k t).
    """
    left = np.exp(-(excess - 1.0) * k_per_s * np.maximum(since_s, 0.0))
    return excess * (1.0 - left) / (excess - left)


def with_the_pour(since_s: FloatArray, pour_s: float, mixing_s: float) -> FloatArray:
    """A reaction that only waits for mixing: a steady pour, each portion mixed within ``mixing_s``."""

    def ramp(t: FloatArray) -> FloatArray:
        t = np.maximum(t, 0.0)
        return t - mixing_s * -np.expm1(-t / mixing_s)

    return (ramp(since_s) - ramp(since_s - pour_s)) / pour_s


@dataclass(frozen=True, slots=True)
class Release:
    """A course: ``kind`` and its numbers, used as its function needs them.

    grains: (end_s, spread, power). stretch: (end_s of the stretch, its share, end_s, spread, power
    of the grains that make the rest). second: (k_per_s, excess). pour: (mixing_s,). steady: (end_s,).
    """

    kind: str
    numbers: tuple[float, ...]

    def released(self, since_s: FloatArray, pour_s: float) -> FloatArray:
        """Fraction released at times since the pouring began, shape (n,)."""
        n = self.numbers
        if self.kind == "grains":
            return shrinking_grains(since_s, *n)
        if self.kind == "stretch":
            grains = shrinking_grains(since_s, *n[2:])
            return n[1] * constant_stretch(since_s, n[0]) + (1.0 - n[1]) * grains
        if self.kind == "second":
            return second_order(since_s, *n)
        if self.kind == "steady":
            return constant_stretch(since_s, n[0])
        return with_the_pour(since_s, pour_s, n[0])


def draw_dissolution(rng: np.random.Generator, shortest_s: float, longest_s: float) -> Release:
    """A salt or pellets, the median grain gone after ``shortest_s`` to ``longest_s`` (log-uniform).

    Shares of the kinds, the spread of sizes (0.05-0.35 in ln radius: sieved to as bought) and the
    rest: judgement. A course with less than 99 % released after 200 s is drawn again: a class would
    not call that a dissolution to be run in a cup.
    """
    while True:
        end = float(np.exp(rng.uniform(np.log(shortest_s), np.log(longest_s))))
        spread, power = rng.uniform(0.05, 0.35), float(rng.choice([3.0, 1.5]))
        kind = str(rng.choice(["grains", "stretch", "second"], p=[0.6, 0.2, 0.2]))
        numbers: tuple[float, ...] = (end, spread, power)
        if kind == "stretch":
            numbers = (rng.uniform(0.3, 1.0) * end, rng.uniform(0.3, 0.9), end, spread, power)
        elif kind == "second":
            numbers = (rng.uniform(2.0, 6.0) / end, rng.uniform(1.02, 1.8))
        release = Release(kind, numbers)
        if release.released(np.array([200.0]), 1.0)[0] > 0.99:
            return release
