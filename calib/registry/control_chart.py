"""Control chart of individuals and moving ranges, judged by published rules.

    centre = mean of x_i        MR_i = |x_i - x_(i-1)|        sigma = mean MR / d2,  d2 = 2/sqrt(pi)
    limits of x: centre ± 3 sigma        limit of MR: D4 mean MR,  D4 = 1 + 3 d3/d2 = 3.267

Sources: W. A. Shewhart's chart as in Western Electric Co., Statistical Quality Control Handbook
(1956); NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

D2 = 2.0 / math.sqrt(math.pi)  # expected range of two standard normal values, 1.128
D3 = math.sqrt(2.0 - 4.0 / math.pi)  # standard deviation of that range, 0.853
D4 = 1.0 + 3.0 * D3 / D2  # 3.267
ENOUGH = 10  # points before their own scatter gives the limits: common practice, no source


@dataclass(frozen=True, slots=True)
class Point:
    """One value on a chart: what to call it, when, how much, and its standard uncertainty."""

    label: str
    value: float
    u: float | None = None
    day: date | None = None


@dataclass(frozen=True, slots=True)
class Signal:
    """One rule that a series breaks, and the point (counted from 0) at which it does."""

    rule: str
    meaning: str
    at: int


@dataclass(frozen=True, slots=True)
class ControlChart:
    """A series with its centre, limits and signals. Values in ``unit``.

    ``sigmas`` is the standard deviation that each point is judged by: the same for all where it
    comes from the moving ranges, each point's own uncertainty where there are too few points.
    ``range_limit`` is the upper limit of the moving ranges.
    """

    name: str
    unit: str
    points: tuple[Point, ...]
    centre: float
    sigmas: tuple[float, ...]
    moving_ranges: tuple[float, ...]
    range_mean: float
    range_limit: float
    rules: str
    basis: str
    signals: tuple[Signal, ...]

    @property
    def steady(self) -> bool:
        """Whether no rule is broken."""
        return not self.signals

    @property
    def limits(self) -> tuple[tuple[float, float], ...]:
        """Lower and upper limit at each point."""
        return tuple((self.centre - 3 * s, self.centre + 3 * s) for s in self.sigmas)

    @property
    def verdict(self) -> str:
        """What the chart says, in words."""
        n = len(self.points)
        if n < 2:
            return f"{self.name}: {n} value{'' if n == 1 else 's'}, nothing to compare yet"
        if self.steady:
            return f"{self.name}: {n} values, no rule of {self.rules} is broken ({self.basis})"
        told = "; ".join(
            f"{s.rule} at {self.points[s.at].label}: {s.meaning}"
            for s in first_of_each(self.signals)
        )
        return f"{self.name}: not steady by {self.rules}: {told} ({self.basis})"


@dataclass(frozen=True, slots=True)
class Rule:
    """A published rule on standardised values z: whether it is broken at the last of ``last``."""

    name: str
    meaning: str
    last: int
    broken: Callable[[Sequence[float]], bool]
    early: bool = False  # two of three may be broken by the first two


def _beyond(count: int, sigma: float) -> Callable[[Sequence[float]], bool]:
    """``count`` of the values, the last among them, beyond ``sigma`` on one side."""

    def test(z: Sequence[float]) -> bool:
        side = math.copysign(1.0, z[-1])
        return z[-1] * side > sigma and sum(value * side > sigma for value in z) >= count

    return test


def _steady_slope(z: Sequence[float]) -> bool:
    steps = [b - a for a, b in pairwise(z)]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _alternating(z: Sequence[float]) -> bool:
    steps = [b - a for a, b in pairwise(z)]
    return all(a * b < 0 for a, b in pairwise(steps))


def _hugging(z: Sequence[float]) -> bool:
    return all(abs(value) < 1.0 for value in z)


def _avoiding(z: Sequence[float]) -> bool:
    return all(abs(value) > 1.0 for value in z) and min(z) < 0.0 < max(z)


TWO_OF_THREE = "two of three points beyond 2 sigma on one side"
FOUR_OF_FIVE = "four of five points beyond 1 sigma on one side"

# Western Electric Co., Statistical Quality Control Handbook (1956), tests for instability.
WESTERN_ELECTRIC = (
    Rule("Western Electric 1", "a point beyond 3 sigma", 1, _beyond(1, 3.0)),
    Rule("Western Electric 2", TWO_OF_THREE, 3, _beyond(2, 2.0)),
    Rule("Western Electric 3", FOUR_OF_FIVE, 5, _beyond(4, 1.0)),
    Rule("Western Electric 4", "eight points in a row on one side", 8, _beyond(8, 0.0)),
)

# L. S. Nelson, "The Shewhart control chart: tests for special causes", J. Qual. Technol. 16 (1984)
# 237-239.
NELSON = (
    Rule("Nelson 1", "a point beyond 3 sigma", 1, _beyond(1, 3.0)),
    Rule("Nelson 2", "nine points in a row on one side", 9, _beyond(9, 0.0)),
    Rule("Nelson 3", "six points in a row rising or falling", 6, _steady_slope),
    Rule("Nelson 4", "fourteen points in a row alternating up and down", 14, _alternating),
    Rule("Nelson 5", TWO_OF_THREE, 3, _beyond(2, 2.0), early=True),
    Rule("Nelson 6", FOUR_OF_FIVE, 5, _beyond(4, 1.0), early=True),
    Rule("Nelson 7", "fifteen points in a row within 1 sigma", 15, _hugging),
    Rule("Nelson 8", "eight points in a row beyond 1 sigma, on both sides", 8, _avoiding),
)
RULES = {"Western Electric": WESTERN_ELECTRIC, "Nelson": NELSON}


def signals(z: Sequence[float], rules: Sequence[Rule]) -> tuple[Signal, ...]:
    """Every break of these rules in a series of standardised values, in order of the series."""
    found = []
    for at in range(len(z)):
        for rule in rules:
            window = z[max(0, at + 1 - rule.last) : at + 1]
            if (rule.early or len(window) == rule.last) and rule.broken(window):
                found.append(Signal(rule.name, rule.meaning, at))
    return tuple(found)


def first_of_each(found: Sequence[Signal]) -> tuple[Signal, ...]:
    """The first signal of each rule."""
    first: dict[str, Signal] = {}
    for signal in found:
        first.setdefault(signal.rule, signal)
    return tuple(first.values())


def control_chart(
    points: Sequence[Point],
    *,
    name: str,
    unit: str = "J/K",
    rules: str = "Nelson",
    centre: float | None = None,
    sigma: float | None = None,
) -> ControlChart:
    """Chart a series in its order, and judge it by the ``rules`` ("Nelson" or "Western Electric").

    With ``ENOUGH`` points or more the limits come from the moving ranges; with fewer, whose scatter
    says little, from the points' own standard uncertainties where all have one. ``centre`` and
    ``sigma`` may be given from an earlier period. Raises KeyError for rules of another name.
    """
    chosen = RULES[rules]
    values = [point.value for point in points]
    ranges = [abs(b - a) for a, b in pairwise(values)]
    range_mean = math.fsum(ranges) / len(ranges) if ranges else 0.0
    own = [point.u for point in points if point.u]
    if sigma is not None:
        sigmas, basis = [sigma] * len(values), "limits given"
    elif len(own) == len(values) and len(values) < ENOUGH:
        sigmas = own
        basis = f"limits from each value's own uncertainty, for {len(values)} values are few"
    else:
        sigmas, basis = [range_mean / D2] * len(values), "limits from the moving ranges"
    if centre is None:
        centre = _centre(values, sigmas)
    z = [(x - centre) / s if s > 0 else 0.0 for x, s in zip(values, sigmas, strict=True)]
    found = list(signals(z, chosen))
    range_limit = D4 * (range_mean if sigma is None else sigma * D2)
    if basis == "limits from the moving ranges" or sigma is not None:
        found += [
            Signal("moving range", "a step larger than the moving ranges allow", at)
            for at, step in enumerate(ranges, start=1)
            if step > range_limit > 0.0
        ]
    return ControlChart(
        name=name,
        unit=unit,
        points=tuple(points),
        centre=centre,
        sigmas=tuple(sigmas),
        moving_ranges=tuple(ranges),
        range_mean=range_mean,
        range_limit=range_limit,
        rules=rules,
        basis=basis,
        signals=tuple(sorted(found, key=lambda signal: signal.at)),
    )


def _centre(values: Sequence[float], sigmas: Sequence[float]) -> float:
    """Mean, weighted by 1/sigma² where the points differ in worth. NaN for no points."""
    if not values:
        return math.nan
    if min(sigmas) <= 0.0:
        return math.fsum(values) / len(values)
    weights = [1.0 / s**2 for s in sigmas]
    return math.fsum(w * x for w, x in zip(weights, values, strict=True)) / math.fsum(weights)
