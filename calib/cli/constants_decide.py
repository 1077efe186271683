"""``cupledger constants approve`` and ``withdraw``: the decisions about stored constants."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.constants_view import constant_facts
from calib.cli.options import MOST_NUMBER, ByName, JsonFlag, RegistryPlace, day
from calib.cli.output import Output


def approve(
    numbers: Annotated[list[int], typer.Argument(min=0, max=MOST_NUMBER, metavar="NUMBER...")],
    reason: Annotated[str, typer.Option("--reason", help="Why; needed where checks failed.")] = "",
    start: Annotated[
        str | None,
        typer.Option("--from", metavar="DATE", help="First day in force (ISO 8601)."),
    ] = None,
    in_place_of: Annotated[
        int | None,
        typer.Option(
            "--in-place-of",
            min=0,
            max=MOST_NUMBER,
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


def withdraw(
    number: Annotated[int, typer.Argument(min=0, max=MOST_NUMBER, metavar="NUMBER")],
    reason: Annotated[str, typer.Option("--reason", help="Why nobody should use it.")],
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Take a constant out of use for all dates; it stays in the history."""
    from calib.jobs.deciding import withdraw_constant
    from calib.jobs.verifying import unreadable_facts
    from calib.registry.records import StoredConstant

    out = Output(as_json=as_json)
    gone, touched = withdraw_constant(number, registry, reason=reason, by=by)
    out.say(f"Constant {number} of {gone.apparatus} is withdrawn: {reason}")
    if touched:
        out.say(
            f"{len(touched)} kept results rest on it; old against new:"
            f" cupledger constants impact {number} --recompute"
        )
    out.dump(
        {
            "constants": [constant_facts(gone)] if isinstance(gone, StoredConstant) else [],
            "unreadable": [] if isinstance(gone, StoredConstant) else unreadable_facts([gone]),
            "results": [kept.id for kept in touched],
        }
    )
