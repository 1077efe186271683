"""Keep a table's results in the registry, each with its constant and all that it came from.

What is kept with a result (``inputs_json``) is enough to compute it again: the row as it was read,
the instruments' file, the options, where the curve stood and its SHA-256; and the slope

    s = ∂(result)/∂C_app   [unit of the result per J/K]

by which a result shifts with the cup's constant where its curve cannot be found any more.
"""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import TableError
from fitting.files import bounded

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.jobs.evaluating import TableResults
    from calib.registry import NewResult
    from calib.runs.model import Run


def record_results(
    results: TableResults,
    registry: str | None = None,
    *,
    by: str | None = None,
    options: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Keep every computed row; one that is kept already, from the same inputs, is not doubled.

    ``options`` are the keywords of ``calib.enthalpy.evaluate_run`` that were used. Returns the
    numbers of the results in the order of the rows, and how many of them are new.

    Raises RegistryError: the registry cannot be written; then nothing is kept.
    """
    from calib.registry import open_registry

    new = [new_result(one, results, options or {}) for one in results.report.results]
    if not new:
        return {"recorded": [], "recorded_new": 0}
    with open_registry(registry, create=False) as store:
        before = {kept.id for kept in store.results()}
        numbers = store.record(new, by=by)
    return {"recorded": list(numbers), "recorded_new": len(set(numbers) - before)}


def new_result(one: RunResult, results: TableResults, options: dict[str, Any]) -> NewResult:
    """What the registry keeps of one computed row."""
    from calib.enthalpies.report import run_json
    from calib.registry import NewResult

    table, curve = results.table, one.run.curve_path
    facts = run_json(one)
    digests = (digest(curve),) if curve is not None else ()
    inputs = {
        "row": row_as_read(one.run),
        "table": str(table.path.absolute()),
        "curve": None if curve is None else str(curve.absolute()),
        "steps": dict(table.steps),
        "readings_toml": _readings(table.path),
        "options": options,
        "slope_per_J_per_K": _slope(one),
    }
    return NewResult(
        run=one.run.run,
        apparatus=one.constant.apparatus,
        value=one.result.value,
        u_value=one.result.u,
        constant_ids=one.constant.constant_ids,
        run_date=one.run.date,
        reaction=one.process,
        quantity=str(facts["quantity"]),
        unit=one.unit,
        pooled=one.constant.pooled,
        table=bounded.legible(table.path.name),
        table_digest=table.digest,
        digests=digests,
        inputs_json=json.dumps(inputs, default=str),
        result_json=json.dumps(facts, ensure_ascii=False, default=str),
    )


def row_as_read(run: Run) -> dict[str, Any]:
    """A row's filled cells by name; maps and tuples as JSON knows them."""
    row: dict[str, Any] = {}
    for field in fields(run):
        value = getattr(run, field.name)
        if field.name == "curve_path" or value in (None, (), {}):
            continue
        row[field.name] = dict(value) if field.name in {"u", "extra", "written"} else value
    return row


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    return bounded.digest(path, bounded.CURVE)


def _readings(table: Path) -> str | None:
    from calib.runs.readings_file import FILE_NAME

    path = table.parent / FILE_NAME
    if not path.is_file():
        return None
    return bounded.read_bytes(path, bounded.SETTINGS, TableError).decode("utf-8-sig")


def _slope(one: RunResult) -> float | None:
    for line in one.result.lines:
        if line.key is not None and line.key == one.constant.key:
            return float(line.sensitivity)
    return None
