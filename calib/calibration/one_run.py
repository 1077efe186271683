"""One calibration run from its row to a constant and a loss conductance, each with its budget."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib import balance
from calib.calibration.ways import Way, constant_of_run, way_of
from calib.run_model.measured import MeasuredRun, measure
from calib.run_model.prepared import PreparedRun, prepare
from calib.run_model.rise import Loss, Rise, find_rise
from calib.uncertainty import Input, Propagated, propagate
from fitting.cup.knowledge import BENCH

if TYPE_CHECKING:
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run

__all__ = ["CONSTANT_GUESS_J_PER_K", "CalibrationRun", "conductance_of_run", "run_calibration"]

CONSTANT_GUESS_J_PER_K = BENCH.constant_J_per_K.value
RATIO_STEP = 0.004
"""Change of the ratio of heat capacities from which a curve is corrected once more."""


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationRun:
    """What one run says. ``constant`` is None for a cooling log."""

    run: Run
    way: Way
    constant: Propagated | None
    measured: MeasuredRun
    warnings: tuple[str, ...]

    @property
    def apparatus(self) -> str:
        """The cup."""
        return self.run.apparatus or ""

    @property
    def rise(self) -> Rise:
        """The corrected rise."""
        return self.measured.rise

    @property
    def prepared(self) -> PreparedRun:
        """Masses, contents and process."""
        return self.measured.prepared


def run_calibration(
    run: Run,
    instruments: Instruments,
    *,
    C_app: float | None = None,
    loss: Loss | None = None,
    method: str | None = None,
) -> CalibrationRun:
    """Constant of the cup from one run.

    ``C_app`` is a first idea of the constant, for the ratio of heat capacities that a curve's
    correction needs; the run's own constant replaces it where that matters. ``loss`` is the cup's
    known conductance, for extreme readings. Raises RowRefusedError.
    """
    prepared = prepare(run, instruments)
    way = way_of(prepared)
    guess = C_app if C_app is not None else CONSTANT_GUESS_J_PER_K
    if way == "cooling":
        found = measure(prepared, find_rise(prepared, C_app=guess))
        return CalibrationRun(run, way, None, found, (*prepared.warnings, *found.rise.warnings))
    measured = measure(prepared, find_rise(prepared, C_app=guess, loss=loss, method=method))
    constant, remarks = constant_of_run(measured, way)
    if C_app is None and measured.rise.from_curve and _matters(measured, guess, constant.value):
        better = min(max(constant.value, 0.0), 500.0)
        measured = measure(prepared, find_rise(prepared, C_app=better, loss=loss, method=method))
        constant, remarks = constant_of_run(measured, way)
    warnings = (*prepared.warnings, *measured.rise.warnings, *remarks, *_no_room(measured))
    return CalibrationRun(run, way, constant, measured, tuple(dict.fromkeys(warnings)))


def _matters(measured: MeasuredRun, guess: float, found: float) -> bool:
    prepared, rise = measured.prepared, measured.rise
    before = prepared.heat_capacity_before(rise.before_C)
    after = prepared.heat_capacity_after(rise.before_C, rise.final_C)
    found = min(max(found, 0.0), 500.0)
    change = balance.capacity_ratio(before, after, found) - balance.capacity_ratio(
        before, after, guess
    )
    return abs(change) > RATIO_STEP


def _no_room(measured: MeasuredRun) -> tuple[str, ...]:
    """Say where the second liquid's temperature was not read, since that decides a constant."""
    run = measured.prepared.run
    if measured.prepared.added is None or run.added_C is not None:
        return ()
    return (
        "added_C was not read: it was taken equal to the cup's, which costs most of the budget",
    )


def conductance_of_run(one: CalibrationRun, C_app: float, u_C_app: float) -> Propagated | None:
    """Loss conductance G = k (C_mix + C_app) of one curve [W/K]; None without a cooling rate."""
    rise = one.rise
    if rise.cooling_rate_per_s is None or not rise.u_cooling_rate_per_s:
        return None
    prepared = one.prepared
    content = prepared.heat_capacity_after(rise.before_C, rise.final_C)
    specific = prepared.contents.specific_heat(rise.before_C, rise.final_C)
    inputs = (
        Input("k", rise.cooling_rate_per_s, rise.u_cooling_rate_per_s, source="cooling rate"),
        Input("C_mix", content, content * specific.u / specific.value, prepared.contents.key,
              "heat capacity of the content"),
        Input("C_app", C_app, u_C_app, f"constant of {one.apparatus}", "the cup's constant"),
    )  # fmt: skip
    return propagate(lambda x: balance.conductance_W_per_K(x["k"], x["C_mix"], x["C_app"]), inputs)
