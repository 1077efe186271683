"""Curves on which nothing is mixed: a cup that is heated electrically, a cup that only cools."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.errors import CurveError, RowProblem
from calib.run_model.found_rise import Loss, Rise
from calib.run_model.known import circumstances_of
from calib.run_model.refusal import RowRefusedError

if TYPE_CHECKING:
    from calib.run_model.prepared import PreparedRun

__all__ = ["rise_from_cooling", "rise_from_heating"]


def rise_from_heating(
    prepared: PreparedRun, C_app: float, u_C_app: float, loss: Loss | None
) -> Rise:
    """Rise of a cup heated for ``heater_s`` from ``mixed_at_s`` on, corrected for heat loss."""
    from fitting.files.curve_files import read_curve
    from fitting.newton.heated import heated_rise

    run = prepared.run
    if run.heater_s is None:
        raise RowRefusedError(
            RowProblem(run.run, "heater_s", "how long was heated is needed", "an empty cell",
                       "seconds", "fill in heater_s")
        )  # fmt: skip
    try:
        curve = read_curve(str(run.curve_path))
        known = circumstances_of(prepared, float(curve.temperature_C[0]), C_app, u_C_app, loss)
        found = heated_rise(curve, run.heater_s, known)
    except CurveError as error:
        raise RowRefusedError(
            RowProblem(run.run, "curve", str(error), str(run.curve), "a log of a heated cup")
        ) from None
    return Rise(
        rise_K=found.rise_K,
        u_own_K=found.u_rise_K,
        before_C=found.before_C,
        final_C=found.before_C + found.rise_K,
        method="integral of Newton's law while heated",
        from_curve=True,
        warnings=found.warnings,
        cooling_rate_per_s=found.cooling_rate_per_s,
        u_cooling_rate_per_s=found.u_cooling_rate_per_s,
        digest=curve.digest,
        u_wall_K=min(found.hidden_K[1], found.u_rise_K),
        hidden_K=found.hidden_K[0],
    )


def rise_from_cooling(prepared: PreparedRun) -> Rise:
    """A log of cooling alone: no rise, but a cooling rate."""
    from fitting.cooling import fit_cooling_log
    from fitting.files.curve_files import read_curve

    run = prepared.run
    if run.curve_path is None:
        raise RowRefusedError(
            RowProblem(run.run, "added", "nothing was added and there is no heater; a cooling log "
                       "needs its curve", "an empty cell", "what was added, or a curve",
                       "fill in added and its amount, or curve")
        )  # fmt: skip
    try:
        curve = read_curve(str(run.curve_path))
        if run.room_C is None:
            log = fit_cooling_log(curve)
        else:
            u_room = prepared.instruments.u("room_C", run.room_C, run).u
            log = fit_cooling_log(curve, room_C=run.room_C, u_room_K=u_room)
    except CurveError as error:
        raise RowRefusedError(
            RowProblem(run.run, "curve", str(error), str(run.curve), "a log of a cooling cup")
        ) from None
    return Rise(
        rise_K=0.0,
        u_own_K=0.0,
        before_C=log.start_C,
        final_C=log.end_C,
        method="cooling log",
        from_curve=True,
        warnings=log.warnings,
        cooling_rate_per_s=log.rate_per_s,
        u_cooling_rate_per_s=log.u_rate_per_s,
        digest=curve.digest,
    )
