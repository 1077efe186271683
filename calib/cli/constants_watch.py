"""``cupledger constants drift``, ``check``, ``recheck``: has a cup changed, is it time to look?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import JsonFlag, Overwrite, RegistryPlace, TableFile, day
from calib.cli.output import Output
from calib.cli.problems import exit_code, show_problems
from calib.cli.said import FAILED
from calib.rounding import with_u


def drift(
    cups: Annotated[
        list[str] | None, typer.Argument(metavar="[CUP...]", help="Only these cups.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", help="Only the cups of this kind, and their set.")
    ] = None,
    rules: Annotated[
        str, typer.Option("--rules", metavar="NAME", help="nelson or western-electric.")
    ] = "nelson",
    chart: Annotated[
        Path | None,
        typer.Option("--chart", metavar="FILE", help="Draw the charts: .svg, .png or .pdf."),
    ] = None,
    overwrite: Overwrite = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Has a cup changed, or the whole set? Control charts of the constants, judged in words."""
    from calib.jobs.watching import drift_of
    from calib.outputs import outputs_beside

    out = Output(as_json=as_json)
    outputs = outputs_beside(registry, overwrite=overwrite)
    facts = drift_of(
        registry, cups=cups or (), kind=kind, rules=rules, chart=chart, outputs=outputs
    )
    for one in [*facts["sets"], *facts["cups"]]:
        out.say(one["verdict"])
        if len(one["points"]) > 1:
            out.say()
            for line in one["drawn"].splitlines():
                out.say(f"    {line}")
        out.say()
    if not facts["cups"]:
        out.say("No cups are in use, so there is nothing to compare.")
    elif any(len(one["points"]) > 1 for one in facts["cups"]):
        out.say("o value, : centre, | limits (3 sigma); J/K.")
    if facts["chart"] is not None:
        out.note(f"chart written: {chart}")
    for error in facts["errors"]:
        out.refuse(error["message"], severity=FAILED)
    _end(out, facts)


def check(
    table: TableFile,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Do today's runs agree with the constants in force? Five minutes; nothing is stored.

    One or two calibration runs a cup are enough, readings without a logged curve too.
    """
    from calib.jobs.watching import check_table

    out = Output(as_json=as_json, file=table)
    facts = check_table(table, registry, progress=out.progress)
    _show_check(out, facts)
    out.dump(facts)
    raise typer.Exit(exit_code(facts["errors"], bool(facts["checks"])))


def recheck(
    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="As of this day (default: today).")
    ] = None,
    within: Annotated[
        int, typer.Option("--within", metavar="DAYS", help="What counts as soon.")
    ] = 30,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Which constants in force are due for a recheck, by date and by number of uses."""
    from calib.jobs.watching import due

    out = Output(as_json=as_json)
    facts = due(registry, on=day(on), within_days=within)
    if not facts["constants"]:
        out.say(f"No constant is in force on {facts['on']} in {facts['registry']}.")
    out.table(
        ["cup", "no.", "state", "due on", "days left", "uses", "due after uses"],
        [
            [
                one["apparatus"],
                str(one["id"]),
                one["state"],
                str(one["recheck_due"] or "–"),
                "–" if one["days_left"] is None else str(one["days_left"]),
                str(one["uses"]),
                str(one["recheck_uses"] or "–"),
            ]
            for one in facts["constants"]
        ],
    )
    late = [one["apparatus"] for one in facts["constants"] if one["state"] == "overdue"]
    if late:
        out.say(
            f"Overdue: {', '.join(late)}. A quick look: cupledger constants check TABLE; a new"
            " constant: cupledger calibrate TABLE --approve"
        )
    _end(out, facts)


def _end(out: Output, facts: dict[str, Any]) -> None:
    for one in facts["unreadable"]:
        out.note(one["message"])
    out.dump(facts)
    raise typer.Exit(1 if facts["unreadable"] else 0)


def _show_check(out: Output, facts: dict[str, Any]) -> None:
    for note in facts["notes"]:
        out.reading(note)
    show_problems(out, facts["errors"])
    out.table(
        ["run", "cup", "constant from this run J/K", "rise K", "method"],
        [
            [
                run["run"],
                run["apparatus"],
                with_u(run["constant_J_per_K"], run["u_constant_J_per_K"]),
                with_u(run["rise_K"], run["u_rise_K"]),
                run["method"],
            ]
            for run in facts["runs"]
        ],
    )
    for one in facts["checks"]:
        out.say(f"{one['word']}: {one['verdict']}.")
