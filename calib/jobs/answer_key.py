"""The worked answer of one row of a table."""

from __future__ import annotations

import difflib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import InputError
from calib.outputs import HTML, KEY_MARKDOWN, KEY_PAGE, Kind, Outputs, markdown_mark, reads_table

if TYPE_CHECKING:
    from calib.classwork.worked.answer import WorkedAnswer
    from calib.runs.model import Run, Table

__all__ = ["answer_for", "answer_kind", "write_answer"]


def answer_for(
    path: Path,
    label: str,
    registry: str | None = None,
    *,
    solute_mass: str = "in",
    outputs: Outputs | None = None,
) -> WorkedAnswer:
    """Work out one run at both depths.

    ``outputs`` are those of the call: none may be a curve of the table, told before any work.

    Raises:
        TableError, RegistryError: the table or the registry cannot be read.
        InputError: there is no such run, or it cannot be worked out; the message says why.
    """
    from calib.classwork.marking.readings import CannotBeMarkedError
    from calib.classwork.worked.answer import worked_answer
    from calib.enthalpy import FromRegistry
    from calib.hazards.asking import said_with_errors
    from calib.jobs.asked_of_tables import asked_of_file
    from calib.jobs.marking import taught_from
    from calib.jobs.vessels import told_kinds
    from calib.registry import open_registry
    from calib.run_model.refusal import NOT_COMPUTED, RowRefusedError, not_computed
    from calib.runs.instruments import Instruments
    from calib.runs.reader import read_table

    taught = taught_from("simple", solute_mass)
    table = read_table(path)
    if outputs is not None:
        reads_table(outputs, table)
    with open_registry(registry) as store:
        table = told_kinds(table, store)
        hazards = asked_of_file(table, only=label)
        with said_with_errors(hazards):
            run = _row(table, label)
            try:
                answer = worked_answer(run, Instruments.load(table), FromRegistry(store), taught)
            except RowRefusedError as refused:
                raise InputError(str(refused)) from None
            except NOT_COMPUTED as error:
                raise InputError(str(not_computed(run.run, error))) from None
            except CannotBeMarkedError as reason:
                raise InputError(f"run {label!r} cannot be worked out: {reason}") from None
    return replace(answer, hazards=tuple(replace(one, row="") for one in hazards))


def _row(table: Table, label: str) -> Run:
    for row in table.rows:
        if row.run == label:
            return row
    for problem in table.problems:
        if problem.row == label:
            raise InputError(str(problem))
    near = difflib.get_close_matches(label, table.labels, n=3)
    listed = ", ".join(near or table.labels[:8]) or "none"
    word = "near it are" if near else "there are"
    more = ", …" if not near and len(table.labels) > 8 else ""
    raise InputError(f"{table.path}: no usable run is called {label!r}; {word}: {listed}{more}")


def answer_kind(path: Path) -> Kind:
    """The kind of output that a worked answer is, by the ending of its file."""
    endings = KEY_MARKDOWN.endings + HTML
    kind = KEY_PAGE if path.suffix.casefold() in HTML else KEY_MARKDOWN
    return kind if path.suffix.casefold() in endings else replace(kind, endings=endings)


def write_answer(path: Path, answer: WorkedAnswer, *, outputs: Outputs | None = None) -> Path:
    """Write the worked answer as Markdown or as a page, by the file's ending.

    Raises:
        OutputError: the ending is not known, or the file may not or cannot be written.
    """
    from calib.classwork.worked.markdown import answer_markdown
    from calib.pages.rendering import write_page
    from calib.pages.worked_answer import answer_page

    outputs, kind = outputs or Outputs(), answer_kind(path)
    outputs.claim(kind, path)
    if kind is KEY_PAGE:
        return write_page(path, answer_page(answer), outputs=outputs)
    return outputs.write(kind, path, markdown_mark(kind.name) + answer_markdown(answer))
