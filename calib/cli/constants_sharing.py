"""``cupledger constants export``, ``import`` and ``merge``: constants that travel."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import ByName, JsonFlag, Overwrite, RegistryPlace
from calib.cli.output import Output
from calib.cli.said import TO_DECIDE
from calib.rounding import with_u

Rename = Annotated[
    list[str] | None,
    typer.Option(
        "--rename", metavar="OLD=NEW", help="Bring in their cup OLD as NEW; may be repeated."
    ),
]
KeepStatus = Annotated[
    bool,
    typer.Option(
        "--keep-status", help="Let their approvals, ends and withdrawals stand: you trust them."
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
    out.say(f"Head of the registry's chain: {facts['chain_head']}")
    for one in facts["left_out"]:
        out.note(f"left out: {one['message']}")
    out.dump(facts)
    raise typer.Exit(1 if facts["left_out"] else 0)


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file written by export.")],
    rename: Rename = None,
    keep_status: KeepStatus = False,
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Bring in an exported file: all or nothing; approvals arrive as drafts."""
    from calib.jobs.sharing import import_file, renames

    out = Output(as_json=as_json)
    facts = import_file(
        file, registry, rename=renames(rename or ()), by=by, keep_status=keep_status
    )
    _show(out, facts)


def merge(
    other: Annotated[
        str, typer.Argument(metavar="OTHER_REGISTRY", help="Its file or URL; it is only read.")
    ],
    rename: Rename = None,
    keep_status: KeepStatus = False,
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Bring in all that another registry holds; approvals arrive as drafts."""
    from calib.jobs.sharing import merge_from, renames

    out = Output(as_json=as_json)
    facts = merge_from(
        other, registry, rename=renames(rename or ()), by=by, keep_status=keep_status
    )
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
    _show_arrivals(out, facts)
    for one in facts["left_out"]:
        out.note(f"left out: {one['message']}")
    for conflict in facts["conflicts"]:
        out.refuse(conflict["message"], severity=TO_DECIDE)
    out.dump(facts)
    raise typer.Exit(1 if facts["conflicts"] or facts["left_out"] else 0)


def _show_arrivals(out: Output, facts: dict[str, Any]) -> None:
    """What came in, for the eye: value, status there and here, from which file."""
    out.table(
        ["no.", "cup", "constant J/K", "status there", "status here", "from"],
        [
            [
                str(one["id"]),
                one["apparatus"],
                with_u(one["constant_J_per_K"], one["u_constant_J_per_K"]),
                one["status_there"],
                one["status"],
                Path(one["from"]).name,
            ]
            for one in facts["arrived"]
        ],
    )
    for one in facts["arrived"]:
        for doubt in one["doubts"]:
            out.note(f"doubtful: constant {one['id']} of {one['apparatus']}: {doubt}")
    in_force = {"approved", "superseded"}
    drafts = [one["id"] for one in facts["arrived"] if one["status"] == "draft"
              and one["status_there"] in in_force and not one["doubts"]]  # fmt: skip
    waiting = sorted({*drafts, *facts["waiting"]})
    if waiting:
        out.say(
            "In force there, drafts here. Once you have looked at them: cupledger constants approve"
            f" {' '.join(map(str, waiting))} (all decisions of a registry you trust: --keep-status)"
        )
