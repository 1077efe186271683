"""``cupledger calibrate``: constants from a table of calibration runs."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

import typer

from calib.cli.calibrate_view import show_calibration
from calib.cli.options import ByName, JsonFlag, RegistryPlace, TableFile, day
from calib.cli.output import Output
from calib.cli.problems import exit_code, show_problems
from calib.cli.said_first import say_first


def calibrate(
    table: TableFile,
    approve: Annotated[
        bool, typer.Option("--approve", help="Put the constants in force at once.")
    ] = False,
    reason: Annotated[
        str, typer.Option("--reason", help="Why; needed where a constant failed its checks.")
    ] = "",
    valid_from: Annotated[
        str | None,
        typer.Option(
            "--valid-from", metavar="DATE", help="First day in force (default: last run's date)."
        ),
    ] = None,
    recheck_after: Annotated[
        int,
        typer.Option(
            "--recheck-after", metavar="DAYS", min=1, max=3660, help="Due for a recheck after this."
        ),
    ] = 183,
    recheck_uses: Annotated[
        int | None,
        typer.Option(
            "--recheck-uses",
            metavar="N",
            min=1,
            max=1_000_000,
            help="Due after so many kept results, too.",
        ),
    ] = None,
    lean_on_kind: Annotated[
        list[str] | None,
        typer.Option(
            "--lean-on-kind",
            metavar="CUP",
            help="Draw this badly known cup towards the other cups of its kind (may be repeated).",
        ),
    ] = None,
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Derive each cup's constant from mixing, known-reaction or heater runs, its loss from logs.

    The table's rows decide which. Constants are kept as drafts until they are approved. Ways that
    disagree are never averaged: each keeps a constant of its own, and a person decides.
    """
    from calib.jobs.calibrating import calibrate_table

    out = Output(as_json=as_json, file=table)
    facts = calibrate_table(
        table,
        registry,
        approve=approve,
        by=by,
        reason=reason,
        lean_on_kind=lean_on_kind or (),
        valid_from=day(valid_from),
        recheck_after=timedelta(days=recheck_after),
        recheck_uses=recheck_uses,
        progress=out.progress,
    )
    say_first(out, facts["hazards"])
    for note in facts["notes"]:
        out.reading(note)
    show_problems(out, facts["errors"])
    show_calibration(out, facts)
    out.dump(facts)
    stored = bool(facts["constants"]) and all(one["row"] is not None for one in facts["errors"])
    raise typer.Exit(exit_code(facts["errors"], stored))
