"""``cupledger key``: a worked answer, numbers substituted, at two depths."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli.mark import SoluteMass
from calib.cli.options import JsonFlag, Overwrite, RegistryPlace, TableFile
from calib.cli.output import Output
from calib.cli.problems import Done
from calib.cli.said import NOT_COMPUTED
from calib.cli.said_first import say_first

if TYPE_CHECKING:
    from calib.classwork.worked.answer import WorkedAnswer


def key(
    table: TableFile,
    run: Annotated[str, typer.Option("--run", metavar="R", help="The row's own label.")],
    results: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write the answer: Markdown or HTML."),
    ] = None,
    solute_mass: SoluteMass = "in",
    overwrite: Overwrite = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Work out one run with its numbers, simple and full, and say why the two differ."""
    from calib.jobs.answer_key import answer_for, answer_kind, write_answer
    from calib.outputs import outputs_beside

    out, done = Output(as_json=as_json, file=table), Done()
    outputs = outputs_beside(registry, overwrite=overwrite, table=table)
    if results is not None:
        outputs.claim(answer_kind(results), results, "--out")
    answer = answer_for(table, run, registry, solute_mass=solute_mass, outputs=outputs)
    if results is not None:
        done.do(lambda: f"worked answer written: {write_answer(results, answer, outputs=outputs)}")
    _show(out, answer)
    done.show(out)
    errors = [*_errors(answer), *done.errors]
    out.dump({**answer.to_json(), "errors": errors})
    raise typer.Exit(1 if errors else 0)


def _errors(answer: WorkedAnswer) -> list[dict[str, str]]:
    if not answer.no_full:
        return []
    return [{"row": answer.run, "column": "apparatus", "message": answer.no_full}]


def _show(out: Output, answer: WorkedAnswer) -> None:
    from calib.classwork.worked.steps import number, shown

    say_first(out, [one.to_json() for one in answer.hazards])
    out.say(f"{answer.run}: {answer.process}")
    for title, steps in (("simple", answer.simple), ("full", answer.full)):
        out.table(
            [title, "numbers", "result"],
            [[step.title, step.numbers, step.result] for step in steps],
        )
        for step in steps:
            if step.made_of:
                out.say(f"  ± of {step.result.partition(' = ')[0]}: {step.made_of}")
    if answer.no_full:
        out.refuse(f"the full depth: {answer.no_full}", severity=NOT_COMPUTED)
    if answer.full_value is not None:
        lines = [["simple answer", "", number(answer.simple_value)]]
        lines += [
            [d.name, f"{d.change:+.3g}".replace("-", "−"), number(d.after)]
            for d in answer.differences
        ]
        lines += [["full answer", "", shown(answer.full_value, answer.u_full or 0.0)]]
        out.say()
        out.table(["why they differ", f"change {answer.unit}", f"then {answer.unit}"], lines)
    if answer.reference:
        out.say(f"to compare with: {answer.reference}")
    for warning in answer.warnings:
        out.warn(warning)
    for caution in answer.cautions:
        out.say(f"caution: {caution}")
