"""``cupledger constants export``, ``import`` and ``merge``: constants that travel."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import ByName, JsonFlag, Overwrite, RegistryPlace
from calib.cli.output import Output
from calib.cli.said import TO_DECIDE

Rename = Annotated[
    list[str] | None,
    typer.Option(
        "--rename", metavar="OLD=NEW", help="Bring in their cup OLD as NEW; may be repeated."
    ),
]


def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Text file to write: .json.")],
    apparatus: Annotated[
        list[str] | None,
        typer.Option("--apparatus", metavar="ID", help="Only this cup; may be repeated."),
    ] = None,
    results: Annotated[bool, typer.Option("--results", help="The kept results too.")] = False,
    overwrite: Overwrite = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Write cups, constants and their trail to one text file with a checksum."""
    from calib.jobs.sharing import export_file
    from calib.outputs import outputs_beside

    out = Output(as_json=as_json)
    outputs = outputs_beside(registry, overwrite=overwrite)
    facts = export_file(file, registry, apparatus=apparatus or (), results=results, outputs=outputs)
    out.say(
        f"Written {file}: {len(facts['apparatus'])} cups, {facts['constants']} constants,"
        f" {facts['results']} results, {facts['trail_lines']} lines of the trail."
    )
    out.say(f"SHA-256 of the content: {facts['sha256']}")
    out.dump(facts)


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file written by export.")],
    rename: Rename = None,
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Bring in an exported file: all or nothing; what both have is not doubled."""
    from calib.jobs.sharing import import_file, renames

    out = Output(as_json=as_json)
    facts = import_file(file, registry, rename=renames(rename or ()), by=by)
    _show(out, facts)


def merge(
    other: Annotated[
        str, typer.Argument(metavar="OTHER_REGISTRY", help="Its file or URL; it is only read.")
    ],
    rename: Rename = None,
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Bring in all that another registry holds; conflicts wait for a decision as drafts."""
    from calib.jobs.sharing import merge_from, renames

    out = Output(as_json=as_json)
    facts = merge_from(other, registry, rename=renames(rename or ()), by=by)
    _show(out, facts)


def _show(out: Output, facts: dict[str, Any]) -> None:
    if facts["registry_made"]:
        out.note(f"a new registry was made: {facts['registry']}")
    if not facts["changed"]:
        out.say(f"Nothing new in {facts['source']}: all of it is in {facts['registry']}.")
    else:
        numbers = ", ".join(map(str, facts["constants"])) or "none"
        out.say(f"From {facts['source']} into {facts['registry']}:")
        out.say(f"  cups registered: {', '.join(facts['registered']) or 'none'}")
        out.say(f"  constants: {numbers}")
        out.say(f"  results: {facts['results']}; lines of the trail: {facts['trail_lines']}")
        for line in facts["moved_on"]:
            out.say(f"  {line}")
    for conflict in facts["conflicts"]:
        out.refuse(conflict["message"], severity=TO_DECIDE)
    out.dump(facts)
    raise typer.Exit(1 if facts["conflicts"] else 0)
