"""A registered cup's heat-loss conductance, as what is known of a curve's cooling rate.

    k = G/C,      (u_k/k)² = (u_G/G)² + (u_C/C)²

G [W/K] is the cup's, from its constant in force; C [J/K] is that of content and cup after mixing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calib.balance import cooling_rate_per_s, u_cooling_rate_per_s
from calib.errors import InputError
from calib.run_model.shared_wall import CupsShare

if TYPE_CHECKING:
    from fitting.cup.circumstances import Circumstances


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
    lid: str | None = None
    hidden: CupsShare | None = None

    @property
    def rate_per_s(self) -> float:
        """Expected cooling rate after mixing, 1/s."""
        return cooling_rate_per_s(self.conductance_W_per_K, self.heat_capacity_J_per_K, 0.0)

    @property
    def u_rate_per_s(self) -> float:
        """Its standard uncertainty, 1/s."""
        u = u_cooling_rate_per_s(
            self.conductance_W_per_K, self.u_conductance_W_per_K, self.heat_capacity_J_per_K,
            self.u_heat_capacity_J_per_K,
        )  # fmt: skip
        return max(u, 1e-9)

    def added_to(self, known: Circumstances) -> Circumstances:
        """What is known of a run in this cup; a vessel or lid that was told is kept."""
        share, u = (
            (None, 0.0) if self.hidden is None else self.hidden.at(self.heat_capacity_J_per_K)
        )
        return replace(
            known,
            rate_per_s=self.rate_per_s,
            u_rate_per_s=self.u_rate_per_s,
            vessel=known.vessel or self.vessel,
            lid=known.lid or self.lid,
            hidden_share=share,
            u_hidden_share=u,
        )

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
    from calib.registry import open_registry
    from calib.runs.kind_words import lid_of_kind, vessel_of_kind

    if heat_capacity_J_per_K is None or not heat_capacity_J_per_K > 0:
        raise InputError(
            "--apparatus needs --heat-capacity, that of content and cup in J/K, more than 0: the "
            "cup's heat loss in W/K becomes a cooling rate only with it"
        )
    with open_registry(registry, create=False) as store:
        stored = store.constant_for(apparatus)
        kind = store.apparatus(apparatus).kind
    if stored.heat_loss_W_per_K is None or stored.u_heat_loss_W_per_K is None:
        raise InputError(
            f"constant {stored.id} of {apparatus} has no heat loss: it was found without logged "
            "curves; calibrate with curves, or leave --apparatus out"
        )
    return KnownLoss(
        apparatus, stored.id, stored.heat_loss_W_per_K, stored.u_heat_loss_W_per_K,
        heat_capacity_J_per_K, u_heat_capacity_J_per_K or 0.0, vessel_of_kind(kind),
        lid_of_kind(kind),
        CupsShare.of(stored.hidden_share, stored.u_hidden_share, stored.wall_part_J_per_K),
    )  # fmt: skip
