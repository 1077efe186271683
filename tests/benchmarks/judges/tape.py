"""A judge's draw kept as numbers that can be moved one at a time, in near-normal coordinates.

A `Tape` stands in for the random generator of a draw. Recording, it hands on what the generator gives
and keeps a coordinate z for every continuous number::

    uniform on [a, b]:  x = a + (b - a) Phi(z)        normal:  x = mu + sigma z

with Phi the standard normal distribution, so that under the judge's own distribution every z is standard
normal and independent of the others, whatever is made of x afterwards. Replaying, it gives the same
draw again with one z moved. Choices between kinds are kept as they fell.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np


class OtherPathError(LookupError):
    """The moved draw asked for other numbers than were kept: a release was drawn again, or was not."""


@dataclass
class Tape:
    """Kept draws, in order: (kind, z or the choice). ``generator`` None: replay them."""

    generator: np.random.Generator | None = None
    kept: list[tuple[str, Any]] = field(default_factory=list)
    at: int = 0

    def moved(self, which: int, z: float) -> Tape:
        """A tape to replay, one coordinate changed to ``z``."""
        kind, _ = self.kept[which]
        return Tape(kept=[*self.kept[:which], (kind, z), *self.kept[which + 1 :]])

    def finished(self) -> None:
        """Raises OtherPathError if kept numbers were left over."""
        if self.at != len(self.kept):
            raise OtherPathError("numbers of the draw were left over")

    def _next(self, kind: str) -> Any:
        if self.at >= len(self.kept) or self.kept[self.at][0] != kind:
            raise OtherPathError(f"the draw asks for another {kind} than was kept")
        self.at += 1
        return self.kept[self.at - 1][1]

    def _keep(self, kind: str, value: Any) -> None:
        self.kept.append((kind, value))
        self.at += 1

    def uniform(self, low: float, high: float) -> float:
        """As the generator's, one number."""
        from scipy.special import ndtr, ndtri

        if self.generator is None:
            return low + (high - low) * float(ndtr(self._next("uniform")))
        x = float(self.generator.uniform(low, high))
        self._keep("uniform", float(ndtri(min(max((x - low) / (high - low), 1e-12), 1 - 1e-12))))
        return x

    def normal(self, mean: float, sd: float) -> float:
        """As the generator's, one number."""
        if self.generator is None:
            return mean + sd * float(self._next("normal"))
        x = float(self.generator.normal(mean, sd))
        self._keep("normal", (x - mean) / sd)
        return x

    def random(self) -> float:
        """As the generator's; judges use it to choose between kinds only."""
        if self.generator is None:
            return float(self._next("random"))
        x = float(self.generator.random())
        self._keep("random", x)
        return x

    def choice(self, of: Any, p: Any = None) -> Any:
        """As the generator's, one of them."""
        if self.generator is None:
            return self._next("choice")
        x = self.generator.choice(of, p=p)
        self._keep("choice", x)
        return x
