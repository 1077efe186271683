"""What reaches the screen: people's text or one JSON object on stdout, the rest on stderr."""

from __future__ import annotations

import json
import math
import shutil
import sys
import textwrap
import time
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, TextIO

_PIPE_WIDTH = 10_000  # columns, where no terminal tells its own: nothing is folded


def make_streams_safe() -> None:
    """Let every character reach the streams, whatever the terminal's encoding."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is None:
            continue
        if stream.isatty():
            reconfigure(errors="replace")
        else:
            reconfigure(encoding="utf-8", errors="replace")


def plain(value: Any) -> Any:
    """A value as JSON knows it: tuples as lists, NaN and infinity as null, dates as text."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return _plain_scalar(value.item() if hasattr(value, "item") else value)


def _plain_scalar(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


class Output:
    """Where a command prints: tables and sentences for people, or one JSON object."""

    def __init__(self, *, as_json: bool) -> None:
        self.as_json = as_json
        self._progress = _Progress()

    def say(self, text: str = "") -> None:
        """A sentence for people on stdout; silent under --json."""
        if not self.as_json:
            say_on(sys.stdout, text)

    def table(self, headers: Sequence[str], rows: Iterable[Sequence[str]], title: str = "") -> None:
        """A table for people on stdout; silent under --json."""
        body = [list(row) for row in rows]
        if self.as_json or not body:
            return
        if title:
            self.say(title)
        width = shutil.get_terminal_size((_PIPE_WIDTH, 24)).columns
        for line in table_lines(headers, body, width):
            self.say(line)
        self.say()

    def dump(self, value: Any) -> None:
        """The one JSON object of --json."""
        if self.as_json:
            sys.stdout.write(json.dumps(plain(value), ensure_ascii=False, indent=2) + "\n")

    def progress(self, done: int, total: int, what: str) -> None:
        """How far a long job has come, on stderr, once it has taken two seconds."""
        self._progress.show(done, total, what)

    def note(self, text: str) -> None:
        """A warning or a remark, on stderr in both modes."""
        say_on(sys.stderr, text)


class _Progress:
    """One line that is rewritten on a terminal; a line every ten seconds elsewhere."""

    def __init__(self) -> None:
        self._started = time.monotonic()
        self._last = self._started

    def show(self, done: int, total: int, what: str) -> None:
        now = time.monotonic()
        terminal = sys.stderr.isatty()
        quiet_s = 0.2 if terminal else 10.0
        finished = done >= total
        if now - self._started < 2.0 or (now - self._last < quiet_s and not finished):
            return
        self._last = now
        text = f"{what}: {done} of {total}"
        if terminal:
            sys.stderr.write(f"\r{text}" + ("\n" if finished else ""))
            sys.stderr.flush()
        else:
            say_on(sys.stderr, text)


def say_on(stream: TextIO, text: str) -> None:
    """Write one line to a stream."""
    stream.write(text + "\n")
    stream.flush()


def table_lines(headers: Sequence[str], body: Sequence[Sequence[str]], width: int) -> Iterator[str]:
    """A table as text: numbers to the right, the last column folded to the width.

    >>> list(table_lines(["cup", "J/K"], [["P1", "12.3"]], 80))
    ['cup   J/K', '---  ----', 'P1   12.3']
    """
    cells = [[_one_line(cell) for cell in row] for row in (headers, *body)]
    sizes = [max(len(row[i]) for row in cells) for i in range(len(headers))]
    before_last = sum(sizes[:-1]) + 2 * (len(sizes) - 1)
    last = max(width - before_last, 40)
    sizes[-1] = min(sizes[-1], last)
    right = [all(_looks_numeric(row[i]) for row in cells[1:]) for i in range(len(headers))]
    for number, row in enumerate(cells):
        folded = textwrap.wrap(row[-1], sizes[-1]) or [""]
        padded = [
            cell.rjust(size) if at_right else cell.ljust(size)
            for cell, size, at_right in zip([*row[:-1], folded[0]], sizes, right, strict=True)
        ]
        yield "  ".join(padded).rstrip()
        for more in folded[1:]:
            yield " " * before_last + more
        if number == 0:
            yield "  ".join("-" * size for size in sizes)


def _one_line(cell: str) -> str:
    """A cell without line breaks or control characters, whatever a file held."""
    return "".join(c if c.isprintable() else " " for c in cell)


def _looks_numeric(cell: str) -> bool:
    return cell[:1].isdigit() or cell[:1] in "-−+–" or cell in {"", "not known"}
