"""The cells of a table as its file gives them, and where the headings stand among them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date

from calib.runs.cells import as_text, is_empty
from calib.runs.headers import Heading, clean, is_unit_text, read_heading
from calib.runs.model import CellValue

MAX_ROWS = 200_000
MAX_CELLS = 3_000_000
_HEADING_DEPTH = 60
_MAX_COLUMNS_READ = 2_000

Place = tuple[int, int]  # row and column, from 0
Block = tuple[int, int, int, int]  # first row, first column, last row, last column


@dataclass(slots=True, kw_only=True)
class Grid:
    """One sheet. ``rows`` hold its cells from the first row and column on.

    ``lines`` gives the line of a text file on which each row starts. ``merged`` are the blocks of
    merged cells; ``errors`` and ``uncalculated`` say what stands in cells that look empty.
    ``fault`` says why a sheet could not be read while others could.
    """

    rows: list[list[CellValue]]
    sheet: str = ""
    form: str = "csv"
    lines: Sequence[int] = ()
    merged: Sequence[Block] = ()
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    errors: dict[Place, str] = field(default_factory=dict)
    uncalculated: dict[Place, str] = field(default_factory=dict)
    calculated: int = 0
    notes: list[str] = field(default_factory=list)
    comma_decimals: bool = False
    date_base: date = date(1899, 12, 30)
    fault: str = ""

    def row_number(self, row: int) -> int:
        """The row's number as the file's own program counts, from 1."""
        return self.lines[row] if self.lines else row + 1

    def address(self, row: int, column: int) -> str:
        """Where a cell stands: ``D7`` in a sheet, ``line 7, field 4`` in a text file."""
        if self.lines:
            return f"line {self.row_number(row)}, field {column + 1}"
        return f"cell {column_letters(column)}{row + 1}"

    def cell(self, row: int, column: int) -> CellValue:
        """A cell, or None beyond the end of its row."""
        cells = self.rows[row]
        return cells[column] if column < len(cells) else None


def column_letters(column: int) -> str:
    """A column's letters, counted from 0: 0 is A, 26 is AA."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


@dataclass(frozen=True, slots=True)
class Head:
    """The headings found: one per column, and the first row of readings below them."""

    row: int
    first_below: int
    headings: tuple[Heading, ...]
    note: str = ""
    single: bool = True

    @property
    def score(self) -> int:
        """How many different columns are known."""
        return len({h.name for h in self.headings if h.known})

    @property
    def rank(self) -> tuple[int, bool]:
        """By what the best candidate is chosen: of equals, the one in a single row."""
        return self.score, self.single


def find_head(grid: Grid) -> Head | None:
    """The row (or pair of rows) with the most known headings, or None where there is none.

    Title rows above are passed over. A pair is a row of names over a row of units or of parts,
    such as ``In cup`` across three columns headed ``mL``, ``°C``, ``mol/L``.
    """
    best: Head | None = None
    for row in range(min(_HEADING_DEPTH, len(grid.rows))):
        for head in _candidates(grid, row):
            if head.score >= 2 and (best is None or head.rank > best.rank):
                best = head
    return best


def _candidates(grid: Grid, row: int) -> Iterator[Head]:
    own = _texts(grid, row)
    if not any(own):
        return
    single = tuple(read_heading(text) for text in own)
    below = row + 1
    note = ""
    if below < len(grid.rows) and _is_unit_row(grid, below):
        below, note = below + 1, f"row {grid.row_number(below)} read as units under the headings"
    yield Head(row, below, single, note)
    if row + 1 < len(grid.rows):
        lower = _texts(grid, row + 1)
        upper = _spread(grid, row, own, len(lower))
        joined = tuple(_joined(a, b) for a, b in zip(upper, lower, strict=True))
        numbers = f"{grid.row_number(row)} and {grid.row_number(row + 1)}"
        note = f"headings read from rows {numbers} together"
        yield Head(row, row + 2, joined, note, single=False)


def _texts(grid: Grid, row: int) -> list[str]:
    cells = grid.rows[row][:_MAX_COLUMNS_READ]
    return [cell if isinstance(cell, str) else as_text(cell) for cell in cells]


def _is_unit_row(grid: Grid, row: int) -> bool:
    filled = [cell for cell in grid.rows[row] if not is_empty(cell)]
    return len(filled) >= 2 and all(is_unit_text(cell) for cell in filled)


def _spread(grid: Grid, row: int, own: list[str], width: int) -> list[str]:
    """Upper headings carried over the columns that they span."""
    spread = (own + [""] * width)[:width]
    blocks = [b for b in grid.merged if b[0] <= row <= b[2] and b[1] < width]
    for top, left, _bottom, right in blocks:
        text = as_text(grid.cell(top, left))
        for column in range(left, min(right + 1, width)):
            spread[column] = text
    if not blocks:
        for column in range(1, width):
            spread[column] = spread[column] or spread[column - 1]
    return spread


def _joined(upper: str, lower: str) -> Heading:
    """The heading that two rows make; the lower one alone where only that is known."""
    both = read_heading(_join(upper, lower))
    if both.known or not clean(lower):
        return both
    return read_heading(lower)


def _join(upper: str, lower: str) -> str:
    """An upper and a lower heading as one: ``In cup`` and ``mL`` are ``In cup (mL)``."""
    if not clean(lower):
        return upper
    if not clean(upper) or clean(upper) == clean(lower):
        return lower
    if is_unit_text(lower):
        return f"{upper} ({clean(lower).strip('[](){}')})"
    return f"{upper} {lower}"
