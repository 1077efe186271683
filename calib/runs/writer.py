"""Writing tables as CSV or XLSX, so that no cell of the output can start a formula.

Text that came in with a table goes out with it. A text such as ``=HYPERLINK(…)`` is harmless in a
table that is read here, but a spreadsheet program would run it. In XLSX every text is stored as
text (and marked so, which keeps it text when edited). CSV has no such mark: there a text that
begins like a formula gets an apostrophe in front, which spreadsheet programs show as text, and the
result says which cells those are. Plain numbers written as text, such as ``-55.8``, stay as they
are.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from calib.errors import TableError
from calib.outputs import TABLE, Kind, Outputs, made_by
from calib.runs.grid import column_letters
from calib.runs.model import CellValue

_FORMULA_STARTS = tuple("=+-@＝＋－＠\t\r\n")
_PLAIN_NUMBER = re.compile(r"\s*[+-]?[0-9]+(?:[.,][0-9]+)*(?:[eE][+-]?[0-9]+)?\s*%?\s*")
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_XLSX_ROWS, _XLSX_COLUMNS, _XLSX_TEXT = 1_048_576, 16_384, 32_767


@dataclass(frozen=True, slots=True)
class Written:
    """What was written. ``notes`` say which cells had to be made safe, and how."""

    path: Path
    rows: int
    notes: tuple[str, ...] = ()


def write_table(
    path: Path | str,
    headers: Sequence[str],
    rows: Iterable[Sequence[CellValue]],
    *,
    sheet: str = "Results",
    delimiter: str = ",",
    decimal: str = ".",
    byte_order_mark: bool = True,
    kind: Kind = TABLE,
    outputs: Outputs | None = None,
) -> Written:
    """Write a table; the ending of ``path`` (.csv, .tsv, .txt or .xlsx) says in which form.

    ``byte_order_mark`` makes spreadsheet programs take a text file for the UTF-8 it is. The file
    appears whole or not at all; ``outputs`` says what the call reads and whether a file of others
    may be replaced.

    Raises:
        OutputError: the ending is not known, or the file may not or cannot be written.
        TableError: the form cannot hold so large a table.
    """
    path, outputs = Path(path), outputs or Outputs()
    outputs.claim(kind, path)
    form = path.suffix.casefold()
    content: list[Sequence[CellValue]] = [list(headers), *rows]
    if form == ".xlsx":
        data, notes = _as_xlsx(path, content, sheet, kind.name)
    else:
        mark = "\t" if form == ".tsv" else delimiter
        text, notes = _as_text(content, mark, decimal)
        data = text.encode("utf-8-sig" if byte_order_mark else "utf-8")
    outputs.write(kind, path, data)
    return Written(path, len(content) - 1, tuple(notes))


def starts_formula(text: str) -> bool:
    """Whether a spreadsheet program could take a text for a formula."""
    bare = text.lstrip(" \u00a0")
    if not bare.startswith(_FORMULA_STARTS) or not bare.strip("-– "):
        return False
    return not _PLAIN_NUMBER.fullmatch(bare)


# --- text ---------------------------------------------------------------------------------------


def _as_text(
    content: Sequence[Sequence[CellValue]], delimiter: str, decimal: str
) -> tuple[str, list[str]]:
    guarded: list[str] = []
    replaced: list[str] = []
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=delimiter, lineterminator="\r\n")
    for number, row in enumerate(content, start=1):
        cells = []
        for index, cell in enumerate(row):
            where = f"{column_letters(index)}{number}"
            text = _clean(_plain_text(cell, decimal), where, replaced)
            if isinstance(cell, str) and starts_formula(text):
                guarded.append(where)
                text = "'" + text
            cells.append(text)
        writer.writerow(cells)
    notes = _notes(replaced)
    if guarded:
        notes.append(f"an apostrophe set before text that begins like a formula: {_list(guarded)}")
    return stream.getvalue(), notes


def _plain_text(cell: CellValue, decimal: str) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return repr(cell).replace(".", decimal) if math.isfinite(cell) else ""
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ")
    return cell if isinstance(cell, str) else str(cell)


# --- XLSX ---------------------------------------------------------------------------------------


def _as_xlsx(
    path: Path, content: Sequence[Sequence[CellValue]], sheet: str, name: str
) -> tuple[bytes, list[str]]:
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    if len(content) > _XLSX_ROWS or any(len(row) > _XLSX_COLUMNS for row in content):
        raise TableError(f"{path}: too many rows or columns for XLSX; write CSV instead")
    replaced: list[str] = []
    checked = [
        [_checked(path, cell, row, index, replaced) for index, cell in enumerate(cells)]
        for row, cells in enumerate(content, start=1)
    ]
    book = Workbook(write_only=True)
    page = book.create_sheet(sheet_title(sheet))
    page.freeze_panes = "A2"
    for cells in checked:
        made = [WriteOnlyCell(page, value) for value in cells]
        for cell, value in zip(made, cells, strict=True):
            if isinstance(value, str):
                _mark_as_text(cell, value)
        page.append(made)
    return saved(book, name), _notes(replaced)


def saved(book: Any, name: str) -> bytes:
    """The bytes of a workbook whose properties say which kind of output it is, and since when."""
    book.properties.creator = made_by(name)
    book.properties.lastModifiedBy = made_by(name)
    book.properties.created = datetime.now(UTC).replace(tzinfo=None)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _checked(path: Path, cell: CellValue, row: int, index: int, replaced: list[str]) -> CellValue:
    """A cell as XLSX can hold it: before the workbook is begun, which cannot be left unfinished."""
    if isinstance(cell, float) and not math.isfinite(cell):
        return None
    if isinstance(cell, datetime):
        return cell.replace(tzinfo=None)
    if not isinstance(cell, str):
        return cell
    where = f"{column_letters(index)}{row}"
    text = _clean(cell, where, replaced)
    if len(text) > _XLSX_TEXT:
        raise TableError(
            f"{path}: cell {where} has {len(text):,} characters, XLSX holds {_XLSX_TEXT:,}; "
            "write CSV instead"
        )
    return text


def set_text(cell: Any, text: str) -> None:
    """Put a text into a workbook's cell as text and nothing else."""
    cell.value = text
    _mark_as_text(cell, text)


def _mark_as_text(cell: Any, text: str) -> None:
    cell.data_type = "s"  # whatever the library took it for
    if starts_formula(text):
        cell.quotePrefix = True


def sheet_title(text: str) -> str:
    """A text as the name of a sheet: at most 31 characters, none of them ``[]:*?/\\``."""
    return re.sub(r"[\[\]:*?/\\\x00-\x1f]", " ", text).strip(" '")[:31] or "Sheet"


def _clean(text: str, where: str, replaced: list[str]) -> str:
    """Characters that neither XML nor UTF-8 can hold, replaced and remembered."""
    cleaned = _NOT_IN_XML.sub("\ufffd", text)
    if cleaned != text:
        replaced.append(where)
    return cleaned


def _notes(replaced: list[str]) -> list[str]:
    if not replaced:
        return []
    return [f"control characters, which the file cannot hold, replaced in {_list(replaced)}"]


def _list(cells: list[str], most: int = 8) -> str:
    more = f" and {len(cells) - most} more" if len(cells) > most else ""
    return ", ".join(cells[:most]) + more
