"""The one family of errors: each says what was found, what was expected and what to do."""

from __future__ import annotations


class CupledgerError(Exception):
    """Base of every error that this project raises on purpose."""


class CurveError(CupledgerError):
    """A file or a pair of arrays that cannot be used as a temperature curve."""


class OutputError(CupledgerError):
    """A file that may not be written there: an input, another's file, a wrong ending, no room."""
