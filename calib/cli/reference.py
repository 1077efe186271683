"""``cupledger reference``: what is known of a solute, a reaction or an instrument."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.options import JsonFlag
from calib.cli.output import Output


def reference(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[WHAT]...",
            help='A substance, an equation, an instrument: KNO3, "H+ + OH- -> H2O", balance.'
            " Nothing: an overview.",
        ),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Show reactions, solutes and tolerances in use, with sources."""
    from calib.jobs.looking_up import look_up

    out = Output(as_json=as_json)
    found = look_up(" ".join(words or []))
    for section in found["sections"]:
        out.table(
            ["what", "value", "holds for", "source"],
            [
                [line["what"], line["value"], line.get("holds", ""), line["source"]]
                for line in section["lines"]
            ],
            title=section["title"],
        )
    for caution in found["cautions"]:
        out.say(f"Caution: {caution}")
    out.dump(found)
