"""The temperature rise of a run, from its logged curve or from two readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.errors import CurveError, RowProblem
from calib.run_model.found_rise import Loss, Rise
from calib.run_model.hot_water import pouring_input
from calib.run_model.known import circumstances_of, room_of
from calib.run_model.other_curves import rise_from_cooling, rise_from_heating
from calib.run_model.prepared import PreparedRun
from calib.run_model.quantities import Quantities
from calib.run_model.reading_loss import install_loss, loss_of_reading
from calib.run_model.refusal import RowRefusedError
from calib.run_model.shared_wall import CupsShare, add_wall_to_rise
from calib.uncertainty import Input, dof_of_factor, rectangular

if TYPE_CHECKING:
    from calib.runs.model import Run
    from fitting.curve import Curve

__all__ = ["Loss", "Rise", "find_rise", "install_rise"]

LIQUID_C, BRINE_C = (-1.0, 101.0), -25.0
"""Where a cup's content is liquid, with a kelvin for the thermometer's offset; salted it may end
lower (eutectic of common salt at -21 °C, CRC Handbook, from memory)."""
MOMENT_APART_S = 5.0


def find_rise(
    prepared: PreparedRun,
    *,
    C_app: float,
    u_C_app: float = 0.0,
    loss: Loss | None = None,
    method: str | None = None,
    hidden: CupsShare | None = None,
) -> Rise:
    """Rise from the curve where there is one, else from the extreme reading.

    ``C_app`` is the cup's constant, or a guess of it: it enters only through the ratio of heat
    capacities before and after mixing and through the expected cooling rate, with its u. ``hidden``
    is what the cup's calibration took for the share of a rise that its wall hides.
    Raises RowRefusedError.
    """
    if prepared.process.kind == "cooling":
        return rise_from_cooling(prepared)
    if prepared.process.kind == "heater" and prepared.run.curve_path is not None:
        heated = rise_from_heating(prepared, C_app, u_C_app, loss)
        _refuse_nonsense(prepared, heated.rise_K, heated.u_own_K)
        return heated
    if prepared.run.curve_path is not None:
        return _from_curve(prepared, C_app, u_C_app, loss, method, hidden)
    return _from_readings(prepared, C_app, u_C_app, loss)


def _from_curve(
    prepared: PreparedRun,
    C_app: float,
    u_C_app: float,
    loss: Loss | None,
    method: str | None,
    hidden: CupsShare | None,
) -> Rise:
    from fitting.corrections.choice import correct_known
    from fitting.files.curve_files import read_curve
    from fitting.newton.explain import WALL_LOSS

    run = prepared.run
    curve = None
    try:
        curve = read_curve(str(run.curve_path))
        start = float(curve.temperature_C[0])
        known = circumstances_of(prepared, start, C_app, u_C_app, loss, hidden)
        corrected = correct_known(curve, known, method)
    except CurveError as error:
        other = _other_moment(run, curve)
        raise RowRefusedError(
            other
            if other is not None
            else RowProblem(
                run.run, "curve", str(error), str(run.curve), "a logged temperature curve"
            )
        ) from None
    chosen = corrected.chosen
    _refuse_no_liquid(prepared, chosen.before_C, chosen.before_C + chosen.rise_K)
    _refuse_nonsense(prepared, chosen.rise_K, chosen.u_rise_K)
    warnings = list(corrected.warnings)
    if not chosen.admissible:
        warnings.append(f"no correction is admissible on this curve: {chosen.why}")
    return Rise(
        rise_K=chosen.rise_K,
        u_own_K=chosen.u_rise_K,
        before_C=chosen.before_C,
        final_C=chosen.before_C + chosen.rise_K,
        method=chosen.method,
        from_curve=True,
        warnings=tuple(warnings),
        cooling_rate_per_s=chosen.cooling_rate_per_s,
        u_cooling_rate_per_s=chosen.u_cooling_rate_per_s,
        corrected=corrected,
        digest=curve.digest,
        dof=dof_of_factor((chosen.interval95_K[1] - chosen.rise_K) / max(chosen.u_rise_K, 1e-12)),
        u_wall_K=min(dict(chosen.parts).get(WALL_LOSS, 0.0), chosen.u_rise_K),
        hidden_K=chosen.hidden_K[0] if chosen.hidden_K is not None else None,
    )


def _other_moment(run: Run, curve: Curve | None) -> RowProblem | None:
    """The problem in mixed_at_s where the curve itself shows another moment, else None."""
    from fitting.periods import find_mixing

    if run.mixed_at_s is None or curve is None:
        return None
    try:
        found = find_mixing(curve)
    except CurveError:
        return None
    if abs(found.time_s - run.mixed_at_s) <= MOMENT_APART_S + 2.0 * found.u_s:
        return None
    return RowProblem(
        run.run, "mixed_at_s", "the moment of mixing given is not the curve's, and no rise can be "
        "had from it", f"{run.mixed_at_s:g} s, where the curve changes from {found.time_s:.1f} ± "
        f"{found.u_s:.1f} s on", "the moment on the clock of the curve's own file",
        "correct mixed_at_s, or clear it: it is then found from the curve",
    )  # fmt: skip


def _refuse_no_liquid(prepared: PreparedRun, before_C: float, final_C: float) -> None:
    """Refuse a curve at which no water is liquid; brines may end below 0 °C."""
    low, high = LIQUID_C
    if low <= before_C <= high and BRINE_C <= final_C <= high:
        return
    hint = "; in °F or K? Say the unit in the file's heading" if before_C > high else ""
    raise RowRefusedError(
        RowProblem(
            prepared.run.run, "curve", "no water is liquid at these temperatures",
            f"{before_C:.4g} °C before mixing and {final_C:.4g} °C after it", "0 to 100 °C",
            f"check the file's unit and sign{hint}",
        )
    )  # fmt: skip


def _refuse_nonsense(prepared: PreparedRun, rise_K: float, u_K: float) -> None:
    if abs(rise_K) > max(2.0 * u_K, 0.02):
        return
    column = "curve" if prepared.run.curve_path is not None else "extreme_C"
    raise RowRefusedError(
        RowProblem(
            prepared.run.run, column, "the temperature did not change, so nothing can be computed",
            f"a rise of {rise_K:.2g} K with u {u_K:.2g} K", "a change well above the reading step",
            "check that the right file or reading was entered",
        )
    )  # fmt: skip


def _from_readings(prepared: PreparedRun, C_app: float, u_C_app: float, loss: Loss | None) -> Rise:
    run = prepared.run
    before = run.in_cup_C if run.in_cup_C is not None else run.added_C
    if before is None or run.extreme_C is None:
        column = "in_cup_C" if before is None else "extreme_C"
        raise RowRefusedError(
            RowProblem(run.run, column, "a temperature before mixing and an extreme reading, or a "
                       "logged curve, are needed", "an empty cell", "°C", f"fill in {column}")
        )  # fmt: skip
    raw = run.extreme_C - before
    u_own = prepared.instruments.u("extreme_C", run.extreme_C, run).u_own
    _refuse_nonsense(prepared, raw, u_own)
    found, method, warnings = loss_of_reading(prepared, before, C_app, u_C_app, loss)
    return Rise(
        rise_K=raw + found.correction_K,
        u_own_K=found.u_K,
        before_C=before,
        final_C=run.extreme_C + found.correction_K,
        method=method,
        from_curve=False,
        warnings=tuple(warnings),
        loss_K=found.correction_K,
        u_loss_K=found.u_K,
        loss_parts=found.parts,
        loss_key=loss.key if loss is not None else None,
        before_given=run.in_cup_C is not None,
    )


def install_rise(quantities: Quantities, prepared: PreparedRun, rise: Rise) -> None:
    """Add rise, cup's and added temperature to the inputs, shared thermometer errors included.

    Afterwards the forms ``rise``, ``cup_C`` and ``added_C`` exist.
    """
    run, instruments, q = prepared.run, prepared.instruments, quantities
    if rise.from_curve:
        q.put_errors("final error", instruments.u("curve", rise.final_C, run).shared)
        q.put_errors("before error", instruments.u("curve", rise.before_C, run).shared)
        source = f"rise, curve corrected by {rise.method}"
        q.put(Input("rise", rise.rise_K, rise.u_run_K, source=source, dof=rise.dof))
        q.put(Input("cup_C", rise.before_C, 0.0, source="temperature in the cup"))
        for sign, name in ((1.0, "final error"), (-1.0, "before error")):
            q.add_to_form("rise", sign, name)
        q.add_to_form("cup_C", 1.0, "before error")
        add_wall_to_rise(q, run.apparatus, rise.rise_K, rise.u_wall_K)
    else:
        _install_readings(q, prepared, rise)
    if prepared.added is None:
        return
    if run.added_C is not None and (rise.before_given or rise.from_curve):
        reading = instruments.u("added_C", run.added_C, run)
        q.put_reading("added_C", reading, "temperature of what is added")
        _install_pouring(q, prepared, rise)
    elif rise.before_given or rise.from_curve:
        _assume_equal(q, instruments.u_assumed_equal_K, "added_C", "cup_C", "what is added")


def _install_readings(q: Quantities, prepared: PreparedRun, rise: Rise) -> None:
    run, instruments = prepared.run, prepared.instruments
    extreme = instruments.u("extreme_C", float(run.extreme_C or 0.0), run)
    q.put_reading("extreme_C", extreme, "extreme reading")
    if rise.before_given:
        q.put_reading(
            "cup_C", instruments.u("in_cup_C", rise.before_C, run), "temperature in the cup"
        )
    else:
        reading = instruments.u("added_C", rise.before_C, run)
        q.put_reading("added_C", reading, "temperature of what is added")
        _assume_equal(q, instruments.u_assumed_equal_K, "cup_C", "added_C", "the cup's content")
    q.put_form("rise", (1.0, "extreme_C"), (-1.0, "cup_C"))
    install_loss(q, prepared, rise)


def _install_pouring(q: Quantities, prepared: PreparedRun, rise: Rise) -> None:
    """What a warm liquid loses between its reading and its pouring."""
    run, added = prepared.run, prepared.added
    if added is None or added.composition is None:
        return
    wait = pouring_input(run, room_of(run, rise.before_C))
    if wait is not None:
        q.put(wait)
        q.add_to_form("added_C", 1.0, wait.name)


def _assume_equal(q: Quantities, u_K: float, name: str, other: str, what: str) -> None:
    half_width = u_K * 3.0**0.5
    label = f"temperature of {what}: not read, taken equal to the other's ± {half_width:.2g} K"
    q.put(rectangular(f"{name} assumed", 0.0, half_width, source=label))
    q.put_form(name, (1.0, other), (1.0, f"{name} assumed"))
