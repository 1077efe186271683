"""Whether different ways to one cup's constant agree.

Two ways differ by d = C_a − C_b with u² = u_a² + u_b² − 2 cov; they are called consistent where a
t test does not reject d = 0 at the 5 % level (JCGM 100, G.3, for the degrees of freedom). Ways that
disagree are never averaged: each keeps a constant of its own, and a person decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.calibration.combine import Combined
from calib.uncertainty import Propagated, covariance_between

__all__ = ["Agreement", "compare_ways"]

LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class Agreement:
    """One pair of ways compared: difference a − b [J/K], its u, and the test's p."""

    way_a: str
    way_b: str
    difference_J_per_K: float
    u_J_per_K: float
    p_value: float

    @property
    def consistent(self) -> bool:
        """Whether the difference may be chance."""
        return self.p_value >= LEVEL

    @property
    def sentence(self) -> str:
        """The verdict in words."""
        verdict = "agree" if self.consistent else "DISAGREE"
        return (
            f"{self.way_a} and {self.way_b} {verdict}: they differ by "
            f"{self.difference_J_per_K:+.2g} J/K with u {self.u_J_per_K:.2g} J/K "
            f"(p = {self.p_value:.2g})"
        )

    def to_json(self) -> dict[str, Any]:
        """As an entry of ``agreement``."""
        return {
            "ways": [self.way_a, self.way_b],
            "difference_J_per_K": self.difference_J_per_K,
            "u_J_per_K": self.u_J_per_K,
            "p": self.p_value,
            "consistent": self.consistent,
            "sentence": self.sentence,
        }


def compare_ways(
    name_a: str,
    a: Combined,
    results_a: list[Propagated],
    name_b: str,
    b: Combined,
    results_b: list[Propagated],
) -> Agreement:
    """Test the constants of two ways against each other; what their runs share cancels."""
    cross = np.array([[covariance_between(x, y) for y in results_b] for x in results_a])
    shared = float(np.array(a.weights) @ cross @ np.array(b.weights))
    variance = max(a.u**2 + b.u**2 - 2.0 * shared, 1e-12)
    d = a.value - b.value
    dof = _dof(a, b, variance)
    return Agreement(
        name_a, name_b, d, math.sqrt(variance), _two_sided(d / math.sqrt(variance), dof)
    )


def _dof(a: Combined, b: Combined, variance: float) -> float:
    below = sum(one.u**4 / one.dof for one in (a, b) if math.isfinite(one.dof))
    return variance**2 / below if below > 0 else math.inf


def _two_sided(z: float, dof: float) -> float:
    from scipy.special import ndtr, stdtr

    return float(2.0 * (ndtr(-abs(z)) if math.isinf(dof) else stdtr(dof, -abs(z))))
