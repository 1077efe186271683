"""How rows that could not be used are shown, and what they do to the exit code."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from calib.cli.output import Output

if TYPE_CHECKING:
    from calib.registry.validation import Unreadable


def show_problems(out: Output, problems: Sequence[dict[str, Any]]) -> None:
    """Name each row, its column and what to do, on stderr."""
    for problem in problems:
        text = f"not used: row {problem['row']}, column {problem['column']}: {problem['message']}"
        for key, words in (("found", "found "), ("expected", "expected "), ("remedy", "")):
            if problem.get(key):
                text += f"; {words}{problem[key]}"
        out.note(text)


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
