"""What reaches the screen: people's text or one JSON object on stdout, the rest on stderr."""

from __future__ import annotations

import json
import math
import sys
import time
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from rich.console import Console

_PIPE_WIDTH = 160  # columns, where no terminal tells its own


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
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if hasattr(value, "item"):
        return plain(value.item())
    return str(value)


class Output:
    """Where a command prints: tables and sentences for people, or one JSON object."""

    def __init__(self, *, as_json: bool) -> None:
        self.as_json = as_json
        self._console: Console | None = None
        self._progress = _Progress()

    @property
    def console(self) -> Console:
        """The people's console on stdout (rich is loaded when it is first used)."""
        if self._console is None:
            from rich.console import Console

            width = None if sys.stdout.isatty() else _PIPE_WIDTH
            self._console = Console(width=width, highlight=False, emoji=False, markup=False)
        return self._console

    def say(self, text: str = "") -> None:
        """A sentence for people on stdout; silent under --json."""
        if not self.as_json:
            self.console.print(text, soft_wrap=True)

    def table(self, headers: Sequence[str], rows: Iterable[Sequence[str]], title: str = "") -> None:
        """A table for people on stdout; silent under --json."""
        if self.as_json:
            return
        from rich import box
        from rich.table import Table

        table = Table(
            title=title or None, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD
        )
        body = [list(row) for row in rows]
        for index, header in enumerate(headers):
            numeric = bool(body) and all(_looks_numeric(row[index]) for row in body)
            table.add_column(header, justify="right" if numeric else "left", overflow="fold")
        for row in body:
            table.add_row(*row)
        self.console.print(table)

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


def _looks_numeric(cell: str) -> bool:
    return cell[:1].isdigit() or cell[:1] in "-−+–" or cell in {"", "not known"}
