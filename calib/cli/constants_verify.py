"""``cupledger constants verify``: was anything changed behind the registry's back?"""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.options import JsonFlag, RegistryPlace
from calib.cli.output import Output


def verify(
    head: Annotated[
        str,
        typer.Option(
            "--head", metavar="HASH", help="A head written down before; it must be in the chain."
        ),
    ] = "",
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Hold every constant, cup and line of the trail against the chain of hashes.

    Exit code 0: all is as it was left; 1: something is not, and it is named.
    """
    from calib.jobs.verifying import verify_registry

    out = Output(as_json=as_json)
    facts = verify_registry(registry, head=head)
    for one in facts["named"]:
        out.note(f"not as it was left: {one['message']}")
    if facts["fine"]:
        out.say(
            f"All is as it was left: {facts['constants']} constants, {facts['apparatus']} cups,"
            f" {facts['lines']} lines of the trail in {facts['registry']}."
        )
    out.say(f"The chain begins at {facts['since']}; {facts['older_lines']} lines are older.")
    if facts["lines_after_head"] is not None:
        out.say(f"The head asked for is in the chain; {facts['lines_after_head']} lines follow it.")
    out.say(f"Head of the chain: {facts['head']}")
    out.dump(facts)
    raise typer.Exit(0 if facts["fine"] else 1)
