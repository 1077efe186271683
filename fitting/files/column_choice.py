"""Which columns are the time and the temperature: by name, by unit, by what they hold."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

import numpy as np

from fitting.curve import FloatArray
from fitting.errors import CurveError
from fitting.files.cell_values import Numbers, is_missing, kind_of, parse_numbers, tidy
from fitting.files.clock_times import is_date
from fitting.files.text_tables import Column, TextTable
from fitting.files.units import plain

_SAMPLE_CELLS = 40
_LEAST_POINTS = 3


@dataclass(frozen=True)
class Field:
    """A column with what its cells hold: ``number``, ``clock``, ``date``, ``text`` or ``empty``."""

    column: Column
    kind: str
    numbers: Numbers | None = None
    count: int = 0

    @property
    def quantity(self) -> str:
        """The quantity that the header names; empty where it is silent."""
        return self.column.meaning.quantity

    @property
    def title(self) -> str:
        """The column's name for people."""
        return self.column.title


@dataclass(frozen=True)
class Pair:
    """The columns of one run; ``rows`` marks its rows where the runs stand one below the other."""

    time: Field
    temperature: Field
    label: str = ""
    date: Field | None = None
    rows: np.ndarray[tuple[int], np.dtype[np.bool_]] | None = None

    @property
    def title(self) -> str:
        """The run's name for people."""
        columns = f"{self.time.title} and {self.temperature.title}"
        return f"'{self.label}' ({columns})" if self.label else columns


def fields_of(table: TextTable) -> list[Field]:
    """Look at the cells of every column."""
    return [_field(column) for column in table.columns]


def choose(
    table: TextTable,
    fields: list[Field],
    time_column: str | int | None,
    temperature_column: str | int | None,
    run: str | int | None,
) -> tuple[Pair, tuple[str, ...]]:
    """The pair of columns to use, and a sentence for each thing that was guessed about it.

    Raises:
        CurveError: no such column or run, no column of time, only one column of numbers.
    """
    time = _named(table, fields, time_column, "time") if time_column is not None else None
    temperature = None
    if temperature_column is not None:
        temperature = _named(table, fields, temperature_column, "temperature")
    notes: list[str] = []
    times = [time] if time else _times(fields, temperature, notes)
    temperatures = [temperature] if temperature else _temperatures(fields, times, notes)
    _check_found(table, fields, times, temperatures)
    pairs = [_paired(fields, times, hot) for hot in temperatures]
    stacked = _stacked(fields, pairs)
    if stacked and (run is None or _match(pairs, run) is None or len(pairs) == 1):
        return _pick(table, stacked, run, notes)
    return _pick(table, pairs, run, notes)


def _field(column: Column) -> Field:
    if column.numbers is not None:
        return Field(column, "number", column.numbers, int(column.numbers.values.size))
    filled = [cell for cell in map(tidy, column.cells) if not is_missing(cell)]
    if not filled:
        return Field(column, "empty")
    sample = filled[:: max(1, len(filled) // _SAMPLE_CELLS)]
    kinds = [kind_of(cell) for cell in sample]
    if kinds.count("c") * 2 >= len(sample):
        kind = "date" if all(is_date(c) for c in sample) else "clock"
        return Field(column, kind, None, len(filled))
    if kinds.count("n") * 2 < len(sample):
        return Field(column, "text", None, len(filled))
    numbers = parse_numbers(column.cells)
    count = len(filled) if numbers.fault else int(np.isfinite(numbers.values).sum())
    return Field(column, "number", numbers, count)


def _named(table: TextTable, fields: list[Field], wanted: str | int, quantity: str) -> Field:
    """The column that a user named, by name or by number."""
    text = str(wanted).strip()
    exact = [f for f in fields if f.column.meaning.name == text]
    loose = [f for f in fields if _loose(f.column.meaning.name) == _loose(text)]
    found = exact or loose
    if not found and text.isdecimal():
        found = [f for f in fields if f.column.number == int(text)]
    existing = ", ".join(f.title for f in fields) or "none"
    if not found:
        names = {_loose(f.column.meaning.name): f for f in fields}
        close = get_close_matches(_loose(text), names, n=1, cutoff=0.5)
        hint = f": did you mean {names[close[0]].title}?" if close else ": name one of these"
        raise CurveError(
            f"{table.name}: there is no {quantity} column '{text}'; the file has {existing}{hint}"
        )
    if len(found) > 1:
        numbers = " and ".join(str(f.column.number) for f in found)
        raise CurveError(
            f"{table.name}: more than one column is named '{text}' (columns {numbers}); expected "
            f"one: give its number, {quantity}_column={found[0].column.number}"
        )
    allowed = ("number", "clock") if quantity == "time" else ("number",)
    if found[0].kind not in allowed:
        raise CurveError(
            f"{table.name}, {found[0].title}: the column holds {_held(found[0])}; expected numbers "
            f"for the {quantity}; the file has {existing}: name another column"
        )
    return found[0]


def _held(field: Field) -> str:
    return {"empty": "nothing", "date": "dates only", "clock": "clock times"}.get(
        field.kind, "text"
    )


def _loose(name: str) -> str:
    return "".join(c for c in plain(name) if c.isalnum())


def _times(fields: list[Field], temperature: Field | None, notes: list[str]) -> list[Field]:
    clocks = [f for f in fields if f.kind == "clock"]
    named = [f for f in fields if f.kind == "number" and f.quantity == "time"]
    found = sorted(named + clocks, key=lambda f: f.column.number)
    if found:
        return found
    silent = [f for f in fields if f.kind == "number" and not f.quantity and f is not temperature]
    rising = [f for f in silent if _is_rising(f) and not f.column.meaning.probe]
    if len(rising) > 1 and len(silent) > 2 and _counts(rising[0]) and not _same_step(rising):
        notes.append(f"{rising[0].title} taken as the readings' numbers, not as a time")
        rising = rising[1:]
    if not rising:
        return []
    notes.append(f"{rising[0].title} taken as the time: no column says so, and its numbers rise")
    return rising[:1]


def _same_step(rising: list[Field]) -> bool:
    """Whether the second column does not rise by equal steps: then it is no clock."""
    steps = np.diff(_finite(rising[1]))
    return bool(np.ptp(steps) > 0.02 * abs(float(np.median(steps))))


def _finite(field: Field) -> FloatArray:
    values = field.numbers.values if field.numbers else np.empty(0)
    return values[np.isfinite(values)]


def _is_rising(field: Field) -> bool:
    values = _finite(field)
    steps = np.diff(values)
    return values.size > 1 and bool((steps >= 0).all()) and bool(values[-1] > values[0])


def _counts(field: Field) -> bool:
    values = _finite(field)
    return bool((np.diff(values) == 1).all()) and values[0] in (0, 1)


def _temperatures(fields: list[Field], times: list[Field], notes: list[str]) -> list[Field]:
    numbers = [f for f in fields if f.kind == "number" and f not in times]
    named = [f for f in numbers if f.quantity == "temperature"]
    if named:
        return [f for f in named if not f.column.meaning.room] or named
    silent = [f for f in numbers if not f.quantity]
    if len(times) == 1 and any(f.column.number > times[0].column.number for f in silent):
        silent = [f for f in silent if f.column.number > times[0].column.number]
    chosen = [f for f in silent if f.column.meaning.probe] or silent
    if chosen:
        notes.append(f"{chosen[0].title} taken as the temperature: no column says so")
    return chosen


def _check_found(
    table: TextTable, fields: list[Field], times: list[Field], temperatures: list[Field]
) -> None:
    existing = ", ".join(f.title for f in fields)
    if not times:
        unusable = [f for f in fields if f.quantity == "time" and f.count]
        if unusable:
            raise _unusable_time(table, unusable[0])
        numeric = [f for f in fields if f.kind == "number"]
        what = (
            f"only one column of numbers ({numeric[0].title})"
            if len(numeric) == 1
            else ("no column of time")
        )
        raise CurveError(
            f"{table.name}: {what}; expected a column whose name says time, or whose numbers rise "
            f"all the way; the file has {existing}: name the time with time_column"
        )
    if not temperatures:
        raise CurveError(
            f"{table.name}: only one column of numbers is left for time and temperature "
            f"({times[0].title} is the time); expected a column of temperatures; the file has "
            f"{existing}: name the temperature with temperature_column"
        )


def _unusable_time(table: TextTable, field: Field) -> CurveError:
    index, cell = next((i, c) for i, c in enumerate(map(tidy, field.column.cells)) if c)
    return CurveError(
        f"{table.name}, line {table.lines[index]}, {field.title}: the column holds "
        f"{_held(field)}, such as '{cell[:40]}'; expected elapsed times in numbers, or clock times "
        "such as 10:15:00: export the times so, or name another column with time_column"
    )


def _paired(fields: list[Field], times: list[Field], hot: Field) -> Pair:
    """The time that belongs to a temperature: of the same run, else the nearest to its left."""
    label, place = hot.column.meaning.run, hot.column.number
    own = [t for t in times if t.column.meaning.run == label]
    left = [t for t in own or times if t.column.number < place] or (own or times)[:1]
    nearest = left[-1].column.number
    between = {f.column.number for f in fields if f.quantity == "temperature"}
    block = [t for t in left if not between & set(range(t.column.number, nearest))]
    block.sort(key=lambda t: (t.kind == "clock", not t.column.meaning.unit, -t.column.number))
    time = block[0]
    dates = [f for f in fields if f.kind == "date"]
    date = dates[0] if dates and time.kind == "clock" else None
    return Pair(time, hot, label, date)


def _stacked(fields: list[Field], pairs: list[Pair]) -> list[Pair]:
    """Runs that stand one below the other, told apart by a column that names the run."""
    keys = [f for f in fields if f.quantity == "run" and f.kind in ("number", "text")]
    if not keys or not pairs:
        return []
    labels = _labels(keys[0])
    distinct = list(dict.fromkeys(label for label in labels if label))
    if not 1 < len(distinct) <= len(labels) / _LEAST_POINTS:
        return []
    array = np.array(labels)
    key = keys[0].column.meaning.name
    return [replace(pairs[0], label=f"{key} {name}", rows=array == name) for name in distinct]


def _labels(field: Field) -> list[str]:
    if field.column.numbers is not None:
        return [f"{value:g}" for value in field.column.numbers.values]
    return [tidy(cell) for cell in field.column.cells]


def _match(pairs: Sequence[Pair], run: str | int) -> Pair | None:
    text = _loose(str(run))
    for pair in pairs:
        names = (pair.label, pair.temperature.column.meaning.name, pair.label.split(" ")[-1])
        if text and text in {_loose(name) for name in names if name}:
            return pair
    ordinal = not any(c.isdigit() for pair in pairs for c in pair.label)
    if text.isdecimal() and ordinal and 1 <= int(text) <= len(pairs):
        return pairs[int(text) - 1]
    worded = [p for p in pairs if text in _words_of(p.temperature.column.meaning.name)]
    return worded[0] if text and len(worded) == 1 else None


def _words_of(name: str) -> list[str]:
    """Words of a column's name in front of its unit."""
    return re.findall(r"[^\W_]+", plain(re.split(r"[(\[/]", name)[0]))


def _pick(
    table: TextTable, pairs: list[Pair], run: str | int | None, notes: list[str]
) -> tuple[Pair, tuple[str, ...]]:
    if run is not None:
        chosen = _match(pairs, run)
        if chosen is None:
            there = ", ".join(pair.title for pair in pairs)
            raise CurveError(
                f"{table.name}: there is no run '{run}'; the file has {there}: name one of these, "
                "or name the columns"
            )
    else:
        chosen = next((p for p in pairs if _complete(p)), pairs[0])
    others = [pair.title for pair in pairs if pair is not chosen]
    if others and run is None:
        listed = "; ".join(others[:8]) + (
            f"; and {len(others) - 8} more" if len(others) > 8 else ""
        )
        notes.append(f"first complete run of {len(pairs)} used; not used: {listed}")
    return chosen, tuple(notes)


def _complete(pair: Pair) -> bool:
    if pair.temperature.numbers is None:
        return False
    good = np.isfinite(pair.temperature.numbers.values)
    if pair.time.numbers is not None:
        good &= np.isfinite(pair.time.numbers.values)
    if pair.rows is not None:
        good &= pair.rows
    return int(good.sum()) >= _LEAST_POINTS
