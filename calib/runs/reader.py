"""Reading a table of runs from CSV, XLSX, ODS or XLS.

The rows that can be used and the ones that cannot come back together: one bad cell costs its row,
never the table. Everything guessed, renamed or converted is in the table's notes.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from calib.errors import RowProblem, TableError
from calib.runs.cells import Marks, as_text, is_empty
from calib.runs.checks import has_readings
from calib.runs.columns import COLUMNS
from calib.runs.curve_paths import named_curves
from calib.runs.dates import Order, find_order
from calib.runs.grid import Grid, Head, find_head
from calib.runs.model import CellValue, Run, Table
from calib.runs.plan import Plan, fill_merged, make_plan
from calib.runs.readings_file import read_settings
from calib.runs.row_reader import RowFields, RowReader
from calib.runs.steps import find_steps
from calib.runs.text_file import read_text
from calib.runs.workbook import is_workbook, read_workbook
from fitting.files.bounded import TABLE, read_bytes

EXAMPLE_LABEL = "example (not read)"
"""The label of a template's filled-in example row, which is passed over on reading."""

_EXAMPLE = "".join(filter(str.isalpha, EXAMPLE_LABEL))


def read_table(path: Path | str, *, sheet: str | None = None) -> Table:
    """Read a table of runs.

    ``sheet`` names a workbook's sheet; without it the first one with known headings is taken.
    ``readings.toml`` beside the table is consulted for the order of day and month.

    Raises:
        TableError: the file cannot be read as a table at all.
    """
    path = Path(path)
    data = read_bytes(path, TABLE, TableError)
    settings = read_settings(path)
    grid, head, notes = _find_table(path, data, sheet)
    plan = make_plan(grid, head)
    shared, merged_notes = fill_merged(grid, head, plan)
    notes += [*grid.notes, *([head.note] if head.note else []), *plan.notes, *merged_notes]
    notes += _hidden_notes(grid, plan)
    rows = _Rows(grid, head, plan)
    order = _order(grid, head, plan, settings.date_order)
    reader = RowReader(grid, plan, path.parent, _marks(grid, plan, rows.wanted), order)
    read = [reader.read(row, rows.provisional[row]) for row in rows.wanted]
    used, skipped = _leave_out_unused(grid, read, rows.provisional)
    labels = _Labels(grid, plan, shared)
    runs, problems = labels.settle(used)
    problems = [*_above_the_headings(grid, head, plan), *problems]
    if not runs and not problems:
        raise TableError(_no_runs(path, grid, head, [*rows.notes, *skipped]))
    notes += [*rows.notes, *skipped, *labels.notes]
    notes += [f"{text} ({_some(cells)})" for text, cells in reader.remarks.items()]
    return Table(
        path=path,
        columns=plan.columns,
        rows=tuple(runs),
        problems=tuple(problems),
        extra_columns=tuple(plan.extra),
        notes=tuple(dict.fromkeys(notes)),
        digest=hashlib.sha256(data).hexdigest(),
        sheet=grid.sheet,
        steps=find_steps([out.digits for out in used if not out.problems]),
        curves=named_curves([(out.fields, out.extra) for out in read], path.parent),
    )


def _find_table(path: Path, data: bytes, sheet: str | None) -> tuple[Grid, Head, list[str]]:
    """The grid to read with its headings; the first sheet with three known headings, else two."""
    found: list[tuple[Grid, Head]] = []
    names: list[str] = []
    faults: list[str] = []
    for grid in _grids(path, data, sheet):
        names.append(grid.sheet)
        faults += [grid.fault] if grid.fault else []
        head = find_head(grid)
        if head is not None:
            found.append((grid, head))
    if not found:
        raise TableError(faults[0] if faults else _no_headings(path, names))
    grid, head = next((f for f in found if f[1].score >= 3), found[0])
    notes: list[str] = list(faults)
    if len(names) > 1:
        others = [repr(g.sheet) for g, _ in found if g is not grid]
        also = f"; {', '.join(others)} could be one too: name it to read it" if others else ""
        notes.append(f"sheet {grid.sheet!r} of {len(names)} read as the table of runs{also}")
    if head.row > 0:
        above = [row for row in range(head.row) if not all(map(is_empty, grid.rows[row]))]
        named = f" ({_some([_shown(grid, row) for row in above])})" if above else ""
        at = grid.row_number(head.row)
        notes.append(f"headings found in row {at}; rows above passed over{named}")
    return grid, head, notes


def _grids(path: Path, data: bytes, sheet: str | None) -> Iterator[Grid]:
    if is_workbook(data):
        yield from read_workbook(path, data, sheet)
    elif sheet is not None:
        raise TableError(f"{path}: a text file has no sheets; leave out the name {sheet!r}")
    else:
        yield read_text(path, data)


def _no_headings(path: Path, sheets: list[str]) -> str:
    where = f" in {', '.join(sheets)}" if any(sheets) else ""
    return (
        f"{path}: no row of headings found{where}; expected a row with columns such as "
        f"{', '.join(list(COLUMNS)[:7])} …"
    )


def _no_runs(path: Path, grid: Grid, head: Head, passed: list[str]) -> str:
    also = f" ({'; '.join(passed)})" if passed else ""
    return (
        f"{path}: there are headings in row {grid.row_number(head.row)}, but no run below them"
        f"{also}; expected one row per run"
    )


def _above_the_headings(grid: Grid, head: Head, plan: Plan) -> list[RowProblem]:
    """Rows above the headings that hold readings: they are no title, and are not lost unnamed."""
    numeric = _number_columns(plan)
    return [
        RowProblem(
            f"sheet row {grid.row_number(row)}",
            "run",
            "stands above the headings, where no run is read",
            _shown(grid, row),
            "runs below the headings only",
            "move the row, or the headings, so that it stands below them",
        )
        for row in range(head.row)
        if sum(_is_number(grid.cell(row, index)) for index in numeric) > 1
    ]


def _is_number(cell: CellValue) -> bool:
    if isinstance(cell, int | float):
        return not isinstance(cell, bool)
    try:
        float(as_text(cell).replace(",", "."))
    except ValueError:
        return False
    return True


def _shown(grid: Grid, row: int) -> str:
    first = next(as_text(cell) for cell in grid.rows[row] if not is_empty(cell))
    return f"row {grid.row_number(row)}: {first[:40]!r}"


def _hidden_notes(grid: Grid, plan: Plan) -> list[str]:
    notes = []
    rows = sorted(r + 1 for r in grid.hidden_rows if r < len(grid.rows))
    if rows:
        notes.append(f"hidden rows are read like the others: {_some([str(r) for r in rows])}")
    names = [n for n, places in plan.known.items() if places[0][0] in grid.hidden_columns]
    if names:
        notes.append(f"hidden columns are read like the others: {_some(names)}")
    if grid.calculated:
        notes.append(f"{grid.calculated} cells hold formulas: the values last calculated are used")
    return notes


def _some(items: list[str], most: int = 5) -> str:
    shown = ", ".join(items[:most])
    return shown if len(items) <= most else f"{shown} and {len(items) - most} more"


def _marks(grid: Grid, plan: Plan, rows: list[int]) -> Marks:
    marks = Marks(comma=grid.comma_decimals)
    for row in rows:
        for index in _number_columns(plan):
            cell = grid.cell(row, index)
            if isinstance(cell, str):
                marks.see(cell)
    return marks


def _number_columns(plan: Plan) -> list[int]:
    return [
        index
        for places in plan.known.values()
        for index, heading in places
        if heading.amount is not None or COLUMNS[str(heading.column)].kind == "number"
    ]


def _order(grid: Grid, head: Head, plan: Plan, given: str | None) -> Order:
    cells = [
        grid.cell(row, index)
        for index, _ in plan.known.get("date", ())
        for row in range(head.first_below, len(grid.rows))
    ]
    wanted = "day first" if given == "day first" else "month first" if given else None
    return find_order(cells, wanted, grid.date_base)  # type: ignore[arg-type]


class _Rows:
    """Which rows below the headings hold runs; the others are passed over with a note."""

    def __init__(self, grid: Grid, head: Head, plan: Plan) -> None:
        self.grid, self.plan = grid, plan
        self.known = [index for places in plan.known.values() for index, _ in places]
        self.head = [h.text.strip().casefold() for h in head.headings]
        self.labels = plan.known.get("run", [])
        self.wanted: list[int] = []
        self.provisional: dict[int, str] = {}
        self._passed: dict[str, list[str]] = {}
        for row in range(head.first_below, len(grid.rows)):
            self._sort(row)

    def _sort(self, row: int) -> None:
        cells = self.grid.rows[row]
        if all(is_empty(cell) for cell in cells) and not self._faulty(row):
            return
        label = as_text(self.grid.cell(row, self.labels[0][0])) if self.labels else ""
        if why := self._no_run(row, label):
            self._passed.setdefault(why, []).append(_shown(self.grid, row))
            return
        self.wanted.append(row)
        self.provisional[row] = label or f"sheet row {self.grid.row_number(row)}"

    def _faulty(self, row: int) -> bool:
        places = [(row, index) for index in self.known]
        return any(p in self.grid.errors or p in self.grid.uncalculated for p in places)

    def _no_run(self, row: int, label: str) -> str:
        cells = self.grid.rows[row]
        first = next((as_text(cell) for cell in cells if not is_empty(cell)), "")
        if label[:1] in "eE(" and "".join(filter(str.isalpha, label.casefold())) == _EXAMPLE:
            return "the template's example is passed over"
        if first.startswith(("#", "//")) and not any(as_text(c)[:1].isdigit() for c in cells):
            return "comments are passed over"
        if first.casefold() in self.head and self._repeats_headings(cells):
            return "headings repeated among the rows are passed over"
        known = [self.grid.cell(row, index) for index in self.known]
        if all(is_empty(cell) for cell in known) and not self._faulty(row):
            return "rows with nothing in a known column are not read"
        return ""

    def _repeats_headings(self, cells: list[CellValue]) -> bool:
        texts = [as_text(cell).casefold() for cell in cells]
        return [text for text in texts if text] == [head for head in self.head if head]

    @property
    def notes(self) -> list[str]:
        return [f"{why} ({_some(rows)})" for why, rows in self._passed.items()]


def _leave_out_unused(
    grid: Grid, read: list[RowFields], labels: dict[int, str]
) -> tuple[list[RowFields], list[str]]:
    """Rows of a form that nobody filled in: labelled, perhaps with a cup, but without a reading."""
    filled = [out for out in read if has_readings(out.fields)]
    if not filled:
        return read, []
    blank = [out for out in read if not has_readings(out.fields) and _only_missing(grid, out)]
    if not blank:
        return read, []
    left_out = {out.row for out in blank}
    names = [labels[out.row] for out in blank]
    note = f"rows without any reading are passed over ({_some(names, 12)})"
    return [out for out in read if out.row not in left_out], [note]


def _only_missing(grid: Grid, out: RowFields) -> bool:
    """Whether every problem of a row is an empty cell, and not a cell that could not be read."""
    faults = (*grid.errors, *grid.uncalculated)
    if any(row == out.row for row, _ in faults):
        return False
    return all(p.found in ("an empty cell", "no such column") for p in out.problems)


class _Labels:
    """Gives every row a label of its own."""

    def __init__(self, grid: Grid, plan: Plan, shared: set[int]) -> None:
        self.grid, self.plan, self.shared = grid, plan, shared
        self.notes: list[str] = []
        self._seen: Counter[str] = Counter()

    def settle(self, read: list[RowFields]) -> tuple[list[Run], list[RowProblem]]:
        runs: list[Run] = []
        problems: list[RowProblem] = []
        taken: dict[str, int] = {}
        given = {str(out.fields["run"]) for out in read if "run" in out.fields}
        for out in read:
            label, problem = self._label(out, taken, given)
            taken.setdefault(label, out.row)
            wrong = [*out.problems, *([problem] if problem else [])]
            if wrong:
                problems += [_relabelled(p, label) for p in wrong]
            else:
                fields = {**out.fields, "run": label}
                number = self.grid.row_number(out.row)
                runs.append(
                    Run(**fields, u=out.u, written=out.written, extra=out.extra, sheet_row=number)
                )
        return runs, problems

    def _label(
        self, out: RowFields, taken: dict[str, int], given: set[str]
    ) -> tuple[str, RowProblem | None]:
        label = out.fields.get("run")
        number = self.grid.row_number(out.row)
        if label is None:
            label = f"row {number}"
            while label in taken or label in given:
                label += "'"
            self._note("rows without a label are named by their row", label)
            return label, None
        if label not in taken:
            return label, None
        if self.plan.label_given and out.row not in self.shared:
            first = self.grid.row_number(taken[label])
            remedy = "give every run a label of its own, such as " + repr(f"{label} b")
            message = f"row {number} has the same label as row {first}"
            return label, RowProblem(label, "run", message, repr(label), "a unique label", remedy)
        count = 2
        while f"{label} ({count})" in taken or f"{label} ({count})" in given:
            count += 1
        self._note("rows that share a label are told apart by a number", f"{label} ({count})")
        return f"{label} ({count})", None

    def _note(self, text: str, label: str) -> None:
        self._seen[text] += 1
        self.notes = [f"{t} ({n}; the last is {label!r})" for t, n in self._seen.items()]


def _relabelled(problem: RowProblem, label: str) -> RowProblem:
    if problem.row == label or not label:
        return problem
    return RowProblem(
        problem.row if problem.row.startswith("sheet row") else label,
        problem.column,
        problem.message,
        problem.found,
        problem.expected,
        problem.remedy,
    )


def as_written(path: Path, sheet: str | None, columns: Iterable[str]) -> list[dict[str, str]]:
    """The text of some columns in every row below the headings, whether it can be used or not.

    ``sheet row`` is the row as spreadsheet programs count. For questions that must be asked of rows
    that were refused, too.

    Raises TableError where the file cannot be read as a table.
    """
    data = read_bytes(path, TABLE, TableError)
    grid, head, _ = _find_table(path, data, sheet or None)
    plan = make_plan(grid, head)
    places = {name: plan.known[name][0][0] for name in columns if name in plan.known}
    return [
        {name: as_text(grid.cell(row, index)) for name, index in places.items()}
        | {"sheet row": str(grid.row_number(row))}
        for row in range(head.first_below, len(grid.rows))
    ]
