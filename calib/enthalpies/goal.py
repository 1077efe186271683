"""What a run's result is to be held against: the value expected of it, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult

__all__ = ["TELLS", "Goal", "goal_of", "says_nothing"]

TELLS = 0.1
"""Agreement says something only where u is at most this share of the value (common practice, no
source): what is uncertain by a third agrees with nearly anything."""


@dataclass(frozen=True, slots=True)
class Goal:
    """What the result is compared with."""

    value: float
    u: float
    name: str


def goal_of(one: RunResult) -> Goal | None:
    """The value expected at the run's concentrations, else the accepted one with room for that."""
    from calib.reactions.forecast import U_NO_CONCENTRATION

    if one.physical is not None:
        value = one.physical.reference
        if value is None:
            return None
        return Goal(value, 0.01 * abs(value), "the published value")
    if one.expected is None:
        return None
    if one.expected.at_run is not None:
        return Goal(
            one.expected.at_run.value, one.expected.at_run.u, "the value for its concentrations"
        )
    standard, equation = one.expected.at_infinite_dilution, one.measured.prepared.process.equation
    net = equation.net().items() if equation is not None else ()
    dissolved = sum(abs(float(n)) for s, n in net if s.state == "aq")
    u = math.hypot(standard.u, U_NO_CONCENTRATION * dissolved / one.basis.moles_per_reaction)
    return Goal(standard.value, u, "the value at infinite dilution")


def says_nothing(goal: Goal, u: float) -> bool:
    """Whether a deviation within a standard uncertainty ``u`` of this size tells nothing."""
    return u > TELLS * abs(goal.value)
