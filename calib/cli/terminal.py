"""Text as a terminal may show it: escaped, folded to its width, tables kept readable.

What a file, a name or a label holds is data: a line break, an escape sequence or a character that
turns the direction of writing is shown by its code and never obeyed (`shown`).
"""

from __future__ import annotations

import os
import textwrap
import unicodedata
from collections.abc import Iterator, Sequence
from typing import TextIO

WIDTH = 80  # columns, where no terminal tells its own
_GAP = 2  # columns between two columns of a table
_WORDS_LEAST = 12  # columns that a column of words is narrowed to
_NUMBER_MOST = 30  # a cell longer than this is words that begin with a number
_REMARK_LEAST = 24  # a last column that would get less than this goes below its row


def shown(text: object) -> str:
    r"""The text with all that a terminal would obey shown by its code.

    Control characters, line breaks, marks of writing direction and of no width, and what is no
    character at all. Spaces of every width stay.

    >>> print(shown("P1\x1b[31m"), shown("a\nb"), shown("x\u202ey"), shown("20 °C ± 0.1"))
    P1\x1b[31m a\nb x\u202ey 20 °C ± 0.1
    """
    text = str(text)
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() or unicodedata.category(c) == "Zs" else repr(c)[1:-1] for c in text
    )


def width_of(stream: TextIO) -> int:
    """Columns of the terminal behind a stream; COLUMNS, where it is set, decides."""
    told = os.environ.get("COLUMNS", "")
    if told.isdigit() and int(told) > 0:
        return max(int(told), 20)
    try:
        return max(os.get_terminal_size(stream.fileno()).columns, 20)
    except (OSError, ValueError, AttributeError):
        return WIDTH


def folded(text: str, width: int) -> list[str]:
    """A sentence as lines of at most this width; what goes on is set in by two more columns.

    A word that is longer than a line, such as an address of a file, is not torn apart.
    """
    if len(text) <= width:
        return [text]
    inset = " " * (len(text) - len(text.lstrip(" ")))
    lines = textwrap.wrap(
        text.strip(" "), width, initial_indent=inset, subsequent_indent=inset + "  ",
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    return lines or [""]


def table_lines(headers: Sequence[str], body: Sequence[Sequence[str]], width: int) -> Iterator[str]:
    """A table as text: numbers to the right and never torn; words and headings folded to the width.

    Where that is not enough, a last column of remarks goes below its row, set in; and where the
    numbers alone are wider, the columns that do not fit follow in a table below, each row with
    its first cell again. Nothing is left out.

    >>> list(table_lines(["cup", "J/K"], [["P1", "12.3"]], 80))
    ['cup   J/K', '---  ----', 'P1   12.3']
    """
    columns = [_Column(header, [shown(row[i]) for row in body]) for i, header in enumerate(headers)]
    if _needs(columns) > width:  # an empty column says nothing and takes room
        columns = [columns[0], *(c for c in columns[1:] if any(c.cells))]
    remarks: list[str] = []
    if len(columns) > 1 and _too_narrow(columns, width):
        remarks = columns[-1].cells
        remark_of = columns[-1].header
        columns = columns[:-1]
    for number, band in enumerate(_bands(columns, width)):
        if number:
            yield ""
        below = remarks if number == 0 else []
        if below:
            yield from _band_lines(band, width, below, remark_of)
        else:
            yield from _band_lines(band, width, [], "")


class _Column:
    """One column: its cells, how wide it would like to be, and how narrow it can be."""

    def __init__(self, header: str, cells: list[str]) -> None:
        self.header, self.cells = shown(header), cells
        self.right = all(_looks_numeric(c) and len(c) <= _NUMBER_MOST for c in cells)
        self.natural = max(len(cell) for cell in (self.header, *cells))
        words = max((len(word) for word in self.header.split()), default=1)
        if self.right:
            self.least = max(words, *(len(cell) for cell in cells))
        else:
            longest = max((len(w) for c in cells for w in c.split()), default=1)
            self.least = max(words, min(self.natural, max(_WORDS_LEAST, min(longest, 20))))


def _needs(columns: Sequence[_Column]) -> int:
    return sum(c.least for c in columns) + _GAP * (len(columns) - 1)


def _too_narrow(columns: Sequence[_Column], width: int) -> bool:
    """Whether the last column holds remarks that would be pressed into a strip."""
    last = columns[-1]
    wanted = min(last.natural, _REMARK_LEAST)
    room = width - _needs(columns[:-1]) - _GAP
    return not last.right and last.natural > _REMARK_LEAST and room < wanted


def _bands(columns: Sequence[_Column], width: int) -> Iterator[list[_Column]]:
    """The columns in groups that fit, the first one repeated."""
    band: list[_Column] = []
    for column in columns:
        if len(band) > 1 and _needs([*band, column]) > width:
            yield band
            band = [columns[0]]
        band.append(column)
    yield band


def _sizes(columns: Sequence[_Column], width: int) -> list[int]:
    """Every column its least, then the room that is left to those that want more, evenly."""
    sizes = [c.least for c in columns]
    spare = width - sum(sizes) - _GAP * (len(sizes) - 1)
    while spare > 0:
        short = [i for i, c in enumerate(columns) if sizes[i] < c.natural]
        if not short:
            break
        narrowest = min(short, key=lambda i: sizes[i])
        sizes[narrowest] += 1
        spare -= 1
    return sizes


def _band_lines(
    columns: Sequence[_Column], width: int, remarks: Sequence[str], remark_of: str
) -> Iterator[str]:
    sizes = _sizes(columns, width)
    yield from _row_lines([c.header for c in columns], columns, sizes)
    if remarks:
        yield f"    {remark_of}"
    yield ("  ".join("-" * size for size in sizes))[:width]
    for number in range(len(columns[0].cells)):
        yield from _row_lines([c.cells[number] for c in columns], columns, sizes)
        if remarks and remarks[number]:
            yield from (f"    {line}" for line in _cell_lines(remarks[number], width - 4))


def _row_lines(
    cells: Sequence[str], columns: Sequence[_Column], sizes: Sequence[int]
) -> Iterator[str]:
    wrapped = [_cell_lines(cell, size) for cell, size in zip(cells, sizes, strict=True)]
    for number in range(max(len(lines) for lines in wrapped)):
        parts = []
        for lines, column, size in zip(wrapped, columns, sizes, strict=True):
            part = lines[number] if number < len(lines) else ""
            parts.append(part.rjust(size) if column.right else part.ljust(size))
        yield "  ".join(parts).rstrip()


def _cell_lines(cell: str, size: int) -> list[str]:
    if len(cell) <= size:
        return [cell]
    return textwrap.wrap(cell, size, break_on_hyphens=False) or [""]


def _looks_numeric(cell: str) -> bool:
    return cell[:1].isdigit() or cell[:1] in "-−+–" or cell in {"", "not known"}
