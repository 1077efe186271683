"""``cupledger template``: a blank table for a class."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calib.cli.options import JsonFlag, Overwrite, RegistryPlace
from calib.cli.output import Output
from calib.cli.said_first import ask_first, say_first


def template(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write: .xlsx or .csv.")],
    benches: Annotated[
        int | None, typer.Option("--benches", metavar="N", help="How many benches.")
    ] = None,
    labels: Annotated[
        str | None, typer.Option("--labels", help='Names instead of a number: "Larch, Fennel".')
    ] = None,
    reaction: Annotated[
        str | None, typer.Option("--reaction", help="Equation or name of a known reaction.")
    ] = None,
    in_cup: Annotated[
        str | None, typer.Option("--in-cup", help="What is in the cup first: 'HNO3(aq)'.")
    ] = None,
    added: Annotated[str | None, typer.Option("--added", help="What is added: 'KNO3(s)'.")] = None,
    fill: Annotated[
        list[str] | None,
        typer.Option("--fill", metavar="COLUMN=VALUE", help="A value that all benches share."),
    ] = None,
    weighed: Annotated[
        bool, typer.Option("--weighed", help="Liquids are weighed, not measured by volume.")
    ] = False,
    curves: Annotated[bool, typer.Option("--curves", help="With columns for curves.")] = False,
    heater: Annotated[
        bool, typer.Option("--heater", help="For calibrating cups with a heater.")
    ] = False,
    answers: Annotated[
        bool, typer.Option("--answers/--no-answers", help="A column for each group's answer.")
    ] = True,
    day: Annotated[
        str | None, typer.Option("--date", metavar="DAY", help="Day of the session.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", help="List only the registry's cups of this kind.")
    ] = None,
    delimiter: Annotated[
        str, typer.Option("--delimiter", help="Between the cells of a CSV.")
    ] = ",",
    overwrite: Overwrite = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Write a blank table: lists to choose from, units, ranges, an example, instructions."""
    from calib.classwork.template import TemplatePlan
    from calib.errors import InputError
    from calib.hazards.asking import asked_of_row
    from calib.jobs.blank_table import strengths_in, values_to_fill, write_blank_table
    from calib.jobs.planning import day_of
    from calib.outputs import outputs_beside

    out = Output(as_json=as_json)
    ask_first(out, asked_of_row(in_cup, added, reaction, strengths=strengths_in(fill or [])))
    if (benches is None) == (labels is None):
        raise InputError("say how many benches with --benches, or name them with --labels")
    if delimiter not in (",", ";", "\t", "tab"):
        raise InputError(f"--delimiter {delimiter!r}: expected a comma, a semicolon or tab")
    plan = TemplatePlan(
        benches=labels.split(",") if labels is not None else (benches or 0),
        reaction=reaction,
        in_cup=in_cup,
        added=added,
        weighed=weighed,
        curves=curves,
        heater=heater,
        reported=answers,
        day=day_of(day),
        filled=values_to_fill(fill or []),
    )
    facts = write_blank_table(
        file, plan, registry=registry, kind=kind,
        outputs=outputs_beside(registry, overwrite=overwrite),
        delimiter="\t" if delimiter == "tab" else delimiter,
    )  # fmt: skip
    say_first(out, facts["hazards"])
    for note in facts["notes"]:
        out.warn(note)
    out.say(f"Written: {facts['file']}, {len(facts['benches'])} benches.")
    out.say(f"Cups to choose from: {', '.join(facts['cups']) or 'none'}.")
    out.say(f"Filled in and saved, it is read as it is: cupledger enthalpy {facts['file']}")
    for text in facts["cautions"]:
        out.say(f"Caution: {text}")
    out.dump(facts)
