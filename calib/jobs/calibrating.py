"""From a table of calibration runs to constants in the registry."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError, RowProblem
from fitting.files.bounded import legible

if TYPE_CHECKING:
    from calib.calibration import CalibrationReport, CupConstant
    from calib.registry import NewConstant, Registry
    from calib.runs.model import Run, Table

Progress = Callable[[int, int, str], None]
RECHECK_AFTER = timedelta(days=183)  # half a year: cups are rechecked each term
LONGEST = timedelta(days=3660)


def calibrate_table(
    path: Path,
    registry: str | None = None,
    *,
    approve: bool = False,
    by: str | None = None,
    reason: str = "",
    valid_from: date | None = None,
    recheck_after: timedelta = RECHECK_AFTER,
    lean_on_kind: Sequence[str] = (),
    recheck_uses: int | None = None,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Calibrate every cup in a table and keep the constants as drafts, or approved.

    Rows of cups that the registry does not know are refused by name; all others are computed.
    A constant that is stored already, from the same files with the same result, is not stored
    twice. A constant that failed its checks is approved only with a ``reason``. The cups of
    ``lean_on_kind`` are drawn towards the others of their kind. A cup with cooling logs only keeps
    its constant in force and gets the loss found. Returns the object of ``calibrate --json``.
    Nothing is stored if the table cannot be read. A registry that cannot be written stands in
    ``errors``, with no row, beside the results.

    Raises:
        TableError, RegistryError, InputError: nothing could be done; the message says why.
    """
    from calib.calibration import calibrate
    from calib.hazards.asking import said_with_errors
    from calib.jobs.asked_of_tables import asked_of_file
    from calib.jobs.constant_source import RegistryConstants
    from calib.jobs.cup_kinds import kind_facts, leaned
    from calib.jobs.vessels import told_kinds
    from calib.registry import open_registry
    from calib.registry.errors import RegistryNotWritten
    from calib.runs.reader import read_table

    _require_recheck(recheck_after, recheck_uses)
    table = read_table(path)
    hazards = asked_of_file(table)
    with said_with_errors(hazards), open_registry(registry, create=False) as store:
        table = told_kinds(only_registered(table, store), store)
        before = RegistryConstants(store)
        report = calibrate(
            table, known_loss=before, known_constant=before.constant_of, progress=progress
        )
        report = leaned(report, store, lean_on_kind)
        facts = {"hazards": [one.to_json() for one in hazards], **report.to_json()}
        plan: dict[str, Any] = {"recheck_after": recheck_after, "recheck_uses": recheck_uses}
        found = []
        for one, shown in zip(report.constants, facts["constants"], strict=True):
            if one.combined is not None:
                new = new_constant(one, table, valid_from=valid_from, **plan)
                found.append((new, shown))
            elif carried := carried_over(one, table, store, valid_from):
                found.append((carried, shown))
        try:
            _keep(store, found, approve=approve, by=by, reason=reason)
        except RegistryNotWritten as error:  # the results stand, each "not stored"
            facts["errors"].append({"row": None, "column": None, "message": str(error)})
        facts["kinds"] = kind_facts(_without_held(report, facts), store)
        facts["registry"] = store.where
    return facts


def _require_recheck(after: timedelta, uses: int | None) -> None:
    if not timedelta(days=1) <= after <= LONGEST:
        raise InputError(
            f"a recheck after {after.days} days: expected 1 to {LONGEST.days}; nothing was stored"
        )
    if uses is not None and uses < 1:
        raise InputError(f"a recheck after {uses} uses: expected 1 or more; nothing was stored")


def _keep(
    store: Registry,
    found: Sequence[tuple[NewConstant, dict[str, Any]]],
    *,
    approve: bool,
    by: str | None,
    reason: str,
) -> None:
    """Store all constants in one transaction; write number and status into what is shown."""
    if not found:
        return
    kept = store.keep([new for new, _ in found], approve=approve, by=by, reason=reason)
    for (new, shown), (stored, was_there) in zip(found, kept, strict=True):
        if was_there:
            shown["warnings"].append(f"stored already as no. {stored.id}; not stored twice")
        shown["failed_quality"], shown["doubts"] = stored.failed_quality, list(stored.doubts)
        shown["warnings"] += [said for said in stored.warnings if said not in new.warnings]
        if stored.status == "draft" and stored.failed_quality:
            shown["warnings"].append(
                f"left as a draft: {stored.failed_quality}; to use it all the same: cupledger"
                f' constants approve {stored.id} --reason "…"'
            )
        shown["id"], shown["status"] = stored.id, stored.status


def _without_held(report: CalibrationReport, facts: dict[str, Any]) -> CalibrationReport:
    """The report with what spoke against each constant, so that none of these tells of a kind."""
    judged = (
        replace(one, failed_quality=shown["failed_quality"])
        for one, shown in zip(report.constants, facts["constants"], strict=True)
    )
    return replace(report, constants=tuple(judged))


def new_constant(
    constant: CupConstant,
    table: Table,
    *,
    valid_from: date | None = None,
    recheck_after: timedelta = RECHECK_AFTER,
    recheck_uses: int | None = None,
) -> NewConstant:
    """What the registry keeps of a cup's constant: the value, and all that it came from."""
    from calib.calibration.report import run_json
    from calib.registry import NewConstant

    c = constant.combined
    assert c is not None
    start = valid_from or constant.last_date or date.today()
    own = [finding.calibration.run for finding in constant.runs]
    logged = [run for run in own if run.curve_path is not None]
    curves = [_digest(run.curve_path) for run in logged if run.curve_path is not None]
    details = {
        "interval95_J_per_K": list(c.interval95),
        "degrees_of_freedom": c.dof,
        "budget": constant.to_json()["budget"],
        "runs": [run_json(finding) for finding in constant.runs],
        "table": legible(table.path.name),
        "drawn_towards_kind": constant.drawn.to_json() if constant.drawn is not None else None,
        "curves": [
            {"sha256": digest, "run": run.run, "date": str(run.date or "")}
            for run, digest in zip(logged, curves, strict=True)
        ],
        "valid_from_told": valid_from is not None,
    }
    wall = constant.wall
    has_slope = constant.slope_J_per_K_per_mL != 0
    return NewConstant(
        apparatus=constant.apparatus,
        method=constant.method,
        constant_J_per_K=c.value,
        u_constant_J_per_K=c.u,
        valid_from=start,
        heat_loss_W_per_K=constant.heat_loss_W_per_K,
        u_heat_loss_W_per_K=constant.u_heat_loss_W_per_K,
        sensor_lag_s=constant.sensor_lag_s,
        wall_part_J_per_K=wall.part_J_per_K if wall is not None else None,
        hidden_share=wall.hidden_share if wall is not None else None,
        u_hidden_share=wall.u_hidden_share if wall is not None else None,
        runs=len(constant.runs),
        between_run_sd_J_per_K=c.between_sd,
        fill_mL=constant.fill_mL,
        temperature_C=constant.temperature_C,
        recheck_due=(constant.last_date or start) + recheck_after,
        recheck_uses=recheck_uses,
        digests=(table.digest, *curves),
        rows_json=json.dumps([_row(run) for run in own], ensure_ascii=False, default=str),
        warnings=constant.warnings,
        failed_quality=constant.failed_quality,
        fill_slope_J_per_K_per_mL=constant.slope_J_per_K_per_mL if has_slope else None,
        u_fill_slope_J_per_K_per_mL=constant.u_slope_J_per_K_per_mL if has_slope else None,
        fill_reference_mL=constant.reference_fill_mL if has_slope else None,
        details_json=json.dumps(details, ensure_ascii=False, default=str),
    )


def carried_over(
    cooled: CupConstant, table: Table, store: Registry, valid_from: date | None = None
) -> NewConstant | None:
    """The cup's constant in force with the loss that its cooling logs tell; None without one.

    Value, range and recheck date stay those of the constant in force; its number is in the details.
    """
    from calib.calibration.report import run_json
    from calib.registry import NewConstant
    from calib.registry.errors import RegistryError

    if cooled.heat_loss_W_per_K is None:
        return None
    try:
        old = store.constant_for(cooled.apparatus)
    except RegistryError:
        return None
    own = [finding.calibration.run for finding in cooled.runs]
    curves = [_digest(run.curve_path) for run in own if run.curve_path is not None]
    details = {
        "value_from_constant": old.id,
        "runs": [run_json(finding) for finding in cooled.runs],
        "table": legible(table.path.name),
    }
    same = (
        "constant_J_per_K", "u_constant_J_per_K", "sensor_lag_s", "between_run_sd_J_per_K",
        "fill_mL", "temperature_C", "recheck_due", "recheck_uses", "fill_slope_J_per_K_per_mL",
        "u_fill_slope_J_per_K_per_mL", "fill_reference_mL", "wall_part_J_per_K", "hidden_share",
        "u_hidden_share",
    )  # fmt: skip
    return NewConstant(
        **{name: getattr(old, name) for name in same},
        apparatus=cooled.apparatus,
        method=f"{old.method.split('; loss from')[0]}; loss from cooling log",
        valid_from=valid_from or max(cooled.last_date or date.today(), old.valid_from),
        heat_loss_W_per_K=cooled.heat_loss_W_per_K,
        u_heat_loss_W_per_K=cooled.u_heat_loss_W_per_K,
        runs=len(own),
        digests=(table.digest, *curves),
        rows_json=json.dumps([_row(run) for run in own], ensure_ascii=False, default=str),
        warnings=(*cooled.warnings, f"the value is that of constant {old.id}"),
        details_json=json.dumps(details, ensure_ascii=False, default=str),
    )


def only_registered(table: Table, store: Registry) -> Table:
    """The table without the rows of cups that the registry does not know, each named."""
    from calib.registry.validation import same_name

    known = {same_name(cup.id): cup.id for cup in store.list_apparatus()}
    rows, problems = [], list(table.problems)
    for run in table.rows:
        if run.apparatus is None:
            rows.append(run)
        elif cup := known.get(same_name(run.apparatus)):  # accents composed or decomposed
            rows.append(run if cup == run.apparatus else replace(run, apparatus=cup))
        else:
            problems.append(unknown_cup(run.run, run.apparatus, sorted(known.values())))
    return replace(table, rows=tuple(rows), problems=tuple(problems))


def unknown_cup(row: str, cup: str, known: Sequence[str]) -> RowProblem:
    """The problem of a row whose cup the registry does not know."""
    return RowProblem(
        row,
        "apparatus",
        f"the registry does not know {cup!r}",
        cup,
        "one of " + ", ".join(known) if known else "a registered cup (there is none yet)",
        f'register it with: cupledger apparatus add {cup} --kind "…"',
    )


def _row(run: Run) -> dict[str, Any]:
    values = {field.name: getattr(run, field.name) for field in fields(run)}
    values.pop("curve_path")
    return {
        name: dict(value) if name in {"u", "extra", "written"} else value
        for name, value in values.items()
        if value not in (None, (), {})
    }


def _digest(path: Path) -> str:
    from fitting.files import bounded

    return bounded.digest(path, bounded.CURVE)
