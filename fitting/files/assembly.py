"""From the two chosen columns to a curve: units, blanks, repeated times, order, plausibility."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

import numpy as np
import numpy.typing as npt

from fitting.curve import Curve, FloatArray, LeftOut, reading_step
from fitting.errors import CurveError
from fitting.files.cell_values import kind_of, tidy
from fitting.files.checks import (
    COLDEST_C,
    HOTTEST_C,
    check_enough,
    check_no_thousands,
    check_not_milliseconds,
    check_order,
    check_plausible,
    check_time_range,
    refuse_cell,
)
from fitting.files.clock_times import parse_clock
from fitting.files.column_choice import Field, Pair
from fitting.files.text_tables import TextTable
from fitting.files.units import (
    CLOCK_PARTS,
    SECONDS,
    step_in_kelvin,
    temperature_unit,
    time_unit,
    to_celsius,
)

_EPOCH_S = (3e8, 6e9)  # seconds since 1970 that stand for the years 1979 to 2160
_SERIAL_DAYS = (20_000.0, 80_000.0)  # spreadsheet day numbers of the years 1954 to 2119
_GAP = 5.0  # in median steps


_DELIMITERS = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", " ": "blanks"}


@dataclass
class _Times:
    """The column of time as numbers in ``unit``, one for each row of the table."""

    values: FloatArray
    bad: tuple[int, ...]
    unit: str
    clock: bool = False
    from_first: bool = False  # whether time_s counts from the first reading in use
    started: datetime | None = None
    first: float = 0.0


def assemble(
    table: TextTable,
    pair: Pair,
    digest: str,
    notes: Sequence[str],
    *,
    time_unit: str,
    temperature_unit: str,
) -> Curve:
    """Build the curve of one pair of columns.

    Args:
        table: the file's columns.
        pair: the columns to use.
        digest: SHA-256 of the file.
        notes: what was guessed when the columns were chosen.
        time_unit: unit asked for, or empty.
        temperature_unit: unit asked for, or empty.

    Raises:
        CurveError: see `fitting.files.curve_files.read_curve`.
    """
    guesses: list[str] = [*table.notes, *notes]
    if table.delimiter != "," or _decimal(pair) != ".":
        mark = "comma" if _decimal(pair) == "," else "point"
        guesses.insert(0, f"cells separated by {_DELIMITERS[table.delimiter]}, decimal {mark}")
    times = _times(table, pair, time_unit, guesses)
    temperature, bad = _temperatures(table, pair)
    rows = _usable(table, pair, times, temperature, bad, guesses)
    whole = rows.size == temperature.size  # then millions of readings need no second copy
    time = times.values if whole else times.values[rows]
    raw = temperature if whole else temperature[rows]
    check_enough(table, pair, time.size)
    check_time_range(table, pair, time, rows)
    check_order(table, pair, time, rows)
    unit = _temperature_unit(pair, raw, temperature_unit, guesses)
    inside = check_plausible(table, pair, raw, unit, rows, asked=bool(temperature_unit))
    seconds, started = _on_the_clock(time, times, guesses)
    left_out: tuple[LeftOut, ...] = ()
    if not inside.all():
        left_out = _outside(table, seconds, to_celsius(raw, unit), rows, ~inside)
        word = "reading" if len(left_out) == 1 else "readings"
        guesses.append(
            f"{len(left_out)} {word} that no cup of liquid can have set aside (first: "
            f"{left_out[0].temperature_C:.6g} °C, {left_out[0].why})"
        )
        seconds, raw, rows = seconds[inside], raw[inside], rows[inside]
    step = step_in_kelvin(reading_step(raw), unit)
    seconds, celsius = _averaged(seconds, to_celsius(raw, unit), table, rows, guesses)
    check_enough(table, pair, seconds.size, distinct=True)
    _note_gaps(seconds, guesses)
    use = (
        f"columns in use: time from {pair.time.title} "
        f"({'clock times' if times.clock else times.unit}), "
        f"temperature from {pair.temperature.title} ({unit})"
    )
    return Curve.from_arrays(
        seconds,
        celsius,
        resolution_K=step,
        source=table.name,
        guesses=(use, *guesses),
        digest=digest,
        started=started,
        left_out=left_out,
    )


def _outside(
    table: TextTable,
    seconds: FloatArray,
    celsius: FloatArray,
    rows: npt.NDArray[np.intp],
    outside: npt.NDArray[np.bool_],
) -> tuple[LeftOut, ...]:
    """The readings that no cup of liquid can have, with their lines."""
    return tuple(
        LeftOut(
            float(seconds[i]),
            float(celsius[i]),
            f"line {table.lines[rows[i]]}: no cup of liquid is outside {COLDEST_C:.0f} to "
            f"{HOTTEST_C:.0f} °C".replace("-", "−"),
        )
        for i in np.flatnonzero(outside).tolist()
    )


def _decimal(pair: Pair) -> str:
    found = {f.numbers.decimal for f in (pair.time, pair.temperature) if f.numbers}
    return "," if "," in found else "."


def _times(table: TextTable, pair: Pair, asked: str, guesses: list[str]) -> _Times:
    field = pair.time
    if field.kind == "clock":
        said = asked or field.column.meaning.unit
        dates = pair.date.column.cells if pair.date else None
        clock = parse_clock(field.column.cells, dates, said if said in CLOCK_PARTS else "")
        guesses.extend(clock.notes)
        good = clock.seconds[np.isfinite(clock.seconds)]
        first = float(good[0]) if good.size else 0.0
        return _Times(clock.seconds, clock.bad, "s", True, not clock.elapsed, clock.started, first)
    numbers = field.numbers
    if numbers is None or numbers.fault:
        raise _fault(table, field)
    written = field.column.meaning.unit or time_unit(numbers.unit)
    said = asked or written
    if said in CLOCK_PARTS or not said or not time_unit(said):
        check_not_milliseconds(table, field, numbers.values)
        said = _silent_time_unit(numbers.values, field, guesses)
    elif asked and written and asked != written:
        guesses.append(f"time read in {asked} as asked; the file says {written}")
    if said == "ms" and numbers.decimal == ",":
        check_no_thousands(table, field)
    return _Times(numbers.values, numbers.bad, said)


def _silent_time_unit(values: FloatArray, field: Field, guesses: list[str]) -> str:
    good = values[np.isfinite(values)]
    span = float(good.max() - good.min()) if good.size else 0.0
    serial = good.size and _SERIAL_DAYS[0] < good.min() and good.max() < _SERIAL_DAYS[1]
    if 0 < span < 2 and (serial or (span < 0.5 and good.size > 20 and 0 <= good.min() < 1)):
        guesses.append(
            f"time unit of {field.title} is not given: taken as days (a spreadsheet's day "
            f"numbers), so that the readings span {span * 86_400:.4g} s; time_unit changes it"
        )
        return "d"
    guesses.append(
        f"time unit of {field.title} is not given: taken as s, so that the readings span "
        f"{span:.6g} s; time_unit changes it"
    )
    return "s"


def _temperatures(table: TextTable, pair: Pair) -> tuple[FloatArray, tuple[int, ...]]:
    numbers = pair.temperature.numbers
    if numbers is None or numbers.fault:
        raise _fault(table, pair.temperature)
    return numbers.values, numbers.bad


def _fault(table: TextTable, field: Field) -> CurveError:
    numbers = field.numbers
    if numbers is None:
        return CurveError(f"{table.name}, {field.title}: expected a column of numbers")
    return CurveError(
        f"{table.name}, line {table.lines[numbers.fault_at]}, {field.title}: {numbers.fault}"
    )


def _usable(
    table: TextTable,
    pair: Pair,
    times: _Times,
    temperature: FloatArray,
    bad: tuple[int, ...],
    guesses: list[str],
) -> npt.NDArray[np.intp]:
    """Indices of the rows that hold both numbers; what is left out is counted or refused."""
    mine = np.ones(temperature.size, dtype=bool) if pair.rows is None else pair.rows
    has_t, has_T = mine & ~np.isnan(times.values), mine & ~np.isnan(temperature)
    rows = np.flatnonzero(has_t & has_T)
    last = int(rows[-1]) if rows.size else -1
    remarks: list[int] = []
    for index in sorted({*times.bad, *bad}):
        if not mine[index]:
            continue
        no_values = not any(kind_of(tidy(c.cells[index])) in "nc" for c in table.columns)
        if no_values or (index > last >= 0 and index in times.bad):
            remarks.append(index)
        else:
            raise refuse_cell(table, pair.time if index in times.bad else pair.temperature, index)
    _note_remarks(table, remarks, guesses)
    set_aside = np.zeros(temperature.size, dtype=bool)
    set_aside[remarks] = True
    _count_missing(table, pair, "temperature", has_t & ~has_T & ~set_aside, guesses)
    _count_missing(table, pair, "time", has_T & ~has_t & ~set_aside, guesses)
    return rows


def _note_remarks(table: TextTable, remarks: list[int], guesses: list[str]) -> None:
    for index in remarks[:5]:
        words = " ".join(tidy(c.cells[index]) for c in table.columns).strip()
        shown = words if len(words) <= 60 else words[:57] + "..."
        guesses.append(f"line {table.lines[index]} is a remark, not a reading: '{shown}'")
    if len(remarks) > 5:
        guesses.append(f"{len(remarks) - 5} more lines are remarks, not readings")


def _count_missing(
    table: TextTable,
    pair: Pair,
    what: str,
    missing: npt.NDArray[np.bool_],
    guesses: list[str],
) -> None:
    rows = np.flatnonzero(missing)
    if not rows.size:
        return
    numbers = (pair.temperature if what == "temperature" else pair.time).numbers
    words = ", ".join(f"'{word}'" for word in numbers.missing_words[:4]) if numbers else ""
    written = f"; blank or {words}" if words else ""
    rows_word = "row" if rows.size == 1 else "rows"
    guesses.append(
        f"{rows.size} {rows_word} without a {what} left out "
        f"(first: line {table.lines[rows[0]]}{written})"
    )


def _temperature_unit(pair: Pair, raw: FloatArray, asked: str, guesses: list[str]) -> str:
    field = pair.temperature
    in_cells = temperature_unit(field.numbers.unit) if field.numbers else ""
    written = temperature_unit(field.column.meaning.unit) or in_cells
    if asked and written and asked != written:
        guesses.append(f"temperature read in {asked} as asked; the file says {written}")
    if asked or written:
        return asked or written
    unit, why = _silent_temperature_unit(raw)
    guesses.append(
        f"temperature unit of {field.title} is not given: taken as {unit}, because {why}; "
        "temperature_unit changes it"
    )
    return unit


def _silent_temperature_unit(raw: FloatArray) -> tuple[str, str]:
    """Unit that the numbers suggest, for a cup of watery liquid, and why."""
    low, high, first = float(raw.min()), float(raw.max()), float(raw[0])
    seen = f"the readings run from {low:.4g} to {high:.4g}"
    if low > 220 and high < 420:
        return "K", seen
    if 105 < high < 230 and low > 20:
        return "°F", f"{seen}, and water boils at 100 °C"
    if 59 <= first <= 86 and low >= first - 2 and high > first + 1:
        return "°F", f"{seen}, and a cup that warms up begins near room temperature"
    return "°C", seen


def _on_the_clock(
    time: FloatArray, times: _Times, guesses: list[str]
) -> tuple[FloatArray, datetime | None]:
    """Seconds, and the moment of zero where it is known."""
    if times.clock:
        if not times.from_first:
            return time, None
        shift = float(time[0]) - times.first
        started = times.started + timedelta(seconds=shift) if times.started else None
        return time - time[0], started
    seconds = time * SECONDS[times.unit]
    first = float(seconds[0])
    if times.unit in ("s", "ms") and _EPOCH_S[0] < first < _EPOCH_S[1]:
        began = datetime.fromtimestamp(first, timezone.utc)  # noqa: UP017
        guesses.append(f"times are seconds since 1970: counted from the first, {began.isoformat()}")
        return seconds - first, began
    if times.unit == "d" and _SERIAL_DAYS[0] < time[0] < _SERIAL_DAYS[1]:
        day = datetime(1899, 12, 30) + timedelta(days=float(time[0]))
        began = (day + timedelta(milliseconds=500)).replace(microsecond=0)
        guesses.append(f"times are a spreadsheet's days: counted from the first, {began}")
        return np.round((time - time[0]) * 86_400.0, 4), began
    return seconds, None


def _averaged(
    seconds: FloatArray,
    celsius: FloatArray,
    table: TextTable,
    rows: npt.NDArray[np.intp],
    guesses: list[str],
) -> tuple[FloatArray, FloatArray]:
    """Readings of equal time replaced by their mean."""
    same = np.flatnonzero(np.diff(seconds) == 0)
    if not same.size:
        return seconds, celsius
    distinct, group, count = np.unique(seconds, return_inverse=True, return_counts=True)
    first, second = (table.lines[rows[same[0] + i]] for i in (0, 1))
    shared = int(count[count > 1].sum())
    guesses.append(
        f"{shared} readings share their time with another (first: lines {first} and "
        f"{second}): those of equal time were averaged"
    )
    return distinct, np.bincount(group, weights=celsius) / count


def _note_gaps(seconds: FloatArray, guesses: list[str]) -> None:
    steps = np.diff(seconds)
    if steps.size < 8:
        return
    wide = np.flatnonzero(steps > _GAP * float(np.median(steps)))
    for index in wide[:3]:
        guesses.append(f"no readings between {seconds[index]:g} s and {seconds[index + 1]:g} s")
    if wide.size > 3:
        guesses.append(f"{wide.size - 3} more gaps without readings")
