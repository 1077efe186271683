"""What a row tells beside its curve or its readings, as the one record that fitting is given."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from calib import balance
from calib.run_model.prepared import ROOM_GUESS_C
from fitting.cup.circumstances import LEAST_RATIO, MOST_RATIO, Circumstances
from fitting.cup.knowledge import BENCH, SURROUNDINGS

if TYPE_CHECKING:
    from calib.run_model.found_rise import Loss
    from calib.run_model.prepared import PreparedRun
    from calib.run_model.shared_wall import CupsShare
    from calib.runs.model import Run

__all__ = [
    "circumstances_of",
    "circumstances_of_reading",
    "room_guessed",
    "room_of",
]

MIXED_AT_GUESS_U_S = BENCH.moment_by_hand_s.u
_LEAST_SHARE = 0.2  # of the content's heat capacity: what a cup's absurd constant may leave of all
_ROOMS_C = (10.0, 35.0)
"""Content before a mixing stands for a room that was not noted only where a room can be so warm:
hot water or ice in the cup tells nothing of it."""


def circumstances_of(
    prepared: PreparedRun,
    start_C: float,
    C_app: float,
    u_C_app: float,
    loss: Loss | None,
    hidden: CupsShare | None = None,
) -> Circumstances:
    """Mixing, capacities, room, expected rate, vessel and lid of a row with a logged curve.

    Args:
        prepared: the row.
        start_C: temperature that the content starts from, °C.
        C_app, u_C_app: the cup's constant, or a guess of it, J/K.
        loss: the cup's conductance, where it is known.
        hidden: what the cup's calibration took for the share that its wall hides.

    Raises:
        CurveError: the row tells what no run can have.
    """
    run = prepared.run
    before = prepared.heat_capacity_before(start_C)
    after = prepared.heat_capacity_after(start_C, start_C)
    ratio = balance.capacity_ratio(before, after, _bounded(C_app, after))
    u_moment = 0.0
    if run.mixed_at_s is not None:
        given = run.u.get("mixed_at_s")
        u_moment = given if given is not None else MIXED_AT_GUESS_U_S
    u_room = SURROUNDINGS.room_read_K.u
    if run.room_C is not None:
        u_room = prepared.instruments.u("room_C", run.room_C, run).u
    rate, u_rate = _expected_rate(prepared, start_C, start_C, C_app, u_C_app, loss) or (None, None)
    share, u_share = (None, 0.0) if hidden is None else hidden.at(after + _bounded(C_app, after))
    return Circumstances(
        mixed_at_s=run.mixed_at_s, u_mixed_at_s=u_moment,
        capacity_ratio=min(max(ratio, LEAST_RATIO), MOST_RATIO),
        room_C=run.room_C, u_room_K=u_room, rate_per_s=rate, u_rate_per_s=u_rate,
        vessel=run.vessel, lid=run.lid, hidden_share=share, u_hidden_share=u_share,
    )  # fmt: skip


def circumstances_of_reading(
    prepared: PreparedRun,
    readings_C: tuple[float, float],
    room: tuple[float, float],
    C_app: float,
    u_C_app: float,
    loss: Loss | None,
) -> Circumstances:
    """The same of a row with two readings [°C]; ``room`` is its temperature and u, noted or not."""
    rate, u_rate = _expected_rate(prepared, *readings_C, C_app, u_C_app, loss) or (None, None)
    return Circumstances(
        room_C=room[0], u_room_K=room[1], rate_per_s=rate, u_rate_per_s=u_rate,
        vessel=prepared.run.vessel, lid=prepared.run.lid,
    )  # fmt: skip


def _expected_rate(
    prepared: PreparedRun,
    start_C: float,
    end_C: float,
    C_app: float,
    u_C_app: float,
    loss: Loss | None,
) -> tuple[float, float] | None:
    """k = G/C of a row's filling and its u, of G, content and cup [1/s]; None: G is not known."""
    if loss is None or loss.conductance_W_per_K <= 0.0:
        return None
    content = prepared.heat_capacity_after(start_C, end_C)
    specific = prepared.contents.specific_heat(start_C, end_C)
    u_C = math.hypot(content * specific.u / specific.value, u_C_app)
    C_app = _bounded(C_app, content)
    G = max(loss.conductance_W_per_K, 1e-12)
    return (
        balance.cooling_rate_per_s(G, content, C_app),
        balance.u_cooling_rate_per_s(G, max(loss.u_W_per_K, 1e-9), content + C_app, u_C),
    )


def room_of(run: Run, before_C: float | None) -> float:
    """The room's temperature: noted, else guessed from the content's before mixing. [°C]"""
    return run.room_C if run.room_C is not None else room_guessed(before_C)


def room_guessed(before_C: float | None) -> float:
    """A room's temperature that nobody noted: the content's before mixing, or a usual one. [°C]"""
    if before_C is not None and _ROOMS_C[0] <= before_C <= _ROOMS_C[1]:
        return before_C
    return ROOM_GUESS_C


def _bounded(C_app: float, content: float) -> float:
    """A cup's constant that leaves the whole a heat capacity: a bad guess may be far below 0."""
    return max(C_app, (_LEAST_SHARE - 1.0) * content)
