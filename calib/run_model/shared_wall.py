"""What a cup's wall hides of every rise, shared by the cup's constant and the runs that use it.

A wall hides the share ε of a rise (`fitting.newton.walls`). What is left after our estimate of it,
δ = ε − ε̂, is common to all runs of one cup: a rise r is found too small by δ r. With
C_tot = C_content + C_app the constant that is found moves by

    mixing           C_app = C_2 (T2 − T1 − r)/r − C_1    dC_app/dδ = C_2 (T2 − T1)/r = C_tot
    heater           C_app = W/r − C_1                    dC_app/dδ = W/r             = C_tot
    known reaction   C_app = [Q + C_2 (T2 − T1)]/r − C_mix   dC_app/dδ                = C_tot

(dr/dδ = −r in each; own derivation). The heat of a run, Q = (C_mix + C_app) r − C_2 (T2 − T1),
moves by −C_tot r δ through its rise and by +C_tot,cal r δ through the constant: nothing is left at
a like fill, and at another one r times the difference of the two heat capacities.

The constant keeps its wall part, dC_app/dδ times the u of ε, in J/K; a run moves it and its own
rise with one input, so that the budget, Monte Carlo and means over runs cancel them alike. The
pooled value of a kind has none: it is made of other cups, whose walls are independent of this one.
Both estimates of ε must be one for that: two curves of one cup tell of it differently, a slow
release hardly at all. So a run takes off what its cup's calibration found (`CupsShare`), not its
own guess.

An extreme reading errs by what the wall has not yet taken up when it is read, which is not ε; its
error has a name of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.uncertainty import Input

if TYPE_CHECKING:
    from calib.run_model.quantities import Quantities

__all__ = ["CONSTANT", "WALL", "CupsShare", "add_wall_to_rise", "install_constant", "wall_key"]

CONSTANT = "constant"
WALL = "wall loss"
_ALONE = "loss through the cup's slow wall"
_SHARED = "loss through the cup's slow wall, shared by its constant and its run"
_IN_CONSTANT = "loss through the cup's slow wall, in its constant"


@dataclass(frozen=True, slots=True)
class CupsShare:
    """What a cup's calibration took for the share that its wall hides, ε̂ and its u, and the whole
    heat capacity [J/K] of the calibration; ε goes with the cooling rate, so with 1/C."""

    share: float
    u: float
    capacity_J_per_K: float

    @classmethod
    def of(
        cls, share: float | None, u: float | None, wall_part_J_per_K: float | None
    ) -> CupsShare | None:
        """From what is stored with a constant, whose wall part is u of ε times C; None: unknown."""
        if share is None or not u or not wall_part_J_per_K:
            return None
        return cls(share, u, abs(wall_part_J_per_K / u))

    def at(self, capacity_J_per_K: float) -> tuple[float, float]:
        """ε̂ and its u at another filling."""
        ratio = self.capacity_J_per_K / max(capacity_J_per_K, 1e-9)
        return self.share * ratio, self.u * ratio


def wall_key(apparatus: str | None) -> str | None:
    """What the error of the hidden share is called in budgets; None for a cup without a name."""
    return f"slow wall:{apparatus}" if apparatus else None


def add_wall_to_rise(q: Quantities, apparatus: str | None, rise_K: float, u_wall_K: float) -> None:
    """Add what the wall hides of a logged rise [K] to the form ``rise``, along the rise."""
    if u_wall_K > 0.0:
        q.put(Input(WALL, 0.0, u_wall_K, key=wall_key(apparatus), source=_ALONE))
        q.add_to_form("rise", math.copysign(1.0, rise_K), WALL)


def install_constant(
    q: Quantities,
    apparatus: str | None,
    value_u_J_per_K: tuple[float, float],
    *,
    key: str | None,
    source: str,
    wall_part_J_per_K: float | None = None,
) -> None:
    """Put the form ``constant``: its own part, and its wall part with the wall of the run.

    ``wall_part_J_per_K`` is that by which the constant was found too large where the cup hides one
    u more than was allowed for; without it the constant is independent of the run.
    """
    value, u = value_u_J_per_K
    if not wall_part_J_per_K or not apparatus:
        q.put(Input(CONSTANT, value, u, key=key, source=source))
        return
    part = math.copysign(min(abs(wall_part_J_per_K), u), wall_part_J_per_K)
    q.put(Input(CONSTANT, value, math.sqrt(u**2 - part**2), key=key, source=source))
    if WALL in q.inputs:
        q.change(WALL, source=_SHARED)
    else:
        q.put(Input(WALL, 0.0, 1.0, key=wall_key(apparatus), source=_IN_CONSTANT))
    q.add_to_form(CONSTANT, -part / q.inputs[WALL].u, WALL)
