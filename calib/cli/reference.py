"""``cupledger reference``: what is known of a solute, a reaction or an instrument."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from calib.cli.options import JsonFlag
from calib.cli.output import Output
from calib.cli.said_first import say_first


def reference(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[WHAT]...",
            help='A substance, an equation, an instrument: KNO3, "H+ + OH- -> H2O", balance.'
            ' "reactions" or a topic such as neutralization: that list with accepted values and'
            ' expected rises. "cups": what is taken as known of cups before a curve is seen.'
            " Nothing: an overview.",
        ),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Show reactions, solutes and tolerances in use, with sources."""
    from calib.jobs.looking_up import look_up

    out = Output(as_json=as_json)
    found = look_up(" ".join(words or []))
    say_first(out, found["hazards"])
    for section in found["sections"]:
        _show(out, section)
    for caution in found["cautions"]:
        out.say(f"Caution: {caution}")
    out.dump(found)


def _show(out: Output, section: dict[str, Any]) -> None:
    lines = section["lines"]
    if section["kind"] == "search":
        rows = [[line["what"], line["name"], line["equation"]] for line in lines]
        out.table(["topic", "name", "equation"], rows, title=section["title"])
    elif section["kind"] == "list":
        _show_list(out, section)
    else:
        rows = [
            [line["what"], line["value"], line.get("holds", ""), line["source"]] for line in lines
        ]
        third = "u" if section["kind"] == "cups" else "holds for"
        out.table(["what", "value", third, "source"], rows, title=section["title"])


def _show_list(out: Output, section: dict[str, Any]) -> None:
    from calib.jobs.reference_lines import LIST_CUP_J_PER_K

    out.table(
        ["topic", "name", "accepted, infinite dilution", "expected rise", "amounts", "missing"],
        [
            [
                line["what"],
                line["name"],
                line["value"],
                line["rise"],
                line["amounts"],
                "; ".join(line["missing"]),
            ]
            for line in section["lines"]
        ],
        title=f"{section['title']}, per mole of reaction as written; rises for a cup of "
        f"{LIST_CUP_J_PER_K:g} J/K",
    )
