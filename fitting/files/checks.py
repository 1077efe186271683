"""What a pair of columns must fulfil to be a curve; each refusal names the line and the remedy."""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

from fitting.curve import FloatArray
from fitting.errors import CurveError
from fitting.files.cell_values import tidy
from fitting.files.column_choice import Field, Pair
from fitting.files.text_tables import TextTable
from fitting.files.units import to_celsius

LEAST_POINTS = 3
COLDEST_C, HOTTEST_C = -80.0, 200.0  # common practice, no source: no cup of liquid is outside
_LIKELY_C = (-30.0, 120.0)
_LARGEST_TIME = 1e14
_DAY_S, _COARSE_STEP_S, _A_SECOND_IN_MS = 86_400.0, 100.0, 1000.0


def refuse_cell(table: TextTable, field: Field, index: int) -> CurveError:
    """The refusal of a cell with text where a number belongs."""
    cell = tidy(field.column.cells[index])
    shown = cell if len(cell) <= 40 else cell[:37] + "..."
    expected = "a clock time" if field.kind == "clock" else "a number"
    return CurveError(
        f"{table.name}, line {table.lines[index]}, {field.title}: '{shown}' is no "
        f"{expected.removeprefix('a ')}; expected {expected} or a blank cell: correct the cell, "
        "or blank it to leave the reading out"
    )


def check_enough(table: TextTable, pair: Pair, count: int, *, distinct: bool = False) -> None:
    """Refuse fewer than three readings."""
    if count >= LEAST_POINTS:
        return
    readings = f"{count} reading" if count == 1 else f"{count} readings"
    if distinct:
        raise CurveError(
            f"{table.name}, {pair.time.title}: the time stands still: only {count} different "
            f"{'time' if count == 1 else 'times'}; expected at least {LEAST_POINTS}: name the "
            "column of time with time_column, or export times with seconds"
        )
    raise CurveError(
        f"{table.name}: {readings} with both a time ({pair.time.title}) and a temperature "
        f"({pair.temperature.title}); expected at least {LEAST_POINTS}: log for longer, or name "
        "other columns"
    )


def check_time_range(
    table: TextTable, pair: Pair, time: FloatArray, rows: npt.NDArray[np.intp]
) -> None:
    """Refuse times that are no times."""
    absurd = np.flatnonzero(~(np.abs(time) < _LARGEST_TIME))
    if absurd.size:
        index = int(absurd[0])
        raise CurveError(
            f"{table.name}, line {table.lines[rows[index]]}, {pair.time.title}: "
            f"'{tidy(pair.time.column.cells[rows[index]])}' cannot be a time; expected elapsed or "
            "clock times: correct the cell, or name the column of time with time_column"
        )


def check_not_milliseconds(table: TextTable, field: Field, values: FloatArray) -> None:
    """Refuse whole numbers without a unit that are likelier milliseconds than seconds.

    As seconds they would be minutes apart and run over a day, or stand exactly 1000 apart. Both may
    be meant, so nothing is changed in silence: the unit is asked for.
    """
    good = values[np.isfinite(values)]
    if good.size < LEAST_POINTS or not np.all(good == np.round(good)):
        return
    step, span = float(np.median(np.diff(good))), float(np.ptp(good))
    if step < _COARSE_STEP_S or (span < _DAY_S and step != _A_SECOND_IN_MS):
        return
    raise CurveError(
        f"{table.name}, {field.title}: the unit of time is not given; taken as seconds the "
        f"readings would be {step:g} s apart and span {span / 3600:.3g} hours, taken as "
        f"milliseconds {step / 1000:g} s and {span / 1000:.6g} s; name the column "
        "time_ms or time_s, or say it with --time-unit (time_unit in Python)"
    )


def check_no_thousands(table: TextTable, field: Field) -> None:
    """Refuse milliseconds such as '1,000': a thousandth of a millisecond is nobody's step."""
    marked = [i for i, cell in enumerate(field.column.cells) if "," in cell]
    if not marked or not all(_THOUSANDS.fullmatch(tidy(field.column.cells[i])) for i in marked):
        return
    first = marked[0]
    raise CurveError(
        f"{table.name}, line {table.lines[first]}, {field.title}: "
        f"'{tidy(field.column.cells[first])}' ms is either 1 or 1000 times as much; this looks "
        "like a thousands mark, which is never assumed: export without thousands marks"
    )


_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:,\d{3})")


def check_order(table: TextTable, pair: Pair, time: FloatArray, rows: npt.NDArray[np.intp]) -> None:
    """Refuse a time that runs backwards; a clock that starts again is named as such."""
    steps = np.diff(time)
    back = np.flatnonzero(steps < 0)
    if not back.size:
        return
    place = int(back[0])
    earlier, later = (tidy(pair.time.column.cells[int(rows[i])]) for i in (place, place + 1))
    where = f"{table.name}, line {table.lines[rows[place + 1]]}, {pair.time.title}"
    before = f"'{earlier}' in line {table.lines[rows[place]]}"
    if (steps <= 0).all():
        raise CurveError(
            f"{where}: time runs backwards from the first line to the last ('{later}' after "
            f"{before}); expected the oldest reading first: reverse the order of the lines"
        )
    if re.fullmatch(r"[+-]?\d{1,3}[.,]000", later) and time[place] > 900:
        raise CurveError(
            f"{where}: time falls to '{later}' after {before}; expected rising times: this looks "
            "like a thousands mark, which is never assumed: export without thousands marks"
        )
    if time[place + 1] <= time[0] + 0.05 * (time[place] - time[0]):
        raise CurveError(
            f"{where}: the clock starts again: '{later}' after {before}; expected rising times: "
            "the logger was reset or a second run was added: keep one run in a file"
        )
    raise CurveError(
        f"{where}: time runs backwards: '{later}' after {before}; expected rising times: correct "
        "the line, or sort the readings by time"
    )


def check_plausible(
    table: TextTable,
    pair: Pair,
    raw: FloatArray,
    unit: str,
    rows: npt.NDArray[np.intp],
    *,
    asked: bool,
) -> npt.NDArray[np.bool_]:
    """Which readings are temperatures that a cup of liquid can have, shape (n,).

    A few others among many are to be set aside: a sensor that lost contact for a moment.

    Raises:
        CurveError: more than a few are outside; with the unit that they are likely in.
    """
    ends = to_celsius(np.array([raw.min(), raw.max()]), unit)
    if ends.min() >= COLDEST_C and ends.max() <= HOTTEST_C:
        return np.ones(raw.size, dtype=bool)
    safe = np.clip(np.nan_to_num(raw, posinf=1e9, neginf=-1e9), -1e9, 1e9)
    celsius = to_celsius(safe, unit)
    inside = (celsius >= COLDEST_C) & (celsius <= HOTTEST_C)
    outside = np.flatnonzero(~inside)
    if _few(outside.size, raw.size) and np.isfinite(raw[outside]).all():
        return inside
    index = int(outside[0])
    size = "" if unit == "°C" else f" ({celsius[index]:.5g} °C)"
    where = f"{table.name}, line {table.lines[rows[index]]}, {pair.temperature.title}"
    found = f"{raw[index]:.6g} {unit}{size} is outside what a cup of liquid can have"
    expected = f"expected {COLDEST_C:.0f} to {HOTTEST_C:.0f} °C".replace("-", "−")
    raise CurveError(f"{where}: {found}; {expected}: {_remedy(safe, unit, outside.size, asked)}")


def _few(count: int, of: int) -> bool:
    """Whether that many may be set aside: one reading in twenty, or three in a short log."""
    return 20 * count <= of or (count <= 3 and 8 * count <= of)


def _remedy(raw: FloatArray, unit: str, outside: int, asked: bool) -> str:
    if 2 * outside < raw.size:
        verb = "is" if outside == 1 else "are"
        return (
            f"{outside} of {raw.size} readings {verb} outside, as when a sensor loses contact: "
            "blank these cells to leave them out"
        )
    middle = np.array([np.median(raw)])
    low, high = _LIKELY_C
    likely = [
        other
        for other in ("°C", "K", "°F")
        if other != unit and low <= to_celsius(middle, other)[0] <= high
    ]
    if not likely:
        return "no unit of temperature makes sense of it: name the column with temperature_column"
    letter = likely[0].removeprefix("°")
    ask = f"{'give' if not asked else 'rather give'} temperature_unit='{letter}'"
    return f"the numbers look like {likely[0]}: {ask}, or correct the header"
