"""How rows that could not be used are shown, and what they do to the exit code."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from calib.cli.output import Output
from calib.cli.said import FAILED
from calib.errors import CupledgerError

if TYPE_CHECKING:
    from calib.registry.validation import Unreadable


def show_problems(out: Output, problems: Sequence[dict[str, Any]]) -> None:
    """Name each row, its column and what to do, on stderr, last of all; no row's is an error."""
    for problem in problems:
        if problem["row"] is None:
            out.refuse(problem["message"], severity=FAILED)
            continue
        text = f"column {problem['column']}: {problem['message']}"
        for key, words in (("found", "found "), ("expected", "expected "), ("remedy", "")):
            if problem.get(key):
                text += f"; {words}{problem[key]}"
        out.refuse(text, row=str(problem["row"]))


def show_unreadable(out: Output, bad: Sequence[Unreadable]) -> list[dict[str, Any]]:
    """Name stored rows that cannot be read, on stderr; the same as JSON."""
    from calib.jobs.verifying import unreadable_facts

    for one in bad:
        out.note(str(one))
    return unreadable_facts(bad)


def exit_code(problems: Sequence[Any], anything_done: bool) -> int:
    """0: all done; 1: some rows could not be used; 2: nothing could be done."""
    if not anything_done:
        return 2
    return 1 if problems else 0


class Done:
    """What a command writes and stores before it prints; what fails stands beside the results.

    ``errors`` has one entry for each output that could not be written, as ``--json`` shows it.
    """

    def __init__(self) -> None:
        self.errors: list[dict[str, Any]] = []
        self._said: list[str] = []

    def do(self, write: Callable[[], str]) -> None:
        """Write or store something; ``write`` returns the sentence that says so."""
        try:
            self._said.append(write())
        except CupledgerError as error:
            self._failed(str(error))
        except OSError as error:
            name = f" ({error.filename})" if error.filename else ""
            self._failed(f"{error.strerror or error}{name}")

    def _failed(self, message: str) -> None:
        self.errors.append({"row": None, "column": None, "message": message})

    def show(self, out: Output) -> None:
        """Say what was written, and last what could not be."""
        for sentence in self._said:
            out.note(sentence)
        for error in self.errors:
            out.refuse(error["message"], severity=FAILED)
