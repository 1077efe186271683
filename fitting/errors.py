"""The one family of errors: each says what was found, what was expected and what to do."""

from __future__ import annotations

from typing import Any


class CupledgerError(Exception):
    """Base of every error that this project raises on purpose.

    ``hazards`` is what must be said before the error itself, where people may be hurt.
    """

    hazards: tuple[Any, ...] = ()


class CurveError(CupledgerError):
    """A file or a pair of arrays that cannot be used as a temperature curve."""


class OutputError(CupledgerError):
    """A file that may not be written there: an input, another's file, a wrong ending, no room."""
