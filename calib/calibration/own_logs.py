"""Warm water with a log of its own: read at the moment it was poured."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from calib.errors import CurveError, RowProblem, TableError
from calib.run_model.hot_water import U_FROM_LOG, temperature_at_pouring

if TYPE_CHECKING:
    from calib.runs.model import Run, Table

__all__ = ["with_own_logs"]

COLUMN, POURED_AT = "added_curve", "added_poured_at_s"


def with_own_logs(table: Table) -> tuple[tuple[Run, ...], list[RowProblem]]:
    """The table's rows, ``added_C`` taken from ``added_curve`` where a row names one.

    The file is looked for as a row's ``curve`` is. Rows whose log cannot be used are left out and
    named.
    """
    rows: list[Run] = []
    problems: list[RowProblem] = []
    for run in table.rows:
        name = str(run.extra.get(COLUMN) or "").strip()
        if not name:
            rows.append(run)
            continue
        try:
            rows.append(_read(table, run, name))
        except (CurveError, TableError, ValueError, OSError) as error:
            problems.append(
                RowProblem(run.run, COLUMN, str(error), name, "a log of the added liquid cooling",
                           "correct the file's name, or give added_C")
            )  # fmt: skip
    return tuple(rows), problems


def _read(table: Table, run: Run, name: str) -> Run:
    from calib.runs.cells import CellError
    from calib.runs.curve_paths import find_curve
    from fitting.files.curve_files import read_curve

    try:
        _, path, _ = find_curve(name, table.path.parent)
    except CellError as error:
        raise ValueError(str(error)) from None
    raw = str(run.extra.get(POURED_AT) or "").strip().replace(",", ".")
    found = temperature_at_pouring(read_curve(str(path)), float(raw) if raw else None)
    extra = {**run.extra, U_FROM_LOG: found.u}
    return replace(run, added_C=found.value, extra=extra)
