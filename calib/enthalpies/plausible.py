"""What of a computed run no cup, no salt and no day can have: refused, or said as a remark.

Limits without a source are common practice in school laboratories.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import TYPE_CHECKING

from calib.enthalpies.goal import goal_of
from calib.errors import RowProblem, SubstanceError
from calib.run_model.refusal import RowRefusedError

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.run_model.measured import MeasuredRun
    from calib.runs.model import Run

__all__ = ["far_off", "refuse_later_days", "remarks_on_result", "remarks_on_run"]

ROOM_APART_K = 15.0
SOON_S = 900.0
"""A cup's extreme comes within some minutes; a quarter of an hour is for the slowest salts."""
MOST_ML = 2000.0
MOST_KJ_PER_MOL = 1e4
MOST_J_PER_GK = 5.0
"""No solid holds more than lithium's 3.6 J/(g K) (CRC Handbook, from memory)."""
U_SHARE = 0.5
FAR_U, FAR_SHARE = 4.0, 0.2
"""A single run is told to be far off beyond this many u *and* this share of what is expected."""
SATURATED_U = 2.0


def refuse_later_days(run: Run, today: date | None = None) -> None:
    """Refuse a date after today, with a day's grace for other zones. Raises RowRefusedError."""
    now = today if today is not None else date.today()
    if run.date is None or run.date <= now + timedelta(days=1):
        return
    raise RowRefusedError(
        RowProblem(run.run, "date", "the day of the run has not come yet", run.date.isoformat(),
                   f"a day up to {now.isoformat()}, which is today by this computer's clock",
                   "correct the date, or the computer's clock")
    )  # fmt: skip


def remarks_on_run(measured: MeasuredRun) -> list[str]:
    """What of temperatures, amounts and times cannot well have been meant."""
    return [
        *_undissolved(measured),
        *_temperatures(measured),
        *_reading_time(measured),
        *_fill(measured),
    ]


def _undissolved(measured: MeasuredRun) -> Iterator[str]:
    """More of a salt than the cup's water holds, by the table that plans ask."""
    from calib.substances.solubility import holds_g

    prepared = measured.prepared
    added = prepared.added
    if prepared.process.equation is None and prepared.process.kind != "dilution":
        return
    liquid = prepared.contents.liquid
    final = measured.rise.final_C
    for formula, grams in liquid.solutes_g.items():
        try:
            most = holds_g(formula, liquid.water_g, final)
        except SubstanceError:
            continue
        if grams <= most.value + SATURATED_U * most.u:
            continue
        solid = added is not None and added.species.state == "s"
        why = "dissolved" if solid else "be in solution"
        yield (
            f"not all of {formula} can have {why}: {liquid.water_g:.4g} g of water hold about "
            f"{most.value:.3g} g at {final:.1f} °C, and {grams:.4g} g are in the cup; the result "
            "per mole is then too small: look at the amounts"
        )


def _temperatures(measured: MeasuredRun) -> Iterator[str]:
    run, rise = measured.prepared.run, measured.rise
    kind = measured.prepared.process.kind
    cup = rise.before_C
    if run.room_C is not None and abs(cup - run.room_C) > ROOM_APART_K and kind != "fusion":
        yield (
            f"before mixing the cup stood at {cup:.4g} °C and room_C says {run.room_C:.4g} °C: a "
            f"cup stands near the room; {_hint(cup, run.room_C)}"
        )
    if kind in ("specific heat", "fusion") or run.added_C is None:
        return
    if abs(run.added_C - cup) > ROOM_APART_K:
        yield (
            f"added_C is {run.added_C:.4g} °C and the cup's content {cup:.4g} °C before mixing: "
            f"for a reaction both stand near the room; {_hint(run.added_C, cup)}"
        )


def _hint(*readings_C: float) -> str:
    from calib.run_model.units_typed import celsius_of

    for value in readings_C:
        for unit, meant in celsius_of(value):
            if 10.0 <= meant <= 35.0 and not 10.0 <= value <= 35.0:
                return f"{value:.4g} {unit} would be {meant:.1f} °C"
    return "is one of them wrong?"


def _reading_time(measured: MeasuredRun) -> Iterator[str]:
    run = measured.prepared.run
    after = run.extreme_after_s
    if after is None or measured.rise.from_curve:
        return
    if after > SOON_S:
        yield (
            f"extreme_after_s is {after:g} s: a cup has its extreme within some minutes after "
            "mixing; is it the time of day, or of the whole log?"
        )
    elif after == 0.0:
        yield "extreme_after_s is 0 s: nothing has its extreme in the moment of mixing"


def _fill(measured: MeasuredRun) -> Iterator[str]:
    fill = measured.prepared.fill_mL
    if fill > MOST_ML:
        yield f"{fill:.4g} mL of liquid: no simple cup holds so much; look at the amounts"


def remarks_on_result(one: RunResult) -> list[str]:
    """What of a run's result cannot be meant, or tells nothing."""
    return [*_absurd(one), *_uncertain(one)]


def _absurd(one: RunResult) -> Iterator[str]:
    value = one.result.value
    if one.molar is not None and abs(value) > MOST_KJ_PER_MOL:
        yield (
            f"{value:.3g} kJ/mol: nothing done in a cup gives so much per mole; look at the amounts"
        )
    elif one.unit == "J/(g K)" and value > MOST_J_PER_GK:
        yield f"{value:.3g} J/(g K): no solid holds so much; look at masses and temperatures"


def _uncertain(one: RunResult) -> Iterator[str]:
    result = one.result
    if result.u > U_SHARE * abs(result.value):
        top = max(result.all_lines, key=lambda line: line.share_percent, default=None)
        most = f", most of it from the {top.source}" if top is not None else ""
        yield (
            f"the result is uncertain by {100 * result.u / max(abs(result.value), 1e-300):.0f} % "
            f"of itself{most}: it tells nothing"
        )


def far_off(one: RunResult) -> str:
    """A sentence where a run by itself lies far off what is expected of it, else nothing."""
    goal = goal_of(one)
    if goal is None:
        return ""
    off = one.result.value - goal.value
    u = (one.result.u**2 + goal.u**2) ** 0.5
    if abs(off) <= max(FAR_U * u, FAR_SHARE * abs(goal.value)):
        return ""
    many = f", {abs(off) / u:.0f} times its u" if u > 0 else ""
    return (
        f"far off {goal.name}: {one.result.value:.4g} against {goal.value:.4g} {one.unit}{many}; "
        "look at the row's readings"
    )
