"""The command ``cupledger``: hands over to the commands, turns errors into exit codes.

Exit code 0: all done; 1: some rows could not be used; 2: nothing could be done;
130: interrupted.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Sequence
from typing import Any, NoReturn

import typer

from calib.cli import output, said_first
from calib.cli.late import late_group
from calib.cli.said import READING, Said
from calib.cli.streams import patient_streams
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
    """Run the command line; the only place that turns errors into exit codes.

    Under --json every end prints one object: that of the command, or ``{"errors": [...]}``.
    """
    output.make_streams_safe()
    output.screen.begin()
    said_first.forget()
    with patient_streams():
        _run()


def _run() -> NoReturn:
    try:
        code = app(standalone_mode=False)
    except (KeyboardInterrupt, typer.Abort):
        code = 130
    except Exception as error:  # the last net: a person gets a sentence, never a stack
        _end(error)
    if code == 130:
        _refuse("interrupted; what was written and recorded before stays", code=130)
    output.screen.show_said()
    raise SystemExit(code if isinstance(code, int) else 0)


def _end(error: Exception) -> NoReturn:
    """The sentence for an error, and exit code 2."""
    if hasattr(error, "format_message"):  # the command was not typed as it can be understood
        _refuse_usage(error)
    if isinstance(error, CupledgerError):
        _refuse(str(error), guesses=getattr(error, "__notes__", ()), hazards=error.hazards)
    if isinstance(error, OSError):
        name = f" ({error.filename})" if error.filename else ""
        _refuse(f"{error.strerror or error}{name}; nothing more was done")
    if isinstance(error, UnicodeEncodeError):
        _refuse(
            "a name given holds bytes that are not UTF-8, and cannot be written down; rename the"
            " file or folder and try again; nothing more was done"
        )
    if isinstance(error, MemoryError):
        _refuse("the input needs more memory than this machine has; split it and try again")
    if os.environ.get("CUPLEDGER_DEBUG"):
        raise error
    _refuse(
        f"something went wrong inside cupledger ({type(error).__name__}: {error}); your files"
        " were not changed; set CUPLEDGER_DEBUG=1 to see where, and tell us"
    )


def _refuse_usage(error: Any) -> NoReturn:
    """An unknown option or command, a missing argument, a value of the wrong kind."""
    from calib.registry.place import hold_back

    context = getattr(error, "ctx", None)
    if type(error).__name__ == "NoArgsIsHelpError":
        error.show()
        _refuse("no command was given", code=error.exit_code, aloud=False)
    if context is not None:
        output.say_on(sys.stderr, context.get_usage())
        output.say_on(sys.stderr, f"Help: {context.command_path} --help")
    _refuse(hold_back(error.format_message(), sys.argv[1:]), code=error.exit_code)


def _refuse(
    message: str,
    *,
    code: int = 2,
    guesses: Iterable[str] = (),
    aloud: bool = True,
    hazards: Sequence[Any] = (),
) -> NoReturn:
    """The one object of --json, what was said before, the sentence on stderr; then the end."""
    first = said_first.before_error(hazards, message)
    for guess in guesses:
        output.screen.said.append(Said(READING, guess))
    if _json_wanted():
        errors = [{"row": None, "column": None, "message": message}]
        facts: dict[str, Any] = {**first, "errors": errors}
        if output.screen.said:
            facts["said"] = [one.to_json() for one in output.screen.said]
        output.dump_object(facts)
    output.screen.show_said()
    if aloud:
        output.say_on(sys.stderr, f"error: {message}")
    raise SystemExit(code) from None


def _json_wanted() -> bool:
    """Whether --json stands among the words, before a bare ``--``; the parser may not get to it."""
    words = sys.argv[1:]
    return "--json" in (words[: words.index("--")] if "--" in words else words)
