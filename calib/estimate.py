"""A number that carries its unit, its standard uncertainty and where it came from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "measured",
    "published",
    "correlation",
    "extrapolated",
    "ion-additive",
    "water-share",
    "computed",
    "assumed",
]


@dataclass(frozen=True, slots=True)
class Estimate:
    """One value with its worth.

    ``u`` is a standard uncertainty (k = 1) in the same unit as ``value`` (JCGM 100:2008, 2.3.1).
    """

    value: float
    u: float
    unit: str
    source: str
    kind: Kind = "published"

    @property
    def interval95(self) -> tuple[float, float]:
        """The interval value ± 1.96 u, for a quantity taken as normal."""
        return self.value - 1.96 * self.u, self.value + 1.96 * self.u
