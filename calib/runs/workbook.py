"""Workbooks (XLSX, ODS, XLS) as grids, one per sheet, in the order of the sheets.

python-calamine reads the values; nothing in a workbook is calculated, run or fetched. The only
module that knows the library, so that it can be replaced.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from calib.errors import TableError
from calib.runs.grid import MAX_CELLS, MAX_ROWS, Grid
from calib.runs.model import CellValue
from calib.runs.package import Package, local
from calib.runs.sheet_facts import SheetFacts, ods_facts, xlsx_facts, xlsx_shared, xlsx_sheets

ZIP = b"PK\x03\x04"
COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def is_workbook(data: bytes) -> bool:
    """Whether the bytes begin as a workbook does, whatever the file's name says."""
    return data.startswith((ZIP, COMPOUND))


_ENCRYPTED_XLSX = "EncryptedPackage".encode("utf-16-le")  # a stream's name, [MS-OFFCRYPTO] 2.3.4


def read_workbook(path: Path, data: bytes, sheet: str | None = None) -> Iterator[Grid]:
    """The grids of a workbook's sheets, shown ones first, each read when asked for.

    Raises:
        TableError: the workbook is damaged, encrypted, too large, or lacks the sheet asked for.
    """
    package = Package(path, data) if data.startswith(ZIP) else None
    if _has_password(package, data):
        raise TableError(f"{path}: the workbook has a password; save it without one")
    if package is not None and "xl/workbook.bin" in package:
        raise TableError(f"{path}: a binary workbook (XLSB); save it as XLSX, ODS or CSV")
    facts = _Facts(package)
    book = _open(path, data)
    names = _in_order(book)
    if sheet is not None:
        if sheet not in names:
            raise TableError(f"{path}: there is no sheet {sheet!r}; it has {', '.join(names)}")
        names = [sheet]
    for name in names:
        try:
            yield _grid(path, book, name, facts)
        except TableError as error:
            yield Grid(rows=[], sheet=name, form=facts.form, fault=str(error))


def _has_password(package: Package | None, data: bytes) -> bool:
    """Whether a workbook is encrypted as its own form does it, so that its cells cannot be read."""
    if package is None:
        return _ENCRYPTED_XLSX in data
    manifest = "META-INF/manifest.xml"  # OASIS OpenDocument 1.3 part 2, 4.5
    if manifest not in package:
        return False
    return any(local(element) == "encryption-data" for element in package.elements(manifest))


def _open(path: Path, data: bytes) -> Any:
    from python_calamine import CalamineWorkbook, PasswordError

    try:
        return CalamineWorkbook.from_filelike(io.BytesIO(data))
    except PasswordError as error:
        raise TableError(f"{path}: the workbook has a password; save it without one") from error
    except BaseException as error:
        raise _unreadable(path, error) from error


def _unreadable(path: Path, error: BaseException) -> BaseException:
    """The library's failure as ours; what is no failure of the file is handed on as it is."""
    if isinstance(error, KeyboardInterrupt | SystemExit | MemoryError | GeneratorExit):
        return error
    return TableError(
        f"{path}: cannot be read as a workbook ({error}); open it in a spreadsheet program and "
        "save it as XLSX, ODS or CSV"
    )


def _in_order(book: Any) -> list[str]:
    from python_calamine import SheetTypeEnum, SheetVisibleEnum

    sheets = [m for m in book.sheets_metadata if m.typ == SheetTypeEnum.WorkSheet]
    shown = [m.name for m in sheets if m.visible == SheetVisibleEnum.Visible]
    return shown + [m.name for m in sheets if m.visible != SheetVisibleEnum.Visible]


class _Facts:
    """The facts of a workbook's sheets, read from its XML where it has any."""

    def __init__(self, package: Package | None) -> None:
        self.package = package
        self.form = "xls"
        self.parts: dict[str, str] = {}
        self.shared: list[int] = []
        self.ods: dict[str, SheetFacts] = {}
        self.base = Grid(rows=[]).date_base
        if package is not None and "xl/workbook.xml" in package:
            self.form = "xlsx"
            self.parts, self.base = xlsx_sheets(package)
            self.shared = xlsx_shared(package)
        elif package is not None and "content.xml" in package:
            self.form = "ods"
            self.ods = ods_facts(package)
            for name, facts in self.ods.items():
                facts.check_extent(package, name)
        elif package is not None:
            raise TableError(
                f"{package.path}: a zip file, but no workbook; expected CSV, XLSX, XLS or ODS"
            )

    def of(self, sheet: str) -> SheetFacts:
        if self.form == "xlsx" and self.package is not None:
            facts = xlsx_facts(self.package, self.parts.get(sheet, ""), self.shared)
            facts.check_extent(self.package, sheet)
            return facts
        return self.ods.get(sheet, SheetFacts())


def _grid(path: Path, book: Any, name: str, known: _Facts) -> Grid:
    facts = known.of(name)
    try:
        sheet = book.get_sheet_by_name(name)
        end = sheet.end or (0, 0)
        if end[0] >= MAX_ROWS or (end[0] + 1) * (end[1] + 1) > MAX_CELLS:
            raise TableError(
                f"{path}: sheet {name!r} has {end[0] + 1:,} rows and {end[1] + 1:,} columns; "
                f"expected at most {MAX_ROWS:,} rows and {MAX_CELLS:,} cells"
            )
        rows: list[list[CellValue]] = sheet.to_python(skip_empty_area=False)
        blocks = sheet.merged_cell_ranges if known.form == "xls" else None
    except TableError:
        raise
    except BaseException as error:
        raise _unreadable(path, error) from error
    grid = Grid(rows=rows, sheet=name, form=known.form, date_base=known.base)
    grid.merged = facts.merged or [(*first, *last) for first, last in blocks or ()]
    grid.hidden_rows = frozenset(facts.hidden_rows)
    grid.hidden_columns = frozenset(facts.hidden_columns)
    grid.errors, grid.uncalculated = facts.errors, facts.uncalculated
    grid.calculated = facts.calculated
    if known.form == "xls":
        grid.notes.append(
            "an old XLS workbook: hidden rows and cells with errors cannot be told from shown and "
            "empty ones; save it as XLSX if that matters"
        )
    return grid
