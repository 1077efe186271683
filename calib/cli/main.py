"""The command ``cupledger``: hands over to the commands, turns errors into exit codes.

Exit code 0: all done; 1: some rows could not be used; 2: nothing could be done.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Any

import typer

from calib.cli import output, said_first
from calib.cli.late import late_group
from fitting.errors import CupledgerError

# Where each command lives, in the order of the help: module:name. It is loaded when asked for.
COMMANDS = {
    "apparatus": "calib.cli.apparatus:app",
    "calibrate": "calib.cli.calibrate:calibrate",
    "constants": "calib.cli.constants:app",
    "correct": "calib.cli.correct:correct",
    "cooldown": "calib.cli.cooldown:cooldown",
    "cycles": "calib.cli.cycles:cycles",
    "enthalpy": "calib.cli.enthalpy:enthalpy",
    "practice": "calib.cli.practice:practice",
    "plan": "calib.cli.plan:plan",
    "mark": "calib.cli.mark:mark",
    "key": "calib.cli.key:key",
    "reference": "calib.cli.reference:reference",
    "template": "calib.cli.template:template",
    "demo": "calib.cli.demo:demo",
}

app = typer.Typer(
    name="cupledger",
    cls=late_group(COMMANDS),
    help="Calibrate cups, correct logged curves for heat loss, keep each cup's constant, apply it.",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _show_version(wanted: bool) -> None:
    if wanted:
        from calib.version import __version__

        typer.echo(f"cupledger {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: bool = typer.Option(
        False, "--version", callback=_show_version, is_eager=True, help="Print the version."
    ),
) -> None:
    """Calibrate cups, correct logged curves for heat loss, keep each cup's constant, apply it."""


def main() -> None:
    """Run the command line; the only place that turns errors into exit codes."""
    output.make_streams_safe()
    said_first.forget()
    try:
        app()
    except CupledgerError as error:
        _refuse(str(error), error.hazards)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(0) from None
    except OSError as error:
        name = f" ({error.filename})" if error.filename else ""
        _refuse(f"{error.strerror or error}{name}; nothing more was done")
    except MemoryError:
        _refuse("the input needs more memory than this machine has; split it and try again")
    except Exception as error:  # the last net: a person gets a sentence, never a stack
        if os.environ.get("CUPLEDGER_DEBUG"):
            raise
        _refuse(
            f"something went wrong inside cupledger ({type(error).__name__}: {error}); your files"
            " were not changed; set CUPLEDGER_DEBUG=1 to see where, and tell us"
        )


def _refuse(message: str, hazards: Sequence[Any] = ()) -> None:
    first = said_first.before_error(hazards, message)
    if "--json" in sys.argv:
        output.Output(as_json=True).dump(
            {**first, "errors": [{"row": None, "column": None, "message": message}]}
        )
    output.say_on(sys.stderr, f"error: {message}")
    raise SystemExit(2) from None
