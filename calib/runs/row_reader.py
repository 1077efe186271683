"""One row of a grid as the fields of a run, with everything that is wrong about it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calib.errors import RowProblem
from calib.runs.cells import (
    CellError,
    Marks,
    as_text,
    is_empty,
    read_number,
    says_nothing,
    show,
    unit_in,
)
from calib.runs.checks import Checker
from calib.runs.columns import COLUMNS, Quantity
from calib.runs.curve_paths import find_curve
from calib.runs.dates import Order, read_date
from calib.runs.grid import Grid
from calib.runs.headers import Heading
from calib.runs.model import CellValue
from calib.runs.plan import Plan
from calib.runs.units import Unit, column_unit


@dataclass(slots=True)
class RowFields:
    """What was read from one row, before its label is settled.

    ``digits`` are those of the cells with the factor from their heading's unit to the column's.
    """

    row: int
    fields: dict[str, Any]
    u: dict[str, float]
    written: dict[str, str]
    digits: dict[str, tuple[str, float]]
    extra: dict[str, CellValue]
    problems: list[RowProblem]


@dataclass(slots=True)
class RowReader:
    """Reads the rows of one grid by its plan; collects remarks on the way."""

    grid: Grid
    plan: Plan
    folder: Path
    marks: Marks
    order: Order
    remarks: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))

    def read(self, row: int, label: str) -> RowFields:
        """Read one row; ``label`` is what its problems are filed under."""
        out = RowFields(row, {}, {}, {}, {}, {}, [])
        failed: set[str] = set()
        later: list[tuple[str, list[tuple[int, Heading]]]] = []
        for name, places in self.plan.known.items():
            if name.startswith("u_"):
                later.append((name, places))
            else:
                self._column(out, name, places, label, failed)
        for name, places in later:
            self._column(out, name, places, label, failed)
        self._too_wide(out, label)
        checker = Checker(self.plan.columns, failed)
        for problem in checker.problems(label, out.fields):
            out.problems.append(self._with_address(row, problem))
        for name, index in self.plan.extra.items():
            out.extra[name] = _untouched(self.grid.cell(row, index))
        return out

    def _column(
        self,
        out: RowFields,
        name: str,
        places: list[tuple[int, Heading]],
        label: str,
        failed: set[str],
    ) -> None:
        found: list[Any] = []
        for index, heading in places:
            cell = self.grid.cell(out.row, index)
            try:
                self._refuse_fault(out.row, index)
                put = self._cell(out, heading, cell)
            except CellError as error:
                column = name.split(" or ", maxsplit=1)[0]
                where = self.grid.address(out.row, index)
                seen = self._seen(out.row, index)
                message = f"{where} {error.message}"
                out.problems.append(
                    RowProblem(label, column, message, seen, error.expected, error.remedy)
                )
                failed.update(name.split(" or "))
                continue
            if put is not None:
                found.append(put())
        if len(found) > 1 and any(value != found[0] for value in found[1:]):
            cells = " and ".join(self.grid.address(out.row, index) for index, _ in places)
            message = f"{cells} both mean it and contradict each other"
            seen = " and ".join(show(value) for value in found)
            out.problems.append(
                RowProblem(label, name, message, seen, "one value", "clear one of them")
            )

    def _refuse_fault(self, row: int, index: int) -> None:
        place = (row, index)
        if place in self.grid.errors:
            raise CellError("holds a spreadsheet error", "a value", "mend the formula, or type it")
        if place in self.grid.uncalculated:
            raise CellError(
                "holds a formula that was never calculated",
                "a value",
                "open the workbook in a spreadsheet program and save it, or type the value",
            )

    def _seen(self, row: int, index: int) -> str:
        place = (row, index)
        fault = self.grid.errors.get(place) or self.grid.uncalculated.get(place)
        return show(fault if fault else self.grid.cell(row, index))

    def _cell(self, out: RowFields, heading: Heading, cell: CellValue) -> Callable[[], Any] | None:
        """What one cell says, as a step that stores it; None where it says nothing.

        Raises:
            CellError: the cell cannot be what the column needs.
        """
        if heading.column is None or COLUMNS[heading.column].kind == "number":
            return None if says_nothing(cell) else self._number_cell(out, heading, cell)
        if is_empty(cell) or (isinstance(cell, str) and cell.strip() in ("-", "–", "—")):
            return None
        name, kind = heading.column, COLUMNS[heading.column].kind
        if kind == "date":
            return self._date(out, cell)
        if kind == "file":
            return None if says_nothing(cell) else self._curve(out, as_text(cell))
        return lambda: out.fields.setdefault(name, as_text(cell))

    def _number_cell(self, out: RowFields, heading: Heading, cell: CellValue) -> Callable[[], Any]:
        if heading.amount is not None:
            return self._amount(out, heading.amount, cell)
        name = str(heading.column)
        if heading.uncertainty:
            return self._uncertainty(out, heading, name, cell)
        quantity = _quantity(name)
        return self._number(out, name, heading.unit or column_unit(quantity), cell)

    def _number(self, out: RowFields, name: str, unit: Unit, cell: CellValue) -> Callable[[], Any]:
        number = read_number(cell, _quantity(name), unit, self.marks)
        if number.percent:
            own = COLUMNS[name].unit
            raise CellError("is in per cent", f"a number in {own}", f"convert it to {own}")
        if number.unit is not None:
            about = f"column {name}: unit typed in, converted from {number.unit.symbol}"
            self.remarks[about].append(show(cell))

        def put() -> float:
            out.written.setdefault(name, number.written)
            out.fields.setdefault(name, number.value)
            if number.unit is None:
                out.digits[name] = (number.digits, unit.factor)
            return number.value

        return put

    def _amount(self, out: RowFields, side: str, cell: CellValue) -> Callable[[], Any]:
        typed = unit_in(cell) if isinstance(cell, str) else None
        names = {"volume": f"{side}_mL", "mass": f"{side}_g"}
        if typed is None or typed.quantity not in names:
            expected = "a number with its unit, such as 50 mL or 50 g"
            raise CellError("says no mL and no g", expected, "write the unit behind the number")
        return self._number(out, names[typed.quantity], column_unit(typed.quantity), cell)

    def _uncertainty(
        self, out: RowFields, heading: Heading, name: str, cell: CellValue
    ) -> Callable[[], Any]:
        unit = heading.unit or column_unit(_quantity(name))
        number = read_number(cell, _quantity(name), unit, self.marks)
        u = float(number.digits) * (number.unit or unit).factor
        if number.percent or heading.percent:
            value = out.fields.get(name)
            if value is None:
                raise CellError(
                    "is in per cent of an empty cell", f"{name} filled in", "fill it in"
                )
            u = float(number.digits) * abs(value) / 100.0
        if not 0.0 <= u < math.inf:
            raise CellError("is no uncertainty", "a standard uncertainty, 0 or more", "correct it")

        def put() -> float:
            return out.u.setdefault(name, u)

        return put

    def _date(self, out: RowFields, cell: CellValue) -> Callable[[], Any]:
        day, note = read_date(cell, self.order)
        if note:
            self.remarks[f"column date: {note}"].append(show(cell))
        return lambda: out.fields.setdefault("date", day)

    def _curve(self, out: RowFields, name: str) -> Callable[[], Any]:
        written, path, note = find_curve(name, self.folder)
        if note:
            self.remarks[note].append(name)

        def put() -> str:
            out.fields.setdefault("curve_path", path)
            return str(out.fields.setdefault("curve", written))

        return put

    def _too_wide(self, out: RowFields, label: str) -> None:
        """More cells than headings in a text file: a separator stands inside a cell."""
        if not self.grid.lines:
            return
        cells = self.grid.rows[out.row]
        if all(is_empty(cell) for cell in cells[self.plan.headed :]):
            return
        out.problems.append(
            RowProblem(
                label,
                "run",
                f"line {self.grid.row_number(out.row)} has more cells than there are headings",
                f"{len(cells)} cells",
                f"{self.plan.headed} cells",
                "put cells with a comma in quotes, or export with semicolons",
            )
        )

    def _with_address(self, row: int, problem: RowProblem) -> RowProblem:
        places = self.plan.known.get(problem.column)
        if not places:
            return problem
        address = self.grid.address(row, places[0][0])
        return RowProblem(
            problem.row,
            problem.column,
            f"{address}: {problem.message}",
            problem.found,
            problem.expected,
            problem.remedy,
        )


def _quantity(name: str) -> Quantity:
    quantity = COLUMNS[name].quantity
    if quantity is None:
        raise KeyError(name)
    return quantity


def _untouched(cell: CellValue) -> CellValue:
    """A carried-through cell; a workbook's 3.0 is the 3 that it shows."""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return int(cell)
    return cell
