"""One way through the calculation, with every choice made: from readings to one number.

    q  = (m c + C_cup) ΔT − q_added                        heat taken up by the content and the cup
    ΔH = −q/(1000 n)                                       molar enthalpy                [kJ/mol]
    c₂ = q/(m₂ (T₂ − T_f))                                 specific heat of a solid      [J/(g K)]
    L  = −q/m₂ − w                                         heat of fusion                [J/g]

with m the mass that changes its temperature, c its specific heat, C_cup the cup's constant (0 in a
first course), ΔT = T_f − T₁, q_added what an addition at another temperature brings along, n the
moles divided by, m₂ the mass of solid added, w what its melt takes up per gram while warming.
A slip is one of these replaced by something else, so the same formula serves right and wrong.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

__all__ = ["NO_ROUNDING", "Path", "Rounding", "round_to"]

Kind = Literal["molar", "specific heat", "fusion"]
_SIGN = {"molar": -1.0, "specific heat": 1.0, "fusion": -1.0}


@dataclass(frozen=True, slots=True)
class Rounding:
    """Significant digits kept of the numbers on the way; None keeps them all."""

    rise: int | None = None
    capacity: int | None = None
    heat: int | None = None
    amount: int | None = None

    @property
    def coarse(self) -> bool:
        """Whether something is kept to two digits only."""
        return 2 in (self.rise, self.heat, self.amount)

    @property
    def steps(self) -> int:
        """How many of the numbers are rounded at all."""
        return sum(x is not None for x in (self.rise, self.capacity, self.heat, self.amount))


NO_ROUNDING = Rounding()


def round_to(value: float, digits: int | None) -> float:
    """The value to so many significant digits, halves away from zero as taught in schools.

    >>> round_to(5827.4, 3), round_to(0.12345, 2), round_to(-2.5, 1)
    (5830.0, 0.12, -3.0)
    """
    if digits is None or value == 0.0:
        return value
    place = 10.0 ** (math.floor(math.log10(abs(value))) + 1 - digits)
    kept = math.floor(abs(value) / place + 0.5 + 1e-9)
    return math.copysign(float(f"{kept * place:.12g}"), value)


@dataclass(frozen=True, slots=True)
class Path:
    """Every number that a calculation uses. ``rise_slack_K`` is how far the rise may lie elsewhere
    when it was read off a curve; ``unit_factor`` brings J/g to the unit of the answer.
    """

    kind: Kind
    mass_g: float
    c_J_per_gK: float
    rise_K: float
    divisor: float
    cup_J_per_K: float = 0.0
    offset_J: float = 0.0
    drop_K: float = 1.0
    melt_J_per_g: float = 0.0
    factor: float = 1.0
    unit_factor: float = 1.0
    divided: bool = True
    rise_slack_K: float = 0.0

    def heat_J(self, rounding: Rounding = NO_ROUNDING) -> float:
        """Heat taken up by content and cup. [J]"""
        rise = round_to(self.rise_K, rounding.rise)
        capacity = round_to(self.mass_g * self.c_J_per_gK, rounding.capacity)
        return round_to((capacity + self.cup_J_per_K) * rise + self.offset_J, rounding.heat)

    def value(self, rounding: Rounding = NO_ROUNDING) -> float:
        """The answer, in the unit of the answer."""
        q = self.heat_J(rounding)
        divisor = round_to(self.divisor, rounding.amount) if self.divided else 1.0
        if self.kind == "molar":
            result = q / divisor / 1000.0
        elif self.kind == "specific heat":
            result = q / (divisor * self.drop_K)
        else:
            result = q / divisor + self.melt_J_per_g
        return _SIGN[self.kind] * result * self.factor * self.unit_factor

    def slack(self) -> float:
        """How far the answer moves when the rise moves by its slack."""
        if self.rise_slack_K == 0.0 or self.rise_K == 0.0:
            return 0.0
        total = (self.mass_g * self.c_J_per_gK + self.cup_J_per_K) * self.rise_K
        if total == 0.0:
            return 0.0
        moved = self.value() * total / (total + self.offset_J) if total + self.offset_J else 0.0
        return abs(moved * self.rise_slack_K / self.rise_K)

    def three_digits(self) -> float:
        """How far three kept digits at every step can move the answer. [unit of the answer]

        Half a unit of the third digit of each number on the way, as a share of it, added up.
        """
        numbers = [self.mass_g * self.c_J_per_gK, self.heat_J(), self.rise_K]
        if self.divided:
            numbers.append(self.divisor)
        if self.kind == "specific heat":
            numbers.append(self.drop_K)
        return abs(self.value()) * sum(_half_third_digit(x) for x in numbers)


def _half_third_digit(value: float) -> float:
    if value == 0.0:
        return 0.0
    if abs(value - round_to(value, 3)) <= 1e-9 * abs(value):
        return 0.0  # three digits hold it exactly
    place = 10.0 ** (math.floor(math.log10(abs(value))) - 2)
    return 0.5 * place / abs(value)
