"""Lines of text cut into cells: quoted cells, and the delimiter that cuts the numbers best."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

from fitting.errors import CurveError
from fitting.files.cell_values import kind_of, tidy

_DELIMITERS = ("\t", ";", ",", "|", " ")  # " " stands for any run of blanks
_SAMPLE_LINES = 60
_HEAD_LINES = 300
_QUOTED_LINES = 5  # a quoted header may run over this many lines


class Rows:
    """Lines cut into cells on demand."""

    def __init__(self, lines: Sequence[str], delimiter: str) -> None:
        self.lines = lines
        self.delimiter = delimiter
        self._kinds: dict[int, str] = {}

    def __len__(self) -> int:
        return len(self.lines)

    def cells(self, index: int) -> list[str]:
        """Cells of one line."""
        return split_line(self.lines[index], self.delimiter)

    def blank(self, index: int) -> bool:
        """Whether a line holds nothing but delimiters."""
        return not self.lines[index].strip(" \t\u00a0;,|")

    def kinds(self, index: int) -> str:
        """One letter for each cell, see `kind_of`; empty for a comment."""
        if index not in self._kinds:
            comment = self.lines[index][:1] in "#%"
            cells = [] if comment else self.cells(index)
            self._kinds[index] = "".join(kind_of(tidy(cell)) for cell in cells)
        return self._kinds[index]

    def is_data(self, index: int) -> bool:
        """Whether a line holds two numbers or clock times, and none cut in half."""
        return _is_data(self.kinds(index))


def _is_data(kinds: str) -> bool:
    return "b" not in kinds and kinds.count("n") + kinds.count("c") >= 2


def split_line(line: str, delimiter: str) -> list[str]:
    """Cut one line; a delimiter inside quotes does not cut."""
    if '"' in line:
        try:
            quoted = csv.reader(
                [line], delimiter=delimiter, skipinitialspace=True, doublequote=True
            )
            cells = [cell.replace("\n", " ") for row in quoted for cell in row]
            return [cell for cell in cells if cell] if delimiter == " " else cells
        except csv.Error:
            line = line.replace('"', "")
    return line.split() if delimiter == " " else line.split(delimiter)


def logical_lines(physical: Sequence[str]) -> tuple[Sequence[str], Sequence[int]]:
    """Lines with quoted line breaks joined, and the number of each one's first line."""
    first = 1 if physical and re.fullmatch(r'"?sep=.?"?', physical[0].strip(), re.I) else 0
    if not any('"' in line for line in physical[:_HEAD_LINES]):
        return physical[first:], range(first + 1, len(physical) + 1)
    lines: list[str] = []
    numbers: list[int] = []
    index = first
    while index < len(physical):
        joined = physical[index]
        numbers.append(index + 1)
        end = index + 1
        while joined.count('"') % 2 and end < min(index + _QUOTED_LINES, len(physical)):
            joined += "\n" + physical[end]
            end += 1
        if joined.count('"') % 2:
            joined, end = physical[index].replace('"', ""), index + 1
        lines.append(joined)
        index = end
    return lines, numbers


def find_delimiter(lines: Sequence[str], name: str) -> str:
    """The delimiter that leaves the most lines with two numbers or more.

    Raises:
        CurveError: no delimiter leaves any.
    """
    sample = _sample([line for line in _sample(lines, 4 * _SAMPLE_LINES) if line.strip()])
    if len(sample) < _SAMPLE_LINES:
        sample = _sample([line for line in lines if line.strip()])
    best, best_score = "", 0
    for delimiter in _DELIMITERS:
        rows = Rows(sample, delimiter)
        if delimiter != " " and not any(delimiter in line for line in sample):
            continue
        widths = [len(rows.kinds(i)) for i in range(len(sample)) if rows.is_data(i)]
        score = len(widths)
        if delimiter == " " and widths:  # words with numbers in a remark are no table
            score = widths.count(max(set(widths), key=widths.count))
        if score > best_score:
            best, best_score = delimiter, score
    if not best:
        raise no_table(lines, name)
    return best


def _sample(lines: Sequence[str], size: int = _SAMPLE_LINES) -> Sequence[str]:
    return lines[:: max(1, len(lines) // size)]


def no_table(lines: Sequence[str], name: str) -> CurveError:
    """Why no line holds a pair of numbers: one column only, or no numbers at all."""
    full = [(i + 1, tidy(line.strip(' \t;,|"'))) for i, line in enumerate(lines) if line.strip()]
    single = [(i, text) for i, text in full if kind_of(text) in "nc"]
    if len(single) >= max(1, len(full) // 2):
        above = [text for i, text in full if i < single[0][0]]
        title = f"'{above[-1]}'" if above else f"from line {single[0][0]} on"
        return CurveError(
            f"{name}: only one column of numbers ({title}, {len(single)} values); expected two: "
            "time and temperature: export the time beside each reading"
        )
    number, text = full[0] if full else (1, "")
    shown = text if len(text) <= 60 else text[:57] + "..."
    return CurveError(
        f"{name}, line {number}: no line holds two numbers (the first line reads '{shown}'); "
        "expected a table with time and temperature in columns: export the readings as text (CSV)"
    )
