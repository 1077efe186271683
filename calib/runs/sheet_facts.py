"""What the values of a sheet do not tell: merged and hidden cells, errors, formulas not calculated.

Read from the sheet's XML (ECMA-376 part 1, 18.3; OASIS OpenDocument 1.3 part 3, 9), since the
reader of values returns an empty cell for all of these. It also finds the sheet's true extent, so
that one far-off cell does not make a table of billions, and how much text its cells hold together:
a text that is stored once can stand in every cell of a sheet.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from xml.etree.ElementTree import Element

from calib.errors import TableError
from calib.runs.grid import MAX_CELLS, MAX_ROWS, Block, Place, column_letters
from calib.runs.package import Package, attribute, local

MAX_TEXT = 20_000_000
"""Characters of all cells of a sheet together."""
_MOST_REMEMBERED = 10_000
_MOST_COLUMNS = 16_384


@dataclass(slots=True)
class SheetFacts:
    """The facts of one sheet; rows and columns are counted from 0."""

    merged: list[Block] = field(default_factory=list)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    errors: dict[Place, str] = field(default_factory=dict)
    uncalculated: dict[Place, str] = field(default_factory=dict)
    calculated: int = 0
    last_row: int = -1
    last_column: int = -1
    characters: int = 0

    def filled(self, row: int, column: int) -> None:
        """Take note of a cell with content."""
        self.last_row = max(self.last_row, row)
        self.last_column = max(self.last_column, column)

    def check_extent(self, package: Package, sheet: str) -> None:
        """Refuse a sheet that is too large to be held.

        Raises:
            TableError: too many rows, too many cells between the first and the last one, or too
                much text in them.
        """
        rows, columns = self.last_row + 1, self.last_column + 1
        if rows > MAX_ROWS or rows * columns > MAX_CELLS:
            corner = f"{column_letters(self.last_column)}{self.last_row + 1}"
            raise TableError(
                f"{package.path}: sheet {sheet!r} reaches as far as cell {corner}; expected at "
                f"most {MAX_ROWS:,} rows and {MAX_CELLS:,} cells; delete what stands beyond the "
                "table"
            )
        if self.characters > MAX_TEXT:
            raise TableError(
                f"{package.path}: the cells of sheet {sheet!r} hold {self.characters:,} characters;"
                f" expected at most {MAX_TEXT:,}; copy the readings into a new workbook"
            )


_REFERENCE = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,7})")


def _true(value: str | None) -> bool:
    return value is not None and value.casefold() in ("1", "true", "on")


def _place(reference: str) -> Place | None:
    match = _REFERENCE.fullmatch(reference)
    if match is None:
        return None
    column = 0
    for letter in match[1].upper():
        column = column * 26 + ord(letter) - 64
    return int(match[2]) - 1, column - 1


# --- XLSX ---------------------------------------------------------------------------------------


def xlsx_sheets(package: Package) -> tuple[dict[str, str], date]:
    """Each sheet's part by its name, and the day from which the workbook counts its dates."""
    targets: dict[str, str] = {}
    for element in package.elements("xl/_rels/workbook.xml.rels"):
        if local(element) == "Relationship":
            target = element.get("Target", "").removeprefix("/")
            targets[element.get("Id", "")] = target if target[:3] == "xl/" else "xl/" + target
    parts: dict[str, str] = {}
    base = date(1899, 12, 30)
    for element in package.elements("xl/workbook.xml"):
        if local(element) == "sheet":
            relation, name = attribute(element, "id") or "", element.get("name", "")
            if name in parts:
                raise TableError(f"{package.path}: two sheets are called {name!r}; rename one")
            parts[name] = targets.get(relation, "")
        elif local(element) == "workbookPr" and _true(element.get("date1904")):
            base = date(1904, 1, 1)
    return parts, base


def xlsx_shared(package: Package) -> list[int]:
    """How long each text is that cells of an XLSX workbook may share (18.4)."""
    part = "xl/sharedStrings.xml"
    if part not in package:
        return []
    return [
        sum(map(len, element.itertext()))
        for element in package.elements(part, ("si",))
        if local(element) == "si"
    ]


def xlsx_facts(package: Package, part: str, shared: Sequence[int] = ()) -> SheetFacts:
    """The facts of one sheet of an XLSX workbook; ``shared`` from `xlsx_shared`.

    Raises:
        TableError: the part is no sheet, or its cells hold too much.
    """
    facts = SheetFacts()
    row = -1
    for element in package.elements(part, ("row",)):
        if not element.tag.endswith("}row"):
            _xlsx_other(facts, local(element), element)
            continue
        number = element.get("r")
        row = row + 1 if number is None else _whole(package, number) - 1
        if _true(element.get("hidden")) and len(facts.hidden_rows) < MAX_ROWS:
            facts.hidden_rows.add(row)
        column = -1
        for cell in element:
            given = cell.get("r")
            place = (row, column + 1) if given is None else _place(given)
            if place is None:
                raise TableError(
                    f"{package.path}: a damaged workbook: a cell stands at {given!r:.40}; save it"
                    " anew"
                )
            column = place[1]
            facts.characters += _xlsx_cell(facts, place, cell, shared)
    return facts


def _whole(package: Package, text: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise TableError(
            f"{package.path}: a damaged workbook: {text!r:.40} is no number of a row; save it anew"
        )
    return int(text)


def _xlsx_cell(facts: SheetFacts, place: Place, element: Element, shared: Sequence[int]) -> int:
    """Take note of a cell; how many characters it holds."""
    formula = value = None
    inline = False
    for child in element:
        if child.tag.endswith("}v"):
            value = child.text
        elif child.tag.endswith("}f"):
            formula = child.text or "a shared formula"
        elif child.tag.endswith("}is"):
            inline = True
    kind = element.get("t", "n")
    if value is not None or inline:
        facts.filled(*place)
    if kind == "e" and len(facts.errors) < _MOST_REMEMBERED:
        facts.errors[place] = value or "an error"
    elif formula is not None:
        if value is None and kind != "str":
            facts.uncalculated[place] = "=" + formula
        else:
            facts.calculated += 1
    if kind == "s" and value is not None and value.strip().isdecimal() and len(value) < 12:
        index = int(value)
        return shared[index] if index < len(shared) else 0
    return sum(map(len, element.itertext()))


def _xlsx_other(facts: SheetFacts, name: str, element: Element) -> None:
    if name == "mergeCell" and len(facts.merged) < _MOST_REMEMBERED:
        first, _, last = element.get("ref", "").partition(":")
        top, end = _place(first), _place(last or first)
        if top and end:
            facts.merged.append((*top, *end))
    elif name == "col" and _true(element.get("hidden")):
        low, high = element.get("min", ""), element.get("max", "")
        if low.isdecimal() and high.isdecimal() and max(len(low), len(high)) < 10:
            last_hidden = min(int(high), _MOST_COLUMNS)
            if len(facts.hidden_columns) < _MOST_COLUMNS:
                facts.hidden_columns.update(range(int(low) - 1, last_hidden))


# --- ODS ----------------------------------------------------------------------------------------


_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_CALC = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")


def ods_facts(package: Package) -> dict[str, SheetFacts]:
    """The facts of every sheet of an ODS workbook, by its name."""
    found: dict[str, SheetFacts] = {}
    walk = _OdsWalk(SheetFacts())
    for element in package.elements("content.xml", ("table-row",)):
        tag = element.tag
        if tag == f"{_TABLE}table-row":
            walk.take_row(element)
        elif tag == f"{_TABLE}table-column":
            walk.take_column(element)
        elif tag == f"{_TABLE}table":
            name = element.get(f"{_TABLE}name", "")
            if name in found:
                raise TableError(f"{package.path}: two sheets are called {name!r}; rename one")
            found[name] = walk.facts
            walk = _OdsWalk(SheetFacts())
    return found


@dataclass(slots=True)
class _OdsWalk:
    """Counts the rows and columns of one sheet, where one element can stand for many."""

    facts: SheetFacts
    row: int = 0
    columns: int = 0

    def take_column(self, element: Element) -> None:
        repeats = _repeats(element, "number-columns-repeated")
        if _is_hidden(element) and self.columns < _MOST_COLUMNS:
            last = self.columns + min(repeats, _MOST_COLUMNS)
            self.facts.hidden_columns.update(range(self.columns, last))
        self.columns += repeats

    def take_row(self, element: Element) -> None:
        repeats = _repeats(element, "number-rows-repeated")
        column = 0
        for cell in element:
            if cell.tag in _CELLS:
                each = _repeats(cell, "number-columns-repeated")
                self.facts.characters += _ods_text(cell) * repeats * each
                column += self.take_cell(cell, column)
        if _is_hidden(element) and self.row < MAX_ROWS:
            self.facts.hidden_rows.update(range(self.row, self.row + min(repeats, MAX_ROWS)))
        if self.facts.last_row == self.row and repeats > 1:
            self.facts.last_row = self.row + repeats - 1
        self.row += repeats

    def take_cell(self, cell: Element, column: int) -> int:
        repeats = _repeats(cell, "number-columns-repeated")
        kind = cell.get(f"{_OFFICE}value-type")
        formula = cell.get(f"{_TABLE}formula")
        if not len(cell) and kind is None and formula is None:
            return repeats  # nothing but a style, most often to the end of the sheet
        place = (self.row, column)
        text = "".join(cell.itertext()).strip()
        if kind is not None or text:
            self.facts.filled(self.row, column + repeats - 1)
        self.take_merge(place, cell)
        failed = formula is not None or cell.get(f"{_CALC}value-type") == "error"
        if failed and text.startswith(("#", "Err:")):
            self.facts.errors[place] = text
        elif formula is not None and kind is None and not text:
            self.facts.uncalculated[place] = "=" + formula.partition("=")[2]
        elif formula is not None:
            self.facts.calculated += 1
        return repeats

    def take_merge(self, place: Place, cell: Element) -> None:
        rows = _repeats(cell, "number-rows-spanned")
        columns = _repeats(cell, "number-columns-spanned")
        if rows * columns > 1 and len(self.facts.merged) < _MOST_REMEMBERED:
            last = (place[0] + rows - 1, place[1] + columns - 1)
            self.facts.merged.append((*place, *last))


def _ods_text(cell: Element) -> int:
    """Characters that one cell may come to, in its text or in the value beside it."""
    value = cell.get(f"{_OFFICE}string-value") or cell.get(f"{_OFFICE}value") or ""
    return max(len(value), sum(map(len, cell.itertext())))


def _is_hidden(element: Element) -> bool:
    return element.get(f"{_TABLE}visibility") in ("collapse", "filter")


def _repeats(element: Element, name: str) -> int:
    value = element.get(_TABLE + name)
    if value is None or not value.isdecimal():
        return 1
    return max(1, min(int(value[:9]), 1 << 24))
