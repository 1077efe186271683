"""Write a table's results: the columns that came in, untouched, and what was computed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.outputs import RESULTS, Outputs, reads_table
from calib.outputs import SUMMARY as MEANS

if TYPE_CHECKING:
    from calib.jobs.evaluating import TableResults
    from calib.runs.model import CellValue, Run

COMPUTED = (
    *("constant_id", "constant_J_per_K", "u_constant_J_per_K", "rise_K", "u_rise_K", "method"),
    *("heat_J", "extent_mol", "limiting", "at_C", "dH_kJ_per_mol", "u_dH_kJ_per_mol"),
    *("per", "reference_kJ_per_mol", "u_reference_kJ_per_mol"),
    *("expected_at_run_kJ_per_mol", "u_expected_at_run_kJ_per_mol", "why_no_expected"),
    *("quantity", "value", "u_value", "unit"),
    *("deviation", "mishap_verdict", "in_mean", "suspected"),
)


def write_results(path: Path, results: TableResults, *, outputs: Outputs | None = None) -> Path:
    """Write one line a row of the table, problems included; CSV or XLSX by the file's ending.

    Raises:
        OutputError: the file may not or cannot be written, see `calib.outputs`.
    """
    from calib.runs.writer import write_table

    table = results.table
    given = (*table.columns, *table.extra_columns)
    rows: list[list[CellValue]] = []
    for one, facts in zip(results.report.results, results.facts["runs"], strict=True):
        rows.append(
            [*given_cells(one.run, given), *_computed(facts), "; ".join(facts["warnings"]), ""]
        )
    read = {run.run: run for run in table.rows}
    for problem in results.facts["errors"]:
        known = read.get(problem["row"])
        cells = (
            given_cells(known, given) if known is not None else label_only(problem["row"], given)
        )
        blank: list[CellValue] = [None] * (len(_HEADERS) - 1)
        rows.append([*cells, *blank, f"{problem['column']}: {problem['message']}"])
    outputs = reads_table(outputs or Outputs(), table)
    write_table(path, [*given, *_HEADERS], rows, kind=RESULTS, outputs=outputs)
    return path


_HEADERS = (
    *COMPUTED[:12],
    "interval95_low_kJ_per_mol",
    "interval95_high_kJ_per_mol",
    *COMPUTED[12:],
    "warnings",
    "not_used_because",
)


def given_cells(run: Run, columns: tuple[str, ...]) -> list[CellValue]:
    """A row's cells as they came in, column by column."""
    cells: list[CellValue] = []
    for column in columns:
        if column in run.extra:
            cells.append(run.extra[column])
        elif column.startswith("u_"):
            cells.append(run.u.get(column[2:]))
        else:
            cells.append(getattr(run, column, None))
    return cells


def label_only(label: str, columns: tuple[str, ...]) -> list[CellValue]:
    """A row that could not even be read: its label, so that it can be found in the table."""
    return [label if column == "run" else None for column in columns]


def _computed(facts: dict[str, Any]) -> list[CellValue]:
    low, high = facts["interval95_kJ_per_mol"] or (None, None)
    facts = {**facts, "in_mean": "yes" if facts["in_mean"] else "no"}
    cells = [facts.get(name) for name in COMPUTED]
    return [*cells[:12], low, high, *cells[12:]]


SUMMARY = (
    *("reaction", "unit", "per", "runs", "mean", "u_mean", "u_independent", "u_shared", "sd"),
    *("robust_mean", "robust_sd", "scatter_p", "reference", "expected_at_runs"),
    *("u_robust_mean", "runs_in_mean"),
)


def write_summary(path: Path, results: TableResults, *, outputs: Outputs | None = None) -> Path:
    """Write one line a reaction: mean, its two parts of uncertainty, robust mean, groups far off.

    Raises:
        OutputError: the file may not or cannot be written, see `calib.outputs`.
    """
    from calib.runs.writer import write_table

    headers = [*SUMMARY, "interval95_low", "interval95_high", "shared_by_all", "far_from_others",
               "left_out"]  # fmt: skip
    rows: list[list[CellValue]] = []
    for line in results.facts["summary"]:
        far = [f"{one['run']}: {one['reason']}" for one in line["outlying_reasons"]]
        shared = "; ".join(one["source"] for one in line["shared"])
        rows.append(
            [
                *(line.get(name) for name in SUMMARY),
                *line["interval95"],
                shared,
                "; ".join(far),
                "; ".join(line["left_out"]),
            ]
        )
    outputs = reads_table(outputs or Outputs(), results.table)
    write_table(path, headers, rows, sheet="Means", kind=MEANS, outputs=outputs)
    return path
