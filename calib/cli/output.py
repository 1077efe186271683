"""What reaches the screen: people's text or one JSON object on stdout, the rest on stderr."""

from __future__ import annotations

import json
import math
import sys
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, TextIO

from calib.cli.said import READING, REFUSED, Said, gravity, lines_of
from calib.cli.terminal import folded, shown, table_lines, width_of


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


class Screen:
    """What one call of the command has said so far, and whether its JSON object is out."""

    def __init__(self) -> None:
        self.begin()

    def begin(self) -> None:
        """A new call: nothing was said yet."""
        self.said: list[Said] = []
        self.all_warnings = False
        self.dumped = False

    def show_said(self) -> None:
        """Print the guesses, warnings and refusals that wait, grouped, on stderr; once."""
        waiting, self.said = self.said, []
        for line in lines_of(waiting, everything=self.all_warnings):
            say_on(sys.stderr, line)


screen = Screen()  # of this process; `main` begins it anew


class Output:
    """Where a command prints: tables and sentences for people, or one JSON object."""

    def __init__(self, *, as_json: bool, file: Path | None = None) -> None:
        screen.said, screen.dumped = [], False
        self.as_json = as_json
        self._file = None if file is None else str(file)  # what is said is said of this file
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
        for line in table_lines(headers, body, width_of(sys.stdout)):
            sys.stdout.write(line + "\n")
        self.say()

    def dump(self, value: dict[str, Any]) -> None:
        """The end of a command: the one JSON object of --json, then what is to be minded."""
        if self.as_json:
            said = {"said": [one.to_json() for one in screen.said]} if screen.said else {}
            dump_object({**value, **said})
        screen.show_said()

    def progress(self, done: int, total: int, what: str) -> None:
        """How far a long job has come, on stderr, once it has taken two seconds."""
        self._progress.show(done, total, what)

    def note(self, text: str) -> None:
        """A remark on what was done, such as a file that was written; on stderr in both modes."""
        say_on(sys.stderr, text)

    def reading(self, text: str) -> None:
        """A guess made while a file was read; shown at the end, on stderr in both modes."""
        screen.said.append(Said(READING, text, file=self._file))

    def warn(self, text: str, *, row: str | None = None) -> None:
        """A warning, of a row where it has one; shown at the end, on stderr in both modes."""
        screen.said.append(Said(gravity(text), text, row, self._file))

    def refuse(self, text: str, *, row: str | None = None, severity: str = REFUSED) -> None:
        """Why a row was not used; shown last of all, on stderr in both modes."""
        screen.said.append(Said(severity, text, row, self._file))


def dump_object(value: dict[str, Any]) -> None:
    """Print the one JSON object of this call; a second one is never printed."""
    if screen.dumped:
        return
    text = json.dumps(plain(value), ensure_ascii=False, indent=2)
    screen.dumped = True
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


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
            sys.stderr.write(f"\r{shown(text)}" + ("\n" if finished else ""))
            sys.stderr.flush()
        else:
            say_on(sys.stderr, text)


def say_on(stream: TextIO, text: str) -> None:
    """Write one sentence to a stream: escaped, and folded to the width of its terminal."""
    for line in folded(shown(text), width_of(stream)):
        stream.write(line + "\n")
    stream.flush()
