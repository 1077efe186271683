"""A registered cup's heat-loss conductance, as what is known of a curve's cooling rate.

    k = G/C,      (u_k/k)² = (u_G/G)² + (u_C/C)²

G [W/K] is the cup's, from its constant in force; C [J/K] is that of content and cup after mixing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from calib.errors import InputError


@dataclass(frozen=True, slots=True)
class KnownLoss:
    """A cup's loss and the rate that it means for one fill."""

    apparatus: str
    constant_id: int
    conductance_W_per_K: float
    u_conductance_W_per_K: float
    heat_capacity_J_per_K: float
    u_heat_capacity_J_per_K: float
    vessel: str | None = None

    @property
    def rate_per_s(self) -> float:
        """Expected cooling rate after mixing, 1/s."""
        return self.conductance_W_per_K / self.heat_capacity_J_per_K

    @property
    def u_rate_per_s(self) -> float:
        """Its standard uncertainty, 1/s."""
        share = math.hypot(
            self.u_conductance_W_per_K / max(self.conductance_W_per_K, 1e-12),
            self.u_heat_capacity_J_per_K / self.heat_capacity_J_per_K,
        )
        return max(self.rate_per_s * share, 1e-9)

    def choices(self) -> dict[str, float]:
        """Keywords for `fitting.correct`."""
        return {"prior_rate_per_s": self.rate_per_s, "u_prior_rate_per_s": self.u_rate_per_s}

    def facts(self) -> dict[str, Any]:
        """What scripts and people are told."""
        return {
            "apparatus": self.apparatus,
            "constant_id": self.constant_id,
            "heat_loss_W_per_K": self.conductance_W_per_K,
            "u_heat_loss_W_per_K": self.u_conductance_W_per_K,
            "heat_capacity_J_per_K": self.heat_capacity_J_per_K,
            "expected_rate_per_s": self.rate_per_s,
            "u_expected_rate_per_s": self.u_rate_per_s,
        }


def known_loss(
    registry: str | None,
    apparatus: str,
    heat_capacity_J_per_K: float | None,
    u_heat_capacity_J_per_K: float | None,
) -> KnownLoss:
    """The conductance of the apparatus' constant in force today, and the rate for a fill.

    Raises:
        InputError: no heat capacity, or a constant without a conductance.
        RegistryError: no such apparatus, or no constant in force; the message says what mends it.
    """
    from calib.jobs.vessels import vessel_of_kind
    from calib.registry import open_registry

    if heat_capacity_J_per_K is None or not heat_capacity_J_per_K > 0:
        raise InputError(
            "--apparatus needs --heat-capacity, that of content and cup in J/K, more than 0: the "
            "cup's heat loss in W/K becomes a cooling rate only with it"
        )
    with open_registry(registry, create=False) as store:
        stored = store.constant_for(apparatus)
        vessel = vessel_of_kind(store.apparatus(apparatus).kind)
    if stored.heat_loss_W_per_K is None or stored.u_heat_loss_W_per_K is None:
        raise InputError(
            f"constant {stored.id} of {apparatus} has no heat loss: it was found without logged "
            "curves; calibrate with curves, or leave --apparatus out"
        )
    return KnownLoss(
        apparatus, stored.id, stored.heat_loss_W_per_K, stored.u_heat_loss_W_per_K,
        heat_capacity_J_per_K, u_heat_capacity_J_per_K or 0.0, vessel,
    )  # fmt: skip
