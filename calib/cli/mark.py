"""``cupledger mark``: each group's own answer against its own readings, with the likely slip."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import JsonFlag, Overwrite, RegistryPlace, TableFile
from calib.cli.output import Output
from calib.cli.problems import Done, exit_code, show_problems
from calib.rounding import figures

SoluteMass = Annotated[
    str,
    typer.Option(
        "--solute-mass", metavar="in|out",
        help="Whether the mass of a dissolving solid counts in the simple depth, as taught.",
    ),
]  # fmt: skip


def mark(
    table: TableFile,
    depth: Annotated[
        str, typer.Option("--depth", metavar="simple|full", help="The calculation as taught.")
    ] = "simple",
    solute_mass: SoluteMass = "in",
    sheets: Annotated[
        Path | None,
        typer.Option(
            "--sheets", metavar="FOLDER|FILE",
            help="Write feedback sheets: a page a group into a folder, or all in one .html or .md.",
        ),
    ] = None,
    results: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write the marks: CSV or XLSX.")
    ] = None,
    overwrite: Overwrite = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:  # fmt: skip
    """Mark each group's own answer against its own readings; name the slip that explains it."""
    from calib.jobs.marking import claim_sheets, mark_answers, write_marks, write_sheets
    from calib.outputs import MARKS, outputs_beside

    out, done = Output(as_json=as_json, file=table), Done()
    outputs = outputs_beside(registry, overwrite=overwrite, table=table)
    claim_sheets(outputs, sheets)
    outputs.claim(MARKS, results, "--out")
    marked = mark_answers(
        table,
        registry,
        depth=depth,
        solute_mass=solute_mass,
        progress=out.progress,
        outputs=outputs,
    )
    facts = marked.facts
    if sheets is not None:
        done.do(lambda: _written(sheets, write_sheets(sheets, marked, outputs=outputs)))
    if results is not None:
        done.do(lambda: f"marks written: {write_marks(results, marked, outputs=outputs)}")
    _show(out, facts)
    done.show(out)
    facts["errors"] += done.errors
    out.dump(facts)
    any_marked = any(row["verdict"] != "cannot be marked" for row in facts["runs"])
    raise typer.Exit(exit_code(facts["errors"], any_marked))


def _written(place: Path, pages: list[Path]) -> str:
    where = pages[0] if len(pages) == 1 else f"{len(pages)} pages in {place}"
    return f"feedback sheets written: {where}"


def _show(out: Output, facts: dict[str, Any]) -> None:
    for note in facts["notes"]:
        out.reading(note)
    show_problems(out, facts["errors"])
    out.table(
        ["run", "answer", "own readings give", "verdict", "what happened"],
        [
            [
                row["run"],
                f"{row['answer']} {row['unit']}" if "answer" in row else "",
                figures(row.get("own_readings_give"), 4),
                row["verdict"],
                _words(row),
            ]
            for row in facts["runs"]
        ],
    )
    if facts["depth"] == "full":
        for row in facts["runs"]:
            for note in row.get("notes", []):
                out.warn(note, row=row["run"])
    counted = ", ".join(f"{many} {verdict}" for verdict, many in facts["counts"].items())
    if counted:
        out.say(f"{counted} (depth {facts['depth']})")


def _words(row: dict[str, Any]) -> str:
    if "answer" not in row:
        return str(row["reason"])
    if row["fits"]:
        return "; or ".join(fit["words"] for fit in row["fits"])
    said = [*row["calculated"], *(f"left out: {part}" for part in row["left_out"])]
    return "; ".join(said)
