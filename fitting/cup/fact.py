"""What one number that is taken as known consists of, and the things that such numbers are of."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass

JUDGEMENT = "judgement"


@dataclass(frozen=True, slots=True)
class Fact:
    """One number that is taken as known.

    Attributes:
        value, u: the value and its standard uncertainty; for a ``log-normal`` fact the median and
            the standard deviation of its natural logarithm.
        unit: its unit; ``1`` for a share.
        what: what it is of, in words.
        source: where it comes from, or ``judgement``.
        shape: ``normal``, ``log-normal`` or ``exact`` (a limit or a weight).
    """

    value: float
    u: float
    unit: str
    what: str
    source: str = JUDGEMENT
    shape: str = "normal"

    @property
    def spread(self) -> str:
        """Its uncertainty in words: ``± 0.5``, ``× or ÷ 1.9``, ``–`` where it is exact."""
        if self.shape == "log-normal":
            return f"× or ÷ {math.exp(self.u):.2g}"
        return "–" if self.shape == "exact" else f"± {self.u:g}"

    @property
    def rms(self) -> float:
        """Root mean square of a normal fact: what is to be reckoned with, whatever its value."""
        return math.hypot(self.value, self.u)


@dataclass(frozen=True, slots=True)
class Wall:
    """One kind of thing that warms after the content: a wall, a lid, a probe's body, glass.

    Attributes:
        weight: probability of this kind in a vessel.
        share: its heat capacity over that of cup and content.
        time_s: its own time constant C_w/G_w (log-normal).
        loss_share: the part of the cup's loss that leaves through it, g.
        seen: whether its warming is slow enough to be seen beside the quick processes.
    """

    name: str
    weight: float
    share: Fact
    time_s: Fact
    loss_share: Fact
    seen: bool = True


@dataclass(frozen=True, slots=True)
class Vessel:
    """What is known of one kind of vessel.

    Attributes:
        rate_per_s: cooling rate k of a usual filling, and ``other_rate_spread`` the spread of ln k
            of the ``other_weight`` that are not usual.
        walls: the kinds of walls that it may have.
    """

    name: str
    rate_per_s: Fact
    other_rate_spread: Fact
    other_weight: Fact
    walls: tuple[Wall, ...]

    @property
    def slow_wall(self) -> Wall:
        """The likeliest wall that warms slowly enough to be seen."""
        return max((wall for wall in self.walls if wall.seen), key=lambda wall: wall.weight)

    @property
    def heaviest_wall(self) -> Wall:
        """The wall that holds most."""
        return max(self.walls, key=lambda wall: wall.share.value)


@dataclass(frozen=True, slots=True)
class Lid:
    """Vapour's share of the loss near the room's temperature, by the lid."""

    name: str
    vapour_share: Fact


def wall_of(
    name: str, weight: float, share: tuple[float, float], time_s: tuple[float, float],
    loss_share: tuple[float, float], source: str, *, seen: bool = True,
) -> Wall:  # fmt: skip
    """A wall from (value, u) of its share of the heat capacity, time [s] and share of the loss."""
    return Wall(
        name,
        weight,
        Fact(*share, "1", f"{name}: share of the heat capacity", source),
        Fact(*time_s, "s", f"{name}: time constant", source, "log-normal"),
        Fact(*loss_share, "1", f"{name}: share of the loss that passes through it", source),
        seen,
    )


def facts_in(record: object) -> Iterator[Fact]:
    """Every fact of a record, a tuple or a mapping of them, in order."""
    if isinstance(record, Fact):
        yield record
    elif isinstance(record, dict):
        for one in record.values():
            yield from facts_in(one)
    elif isinstance(record, tuple):
        for one in record:
            yield from facts_in(one)
    elif is_dataclass(record):
        for field in fields(record):
            yield from facts_in(getattr(record, field.name))
