"""Slips in typing a row, each with the row as it would read without it.

Common practice in school laboratories, no source: a decimal point in the wrong place, kg for g and
L for mL, °F or kelvin under °C, start and extreme exchanged, two columns exchanged, a minus sign
too many, a moment of mixing from another clock, curve or amounts of another bench. The one home of
this search: `calib.enthalpies.tested` asks it which slip would mend a row. (What goes wrong in
*calculating* from right readings is `calib.classwork.marking.slips`.)
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

from calib.run_model.units_typed import KELVIN, from_fahrenheit
from calib.runs.columns import COLUMNS, SOLID_C

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.run_model.found_rise import Rise
    from calib.runs.model import Run

__all__ = ["AMOUNTS", "KINDS", "TEMPERATURES", "TypedSlip", "oddity", "typed_slips"]

KINDS: dict[str, str] = {
    "decimal point": "a decimal point in the wrong place",
    "thousandfold": "a unit a thousand times larger or smaller, such as kg for g",
    "°F": "degrees Fahrenheit where the column has °C",
    "kelvin": "kelvin where the column has °C",
    "start and extreme": "start and extreme reading exchanged",
    "columns exchanged": "two columns exchanged",
    "sign": "a sign too many or too few",
    "moment of mixing": "a moment of mixing that is not the curve's",
    "another bench's curve": "the curves of two benches exchanged",
    "another bench's amounts": "the amounts of another bench",
    "another bench's readings": "the readings of another bench",
}
"""Every kind of slip and what it means."""

AMOUNTS = tuple(
    f"{side}_{unit}" for side in ("in_cup", "added") for unit in ("mL", "g", "mol_per_L")
)
TEMPERATURES = ("in_cup_C", "added_C", "extreme_C")
_ALL_TEMPERATURES = (*TEMPERATURES, "room_C")
FACTORS = (
    (10.0, "decimal point", 0.0),
    (100.0, "decimal point", 1.5),
    (1000.0, "thousandfold", 0.5),
)
_FAHRENHEIT_FROM, _KELVIN_FROM = 45.0, 230.0

USUAL: dict[str, tuple[float, float]] = {
    "mL": (15.0, 300.0), "liquid g": (15.0, 300.0), "solid g": (0.4, 80.0),
    "mol_per_L": (0.08, 6.0), "C": (5.0, 45.0), "extreme_C": (-2.0, 80.0),
}  # fmt: skip
"""What a row of a class usually has (common practice, no source): no limit, a weight for choosing
among slips that would mend a row equally well."""


@dataclass(frozen=True, slots=True)
class TypedSlip:
    """One slip: ``columns`` it is in, ``words`` that name what stands there and what was meant.

    ``run`` is the row without it; ``rise`` is given where the curve need not be corrected again.
    ``cost`` weighs how rarely people make it.
    """

    kind: str
    columns: tuple[str, ...]
    words: str
    run: Run
    rise: Rise | None = None
    cost: float = 0.0


def typed_slips(one: RunResult, others: Sequence[RunResult] = ()) -> Iterator[TypedSlip]:
    """Every slip that this row could have, each by itself; ``others``: the class's other rows."""
    kept = one.measured.rise if one.measured.rise.from_curve else None
    for slip in (
        *_factors(one.run),
        *_units(one),
        *_exchanged(one.run),
        *_signs(one),
        *_curves(one, others),
    ):
        rise = slip.rise
        if rise is None and slip.kind != "moment of mixing":
            rise = kept
        yield replace(slip, rise=rise)


def _put(run: Run, **values: Any) -> Run:
    return replace(run, **values)


def _shown(value: float) -> str:
    return f"{value:.6g}"


def _within(column: str, value: float, run: Run) -> bool:
    low, high = COLUMNS[column].low, COLUMNS[column].high
    if column.endswith("_C") and _is_solid(run, column[:-2]):
        low, high = SOLID_C
    return low <= value <= high and not (COLUMNS[column].low_open and value <= low)


def _is_solid(run: Run, side: str) -> bool:
    text = getattr(run, side, None) or ""
    return str(text).strip().casefold().endswith(("(s)", "(cr)", "(solid)"))


def _factors(run: Run) -> Iterator[TypedSlip]:
    for column in AMOUNTS:
        value = getattr(run, column)
        if value is None:
            continue
        for factor, kind, cost in FACTORS:
            for meant in (value * factor, value / factor):
                if _within(column, meant, run):
                    words = f"{column} {_shown(value)} in place of {_shown(meant)}"
                    yield TypedSlip(
                        kind, (column,), words, _put(run, **{column: meant}), None, cost
                    )


def _units(one: RunResult) -> Iterator[TypedSlip]:
    run, rise = one.run, one.measured.rise
    readings = [c for c in _ALL_TEMPERATURES if getattr(run, c) is not None]
    for kind, turn, least in (
        ("°F", from_fahrenheit, _FAHRENHEIT_FROM),
        ("kelvin", lambda t: t - KELVIN, _KELVIN_FROM),
    ):
        high = [c for c in readings if getattr(run, c) >= least]
        sets: list[tuple[str, ...]] = [(c,) for c in high if c != "room_C" or rise.from_curve]
        if len(high) > 1:
            sets.append(tuple(high))
        for columns in sets:
            meant = {c: round(turn(getattr(run, c)), 3) for c in columns}
            if not all(_within(c, t, run) for c, t in meant.items()):
                continue
            words = ", ".join(
                f"{c} {_shown(getattr(run, c))} in {kind}, which is {t:.4g} °C"
                for c, t in meant.items()
            )
            yield TypedSlip(kind, columns, words, _put(run, **meant))
    if rise.from_curve and rise.before_C > _FAHRENHEIT_FROM:
        scaled = replace(
            rise,
            rise_K=rise.rise_K / 1.8,
            u_own_K=rise.u_own_K / 1.8,
            before_C=from_fahrenheit(rise.before_C),
            final_C=from_fahrenheit(rise.final_C),
            u_wall_K=rise.u_wall_K / 1.8,
        )
        words = (
            f"a curve in °F, whose {rise.before_C:.4g} before mixing is {scaled.before_C:.4g} °C"
        )
        yield TypedSlip("°F", ("curve",), words, run, scaled)


def _exchanged(run: Run) -> Iterator[TypedSlip]:
    columns = [c for c in (*AMOUNTS, *_ALL_TEMPERATURES) if getattr(run, c) is not None]
    for one, other in combinations(columns, 2):
        a, b = getattr(run, one), getattr(run, other)
        if a == b or not (_within(one, b, run) and _within(other, a, run)):
            continue
        alike = one.rpartition("_")[2] == other.rpartition("_")[2]
        both = one.endswith("_C") and other.endswith("_C")
        if both and "extreme_C" in (one, other) and "room_C" not in (one, other):
            kind, cost = "start and extreme", 0.0
        else:
            kind, cost = "columns exchanged", 1.0 if alike or both else 4.0
        words = f"{one} {_shown(a)} and {other} {_shown(b)} exchanged"
        yield TypedSlip(kind, (one, other), words, _put(run, **{one: b, other: a}), None, cost)
    start = [c for c in ("in_cup_C", "added_C") if getattr(run, c) is not None]
    if run.extreme_C is not None and len(start) == 2:
        t1, t2, extreme = run.in_cup_C, run.added_C, run.extreme_C
        meant = {"in_cup_C": extreme, "added_C": extreme, "extreme_C": t1}
        same = abs(float(t1 or 0.0) - float(t2 or 0.0)) < 1.0 and t1 != extreme
        if same and all(_within(c, float(t or 0.0), run) for c, t in meant.items()):
            words = f"start {_shown(float(t1 or 0.0))} and extreme_C {_shown(extreme)} exchanged"
            yield TypedSlip(
                "start and extreme", ("in_cup_C", "added_C", "extreme_C"), words,
                _put(run, **meant), None, 1.0,
            )  # fmt: skip


def _signs(one: RunResult) -> Iterator[TypedSlip]:
    run = one.run
    for column in _ALL_TEMPERATURES:
        value = getattr(run, column)
        if value and _within(column, -value, run) and (column != "room_C" or value < 0):
            words = f"{column} {_shown(value)} in place of {_shown(-value)}"
            yield TypedSlip("sign", (column,), words, _put(run, **{column: -value}), None, 1.0)


def _curves(one: RunResult, others: Sequence[RunResult]) -> Iterator[TypedSlip]:
    run, rise = one.run, one.measured.rise
    if not rise.from_curve:
        return
    if run.mixed_at_s is not None:
        words = f"mixed_at_s {_shown(run.mixed_at_s)}, where the curve itself shows another moment"
        yield TypedSlip("moment of mixing", ("mixed_at_s",), words, _put(run, mixed_at_s=None))
    for other in others:
        found = other.measured.rise
        if found.from_curve and found.digest != rise.digest:
            words = f"the curves of {run.run} and {other.run.run} exchanged"
            yield TypedSlip(
                "another bench's curve", ("curve",), words, _put(run, curve=other.run.curve),
                found, 3.0,
            )  # fmt: skip


def oddity(run: Run, columns: Sequence[str], *, hot: bool = False) -> float:
    """How far numbers of a row lie outside what rows usually have; 0 within. [1]

    Squares of the distance to the usual range, in natural logarithms for amounts and in units
    of 10 K for temperatures. ``hot``: a solid that is hot when it goes in.
    """
    total = 0.0
    for column in columns:
        value = getattr(run, column, None)
        if value is None or isinstance(value, str):
            continue
        if column.endswith("_C"):
            if hot and _is_solid(run, column[:-2]):
                continue
            low, high = USUAL["extreme_C" if column == "extreme_C" else "C"]
            total += (max(low - value, value - high, 0.0) / 10.0) ** 2
            continue
        key = "mol_per_L" if column.endswith("mol_per_L") else column.rpartition("_")[2]
        if key == "g":
            key = "solid g" if _is_solid(run, column[:-2]) else "liquid g"
        if key in USUAL and value > 0:
            low, high = USUAL[key]
            total += max(math.log(low / value), math.log(value / high), 0.0) ** 2
    return total
