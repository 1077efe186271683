"""``cupledger constants``: what is stored, and the decisions about it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.cli.options import ByName, JsonFlag, RegistryPlace
from calib.cli.output import Output
from calib.rounding import interval, with_u

if TYPE_CHECKING:
    from calib.registry import StoredConstant

FACTS = (
    *("id", "apparatus", "kind", "method", "constant_J_per_K", "u_constant_J_per_K"),
    *("heat_loss_W_per_K", "u_heat_loss_W_per_K", "sensor_lag_s", "runs"),
    *("between_run_sd_J_per_K", "fill_mL", "temperature_C", "valid_from", "valid_to"),
    *("recheck_due", "recheck_uses", "status", "superseded_by", "digests", "warnings", "note"),
    *("made_by", "made_at", "software_version", "approved_by", "approved_at", "approved_why"),
    *("withdrawn_by", "withdrawn_at", "withdrawn_why", "uses"),
)

app = typer.Typer(
    help="Show the stored constants; approve, withdraw them.",
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
        bool, typer.Option("--history", help="Drafts, superseded and withdrawn ones too.")
    ] = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Show the constants in force and the drafts that wait for a decision."""
    if context.invoked_subcommand is not None:
        return
    from calib.registry.listing import list_constants

    out = Output(as_json=as_json)
    listing = list_constants(registry, apparatus)
    where, found = listing.where, listing.constants
    shown = [c for c in found if history or c.status in {"approved", "draft"}]
    if shown:
        constant_table(out, shown)
        _say_what_waits(out, shown)
    else:
        out.say(f"No constants are stored in {where}. Make some: cupledger calibrate TABLE")
    out.dump({"constants": [constant_facts(c) for c in shown], "registry": where})


@app.command()
def approve(
    numbers: Annotated[list[int], typer.Argument(metavar="NUMBER...")],
    reason: Annotated[str, typer.Option("--reason", help="Why; needed where checks failed.")] = "",
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Put drafts in force, all or none; each supersedes the cup's constant before it."""
    from calib.registry import open_registry

    out = Output(as_json=as_json)
    with open_registry(registry) as store:
        done = store.approve_all(numbers, by, reason)
    for kept in done:
        out.say(f"Constant {kept.id} of {kept.apparatus} is in force from {kept.valid_from}.")
    out.dump({"constants": [constant_facts(c) for c in done]})


@app.command()
def withdraw(
    number: Annotated[int, typer.Argument(metavar="NUMBER")],
    reason: Annotated[str, typer.Option("--reason", help="Why nobody should use it.")],
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Take a constant out of use for all dates; it stays in the history."""
    from calib.registry import open_registry

    out = Output(as_json=as_json)
    with open_registry(registry) as store:
        gone = store.withdraw(number, reason, by)
    out.say(f"Constant {number} of {gone.apparatus} is withdrawn: {reason}")
    out.dump({"constants": [constant_facts(gone)]})


def constant_table(out: Output, found: Iterable[StoredConstant]) -> None:
    """Print constants as a table for people."""
    out.table(
        [
            "no.",
            "cup",
            "constant J/K",
            "95 % interval",
            "loss G W/K",
            "method",
            "runs",
            "from",
            "status",
        ],
        [
            [
                str(c.id),
                c.apparatus,
                with_u(c.constant_J_per_K, c.u_constant_J_per_K),
                interval(c.interval95_J_per_K),
                with_u(c.heat_loss_W_per_K, c.u_heat_loss_W_per_K)
                if c.heat_loss_W_per_K is not None
                else "–",
                c.method,
                str(c.runs),
                str(c.valid_from),
                c.status + (f" ({c.withdrawn_why})" if c.status == "withdrawn" else ""),
            ]
            for c in found
        ],
    )


def constant_facts(constant: StoredConstant) -> dict[str, Any]:
    """A stored constant as JSON: the keys of ``calibrate`` and what the registry adds."""
    facts = {name: getattr(constant, name) for name in FACTS}
    facts["interval95_J_per_K"] = constant.interval95_J_per_K
    return facts


def _say_what_waits(out: Output, shown: list[StoredConstant]) -> None:
    drafts = [str(c.id) for c in shown if c.status == "draft"]
    out.say("± is one standard uncertainty (k = 1); its parts: cupledger constants --json")
    if drafts:
        out.say(
            f"Drafts are not used yet. To use them: cupledger constants approve {' '.join(drafts)}"
        )
