"""``cupledger apparatus``: the cups and flasks that the registry knows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli.options import ByName, JsonFlag, RegistryPlace
from calib.cli.output import Output
from calib.cli.problems import show_unreadable

if TYPE_CHECKING:
    from calib.registry import Apparatus
    from calib.registry.validation import Unreadable

app = typer.Typer(
    help="Register cups and flasks; list, show, retire them.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command()
def add(
    ids: Annotated[list[str], typer.Argument(metavar="ID...", help="Identifiers, such as H1 H2.")],
    kind: Annotated[
        str, typer.Option("--kind", help='What they are, such as "double foam cup, foam lid".')
    ],
    note: Annotated[str, typer.Option("--note", help="Anything else worth keeping.")] = "",
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Register one or more cups of a kind."""
    from calib.registry import open_registry

    out = Output(as_json=as_json)
    with open_registry(registry) as store:
        added = store.register_all(ids, kind, note, by=by)
        where, made = store.where, store.migrated_from == 0
    if made:
        out.note(f"a new registry was made: {where}")
    out.say(f"Registered {', '.join(a.id for a in added)} ({kind}) in {where}.")
    out.dump({"apparatus": [_facts(a) for a in added], "registry": where, "registry_made": made})


@app.command("list")
def list_all(
    kind: Annotated[str | None, typer.Option("--kind", help="Only this kind.")] = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """List every cup."""
    from calib.registry import open_registry
    from calib.registry.place import find_place

    out = Output(as_json=as_json)
    cups: tuple[Apparatus, ...] = ()
    bad: list[Unreadable] = []
    if not find_place(registry).not_yet_made:
        with open_registry(registry, create=False) as store:
            cups = store.list_apparatus(kind=kind)
            bad = [one for one in store.unreadable() if one.table == "apparatus"]
    if not cups:
        out.say('No cups are registered. Add some: cupledger apparatus add H1 --kind "foam cup"')
    else:
        out.table(
            ["id", "kind", "note", "registered", "retired"],
            [
                [a.id, a.kind, a.note, f"{a.registered_at:%Y-%m-%d}", _retired(a.retired_on)]
                for a in cups
            ],
        )
    unread = show_unreadable(out, bad)
    out.dump({"apparatus": [_facts(a) for a in cups], "unreadable": unread})
    raise typer.Exit(1 if bad else 0)


@app.command()
def show(
    id: Annotated[str, typer.Argument(metavar="ID")],
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Show one cup, its constants and its trail."""
    from calib.cli.constants_view import (
        constant_facts,
        constant_table,
        say_where_it_holds,
        trail_facts,
        trail_table,
    )
    from calib.registry import open_registry

    out = Output(as_json=as_json)
    with open_registry(registry, create=False) as store:
        cup = store.apparatus(id)
        history = store.history(id)
        trail = store.audit(id)
        bad = [one for one in store.unreadable() if one.apparatus == cup.id]
    out.say(f"{cup.id}: {cup.kind}" + (f" ({cup.note})" if cup.note else ""))
    if cup.retired_on:
        out.say(f"Retired on {cup.retired_on}: {cup.retired_why}")
    constant_table(out, history)
    say_where_it_holds(out, history)
    trail_table(out, trail)
    out.dump(
        {
            "apparatus": _facts(cup),
            "constants": [constant_facts(c) for c in history],
            "trail": [trail_facts(line) for line in trail],
            "unreadable": show_unreadable(out, bad),
        }
    )
    raise typer.Exit(1 if bad else 0)


@app.command()
def retire(
    id: Annotated[str, typer.Argument(metavar="ID")],
    reason: Annotated[str, typer.Option("--reason", help="Why it goes out of use.")],
    by: ByName = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Take a cup out of use; its constants stay for the runs of its time."""
    from calib.registry import open_registry

    out = Output(as_json=as_json)
    with open_registry(registry, create=False) as store:
        cup = store.retire(id, reason, by=by)
    out.say(f"{cup.id} is retired from {cup.retired_on}: {reason}")
    out.dump({"apparatus": [_facts(cup)]})


def _retired(on: object) -> str:
    return str(on) if on else ""


def _facts(cup: object) -> dict[str, object]:
    names = ("id", "kind", "note", "registered_at", "registered_by", "retired_on", "retired_why")
    return {name: getattr(cup, name) for name in names}
