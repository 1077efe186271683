"""``cupledger constants``: what is stored, and the decisions about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli import (
    calibration_plan,
    constants_impact,
    constants_sharing,
    constants_watch,
)
from calib.cli.constants_view import constant_facts, constant_table, trail_facts, trail_table
from calib.cli.options import ByName, JsonFlag, RegistryPlace, day
from calib.cli.output import Output
from calib.errors import InputError

if TYPE_CHECKING:
    from calib.registry import StoredConstant

app = typer.Typer(
    help="Show the stored constants; decide about them, check, share and certify them.",
    invoke_without_command=True,
    rich_markup_mode=None,
)
app.command("export")(constants_sharing.export)
app.command("import")(constants_sharing.import_)
app.command("merge")(constants_sharing.merge)
app.command("plan")(calibration_plan.plan)
app.command("impact")(constants_impact.impact)
app.command("certificate")(constants_impact.certificate)
app.command("drift")(constants_watch.drift)
app.command("check")(constants_watch.check)
app.command("recheck")(constants_watch.recheck)


@app.callback()
def constants(
    context: typer.Context,
    apparatus: Annotated[
        str | None, typer.Option("--apparatus", metavar="ID", help="Only this cup.")
    ] = None,
    history: Annotated[
        bool,
        typer.Option("--history", help="Superseded and withdrawn ones too, and the trail."),
    ] = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Show the constants in force and the drafts that wait for a decision."""
    if context.invoked_subcommand is not None:
        _refuse_options_before(context)
        return
    from calib.registry.listing import list_constants

    out = Output(as_json=as_json)
    listing = list_constants(registry, apparatus)
    where, found = listing.where, listing.constants
    shown = [c for c in found if history or c.status in {"approved", "draft"}]
    facts = {"constants": [constant_facts(c) for c in shown], "registry": where}
    if shown:
        constant_table(out, shown)
        _say_what_waits(out, shown)
    else:
        out.say(f"No constants are stored in {where}. Make some: cupledger calibrate TABLE")
    if history and found:
        from calib.registry import open_registry

        with open_registry(registry, create=False) as store:
            trail = store.audit(apparatus)
        out.say()
        trail_table(out, trail)
        facts["trail"] = [trail_facts(line) for line in trail]
    out.dump(facts)


@app.command()
def approve(
    numbers: Annotated[list[int], typer.Argument(metavar="NUMBER...")],
    reason: Annotated[str, typer.Option("--reason", help="Why; needed where checks failed.")] = "",
    start: Annotated[
        str | None,
        typer.Option("--from", metavar="DATE", help="First day in force (ISO 8601)."),
    ] = None,
    in_place_of: Annotated[
        int | None,
        typer.Option(
            "--in-place-of",
            metavar="NUMBER",
            help="Only if it takes over from this constant; else nothing is changed.",
        ),
    ] = None,
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Put drafts in force, all or none; each supersedes the cup's constant before it."""
    from calib.jobs.deciding import approve_drafts

    out = Output(as_json=as_json)
    done = approve_drafts(
        numbers, registry, reason=reason, valid_from=day(start), in_place_of=in_place_of, by=by
    )
    for kept, ended in done:
        until = f" until {kept.valid_to}" if kept.valid_to is not None else ""
        out.say(
            f"Constant {kept.id} of {kept.apparatus} is in force from {kept.valid_from}{until}."
        )
        for old in ended:
            out.say(
                f"  It supersedes constant {old.id}, in force from {old.valid_from} until then."
            )
    out.dump(
        {
            "constants": [constant_facts(kept) for kept, _ in done],
            "superseded": [old.id for _, ended in done for old in ended],
        }
    )


@app.command()
def withdraw(
    number: Annotated[int, typer.Argument(metavar="NUMBER")],
    reason: Annotated[str, typer.Option("--reason", help="Why nobody should use it.")],
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Take a constant out of use for all dates; it stays in the history."""
    from calib.jobs.deciding import withdraw_constant

    out = Output(as_json=as_json)
    gone, touched = withdraw_constant(number, registry, reason=reason, by=by)
    out.say(f"Constant {number} of {gone.apparatus} is withdrawn: {reason}")
    if touched:
        out.say(
            f"{len(touched)} kept results rest on it; old against new:"
            f" cupledger constants impact {number} --recompute"
        )
    out.dump({"constants": [constant_facts(gone)], "results": [kept.id for kept in touched]})


def _refuse_options_before(context: typer.Context) -> None:
    """An option of the list that stands before a command would otherwise be passed over."""
    given = [
        name
        for name in ("apparatus", "history", "registry", "as_json")
        if getattr(context.get_parameter_source(name), "name", "") == "COMMANDLINE"
    ]
    if given:
        option = {"as_json": "json"}.get(given[0], given[0])
        command = context.invoked_subcommand
        raise InputError(
            f"--{option} stands before {command!r} and would have no effect there; nothing was"
            f" done; write: cupledger constants {command} … --{option}"
        )


def _say_what_waits(out: Output, shown: list[StoredConstant]) -> None:
    drafts = [str(c.id) for c in shown if c.status == "draft"]
    out.say("± is one standard uncertainty (k = 1); its parts: cupledger constants --json")
    if drafts:
        out.say(
            f"Drafts are not used yet. To use them: cupledger constants approve {' '.join(drafts)}"
        )
