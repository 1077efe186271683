"""Keeping an eye on the cups: drift over the terms, today's check, what is due for a recheck."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import CupledgerError, InputError, OutputError, RowProblem
from calib.jobs.verifying import unreadable_facts
from calib.outputs import CHART, Outputs, made_by, outputs_beside

if TYPE_CHECKING:
    from calib.calibration import CupConstant
    from calib.registry import Registry, StoredConstant
    from calib.registry.control_chart import ControlChart
    from calib.registry.drift import CupDrift, SetDrift, Step, TodayCheck

Progress = Callable[[int, int, str], None]
RULES = {"nelson": "Nelson", "western-electric": "Western Electric"}
MOST_DAYS = 36_525  # a century


def drift_of(
    registry: str | None = None,
    *,
    cups: Sequence[str] = (),
    kind: str | None = None,
    rules: str = "nelson",
    chart: Path | None = None,
    outputs: Outputs | None = None,
) -> dict[str, Any]:
    """Control charts of cups and of their sets, each with its verdict in words.

    Without ``cups`` and ``kind``: every cup in use, and every kind. ``chart`` is a file to draw
    them into; one that cannot be written stands in ``errors`` beside what was found. See
    ``calib.registry.drift`` for what is compared.

    Raises:
        InputError: the rules are not known, or there is nothing to draw.
        OutputError: the chart may not be written there.
        RegistryError: a cup or a kind is not known.
    """
    from calib.registry import open_registry

    if rules not in RULES:
        raise InputError(f"no rules are called {rules!r}; expected one of {', '.join(RULES)}")
    outputs = outputs or outputs_beside(registry)
    outputs.claim(CHART, chart, "--chart")
    with open_registry(registry, create=False) as store:
        alone = [store.drift(cup, rules=RULES[rules]) for cup in cups]
        kinds = [kind] if kind is not None else [] if cups else _kinds(store)
        sets = [store.drift_of_kind(one, rules=RULES[rules]) for one in kinds]
        unread = [
            one
            for one in store.unreadable()
            if one.table in {"apparatus", "constants"} and not one.withdrawn
        ]
    every = [*alone, *(cup for one in sets for cup in one.cups)]
    errors: list[dict[str, Any]] = []
    if chart is not None:
        drawn = _draw(chart, [*(one.chart for one in sets), *(one.chart for one in every)])
        try:
            outputs.write(CHART, chart, drawn)
        except OutputError as error:
            errors.append({"row": None, "column": None, "message": str(error)})
    return {
        "rules": RULES[rules],
        "cups": [_cup_facts(one) for one in every],
        "sets": [_set_facts(one) for one in sets],
        "chart": None if chart is None or errors else str(chart),
        "unreadable": unreadable_facts(unread),
        "errors": errors,
    }


def _kinds(store: Registry) -> list[str]:
    return sorted({cup.kind for cup in store.list_apparatus(retired=False)})


def _draw(path: Path, charts: Sequence[ControlChart]) -> bytes:
    from calib.registry.chart_figure import figure, sheet

    drawable = [chart for chart in charts if len(chart.points) > 1]
    if not drawable:
        raise InputError(
            "there is nothing to draw: no cup has two constants yet; a chart begins with the"
            " second calibration"
        )
    made = figure(drawable[0]) if len(drawable) == 1 else sheet(drawable)
    form, stream = path.suffix.casefold()[1:], io.BytesIO()
    name = "Software" if form == "png" else "Creator"
    made.savefig(stream, dpi=150, format=form, metadata={name: made_by(CHART.name)})
    return stream.getvalue()


def _step_facts(step: Step | None) -> dict[str, float] | None:
    if step is None:
        return None
    return {
        "difference_J_per_K": step.difference_J_per_K,
        "u_difference_J_per_K": step.u_difference_J_per_K,
        "p": step.p,
    }


def _chart_facts(chart: ControlChart) -> dict[str, Any]:
    from calib.registry.chart_figure import as_text

    return {
        "centre_J_per_K": chart.centre,
        "basis": chart.basis,
        "points": [
            {
                "label": point.label,
                "date": point.day,
                "value_J_per_K": point.value,
                "u_J_per_K": point.u,
                "limits_J_per_K": list(limits),
            }
            for point, limits in zip(chart.points, chart.limits, strict=True)
        ],
        "moving_range_limit_J_per_K": chart.range_limit,
        "broken": [
            {"rule": s.rule, "meaning": s.meaning, "at": chart.points[s.at].label}
            for s in chart.signals
        ],
        "drawn": as_text(chart),
    }


def _cup_facts(one: CupDrift) -> dict[str, Any]:
    return {
        "apparatus": one.apparatus,
        "word": one.word,
        "verdict": one.verdict,
        "newest_against_earlier": _step_facts(one.step),
        **_chart_facts(one.chart),
    }


def _set_facts(one: SetDrift) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "cups": [cup.apparatus for cup in one.cups],
        "verdict": one.verdict,
        "newest_against_earlier": _step_facts(one.shared),
        **_chart_facts(one.chart),
    }


# Today's runs


def check_table(
    path: Path, registry: str | None = None, *, progress: Progress | None = None
) -> dict[str, Any]:
    """Do today's calibration runs agree with the constants in force? Nothing is stored.

    Each cup's runs against its constant of that day by ``calib.registry.drift.check_today``. Cups
    without a constant, and rows that cannot be used, stand in ``errors``; all others are checked.

    Raises:
        TableError, RegistryError: nothing could be done; the message says why.
    """
    from calib.calibration import calibrate
    from calib.jobs.calibrating import only_registered
    from calib.jobs.constant_source import RegistryConstants
    from calib.jobs.vessels import told_kinds
    from calib.registry import open_registry
    from calib.runs.reader import read_table

    table = read_table(path)
    checks: list[dict[str, Any]] = []
    with open_registry(registry, create=False) as store:
        table = told_kinds(only_registered(table, store), store)
        before = RegistryConstants(store)
        report = calibrate(
            table, known_loss=before, known_constant=before.constant_of, progress=progress
        )
        facts = report.to_json()
        for constant in report.constants:
            try:
                checks.append(_check_facts(_check(constant, store)))
            except CupledgerError as error:
                row = constant.runs[0].calibration.run.run
                facts["errors"].append(_problem(RowProblem(row, "apparatus", str(error))))
    return {
        "checks": checks,
        "runs": facts["runs"],
        "errors": facts["errors"],
        "notes": facts["notes"],
    }


def _check(constant: CupConstant, store: Registry) -> TodayCheck:
    from calib.registry.drift import check_today

    found = [r.calibration.constant for r in constant.runs]
    runs = [one for one in found if one is not None]
    if not runs or constant.combined is None:
        raise InputError(
            f"the runs of {constant.apparatus} are cooling logs: they give no constant"
        )
    shared = constant.combined.u_shared
    own = [math.sqrt(max(one.u**2 - shared**2, 0.0)) for one in runs]
    stored = store.constant_for(constant.apparatus, constant.last_date)
    return check_today(stored, [one.value for one in runs], own, u_shared_J_per_K=shared)


def _check_facts(check: TodayCheck) -> dict[str, Any]:
    return {
        "apparatus": check.apparatus,
        "constant_id": check.constant_id,
        "runs": check.runs,
        "mean_J_per_K": check.mean_J_per_K,
        **(_step_facts(check.step) or {}),
        "degrees_of_freedom": check.degrees_of_freedom,
        "smallest_seen_J_per_K": check.smallest_seen_J_per_K,
        "word": check.step.word,
        "agrees": check.agrees,
        "verdict": check.verdict,
    }


def _problem(problem: RowProblem) -> dict[str, str]:
    names = ("row", "column", "message", "found", "expected", "remedy")
    return {name: getattr(problem, name) for name in names}


# What is due


def due(
    registry: str | None = None, *, on: date | None = None, within_days: int = 30
) -> dict[str, Any]:
    """Which constants in force are due for a recheck, by date or by number of uses.

    ``state`` is overdue, soon (within so many days, or nine tenths of the uses), fine, or not set.

    Raises RegistryError: the registry cannot be opened.
    """
    from calib.registry.listing import list_constants

    day = on or date.today()
    if not 0 <= within_days <= MOST_DAYS:
        raise InputError(
            f"--within {within_days:.6g}: expected a number of days, zero or more, up to"
            f" {MOST_DAYS}"
        )
    listing = list_constants(registry)
    lines = [_due(k, day, within_days) for k in listing.constants if k.in_force_on(day)]
    order = ("overdue", "soon", "not set", "fine")
    lines.sort(key=lambda line: (order.index(line["state"]), line["apparatus"]))
    unread = unreadable_facts(one for one in listing.unreadable if not one.withdrawn)
    return {"on": day, "registry": listing.where, "constants": lines, "unreadable": unread}


def _due(k: StoredConstant, day: date, within_days: int) -> dict[str, Any]:
    state = "fine"
    if k.recheck_due is None and k.recheck_uses is None:
        state = "not set"
    elif k.recheck(day):
        state = "overdue"
    elif (k.recheck_due is not None and k.recheck_due <= day + timedelta(days=within_days)) or (
        k.recheck_uses is not None and k.uses >= 0.9 * k.recheck_uses
    ):
        state = "soon"
    return {
        "id": k.id,
        "apparatus": k.apparatus,
        "state": state,
        "recheck_due": k.recheck_due,
        "days_left": None if k.recheck_due is None else (k.recheck_due - day).days,
        "uses": k.uses,
        "recheck_uses": k.recheck_uses,
        "why": k.recheck(day),
    }
