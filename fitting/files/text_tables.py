"""From a text file to named columns of cells or numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np

from fitting.curve import FloatArray
from fitting.errors import CurveError
from fitting.files.cell_values import LARGEST, Numbers, kind_of, tidy
from fitting.files.column_names import Meaning, describe
from fitting.files.packed_lines import PackedLines
from fitting.files.text_files import TextFile
from fitting.files.text_header import at_or_blank, find_layout, header_cells
from fitting.files.text_rows import Rows, find_delimiter, logical_lines, no_table, split_line

_PART_LINES = 100_000


@dataclass(frozen=True)
class Column:
    """One column: its place (counted from 1), its meaning, its cells, and ready numbers if any."""

    number: int
    meaning: Meaning
    cells: Sequence[str]
    numbers: Numbers | None = None

    @property
    def title(self) -> str:
        """The column's name for people."""
        name = self.meaning.name
        return f"column {self.number} '{name}'" if name else f"column {self.number}"


@dataclass(frozen=True)
class TextTable:
    """Columns of equal length; row i stands in line ``lines[i]`` of the file (counted from 1)."""

    name: str
    columns: tuple[Column, ...]
    lines: Sequence[int]
    header_line: int
    delimiter: str
    notes: tuple[str, ...] = ()


def read_table(file: TextFile) -> TextTable:
    """Cut a text file into columns.

    The delimiter is the one that leaves the most lines with two or more numbers or clock times
    and nothing cut in half; the readings begin below the header, or at the first such line.

    Raises:
        CurveError: no line holds two numbers, or the header and the readings do not match.
    """
    lines, numbers = logical_lines(file.lines)
    delimiter = find_delimiter(lines, file.name)
    rows = Rows(lines, delimiter)
    start, header = find_layout(rows)
    if start is None:
        raise no_table(lines, file.name)
    width = len(rows.cells(start))
    above = header_cells(rows, header, start, width)
    short: list[int] = []
    fast = _fast_columns(lines, start, delimiter, width)
    kept: Sequence[int]
    if fast is not None:
        values, kept, decimal = fast
        columns = [
            _column(
                i, above, _CellsOnDemand(rows, start, i), Numbers(values[:, i], decimal=decimal)
            )
            for i in range(width)
        ]
    else:
        kept, cells, short = _slow_columns(rows, start, max(len(above[0]), width))
        columns = [_column(i, above, cells[i]) for i in range(len(cells))]
    header_line = numbers[header] if header is not None else 0
    if isinstance(kept, range):
        line_numbers = numbers[kept.start : kept.stop]
    else:
        line_numbers = [numbers[index] for index in kept]
    if delimiter == "," and len(above[0]) < len(columns) and _recognised(above[0]):
        _refuse_unquoted_commas(file.name, header_line, len(above[0]), columns, line_numbers)
    notes = (*file.notes, *_short_rows_note(short, numbers))
    return TextTable(file.name, tuple(columns), line_numbers, header_line, delimiter, notes)


class _CellsOnDemand(Sequence[str]):
    """Cells of a column whose numbers are known already: cut again only to show one."""

    def __init__(self, rows: Rows, start: int, column: int) -> None:
        self._rows, self._start, self._column = rows, start, column

    def __len__(self) -> int:
        return len(self._rows) - self._start

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> list[str]: ...
    def __getitem__(self, index: int | slice) -> str | list[str]:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        return at_or_blank(self._rows.cells(self._start + index), self._column)


def _column(
    index: int,
    above: tuple[list[str], list[str], list[str]],
    cells: Sequence[str],
    numbers: Numbers | None = None,
) -> Column:
    name, unit, group = (at_or_blank(row, index) for row in above)
    return Column(index + 1, describe(name, unit, group), cells, numbers)


def _recognised(names: Iterable[str]) -> bool:
    return any(describe(name).quantity in ("time", "temperature") for name in names)


def _fast_columns(
    lines: Sequence[str], start: int, delimiter: str, width: int
) -> tuple[FloatArray, Sequence[int], str] | None:
    """All columns at once where every cell is a plain number, the rows and the decimal mark.

    None where any cell is something else. Long files are read part by part.
    """
    end = len(lines)
    while end > start and not lines[end - 1].strip():
        end -= 1
    body = lines[start:end]
    probe = body[:: max(1, len(body) // 20)]
    if any(kind_of(tidy(c)) != "n" for line in probe for c in split_line(line, delimiter)):
        return None
    values = np.empty((len(body), width))
    marks: set[str] = set()
    for first in range(0, len(body), _PART_LINES):
        part = _fast_part(body[first : first + _PART_LINES], delimiter, width, marks)
        if part is None or len(marks) > 1:
            return None
        values[first : first + len(part)] = part
    return values, range(start, end), "," if "," in marks else "."


def _fast_part(
    body: Sequence[str], delimiter: str, width: int, marks: set[str]
) -> FloatArray | None:
    """Some lines as numbers, shape (lines, width); the decimal marks seen go to ``marks``."""
    part = body.to_list() if isinstance(body, PackedLines) else list(body)
    text = "\n".join(part)
    if '"' in text or "_" in text or "\n\n" in text:
        return None
    if delimiter != ",":
        marks.update(mark for mark in ".," if mark in text)
        if "," in text:
            part = text.replace(",", ".").split("\n")
    try:
        values = np.loadtxt(
            part, delimiter=None if delimiter == " " else delimiter, comments=None, ndmin=2
        )
    except (ValueError, OverflowError):
        return None
    if values.shape != (len(part), width) or not (np.abs(values) < LARGEST).all():
        return None
    return values


def _slow_columns(
    rows: Rows, start: int, width: int
) -> tuple[list[int], list[list[str]], list[int]]:
    """Cells of all lines that are not blank, by column; short rows are filled with blanks.

    Between blanks as delimiter, nobody can tell which cell of a short row is missing: those rows
    are left out and their indices returned last.
    """
    kept: list[int] = []
    short: list[int] = []
    table: list[list[str]] = []
    for index in range(start, len(rows)):
        if rows.blank(index):
            continue
        cells = rows.cells(index)
        if rows.delimiter == " " and len(cells) < width and "x" not in rows.kinds(index):
            short.append(index)
            continue
        kept.append(index)
        table.append(cells)
        width = max(width, len(cells))
    return kept, _by_column(table, width), short


def _by_column(table: list[list[str]], width: int) -> list[list[str]]:
    while width > 1 and not any(len(row) >= width and row[width - 1].strip() for row in table):
        width -= 1
    for row in table:
        if len(row) < width:
            row.extend([""] * (width - len(row)))
    return [[row[i] for row in table] for i in range(width)]


def _short_rows_note(short: list[int], numbers: Sequence[int]) -> tuple[str, ...]:
    if not short:
        return ()
    one = len(short) == 1
    return (
        f"{len(short)} {'line has' if one else 'lines have'} fewer cells than columns and "
        f"{'was' if one else 'were'} left out (first: line "
        f"{numbers[short[0]]}): between blanks nobody can tell which cell is missing",
    )


def _refuse_unquoted_commas(
    name: str, header_line: int, names: int, table: list[Column], lines: Sequence[int]
) -> None:
    """Refuse rows that hold more numbers than the header has names."""
    for column in table[names:]:
        for index, line in enumerate(lines):
            if column.numbers is None and kind_of(tidy(column.cells[index])) != "n":
                continue
            raise CurveError(
                f"{name}, line {line}: {column.number} or more cells between commas where the "
                f"header (line {header_line}) has {names}; expected as many: decimal commas cannot "
                "be told from the commas between columns: export with semicolons or tabs between "
                "columns, or with decimal points"
            )
