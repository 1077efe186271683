"""Where the readings of a text file begin, and what stands above them: names, units, runs."""

from __future__ import annotations

import re
from collections.abc import Sequence

from fitting.reading.cell_values import kind_of, tidy
from fitting.reading.column_names import describe
from fitting.reading.text_rows import Rows, split_line
from fitting.reading.units import temperature_unit, time_unit

_HEAD_LINES = 300


def find_layout(rows: Rows) -> tuple[int | None, int | None]:
    """Index of the first line of readings, and of the header (None: there is none)."""
    end = min(len(rows), _HEAD_LINES)
    full = [i for i in range(len(rows) if end == len(rows) else end) if not rows.blank(i)]
    if len(rows) > end and not any(rows.is_data(i) for i in full):
        full = [i for i in range(len(rows)) if not rows.blank(i)]
    data = [rows.is_data(i) for i in full]
    for place, index in enumerate(full):
        if sum(data[:place]) >= 5:
            break
        follow = next((p for p in range(place + 1, min(place + 3, len(full))) if data[p]), None)
        if follow is not None and not data[place] and _is_header(rows, index):
            return _extended_up(rows, full[follow], index), index
    for place, index in enumerate(full):
        last = place + 1 == len(full)
        if data[place] and (last or data[place + 1] or not any(data[place + 1 :])):
            header = full[place - 1] if place and _is_texty(rows, full[place - 1]) else None
            return index, header
    return None, None


def _is_header(rows: Rows, index: int) -> bool:
    cells = split_line(rows.lines[index].lstrip("#% "), rows.delimiter)
    kinds = [kind_of(tidy(cell)) for cell in cells]
    if "x" not in kinds or kinds.count("n") + kinds.count("c") >= max(1, kinds.count("x")):
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
        known = [bool(time_unit(cell) or temperature_unit(cell)) for cell in cells if cell]
        if known and sum(known) * 2 >= len(known):
            units = cells
    if not units and header > 0 and all(_unit_only(cell) for cell in names if cell):
        units, names = names, _header_split(rows, header - 1, width)
        header -= 1
    groups: list[str] = []
    if header > 0:
        above = [tidy(cell) for cell in rows.cells(header - 1)]
        if any(describe(cell).run for cell in above if cell) and len(above) > 1:
            groups = _filled(above, width)
    return [tidy(name) for name in names], units, groups


def _unit_only(cell: str) -> bool:
    return bool(time_unit(tidy(cell)) or temperature_unit(tidy(cell)))


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
