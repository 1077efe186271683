"""Cups of one kind: what a new one is worth, and how a badly known one may lean on the others.

    C_i = C_kind + b_i + e_i,     b_i ~ N(0, τ²) between cups,   e_i ~ N(0, u_i²) of the calibration

A cup not yet calibrated is predicted by C_kind with u² = τ² + u²(C_kind). Shrinkage draws a cup's
own value towards its kind by as much as it is badly known (James & Stein 1961; from memory):

    C_i' = B C_i + (1 − B) C_kind(others),     B = τ'²/(τ'² + u_i²)

with C_kind and τ' from the *other* cups, τ'² holding the mean's own uncertainty too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calib.calibration.combine import Between, combine_values
from calib.errors import InputError

__all__ = ["Kind", "Shrunk", "pool_kind", "shrink"]


@dataclass(frozen=True, slots=True)
class Kind:
    """Mean of a kind, its u, the spread between cups, and one more cup's 95 % interval. [J/K]"""

    mean_J_per_K: float
    u_mean_J_per_K: float
    between_cup_sd_J_per_K: float
    u_one_more_J_per_K: float
    interval95_one_more: tuple[float, float]
    cups: int


@dataclass(frozen=True, slots=True)
class Shrunk:
    """A cup's constant drawn towards its kind. ``weight`` is how much of its own value is kept."""

    value_J_per_K: float
    u_J_per_K: float
    weight: float
    own_J_per_K: float
    u_own_J_per_K: float
    kind: Kind

    @property
    def sentence(self) -> str:
        """What was done, in words."""
        return (
            f"{self.own_J_per_K:.2f} ± {self.u_own_J_per_K:.2f} J/K drawn towards the kind's "
            f"{self.kind.mean_J_per_K:.2f} J/K ({self.kind.cups} other cups, spread "
            f"{self.kind.between_cup_sd_J_per_K:.2g} J/K): {self.value_J_per_K:.2f} ± "
            f"{self.u_J_per_K:.2f} J/K, {100 * self.weight:.0f} % its own"
        )

    def to_json(self) -> dict[str, float]:
        """As ``drawn_towards_kind``: the cup's own value, the others', and how much was kept."""
        return {
            "own_J_per_K": self.own_J_per_K,
            "u_own_J_per_K": self.u_own_J_per_K,
            "kind_mean_J_per_K": self.kind.mean_J_per_K,
            "between_cup_sd_J_per_K": self.kind.between_cup_sd_J_per_K,
            "other_cups": self.kind.cups,
            "share_of_own": self.weight,
        }


def pool_kind(constants: Mapping[str, tuple[float, float]], *, between: Between = "reml") -> Kind:
    """Mean and between-cup spread of a kind from its cups' constants and their u. [J/K]

    The interval for one more cup uses Student's t with n − 1 degrees of freedom for the spread
    (Higgins, Thompson & Spiegelhalter, J. R. Stat. Soc. A 172 (2009) 137, with n − 1; from memory).
    Raises InputError for fewer than two cups.
    """
    from scipy.special import stdtrit

    if len(constants) < 2:
        raise InputError(f"{len(constants)} cup(s) cannot tell how cups of a kind differ; need 2")
    values = np.array([value for value, _ in constants.values()])
    variances = np.array([u**2 for _, u in constants.values()])
    typical = float(np.median(np.abs(values))) * 0.2
    c = combine_values(
        values, np.diag(variances), variances, between=between, prior_sd=typical, compare=False
    )
    w = 1.0 / (variances + c.between_sd**2)
    mean = float((w * values).sum() / w.sum())
    one_more = math.hypot(c.between_sd, c.u)
    half = float(stdtrit(len(values) - 1, 0.975)) * one_more
    return Kind(mean, c.u, c.between_sd, one_more, (mean - half, mean + half), len(values))


def shrink(
    cup: str, constants: Mapping[str, tuple[float, float]], *, between: Between = "reml"
) -> Shrunk:
    """A cup's constant drawn towards the other cups of its kind; asked for, never by itself.

    Raises InputError where the cup has no constant, or fewer than three others have one.
    """
    if cup not in constants:
        raise InputError(f"{cup!r} has no constant to draw anywhere; known: {', '.join(constants)}")
    others = {name: pair for name, pair in constants.items() if name != cup}
    if len(others) < 3:
        raise InputError(f"{len(others)} other cups tell too little of the kind; at least 3 needed")
    kind = pool_kind(others, between=between)
    own, u = constants[cup]
    spread = max(kind.u_one_more_J_per_K**2, 1e-12)
    weight = spread / (spread + u**2)
    value = weight * own + (1.0 - weight) * kind.mean_J_per_K
    return Shrunk(value, math.sqrt(weight) * u, weight, own, u, kind)
