"""Mark a table's answers, write the marks and the feedback sheets."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError, OutputError, TableError
from calib.outputs import (
    HTML,
    MARKDOWN,
    MARKS,
    SHEETS_MARKDOWN,
    SHEETS_PAGE,
    Outputs,
    markdown_mark,
    reads_table,
)

if TYPE_CHECKING:
    from calib.classwork.marking.marked import Marked, Marking, Unmarked
    from calib.runs.model import CellValue, Table

__all__ = ["MarkedTable", "claim_sheets", "mark_answers", "write_marks", "write_sheets"]

Progress = Callable[[int, int, str], None]
_ADDED = (
    "answer_as_typed", "verdict", "slips", "what_happened", "own_readings_give", "unit",
    "not_marked_because",
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class MarkedTable:
    """A table, its marking, and the object of ``mark --json``."""

    table: Table
    marking: Marking
    facts: dict[str, Any]


def mark_answers(
    path: Path,
    registry: str | None = None,
    *,
    depth: str = "simple",
    solute_mass: str = "in",
    progress: Progress | None = None,
    outputs: Outputs | None = None,
) -> MarkedTable:
    """Mark every answer of a table at the depth taught.

    ``outputs`` are those of the call: none may be a curve of the table, told before any work.

    Raises:
        TableError, RegistryError: nothing could be done; the message says why.
        InputError: the depth, or what is said of the solute's mass, is not known.
    """
    from calib.classwork.marking.marked import mark_table
    from calib.classwork.marking.typed import own_unit
    from calib.enthalpy import FromRegistry
    from calib.jobs.vessels import told_kinds
    from calib.registry import open_registry
    from calib.runs.reader import read_table

    taught = taught_from(depth, solute_mass)
    table = read_table(path)
    if outputs is not None:
        reads_table(outputs, table)
    further = [name for name in table.extra_columns if own_unit(name) is not None]
    if "reported_kJ_per_mol" not in table.columns and not further:
        raise TableError(
            f"{path}: there is no column reported_kJ_per_mol, so there are no answers to mark; "
            "add it with each group's own answer in kJ/mol"
        )
    with open_registry(registry) as store:
        table = told_kinds(table, store)
        marking = mark_table(table, FromRegistry(store), taught, progress=progress)
    facts = {
        "depth": depth, "solute_mass": solute_mass,
        "runs": [_row_json(row) for row in marking.rows],
        "counts": dict(Counter(row.verdict for row in marking.rows)),
        "errors": [
            {"row": p.row, "column": p.column, "message": p.message, "found": p.found,
             "expected": p.expected, "remedy": p.remedy}
            for p in marking.problems
        ],
        "notes": list(marking.notes),
    }  # fmt: skip
    return MarkedTable(table, marking, facts)


def taught_from(depth: str, solute_mass: str) -> Any:
    """What was taught, from two words. Raises InputError where a word is not known."""
    from calib.classwork.marking.ways import Taught

    if depth not in ("simple", "full"):
        raise InputError(f"the depth {depth!r} is not known; expected simple or full")
    if solute_mass not in ("in", "out"):
        raise InputError(
            f"--solute-mass {solute_mass!r} is not known; expected in (a dissolving solid's mass "
            "is counted) or out"
        )
    return Taught(depth, solute_mass)  # type: ignore[arg-type]


def _row_json(row: Marked | Unmarked) -> dict[str, Any]:
    from calib.classwork.marking.feedback import fit_words
    from calib.classwork.marking.marked import Marked

    head = {"run": row.run.run, "apparatus": row.run.apparatus, "verdict": row.verdict}
    if not isinstance(row, Marked):
        return {**head, "reason": row.reason}
    way = row.honest.way if row.honest is not None else None
    return {
        **head,
        "process": row.readings.process,
        "answer": row.answer.text,
        "answer_value": row.answer.value,
        "unit": row.unit,
        "own_readings_give": row.own,
        "calculated": list(way.choices) if way else [],
        "left_out": list(way.left_out) if way else [],
        "fits": [
            {"slips": list(fit.kinds), "words": fit_words(fit), "gives": fit.value,
             "stages": [slip.stage for slip in fit.slips],
             "calculated": list(fit.way.choices), "digits_cut_off": fit.cut_off}
            for fit in row.fits
        ],
        "notes": list(row.notes),
    }  # fmt: skip


def write_marks(path: Path, marked: MarkedTable, *, outputs: Outputs | None = None) -> Path:
    """Write the table with its marks, CSV or XLSX; rows that could not be marked say why.

    Raises:
        OutputError: the file may not or cannot be written, see `calib.outputs`.
    """
    from calib.jobs.results_file import given_cells, label_only
    from calib.runs.writer import write_table

    table = marked.table
    given = (*table.columns, *table.extra_columns)
    rows: list[list[CellValue]] = []
    facts = {one["run"]: one for one in marked.facts["runs"]}
    told = {one["row"]: one for one in marked.facts["errors"]}
    for run in table.rows:
        rows.append([*given_cells(run, given), *_added(facts.get(run.run), told.get(run.run))])
    read = {run.run for run in table.rows}
    for label, problem in told.items():
        if label not in read:
            rows.append([*label_only(label, given), *_added(None, problem)])
    outputs = reads_table(outputs or Outputs(), table)
    write_table(path, [*given, *_ADDED], rows, kind=MARKS, outputs=outputs)
    return path


def _added(row: dict[str, Any] | None, problem: dict[str, Any] | None) -> list[CellValue]:
    if row is None or "answer" not in row:
        why = row["reason"] if row is not None else ""
        if problem is not None:
            why = f"{problem['column']}: {problem['message']}"
        verdict = row["verdict"] if row is not None else "not marked"
        return [None, verdict, None, None, None, None, why]
    slips = "; or ".join(" and ".join(fit["slips"]) for fit in row["fits"])
    words = "; or ".join(fit["words"] for fit in row["fits"])
    if not words:
        words = "; ".join([*row["calculated"], *(f"left out: {x}" for x in row["left_out"])])
    return [row["answer"], row["verdict"], slips, words, row["own_readings_give"], row["unit"], ""]


def claim_sheets(outputs: Outputs, place: Path | None, option: str = "--sheets") -> None:
    """Declare the place of feedback sheets before they are made: one file, or a folder.

    Raises:
        OutputError: sheets may not be written there; in a folder, over pages of others.
    """
    from fitting.files.outputs import refuse_folder

    if place is None:
        return
    form = place.suffix.casefold()
    if place.is_dir() or not form:
        refuse_folder(place)
        for page in sorted(place.glob("feedback_*.html")):
            outputs.check(SHEETS_PAGE, page)
    elif form in HTML + MARKDOWN:
        outputs.claim(SHEETS_PAGE if form in HTML else SHEETS_MARKDOWN, place, option)
    else:
        raise OutputError(f"{place}: expected a folder, or a file that ends in .html or .md")


def write_sheets(place: Path, marked: MarkedTable, *, outputs: Outputs | None = None) -> list[Path]:
    """Write the feedback sheets: one file (.html or .md), or one page a group into a folder.

    The folder is made where it is not there; files of other names in it are left alone. All pages
    are written, or none.

    Raises:
        InputError: there is nothing to write.
        OutputError: the place may not or cannot be written to.
    """
    from calib.classwork.marking.feedback import feedback
    from calib.classwork.worked.markdown import sheets_markdown
    from calib.pages.rendering import write_page
    from calib.pages.worked_answer import sheets_page

    sheets = [feedback(one) for one in marked.marking.marked]
    if not sheets:
        raise InputError("no answer was marked, so there are no feedback sheets to write")
    outputs = reads_table(outputs or Outputs(), marked.table)
    claim_sheets(outputs, place)
    form = place.suffix.casefold()
    if not place.is_dir() and form in HTML:
        return [write_page(place, sheets_page(sheets), outputs=outputs)]
    if not place.is_dir() and form in MARKDOWN:
        text = markdown_mark(SHEETS_MARKDOWN.name) + sheets_markdown(sheets)
        return [outputs.write(SHEETS_MARKDOWN, place, text)]
    names = sheet_names([one.run for one in sheets])
    pages = [sheets_page([one]) for one in sheets]
    return outputs.write_folder(
        place, [(SHEETS_PAGE, name, page) for name, page in zip(names, pages, strict=True)]
    )


def sheet_names(labels: Sequence[str]) -> list[str]:
    """One file name a sheet, made of its number and what a file name can carry of its label."""
    digits = len(str(len(labels)))
    names = []
    for count, label in enumerate(labels, start=1):
        slug = re.sub(r"[^A-Za-z0-9]+", "-", label).strip("-")[:40]
        names.append(f"feedback_{count:0{digits}d}{'_' + slug if slug else ''}.html")
    return names
