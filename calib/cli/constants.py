"""``cupledger constants``: what is stored, and the decisions about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli.constants_view import (
    constant_facts,
    constant_table,
    say_where_it_holds,
    say_why_held_back,
    trail_facts,
    trail_table,
)
from calib.cli.late import late_group
from calib.cli.options import JsonFlag, RegistryPlace
from calib.cli.output import Output
from calib.cli.problems import show_unreadable
from calib.errors import InputError

if TYPE_CHECKING:
    from calib.registry import StoredConstant

app = typer.Typer(
    cls=late_group(
        {
            "approve": "calib.cli.constants_decide:approve",
            "withdraw": "calib.cli.constants_decide:withdraw",
            "plan": "calib.cli.calibration_plan:plan",
            "drift": "calib.cli.constants_watch:drift",
            "check": "calib.cli.constants_watch:check",
            "recheck": "calib.cli.constants_watch:recheck",
            "impact": "calib.cli.constants_impact:impact",
            "certificate": "calib.cli.constants_impact:certificate",
            "export": "calib.cli.constants_sharing:export",
            "import": "calib.cli.constants_sharing:import_",
            "merge": "calib.cli.constants_sharing:merge",
            "verify": "calib.cli.constants_verify:verify",
        }
    ),
    help="Show the stored constants; decide about them, check, share and certify them.",
    invoke_without_command=True,
    rich_markup_mode=None,
)


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
    bad = tuple(one for one in listing.unreadable if not one.withdrawn)
    shown = [c for c in found if history or c.status in {"approved", "draft"}]
    facts = {"constants": [constant_facts(c) for c in shown], "registry": where}
    if shown:
        constant_table(out, shown)
        if apparatus is not None:
            say_where_it_holds(out, shown)
        _say_what_waits(out, shown)
    else:
        out.say(f"No constants are stored in {where}. Make some: cupledger calibrate TABLE")
    if history and (found or bad):
        from calib.registry import open_registry

        with open_registry(registry, create=False) as store:
            trail = store.audit(apparatus)
            bad = tuple(one for one in store.unreadable() if apparatus in {None, one.apparatus})
        out.say()
        trail_table(out, trail)
        facts["trail"] = [trail_facts(line) for line in trail]
    facts["unreadable"] = show_unreadable(out, bad)
    out.dump(facts)
    raise typer.Exit(1 if bad else 0)


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
    say_why_held_back(out, shown)
    drafts = [str(c.id) for c in shown if c.status == "draft" and not c.held_back]
    out.say("± is one standard uncertainty (k = 1); its parts: cupledger constants --json")
    if drafts:
        out.say(
            f"Drafts are not used yet. To use them: cupledger constants approve {' '.join(drafts)}"
        )
