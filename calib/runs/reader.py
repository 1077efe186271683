"""Reading a table of runs from CSV, XLSX, XLS or ODS."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from datetime import date
from pathlib import Path
from typing import Any

from calib.errors import RowProblem, TableError
from calib.runs.columns import COLUMNS, NUMBERS
from calib.runs.model import Run, Table


def _key(header: str) -> str:
    return re.sub(r"[^a-z0-9]+", "", header.casefold().replace("per", "").replace("°", ""))


_KNOWN = {_key(n): n for n in [*COLUMNS, *(f"u_{c}" for c in NUMBERS)]}


def _grid(path: Path, data: bytes) -> list[list[Any]]:
    if data[:2] == b"PK" or data[:4] == b"\xd0\xcf\x11\xe0":
        from python_calamine import CalamineWorkbook

        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        return book.get_sheet_by_index(0).to_python(skip_empty_area=False)
    text = data.decode("utf-8-sig")
    dialect = csv.Sniffer().sniff(text[:4000], delimiters=",;\t")
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=dialect.delimiter))


def read_table(path: Path | str) -> Table:  # noqa: PLR0912
    """Read a table of runs.

    Raises:
        TableError: the file cannot be read as a table at all.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
        grid = _grid(path, data)
    except (OSError, UnicodeError, csv.Error) as error:
        raise TableError(f"{path}: {error}") from error
    headers = [str(h).strip() for h in grid[0]] if grid else []
    known = [_KNOWN.get(_key(h)) for h in headers]
    rows: list[Run] = []
    problems: list[RowProblem] = []
    for number, cells in enumerate(grid[1:], start=2):
        if all(str(c).strip() == "" for c in cells):
            continue
        fields: dict[str, Any] = {"u": {}, "extra": {}, "sheet_row": number}
        bad: list[RowProblem] = []
        for header, name, cell in zip(headers, known, cells, strict=False):
            text = str(cell).strip()
            if name is None:
                fields["extra"][header] = cell
            elif text == "":
                continue
            elif name in NUMBERS or name.startswith("u_"):
                try:
                    value = float(text.replace(",", "."))
                except ValueError:
                    bad.append(RowProblem(f"sheet row {number}", name, "is no number", text))
                    continue
                if name.startswith("u_"):
                    fields["u"][name[2:]] = value
                else:
                    fields[name] = value
            elif name == "date":
                fields[name] = cell if isinstance(cell, date) else date.fromisoformat(text[:10])
            else:
                fields[name] = text
        fields.setdefault("run", f"row {number}")
        if fields.get("curve"):
            fields["curve_path"] = path.parent / fields["curve"]
        if bad:
            problems += bad
        else:
            rows.append(Run(**fields))
    return Table(
        path=path,
        columns=tuple(n for n in known if n),
        rows=tuple(rows),
        problems=tuple(problems),
        extra_columns=tuple(h for h, n in zip(headers, known, strict=True) if n is None),
        digest=hashlib.sha256(data).hexdigest(),
    )
