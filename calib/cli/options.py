"""Options that several commands share, declared once."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from calib.errors import InputError

MOST_NUMBER = 2**63 - 1
"""Of a stored thing: what a database counts to."""

JsonFlag = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of text.")]


def _warn_of_listing(ctx: typer.Context, value: str | None) -> str | None:
    """Say that a password on the command line can be seen, where one stands there."""
    if value is None or ("=" not in value and "@" not in value):
        return value
    from calib.cli.output import say_on
    from calib.registry.place import PASSWORD, shows_password

    given = ctx.get_parameter_source("registry")
    if getattr(given, "name", "") == "COMMANDLINE" and shows_password(value):
        say_on(sys.stderr, f"warning: {PASSWORD}")
    return value


RegistryPlace = Annotated[
    str | None,
    typer.Option(
        "--registry",
        envvar="CUPLEDGER_REGISTRY",
        metavar="PATH|URL",
        callback=_warn_of_listing,
        help="The registry: a file, or a database URL (others can see it with ps: give the password"
        " by PGPASSWORD or a pgpass file). Default: a file in your data folder.",
    ),
]
TableFile = Annotated[
    Path, typer.Argument(metavar="TABLE", help="Table of runs: CSV, XLSX or ODS, one row per run.")
]
ByName = Annotated[
    str | None, typer.Option("--by", metavar="NAME", help="Who decides (default: your login).")
]
PageFile = Annotated[
    Path | None,
    typer.Option("--page", metavar="FILE.html", help="Write one self-contained page."),
]
Overwrite = Annotated[
    bool,
    typer.Option(
        "--overwrite",
        help="Replace a file that is there though it is not this command's own output.",
    ),
]
KeepAll = Annotated[
    bool,
    typer.Option("--keep-all", help="Take every computed row into the means, suspected ones too."),
]
TimeColumn = Annotated[
    str | None, typer.Option("--time-column", metavar="NAME", help="Column with the time.")
]
TemperatureColumn = Annotated[
    str | None,
    typer.Option("--temperature-column", metavar="NAME", help="Column with the temperature."),
]
TimeUnit = Annotated[
    str | None, typer.Option("--time-unit", metavar="UNIT", help="s, ms, min or h.")
]
TemperatureUnit = Annotated[
    str | None, typer.Option("--unit", metavar="UNIT", help="Of temperature: C, F or K.")
]
RunName = Annotated[
    str | None, typer.Option("--run", metavar="NAME", help="Which run, where several stand.")
]


def day(text: str | None) -> date | None:
    """A date as a person types it. Raises InputError for anything but ISO 8601."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"{text!r} is no date; expected one such as 2026-09-01") from None
