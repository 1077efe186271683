"""What rests on a constant, and what becomes of it with the constant now in force."""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import CupledgerError

if TYPE_CHECKING:
    from calib.registry import Registry, StoredResult
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run

Progress = Callable[[int, int, str], None]


def impact_of(
    number: int,
    registry: str | None = None,
    *,
    recompute: bool = False,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """The kept results that rest on a constant; with ``recompute`` old against new.

    A result is computed again from what was kept with it, with the constant in force now for its
    cup and date. Where its curve is gone or was changed, it is shifted by the kept slope:

        x_new = x_old + s (C_new − C_old),   u_new² = u_old² − s² u²(C_old) + s² u²(C_new)

    exact where the rise itself does not depend on the constant. A result that cannot be computed
    stands in ``errors``. Nothing is changed in the registry.

    Raises RegistryError: there is no such constant.
    """
    from calib.registry import open_registry

    with open_registry(registry, create=False) as store:
        constant = store.constant(number)
        touched = store.impact(number)
        results = [_facts(kept) for kept in touched]
        errors: list[dict[str, Any]] = []
        if recompute:
            for count, kept in enumerate(touched, start=1):
                try:
                    results[count - 1] |= _again(kept, store)
                except CupledgerError as error:
                    errors.append(_problem(kept, error))
                if progress is not None:
                    progress(count, len(touched), "results")
    return {
        "constant": {
            "id": constant.id,
            "apparatus": constant.apparatus,
            "status": constant.status,
            "constant_J_per_K": constant.constant_J_per_K,
            "u_constant_J_per_K": constant.u_constant_J_per_K,
            "withdrawn_why": constant.withdrawn_why,
        },
        "results": results,
        "recomputed": recompute,
        "errors": errors,
    }


def _facts(kept: StoredResult) -> dict[str, Any]:
    was = json.loads(kept.result_json)
    return {
        "id": kept.id,
        "run": kept.run,
        "table": kept.table,
        "apparatus": kept.apparatus,
        "date": kept.run_date,
        "reaction": kept.reaction,
        "quantity": kept.quantity,
        "unit": kept.unit,
        "old": kept.value,
        "u_old": kept.u_value,
        "old_constant_ids": list(kept.constant_ids),
        "old_constant_J_per_K": was.get("constant_J_per_K"),
        "pooled": kept.pooled,
        "recorded_by": kept.recorded_by,
        "recorded_at": kept.recorded_at,
    }


def _problem(kept: StoredResult, error: CupledgerError) -> dict[str, Any]:
    problem = next(iter(getattr(error, "problems", ())), None)
    return {
        "row": f"{kept.run} ({kept.table or 'no table'})",
        "column": "apparatus" if problem is None else problem.column,
        "message": str(error) if problem is None else problem.message,
        "found": "" if problem is None else problem.found,
        "expected": "" if problem is None else problem.expected,
        "remedy": "" if problem is None else problem.remedy,
    }


def _again(kept: StoredResult, store: Registry) -> dict[str, Any]:
    inputs = json.loads(kept.inputs_json)
    if "row" in inputs:
        missing = _curve_missing(inputs, kept)
        new = _shifted(kept, inputs, store, missing) if missing else _computed(kept, inputs, store)
    else:
        new = _shifted(kept, inputs, store, "the row was not kept")
    change = new["new"] - kept.value
    return {
        **new,
        "change": change,
        "change_percent": 100.0 * change / abs(kept.value) if kept.value else None,
        "change_in_u": change / kept.u_value if kept.u_value > 0 else None,
    }


def _curve_missing(inputs: dict[str, Any], kept: StoredResult) -> str:
    """Why the curve that the result came from cannot be used; empty where it can."""
    from calib.jobs.recording import digest

    if inputs["curve"] is None:
        return ""
    path = Path(inputs["curve"])
    if not path.is_file():
        return f"its curve is not at {path} any more"
    try:
        same = digest(path) in kept.digests
    except CupledgerError as error:
        return f"its curve cannot be read ({error})"
    return "" if same else f"its curve {path} was changed since"


def _computed(kept: StoredResult, inputs: dict[str, Any], store: Registry) -> dict[str, Any]:
    from calib.enthalpies.sources import FromRegistry
    from calib.enthalpy import evaluate_run

    run = _run(inputs, kept.apparatus)
    instruments = _instruments(inputs)
    one = evaluate_run(run, instruments, FromRegistry(store), **inputs["options"])
    return {
        "new": one.result.value,
        "u_new": one.result.u,
        "new_constant_ids": list(one.constant.constant_ids),
        "new_constant_J_per_K": one.constant.value_J_per_K,
        "how": "computed again from the kept row",
    }


def _shifted(
    kept: StoredResult, inputs: dict[str, Any], store: Registry, why: str
) -> dict[str, Any]:
    from calib.errors import InputError
    from calib.registry.errors import NoConstant

    slope, was = inputs.get("slope_per_J_per_K"), json.loads(kept.result_json)
    old, u_old = was.get("constant_J_per_K"), was.get("u_constant_J_per_K")
    if slope is None or old is None or u_old is None:
        raise InputError(f"it cannot be computed again: {why}, and no slope was kept with it")
    try:
        found: Any = store.constant_for(kept.apparatus, kept.run_date)
        numbers, (value, u) = [found.id], found.at_fill(was.get("fill_mL"))
    except NoConstant:
        found = store.kind_pooled(store.apparatus(kept.apparatus).kind, kept.run_date)
        numbers = [member.constant_id for member in found.members]
        value, u = found.constant_J_per_K, found.u_constant_J_per_K
    rest = max(kept.u_value**2 - (slope * u_old) ** 2, 0.0)
    return {
        "new": kept.value + slope * (value - old),
        "u_new": math.sqrt(rest + (slope * u) ** 2),
        "new_constant_ids": numbers,
        "new_constant_J_per_K": value,
        "how": f"shifted by the kept slope: {why}",
    }


def _run(inputs: dict[str, Any], apparatus: str) -> Run:
    """The row as it was read; its cup by the name it has here (a merge may have renamed it)."""
    from calib.runs.model import Run

    row = {**inputs["row"], "apparatus": apparatus}
    if row.get("date") is not None:
        row["date"] = date.fromisoformat(row["date"])
    row["notes"] = tuple(row.get("notes", ()))
    curve = inputs["curve"]
    return Run(**row, curve_path=None if curve is None else Path(curve))


def _instruments(inputs: dict[str, Any]) -> Instruments:
    """The instruments as they were named beside the table when the result was kept."""
    from calib.runs.instruments import Instruments
    from calib.runs.readings_file import FILE_NAME, read_settings

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if inputs["readings_toml"] is not None:
            (folder / FILE_NAME).write_text(inputs["readings_toml"], encoding="utf-8")
        return Instruments(read_settings(folder / "table.csv"), inputs["steps"])
