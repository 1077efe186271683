"""What the models are told beside the readings."""

from __future__ import annotations

from dataclasses import dataclass

from fitting.cup.circumstances import U_ROOM_K, Circumstances
from fitting.cup.knowledge import CUP, LID_NOT_TOLD, RELEASES, VESSELS, Lid, Vessel, lid_of
from fitting.newton.source import POUR, Source


@dataclass(frozen=True, slots=True)
class Setting:
    """What is known of one curve beside its readings.

    Attributes:
        change_K: rough temperature change, with sign.
        reference_C: temperature from which heights are counted, that before the mixing.
        ratio: heat capacity before over that after.
        room_K: room above the reference, None where it was not noted; u_room_K its u.
        rate: cooling rate known beforehand and its u, 1/s.
        vessel, lid, source: what the content stands in, and how the heat comes.
    """

    change_K: float
    reference_C: float
    ratio: float = 1.0
    room_K: float | None = None
    u_room_K: float = U_ROOM_K
    rate: tuple[float, float] | None = None
    vessel: Vessel = CUP
    lid: Lid = LID_NOT_TOLD
    source: Source = POUR

    @property
    def size_K(self) -> float:
        """Size of the change, never quite zero."""
        return max(abs(self.change_K), 1e-3)

    @property
    def solid(self) -> float:
        """Probability that what was added was a solid, from the ratio of heat capacities."""
        if not self.source.heats or self.source.lasts_s > 0:
            return 0.0
        low, high = RELEASES.liquid_below.value, RELEASES.solid_above.value
        return min(max((self.ratio - low) / (high - low), 0.0), 1.0)

    def between(self, liquid: float, solid: float) -> float:
        """What is known of liquids and of solids, by how probably it is a solid."""
        return liquid + self.solid * (solid - liquid)


def setting_for(
    known: Circumstances, change_K: float, reference_C: float, *, source: Source = POUR,
    vessel: Vessel | None = None,
) -> Setting:  # fmt: skip
    """What is known of a run, as the models are told it.

    Args:
        known: the circumstances.
        change_K, reference_C: rough change of the temperature, and the temperature before it.
        source: how the heat comes.
        vessel: in place of the one told.
    """
    return Setting(
        change_K,
        reference_C,
        known.capacity_ratio,
        None if known.room_C is None else known.room_C - reference_C,
        known.u_room_K,
        known.expected_rate,
        vessel or VESSELS[known.vessel or "cup"],
        lid_of(known.lid),
        source,
    )
