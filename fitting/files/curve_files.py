"""Read a logger's text file as a curve, and say what was assumed."""

from __future__ import annotations

import os
from dataclasses import dataclass

from fitting.curve import Curve
from fitting.files.assembly import assemble
from fitting.files.column_choice import Field, choose, fields_of
from fitting.files.text_files import read_text
from fitting.files.text_tables import read_table
from fitting.files.units import asked_temperature_unit, asked_time_unit

__all__ = ["ColumnSummary", "list_columns", "read_curve"]


@dataclass(frozen=True)
class ColumnSummary:
    """One column of a file as a person sees it: its place counted from 1 and what it holds.

    ``quantity`` is ``time``, ``temperature``, ``index``, ``run``, ``other`` or empty (unknown),
    ``holds`` is ``number``, ``clock``, ``date``, ``text`` or ``empty``, ``count`` the number of
    cells that are not blank.
    """

    number: int
    name: str
    quantity: str
    unit: str
    holds: str
    count: int
    run: str = ""

    def __str__(self) -> str:
        unit = f" in {self.unit}" if self.unit else ""
        what = self.quantity or "unknown quantity"
        return f"{self.number} '{self.name}': {what}{unit}, {self.holds}, {self.count} values"


def read_curve(
    path: str | os.PathLike[str],
    *,
    time_column: str | int | None = None,
    temperature_column: str | int | None = None,
    temperature_unit: str | None = None,
    time_unit: str | None = None,
    run: str | int | None = None,
) -> Curve:
    """Read one curve from any delimited text file that a logger exports.

    Delimiter, decimal mark, encoding, header, columns and units are found from the file. The
    columns in use and everything that had to be guessed stand in the curve's ``guesses``.
    Elapsed times keep the file's own zero; clock times count from the first reading in use.

    Args:
        path: the file, at most 80 MB.
        time_column: name of the column of time, or its number counted from 1.
        temperature_column: name of the column of temperature, or its number counted from 1.
        temperature_unit: ``C``, ``F`` or ``K``; goes before what the file says.
        time_unit: ``s``, ``ms``, ``min``, ``h``, ``d``; ``h:min`` or ``min:s`` for two-part times.
        run: label or number of the run, where a file holds several; the first complete one else.

    Raises:
        CurveError: file missing, no text, no table, no such column, run or unit; text where a
            number belongs; time that runs backwards; more than a few temperatures outside −80 to
            200 °C (a few are set aside: ``left_out``); fewer than three readings. The message names
            file, line, what was found, what was expected and what to do.
    """
    asked_T = asked_temperature_unit(temperature_unit) if temperature_unit is not None else ""
    asked_t = asked_time_unit(time_unit) if time_unit is not None else ""
    file = read_text(path)
    table = read_table(file)
    pair, notes = choose(table, fields_of(table), time_column, temperature_column, run)
    return assemble(table, pair, file.digest, notes, time_unit=asked_t, temperature_unit=asked_T)


def list_columns(path: str | os.PathLike[str]) -> tuple[ColumnSummary, ...]:
    """The columns that a file holds, for a person who has to name one.

    Raises:
        CurveError: the file is missing, no text, or holds no table.
    """
    return tuple(_summary(field) for field in fields_of(read_table(read_text(path))))


def _summary(field: Field) -> ColumnSummary:
    meaning = field.column.meaning
    quantity = meaning.quantity or ("time" if field.kind in ("clock", "date") else "")
    unit = meaning.unit or (field.numbers.unit if field.numbers else "")
    return ColumnSummary(
        field.column.number, meaning.name, quantity, unit, field.kind, field.count, meaning.run
    )
