"""How rows that could not be used are shown, and what they do to the exit code."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from calib.cli.output import Output


def show_problems(out: Output, problems: Sequence[dict[str, Any]]) -> None:
    """Name each row, its column and what to do, on stderr, last of all."""
    for problem in problems:
        text = f"column {problem['column']}: {problem['message']}"
        for key, words in (("found", "found "), ("expected", "expected "), ("remedy", "")):
            if problem.get(key):
                text += f"; {words}{problem[key]}"
        out.refuse(text, row=str(problem["row"]))


def exit_code(problems: Sequence[Any], anything_done: bool) -> int:
    """0: all done; 1: some rows could not be used; 2: nothing could be done."""
    if not anything_done:
        return 2
    return 1 if problems else 0
