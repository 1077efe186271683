"""Delimited text as a grid: encoding and delimiter found by what makes the headings known."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

from calib.errors import TableError
from calib.runs.grid import MAX_CELLS, MAX_ROWS, Grid, find_head
from calib.runs.model import CellValue

_DELIMITERS = (",", ";", "\t", "|")
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
_ENCODINGS = ["utf_8", "cp1252", "mac_roman", "cp850"]
_LONGEST_CELL = 1_000_000


def read_text(path: Path, data: bytes) -> Grid:
    """The one grid of a text file.

    Raises:
        TableError: the bytes are no text, or the text cannot be taken apart into cells.
    """
    text, encoding_note = decode(path, data)
    if not text.strip():
        raise TableError(
            f"{path}: the file is empty; expected a table of runs with a row of headings"
        )
    _refuse_markup(path, text)
    delimiter, first_line = _declared(text)
    body = text[first_line:]
    sample = body[:20_000]
    if delimiter is None:
        delimiter = max(_DELIMITERS, key=lambda d: _worth(path, sample, d))
    grid = _split(path, body, delimiter)
    if first_line:
        grid.lines = [line + 1 for line in grid.lines]
    grid.comma_decimals = delimiter == ";"
    if encoding_note:
        grid.notes.append(encoding_note)
    if delimiter != ",":
        grid.notes.append(f"cells are separated by {_NAMES.get(delimiter, repr(delimiter))}")
    return grid


def decode(path: Path, data: bytes) -> tuple[str, str]:
    """The text of a file's bytes, and a note where the encoding had to be guessed.

    Raises:
        TableError: the bytes are no text.
    """
    text, note = _decoded(path, data)
    if "\x00" in text or _share_of_controls(text[:4000]) > 0.05:
        raise TableError(
            f"{path}: this is no text file and no workbook that can be read; expected CSV, XLSX, "
            "XLS or ODS"
        )
    return text, note


def _decoded(path: Path, data: bytes) -> tuple[str, str]:
    for mark, encoding in (
        (b"\xef\xbb\xbf", "utf-8-sig"),
        (b"\xff\xfe\x00\x00", "utf-32"),
        (b"\x00\x00\xfe\xff", "utf-32"),
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
    ):
        if data.startswith(mark):
            return _strict(path, data, encoding), ""
    guess = _utf16_without_mark(data)
    if guess:
        return _strict(path, data, guess), f"encoding taken for {guess} (no byte order mark)"
    try:
        return data.decode("utf-8"), ""
    except UnicodeDecodeError:
        return _eight_bit(data)


def _strict(path: Path, data: bytes, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeError as error:
        raise TableError(f"{path}: begins as {encoding} text but breaks off: {error}") from error


def _utf16_without_mark(data: bytes) -> str | None:
    head = data[:2000]
    if len(head) < 8:
        return None
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > 0.4 * len(head) / 2 and even < 0.02 * len(head):
        return "utf-16-le"
    if even > 0.4 * len(head) / 2 and odd < 0.02 * len(head):
        return "utf-16-be"
    return None


def _eight_bit(data: bytes) -> tuple[str, str]:
    """Text in one of the old eight-bit codes; Western Windows where nothing speaks against it."""
    from charset_normalizer import from_bytes

    best = from_bytes(data[:200_000], cp_isolation=_ENCODINGS).best()
    encoding = best.encoding if best is not None else "cp1252"
    if encoding not in _ENCODINGS[1:]:
        encoding = "cp1252"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        encoding = "latin-1"
        text = data.decode(encoding)
    return text, f"encoding taken for {encoding}: the file is not UTF-8"


def _share_of_controls(text: str) -> float:
    return sum(1 for c in text if ord(c) < 32 and c not in "\t\r\n\f\v") / max(1, len(text))


def _refuse_markup(path: Path, text: str) -> None:
    head = text.lstrip("\ufeff \t\r\n")[:200].casefold()
    if re.match(r"<(\?xml|!doctype|html|table|workbook|office:)", head):
        raise TableError(
            f"{path}: holds a web page or XML, whatever its name says; open it in a spreadsheet "
            "program and save it as XLSX, ODS or CSV"
        )


def _declared(text: str) -> tuple[str | None, int]:
    """A first line ``sep=;``, as some spreadsheet programs write and read it."""
    match = re.match(r"\ufeff?sep=(.)\r?\n", text, re.IGNORECASE)
    return (match[1], match.end()) if match else (None, 0)


def _worth(path: Path, sample: str, delimiter: str) -> tuple[int, int]:
    try:
        grid = _split(path, sample, delimiter)
    except TableError:
        return -1, 0
    head = find_head(grid)
    widest = max((len(row) for row in grid.rows), default=0)
    return (head.score if head else 0), widest


def _split(path: Path, text: str, delimiter: str) -> Grid:
    grid = _parse(path, text, delimiter, csv.QUOTE_MINIMAL)
    open_quote = next(
        (line for row, line in zip(grid.rows, grid.lines, strict=True) if _swallows(row)), None
    )
    if open_quote is not None:
        grid = _parse(path, text, delimiter, csv.QUOTE_NONE)
        grid.notes.append(f"line {open_quote}: a quotation mark is not closed; quotes kept as text")
    return grid


def _swallows(row: list[CellValue]) -> bool:
    """Whether a cell runs over so many lines that its closing quote must be missing."""
    return any(isinstance(cell, str) and cell.count("\n") > 8 for cell in row)


def _parse(path: Path, text: str, delimiter: str, quoting: int) -> Grid:
    before = csv.field_size_limit(_LONGEST_CELL)
    try:
        return _rows(path, text, delimiter, quoting)
    finally:
        csv.field_size_limit(before)


def _rows(path: Path, text: str, delimiter: str, quoting: int) -> Grid:
    blank_before_quote = re.search(re.escape(delimiter) + ' +"', text) is not None
    rows: list[list[CellValue]] = []
    lines: list[int] = []
    cells = 0
    try:
        reader = csv.reader(
            io.StringIO(text, newline=""),
            delimiter=delimiter,
            skipinitialspace=blank_before_quote,
            quoting=quoting,  # type: ignore[arg-type]
        )
        line = 1
        for row in reader:
            rows.append(list(row))
            lines.append(line)
            line = reader.line_num + 1
            cells += len(row)
            if len(rows) > MAX_ROWS or cells > MAX_CELLS:
                raise TableError(
                    f"{path}: more than {MAX_ROWS:,} rows or {MAX_CELLS:,} cells; a table of runs "
                    "has one row per run: split it"
                )
    except (csv.Error, TypeError, ValueError) as error:
        raise TableError(f"{path}: line {len(lines) + 1}: {error}") from error
    return Grid(rows=rows, lines=lines)
