"""``cupledger constants impact`` and ``certificate``: what rests on a constant, and its page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import MOST_NUMBER, JsonFlag, Overwrite, RegistryPlace, day
from calib.cli.output import Output
from calib.cli.problems import exit_code, show_problems
from calib.rounding import figures, with_u


def impact(
    number: Annotated[
        int,
        typer.Argument(min=0, max=MOST_NUMBER, metavar="NUMBER", help="The constant's number."),
    ],
    recompute: Annotated[
        bool,
        typer.Option("--recompute", help="Compute them with the constant now in force."),
    ] = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """List the kept results that rest on a constant (see enthalpy --record); change nothing."""
    from calib.jobs.impact import impact_of

    out = Output(as_json=as_json)
    facts = impact_of(number, registry, recompute=recompute, progress=out.progress)
    _show(out, facts)
    out.dump(facts)
    if facts["errors"]:
        raise typer.Exit(2 if len(facts["errors"]) == len(facts["results"]) else 1)


def certificate(
    cups: Annotated[
        list[str] | None,
        typer.Argument(metavar="[CUP...]", help="These cups (default: all with a constant)."),
    ] = None,
    number: Annotated[
        list[int] | None,
        typer.Option(
            "--number",
            min=0,
            max=MOST_NUMBER,
            metavar="NUMBER",
            help="This constant, in force or not; may be repeated.",
        ),
    ] = None,
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DATE", help="In force on this day (default: today)."),
    ] = None,
    folder: Annotated[
        Path, typer.Option("--folder", metavar="DIR", help="Where to write the pages.")
    ] = Path(),
    overwrite: Overwrite = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Write a page per cup that prints on one sheet: runs, value, budget, range, dates."""
    from calib.jobs.certifying import certify
    from calib.outputs import outputs_beside

    out = Output(as_json=as_json)
    outputs = outputs_beside(registry, overwrite=overwrite)
    facts = certify(
        folder, registry, cups=cups or (), numbers=number or (), on=day(on), outputs=outputs
    )
    show_problems(out, facts["errors"])
    for one in facts["certificates"]:
        out.say(f"{one['apparatus']}, constant {one['constant_id']}: {one['page']}")
    if not facts["certificates"] and not facts["errors"]:
        out.note(f"no constant is in force on {facts['on']}; nothing was written")
    out.dump(facts)
    raise typer.Exit(exit_code(facts["errors"], bool(facts["certificates"])))


def _show(out: Output, facts: dict[str, Any]) -> None:
    c = facts["constant"]
    why = f" ({c['withdrawn_why']})" if c["withdrawn_why"] else ""
    value = with_u(c["constant_J_per_K"], c["u_constant_J_per_K"])
    out.say(f"Constant {c['id']} of {c['apparatus']}: {value} J/K, {c['status']}{why}.")
    if not facts["results"]:
        out.say(
            "No kept result rests on it. Results are kept by: cupledger enthalpy TABLE --record"
        )
        return
    show_problems(out, facts["errors"])
    headers = ["run", "table", "date", "what", "old", "constant J/K"]
    if facts["recomputed"]:
        headers += ["new", "constant J/K", "change", "how"]
    out.table(headers, [_line(one, recomputed=facts["recomputed"]) for one in facts["results"]])
    if facts["recomputed"]:
        out.say("Old against new; nothing was changed. To keep the new: enthalpy TABLE --record.")
    else:
        out.say(f"Old against new: cupledger constants impact {c['id']} --recompute")


def _line(one: dict[str, Any], *, recomputed: bool) -> list[str]:
    run_date = "–" if one["date"] is None else str(one["date"])
    cells = [
        one["run"],
        one["table"],
        run_date,
        one["reaction"] or one["quantity"],
        f"{with_u(one['old'], one['u_old'])} {one['unit']}",
        figures(one["old_constant_J_per_K"], 4),
    ]
    if not recomputed:
        return cells
    if "new" not in one:
        return [*cells, "not computed", "–", "–", ""]
    in_u = "" if one["change_in_u"] is None else f" ({one['change_in_u']:+.1f} u)"
    return [
        *cells,
        f"{with_u(one['new'], one['u_new'])} {one['unit']}",
        figures(one["new_constant_J_per_K"], 4),
        f"{figures(one['change'], 2)}{in_u}",
        one["how"],
    ]
