"""Screens, pipes and files that stop taking text: nothing is lost by it, and nobody sees a stack.

All results are written and stored before anything is printed. So a reader that goes away
(``| head``) only ends the printing, without a word and without another exit code; a full disk
under stdout, or a stdout that is closed, is said in one sentence and makes the exit code 1.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO

_GONE = (errno.EPIPE, errno.EINVAL, errno.ESHUTDOWN)  # Windows says EINVAL of a broken pipe


class PatientStream:
    """A stream that takes text for as long as it can; ``failed`` says why it does no more."""

    def __init__(self, stream: TextIO | None) -> None:
        self._stream = stream
        self._ended = stream is None
        self.failed = "it is closed" if stream is None else ""

    def write(self, text: str) -> int:
        """Write a text, or pass it over where the stream has ended."""
        if self._stream is not None and not self._ended:
            try:
                self._stream.write(text)
            except UnicodeError:
                raise
            except (OSError, ValueError) as error:
                self._end(error)
        return len(text)

    def flush(self) -> None:
        """Send on what was written."""
        if self._stream is not None and not self._ended:
            try:
                self._stream.flush()
            except (OSError, ValueError) as error:
                self._end(error)

    def isatty(self) -> bool:
        """Whether it is a terminal."""
        return self._stream is not None and not self._ended and self._stream.isatty()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def _end(self, error: OSError | ValueError) -> None:
        """Take no more; what the stream still holds goes nowhere when the program ends."""
        self._ended = True
        if not (isinstance(error, OSError) and error.errno in _GONE):
            self.failed = getattr(error, "strerror", None) or "it is closed"
        with suppress(OSError, ValueError, AttributeError):
            assert self._stream is not None
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._stream.fileno())
            os.close(nowhere)


@contextmanager
def patient_streams() -> Iterator[None]:
    """Let the command print on streams that may end.

    Raises:
        SystemExit: that of the command; 1 where all was done but not all could be printed.
    """
    _fill_gaps()
    before = sys.stdout, sys.stderr
    out, err = PatientStream(sys.stdout), PatientStream(sys.stderr)
    sys.stdout, sys.stderr = out, err
    code: object = 0
    try:
        try:
            yield
        except SystemExit as stop:
            code = stop.code
        out.flush()
        if out.failed and code != 2:  # a refusal was said on stderr already
            err.write(f"error: the results could not be printed on stdout: {out.failed}\n")
            code = code or 1
        err.flush()
    finally:
        sys.stdout, sys.stderr = before
    if code:
        raise SystemExit(code)


def _fill_gaps() -> None:
    """Open stdin, stdout and stderr on nothing where they are closed.

    Otherwise the next file to be opened, such as a registry, would take the number of stdout.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            with suppress(OSError):
                os.open(os.devnull, os.O_RDWR)
