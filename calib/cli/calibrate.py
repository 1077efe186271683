"""``cupledger calibrate``: constants from a table of calibration runs."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from calib.cli.options import ByName, JsonFlag, RegistryPlace, TableFile
from calib.cli.output import Output
from calib.cli.problems import exit_code, show_problems
from calib.rounding import figures, interval, with_u


def calibrate(
    table: TableFile,
    approve: Annotated[
        bool, typer.Option("--approve", help="Put the constants in force at once.")
    ] = False,
    reason: Annotated[
        str, typer.Option("--reason", help="Why; needed where a constant failed its checks.")
    ] = "",
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Derive each cup's constant from mixing, known-reaction or heater runs.

    The table's rows decide which. Constants are kept as drafts until they are approved.
    """
    from calib.jobs.calibrating import calibrate_table

    out = Output(as_json=as_json)
    facts = calibrate_table(
        table, registry, approve=approve, by=by, reason=reason, progress=out.progress
    )
    _show(out, facts)
    out.dump(facts)
    raise typer.Exit(exit_code(facts["errors"], bool(facts["constants"])))


def _show(out: Output, facts: dict[str, Any]) -> None:
    for note in facts["notes"]:
        out.note(f"reading: {note}")
    show_problems(out, facts["errors"])
    out.table(
        ["run", "cup", "constant from this run J/K", "rise K", "method", "remarks"],
        [
            [
                run["run"],
                run["apparatus"],
                with_u(run["constant_J_per_K"], run["u_constant_J_per_K"]),
                with_u(run["rise_K"], run["u_rise_K"]),
                run["method"],
                "; ".join(run["warnings"]),
            ]
            for run in facts["runs"]
        ],
        title="Runs",
    )
    out.table(
        ["no.", "cup", "constant J/K", "95 % interval", "loss G W/K", "runs", "spread", "status"],
        [
            [
                str(c["id"]) if c["id"] is not None else "–",
                c["apparatus"],
                with_u(c["constant_J_per_K"], c["u_constant_J_per_K"]),
                interval(c["interval95_J_per_K"]),
                with_u(c["heat_loss_W_per_K"], c["u_heat_loss_W_per_K"])
                if c["heat_loss_W_per_K"] is not None
                else "–",
                str(c["runs"]),
                figures(c["between_run_sd_J_per_K"], 2),
                c["status"],
            ]
            for c in facts["constants"]
        ],
        title="Constants",
    )
    for constant in facts["constants"]:
        for warning in constant["warnings"]:
            out.note(f"warning: {constant['apparatus']}: {warning}")
    out.say(
        "± is one standard uncertainty (k = 1): the runs' readings, the masses, what they share,"
        " and the spread between runs."
    )
    drafts = [str(c["id"]) for c in facts["constants"] if c["status"] == "draft"]
    if drafts:
        out.say(f"Drafts. To use them: cupledger constants approve {' '.join(drafts)}")
