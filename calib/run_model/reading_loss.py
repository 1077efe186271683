"""What an extreme reading misses, found with the cup's heat loss, and how it enters the budget.

Parts of its error that runs have in common carry a key: the conductance belongs to the cup's
constant, the course of a slow release to the process (the same grains dissolve at every bench),
that of a fast one to the cup, whose slow wall decides it. What the wall has not yet taken up at the
extreme is another error than what it hides of a logged rise (`shared_wall`), and has its own key.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from calib.run_model.extreme import (
    CONDUCTANCE,
    COURSE,
    ROOM,
    TIME,
    ExtremeLoss,
    extreme_loss,
    heated_loss,
)
from calib.run_model.known import circumstances_of_reading, room_guessed, room_of
from calib.uncertainty import Input
from fitting.cup.knowledge import BENCH, SURROUNDINGS

if TYPE_CHECKING:
    from calib.run_model.found_rise import Loss, Rise
    from calib.run_model.prepared import PreparedRun
    from calib.run_model.quantities import Quantities

__all__ = ["install_loss", "loss_of_reading", "pace_of", "release_of"]

UNCORRECTED = "extreme reading, not corrected"
CORRECTED_READING = "extreme reading, corrected with the cup's heat loss"
U_ROOM_K, U_ROOM_GUESS_K = SURROUNDINGS.room_read_K.u, SURROUNDINGS.room_K.u
_INPUTS = {COURSE: "loss", CONDUCTANCE: "loss conductance", ROOM: "loss room", TIME: "loss time"}


def pace_of(prepared: PreparedRun) -> str:
    """How the heat comes: ``fast``, ``slow`` where a solid dissolves, reacts or melts (a hot piece
    of metal is soon even), ``heated`` evenly from a heater."""
    if prepared.process.kind == "heater":
        return "heated"
    solid = prepared.added is not None and prepared.added.species.state == "s"
    return "slow" if solid and prepared.process.kind != "specific heat" else "fast"


def release_of(prepared: PreparedRun) -> str | None:
    """The release that `fitting.extreme.reading` is told; None for a piece of metal, whose heat
    comes neither as from a solution nor as from a salt."""
    return None if prepared.process.kind == "specific heat" else pace_of(prepared)


def loss_of_reading(
    prepared: PreparedRun, before: float, C_app: float, u_C_app: float, loss: Loss | None
) -> tuple[ExtremeLoss, str, list[str]]:
    """What is to be added to the change that was read, the method's name, warnings."""
    run = prepared.run
    extreme = float(run.extreme_C or 0.0)
    pace = pace_of(prepared)
    if loss is None or loss.conductance_W_per_K <= 0.0:
        u = BENCH.missed_share(pace, run.vessel) * abs(extreme - before)
        why = f"{UNCORRECTED}: the cup's heat loss is not known; what it may miss is in the budget"
        part = ("heat lost before the extreme was read, not corrected", u)
        return ExtremeLoss(0.0, u, (part,)), UNCORRECTED, [why]
    warnings = []
    after, u_after = BENCH.extreme_after_s(pace)
    if run.extreme_after_s is not None:
        after = run.extreme_after_s
        u_after = prepared.instruments.u("extreme_after_s", after, run).u
        if pace == "heated" and after >= (run.heater_s or 0.0):
            after -= run.heater_s or 0.0  # noted from switching on
    else:
        warnings.append(f"the extreme's time was not noted; {after:g} ± {u_after:g} s taken")
    room, u_room = run.room_C, U_ROOM_K
    if room is None:
        room, u_room = room_guessed(run.in_cup_C), U_ROOM_GUESS_K
        warnings.append(f"the room's temperature was not noted; {room:g} ± {u_room:g} °C taken")
    known = circumstances_of_reading(
        prepared, (before, extreme), (room, u_room), C_app, u_C_app, loss
    )
    rate = known.expected_rate
    if pace == "heated" and rate is not None:
        found = heated_loss(
            before, extreme, after, room, rate, heated_s=run.heater_s or 0.0, u_room_K=u_room,
            u_after_s=u_after,
        )  # fmt: skip
    else:
        total = prepared.heat_capacity_after(before, extreme) + C_app
        found = extreme_loss(
            before, extreme, after, known, u_after_s=u_after,
            step_K=prepared.instruments.step_K("extreme_C"), cup_share=C_app / total,
            release=release_of(prepared),
        )  # fmt: skip
    return found, CORRECTED_READING, warnings


def install_loss(q: Quantities, prepared: PreparedRun, rise: Rise) -> None:
    """Add the correction to the form ``rise``, each part of its error as an input by itself."""
    parts = dict(rise.loss_parts)
    if COURSE not in parts:
        source = "heat lost before the extreme was read (not corrected)"
        q.put(Input("loss", rise.loss_K, rise.u_loss_K, source=source))
        q.add_to_form("rise", 1.0, "loss")
        return
    run = prepared.run
    away = room_of(run, run.in_cup_C)
    signs = {COURSE: rise.rise_K, CONDUCTANCE: rise.final_C - away, ROOM: -1.0, TIME: rise.rise_K}
    for part, name in _INPUTS.items():
        value = rise.loss_K if part == COURSE else 0.0
        if part != COURSE and parts.get(part, 0.0) == 0.0:
            continue
        source = f"correction of the extreme reading: {part}"
        key = _key(part, prepared, rise)
        if key is None:
            q.put(Input(name, value, parts[part], source=source))
            q.add_to_form("rise", 1.0, name)
            continue
        if value:
            q.put(Input(f"{name} put back", value, 0.0, source=source))
            q.add_to_form("rise", 1.0, f"{name} put back")
        q.put(Input(name, 0.0, parts[part], key=key, source=source))
        q.add_to_form("rise", math.copysign(1.0, signs[part]), name)


def _key(part: str, prepared: PreparedRun, rise: Rise) -> str | None:
    run, cup = prepared.run, prepared.run.apparatus
    if part == CONDUCTANCE:
        return rise.loss_key or (f"heat loss:{cup}" if cup else None)
    if part == ROOM and run.room_C is None:
        return f"room not noted:{run.date}"
    if part != COURSE:
        return None
    if pace_of(prepared) == "slow":
        return f"course of release:{prepared.process.name}"
    return f"wall at the extreme:{cup}" if cup else None
