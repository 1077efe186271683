"""What must be said first of a table of runs, of the rows that cannot be used as well."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.errors import CupledgerError
from calib.hazards.asking import Hazard, asked_of_table

if TYPE_CHECKING:
    from calib.runs.model import Table

__all__ = ["asked_of_file"]

_COLUMNS = ("run", "in_cup", "added", "reaction", "in_cup_mol_per_L", "added_mol_per_L")


@dataclass(frozen=True, slots=True)
class _Written:
    """A row as it was written, as far as hazards ask."""

    run: str
    in_cup: str
    added: str
    reaction: str
    in_cup_mol_per_L: float | None
    added_mol_per_L: float | None


def asked_of_file(table: Table, *, only: str | None = None) -> tuple[Hazard, ...]:
    """The hazards of every row of a table, or of ``only`` the row of that label.

    A row that was refused for a missing reading or an unknown name is asked about as it is written.
    """
    rows = [run for run in table.rows if only in (None, run.run)]
    refused = [one for one in _refused(table) if only in (None, one.run)]
    return asked_of_table([*rows, *refused])


def _refused(table: Table) -> Iterator[_Written]:
    from calib.runs.reader import as_written

    named = {problem.row for problem in table.problems}
    if not named:
        return
    try:
        written = as_written(table.path, table.sheet, _COLUMNS)
    except CupledgerError:
        return
    used = set(table.labels)
    for cells in written:
        number = cells["sheet row"]
        label = cells.get("run") or f"row {number}"
        if label in used or not named & {label, f"sheet row {number}", f"row {number}"}:
            continue
        yield _Written(
            label, cells.get("in_cup", ""), cells.get("added", ""), cells.get("reaction", ""),
            _number(cells.get("in_cup_mol_per_L", "")), _number(cells.get("added_mol_per_L", "")),
        )  # fmt: skip


def _number(text: str) -> float | None:
    try:
        return float(text.split(maxsplit=1)[0].replace(",", "."))
    except (ValueError, IndexError):
        return None
