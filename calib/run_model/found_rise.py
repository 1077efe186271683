"""What is found of a run's temperature rise, and what is known of a cup's heat loss."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitting.corrections import Corrected

__all__ = ["Loss", "Rise"]


@dataclass(frozen=True, slots=True)
class Loss:
    """Heat-loss conductance of the apparatus, W/K, and what stands behind it."""

    conductance_W_per_K: float
    u_W_per_K: float
    key: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Rise:
    """Rise of an insulated cup with its own uncertainty (without the thermometer's scale).

    ``loss_K`` is what was added to an extreme reading, ``loss_parts`` what its uncertainty is made
    of, ``loss_key`` names the error of the conductance behind it. ``corrected`` holds the whole
    comparison of corrections where there was a curve. ``u_wall_K`` is the part of ``u_own_K`` that
    belongs to the cup: what its slow wall passes on to the room unseen. It is the same share of the
    rise in all runs of one cup, so that more runs do not average it away. ``hidden_K`` is
    what was taken off the rise for it, None where nothing was.
    """

    rise_K: float
    u_own_K: float
    before_C: float
    final_C: float
    method: str
    from_curve: bool
    warnings: tuple[str, ...]
    cooling_rate_per_s: float | None = None
    u_cooling_rate_per_s: float | None = None
    loss_K: float = 0.0
    u_loss_K: float = 0.0
    loss_parts: tuple[tuple[str, float], ...] = ()
    loss_key: str | None = None
    before_given: bool = True
    corrected: Corrected | None = None
    digest: str = ""
    dof: float = math.inf
    u_wall_K: float = 0.0
    hidden_K: float | None = None

    @property
    def u_run_K(self) -> float:
        """What is left of ``u_own_K`` for this run alone. [K]"""
        return math.sqrt(max(self.u_own_K**2 - self.u_wall_K**2, 0.0))
