"""A reading and the parts of its error.

Each part is written as

    error = sensitivity · δ,    δ of mean 0 and standard uncertainty ``u_delta``

(JCGM 100:2008, 4.3 and 5.1.2). δ carries a ``key`` where other readings share it: parts with the
same key are the same unknown number. With a thermometer's offset (sensitivity 1) and slope
(sensitivity t − t_ref) the offset cancels in a difference of two readings, as it does on the bench;
the display steps and the slope times the difference remain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.estimate import Estimate


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a reading's error; ``key`` is None where it is the reading's own."""

    name: str
    sensitivity: float
    u_delta: float
    source: str
    key: str | None = None

    @property
    def u(self) -> float:
        """The part's standard uncertainty, in the unit of the reading."""
        return abs(self.sensitivity) * self.u_delta


@dataclass(frozen=True, slots=True)
class Reading:
    """A value read, with the parts of its uncertainty."""

    column: str
    value: float
    unit: str
    parts: tuple[Part, ...]

    @property
    def u(self) -> float:
        """Standard uncertainty (k = 1) of the reading by itself: root sum of squares."""
        return math.sqrt(sum(part.u**2 for part in self.parts))

    @property
    def u_own(self) -> float:
        """The share of it that no other reading has."""
        return math.sqrt(sum(part.u**2 for part in self.parts if part.key is None))

    @property
    def shared(self) -> tuple[Part, ...]:
        """The parts that other readings have too."""
        return tuple(part for part in self.parts if part.key is not None)

    @property
    def source(self) -> str:
        """What the uncertainty is made of, in one line."""
        return "; ".join(f"{part.name} {part.u:.2g} {self.unit}" for part in self.parts)

    @property
    def estimate(self) -> Estimate:
        """The reading as an estimate."""
        return Estimate(self.value, self.u, self.unit, self.source, "measured")


def u_of_difference(first: Reading, second: Reading) -> float:
    """Standard uncertainty of ``first − second``, shared parts counted once (JCGM 100, 5.2.2)."""
    total = first.u_own**2 + second.u_own**2
    sums: dict[str, float] = {}
    for sign, reading in ((1.0, first), (-1.0, second)):
        for part in reading.shared:
            key = str(part.key)
            sums[key] = sums.get(key, 0.0) + sign * part.sensitivity * part.u_delta
    return math.sqrt(total + sum(value**2 for value in sums.values()))
