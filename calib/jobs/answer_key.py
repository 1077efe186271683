"""The worked answer of one row of a table."""

from __future__ import annotations

import difflib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import InputError

if TYPE_CHECKING:
    from calib.classwork.worked.answer import WorkedAnswer
    from calib.runs.model import Run, Table

__all__ = ["answer_for", "write_answer"]


def answer_for(
    path: Path, label: str, registry: str | None = None, *, solute_mass: str = "in"
) -> WorkedAnswer:
    """Work out one run at both depths.

    Raises:
        TableError, RegistryError: the table or the registry cannot be read.
        InputError: there is no such run, or it cannot be worked out; the message says why.
    """
    from calib.classwork.marking.readings import CannotBeMarkedError
    from calib.classwork.worked.answer import worked_answer
    from calib.enthalpy import FromRegistry
    from calib.hazards.asking import asked_of_table, said_with_errors
    from calib.jobs.marking import taught_from
    from calib.jobs.vessels import told_kinds
    from calib.registry import open_registry
    from calib.run_model.refusal import RowRefusedError
    from calib.runs.instruments import Instruments
    from calib.runs.reader import read_table

    taught = taught_from("simple", solute_mass)
    table = read_table(path)
    with open_registry(registry) as store:
        table = told_kinds(table, store)
        run = _row(table, label)
        hazards = asked_of_table([run])
        with said_with_errors(hazards):
            try:
                answer = worked_answer(run, Instruments.load(table), FromRegistry(store), taught)
            except RowRefusedError as refused:
                raise InputError(str(refused)) from None
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


def write_answer(path: Path, answer: WorkedAnswer, *, not_over: Path) -> Path:
    """Write the worked answer as Markdown or as a page, by the file's ending.

    Raises:
        InputError: the ending is not known, or the file cannot be written.
    """
    from calib.classwork.worked.markdown import answer_markdown
    from calib.pages.rendering import write_page
    from calib.pages.worked_answer import answer_page

    if path.resolve() == not_over.resolve():
        raise InputError(f"{path} is the table itself; name another file for the answer")
    form = path.suffix.casefold()
    if form in (".html", ".htm"):
        return write_page(path, answer_page(answer))
    if form in (".md", ".markdown"):
        return write_page(path, answer_markdown(answer))
    raise InputError(f"{path}: the ending {form!r} is not known; expected .md or .html")
