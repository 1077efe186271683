"""The extent of a reaction when it is uncertain which reactant runs out first.

    ξ = min_i r_i,   r_i = n_i/|ν_i|

Where two reaches r lie within a few standard uncertainties, the minimum has a kink that no linear
budget can follow. Clark's formulas for the smaller of two normal quantities (Operations Research 9
(1961) 145; from memory) give its mean-square deviation from the nominal minimum; with
α = (r_1 − r_2)/a and a² = var(r_1 − r_2) the sensitivities are Φ(−α) and Φ(α), and what they leave
unexplained becomes a line of its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib.reactions.equation import Species
from calib.run_model.process import Process
from calib.run_model.quantities import Quantities
from calib.uncertainty import Input, propagate

__all__ = ["Limiting", "find_limiting"]

NEAR = 4.0
NAME = "which reactant runs out"


@dataclass(frozen=True, slots=True, eq=False)
class Limiting:
    """Extent as a function of the inputs. ``weights`` sum to 1 over what may limit."""

    process: Process
    nominal_mol: float
    weights: tuple[tuple[Species, float, float], ...]  # species, weight, nominal reach
    uncertain: bool

    def extent(self, x: Mapping[str, Any]) -> Any:
        """Extent [mol], linear about the nominal inputs where the limit is uncertain."""
        if not self.uncertain:
            return self.process.reach(self.weights[0][0], x)
        total: Any = self.nominal_mol + x[NAME]
        for species, weight, nominal in self.weights:
            total = total + weight * (self.process.reach(species, x) - nominal)
        return total

    def exact_extent(self, x: Mapping[str, Any]) -> Any:
        """Extent [mol] as the minimum itself, for Monte Carlo draws."""
        import numpy as np

        reaches = [self.process.reach(species, x) for species, _, _ in self.weights]
        total = reaches[0]
        for reach in reaches[1:]:
            total = np.minimum(total, reach)
        return total


def find_limiting(process: Process, q: Quantities) -> Limiting | None:
    """The extent's description; adds an input to ``q`` where two reactants are close.

    None for a process without a reaction.
    """
    if process.extent is None:
        return None
    used = list(q.inputs_used())
    values = {one.name: one.value for one in used}
    order = sorted(process.reactants, key=lambda s: float(process.reach(s, values)))
    reaches = [float(process.reach(species, values)) for species in order]
    factor = process.extent.extent_mol
    if len(order) < 2:
        return Limiting(process, factor, ((order[0], 1.0, reaches[0]),), False)
    gap = propagate(lambda x: process.reach(order[0], x) - process.reach(order[1], x), used)
    if gap.u == 0.0 or abs(gap.value) > NEAR * gap.u:
        return Limiting(process, factor, ((order[0], 1.0, reaches[0]),), False)
    alpha = gap.value / gap.u
    first = _normal_cdf(-alpha)
    weights = ((order[0], first, reaches[0]), (order[1], 1.0 - first, reaches[1]))
    plain = Limiting(process, reaches[0], weights, True)
    q.put(Input(NAME, 0.0, 0.0, source=NAME))
    linear = propagate(plain.extent, list(q.inputs_used())).u
    one = propagate(lambda x: process.reach(order[0], x), used).u
    two = propagate(lambda x: process.reach(order[1], x), used).u
    square = _mean_square(reaches[0], one, reaches[1], two, gap.u)
    extra = math.sqrt(max(square - linear**2, 0.0))
    q.put(Input(NAME, 0.0, extra, source=f"{NAME}: {order[0]} or {order[1]}"))
    return plain


def _mean_square(m1: float, s1: float, m2: float, s2: float, a: float) -> float:
    """E[(min(X1, X2) − m1)²] for normal X with means m1 <= m2 and u(X1 − X2) = a (Clark 1961)."""
    alpha = (m1 - m2) / a
    pdf = math.exp(-0.5 * alpha**2) / math.sqrt(2.0 * math.pi)
    low, high = _normal_cdf(-alpha), _normal_cdf(alpha)
    d = m2 - m1
    second = s1**2 * low + (d**2 + s2**2) * high - d * a * pdf
    return float(second)


def _normal_cdf(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
