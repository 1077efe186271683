"""What a judge hands over: a log, and the truth that it keeps sealed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One run of a judge. Arrays have shape (n,), the clock starts at 0.

    ``raw_C`` is what the sensor says before a display rounds it (`shown_C`). ``mixed_at_s`` is where
    the second portion begins to be poured, or the heater is switched on; 0 for a cup that only cools.
    ``capacity_ratio`` is the heat capacity before mixing over that after, cup included.
    ``constant_J_per_K`` counts the whole apparatus as warmed. ``steady_constant_J_per_K`` counts each
    part by how much it follows the liquid in a steady loss; None where the judge has no such figure.
    """

    judge: str
    family: str
    seed: int
    vessel: str
    lid: str
    time_s: FloatArray
    raw_C: FloatArray
    mixed_at_s: float
    true_before_C: float
    true_rise_K: float
    heat_J: float
    liquid_J_per_K: float  # after mixing, without the cup
    added_J_per_K: float
    added_C: float
    constant_J_per_K: float
    steady_constant_J_per_K: float | None
    capacity_ratio: float
    loss_W_per_K: float  # slope of the loss 10 K above the room
    room_C: float  # at mixing
    heater_W: float = 0.0
    heater_s: float = 0.0

    @property
    def steady_rise_K(self) -> float | None:
        """The rise by the other convention: only what a steady loss leaves in the wall is counted."""
        if self.steady_constant_J_per_K is None:
            return None
        total = self.liquid_J_per_K + self.constant_J_per_K
        return self.true_rise_K * total / (self.liquid_J_per_K + self.steady_constant_J_per_K)

    def shown_C(self, step_K: float) -> FloatArray:
        """The readings as a display of that step [K] shows them; 0 leaves them as they are. [°C]"""
        if step_K <= 0:
            return self.raw_C
        return np.round(np.round(self.raw_C / step_K) * step_K, 6)
