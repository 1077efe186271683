"""Where the readings of a text file begin, and what stands above them: names, units, runs."""

from __future__ import annotations

import re
from collections.abc import Sequence

from fitting.files.cell_values import kind_of, tidy
from fitting.files.column_names import describe
from fitting.files.text_rows import Rows, split_line
from fitting.files.units import temperature_unit, time_unit

_HEAD_LINES = 300
_HEADER_REACH = 6  # lines below a header in which readings must begin
_ENOUGH_READINGS = 5  # after so many, a line of words is a remark and no header


def find_layout(rows: Rows) -> tuple[int | None, int | None]:
    """Index of the first line of readings, and of the header (None: there is none).

    The header is the last line with a word for time or temperature that has readings below it,
    a few lines at most (units, blanks) in between. Without such a line the readings begin with
    the first line that holds two numbers and has another one below it.
    """
    full = [i for i in range(min(len(rows), _HEAD_LINES)) if not rows.blank(i)]
    if len(rows) > _HEAD_LINES and not any(rows.is_data(i) for i in full):
        full = [i for i in range(len(rows)) if not rows.blank(i)]
    readings = 0
    for place, index in enumerate(full):
        readings += rows.is_data(index)
        if readings >= _ENOUGH_READINGS:
            break
        below = full[place + 1 : place + 1 + _HEADER_REACH]
        start = next((i for i in below if rows.is_data(i)), None)
        if start is None or rows.is_data(index) or not _is_header(rows, index):
            continue
        if not any(_is_header(rows, i) for i in below if i < start):
            return _extended_up(rows, start, index), index
    return _without_header_words(rows, full)


def _without_header_words(rows: Rows, full: list[int]) -> tuple[int | None, int | None]:
    for place, index in enumerate(full):
        if not rows.is_data(index):
            continue
        below = full[place + 1 :]
        if not below or rows.is_data(below[0]) or not any(rows.is_data(i) for i in below):
            header = full[place - 1] if place and _is_texty(rows, full[place - 1]) else None
            return index, header
    return None, None


def _is_header(rows: Rows, index: int) -> bool:
    cells = split_line(rows.lines[index].lstrip("#% "), rows.delimiter)
    kinds = [kind_of(tidy(cell)) for cell in cells]
    if (
        _is_unit_row(cells)
        or "x" not in kinds
        or kinds.count("n") + kinds.count("c") >= max(1, kinds.count("x"))
    ):
        return False
    return any(describe(cell).quantity in ("time", "temperature") for cell in cells)


def _is_texty(rows: Rows, index: int) -> bool:
    cells = [tidy(cell) for cell in rows.cells(index)]
    kinds = [kind_of(cell) for cell in cells]
    return len(cells) >= 2 and kinds.count("x") >= len(cells) / 2


def _extended_up(rows: Rows, start: int, header: int) -> int:
    """Rows between header and readings that hold one number and blanks are readings, too."""
    index = start
    while index - 1 > header and not rows.blank(index - 1):
        kinds = rows.kinds(index - 1)
        if not kinds or set(kinds) - set("ncm") or not set(kinds) & set("nc"):
            break
        index -= 1
    return index


def header_cells(
    rows: Rows, header: int | None, start: int, width: int
) -> tuple[list[str], list[str], list[str]]:
    """Names, units of a row of units below them, and names of runs above them."""
    if header is None:
        return [], [], []
    names = _header_split(rows, header, width)
    units: list[str] = []
    for index in range(header + 1, start):
        cells = [tidy(cell) for cell in _header_split(rows, index, width)]
        if _is_unit_row(cells):
            units = cells
    if not units and header > 0 and _is_unit_row(names):
        units, names = names, _header_split(rows, header - 1, width)
        header -= 1
    groups: list[str] = []
    if header > 0:
        above = [tidy(cell) for cell in rows.cells(header - 1)]
        if any(describe(cell).run for cell in above if cell) and len(above) > 1:
            groups = _filled(above, width)
    return [tidy(name) for name in names], units, groups


def _is_unit_row(cells: Sequence[str]) -> bool:
    """Whether at least half of the cells that are not blank are units."""
    units = [bool(time_unit(c) or temperature_unit(c)) for c in map(tidy, cells) if c]
    return bool(units) and 2 * sum(units) >= len(units)


def _header_split(rows: Rows, index: int, width: int) -> list[str]:
    """Cells of a header line; names of several words are kept together between blanks."""
    line = rows.lines[index].lstrip("#% ")
    cells = split_line(line, rows.delimiter)
    if rows.delimiter != " " or len(cells) <= width:
        return cells
    for pattern in (r"\t+|\s{2,}", r"\s+(?![(\[/])(?<!/ )"):
        parts = re.split(pattern, line.strip())
        if len(parts) == width:
            return parts
    return cells if len(cells) == width else []


def _filled(cells: list[str], width: int) -> list[str]:
    filled: list[str] = []
    for index in range(width):
        cell = at_or_blank(cells, index)
        filled.append(cell or (filled[-1] if filled else ""))
    return filled


def at_or_blank(cells: Sequence[str], index: int) -> str:
    """The cell at an index, or a blank beyond the end."""
    return cells[index] if index < len(cells) else ""
