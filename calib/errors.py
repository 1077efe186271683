"""Errors of the chemistry side, and the record of a row that could not be used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fitting.errors import CupledgerError, CurveError, OutputError

__all__ = [
    "CupledgerError",
    "CurveError",
    "EquationError",
    "HazardError",
    "InputError",
    "OutputError",
    "ReactionError",
    "RegistryError",
    "RowProblem",
    "SubstanceError",
    "TableError",
]


class HazardError(CupledgerError):
    """What must not be put together, or not by a class: a refusal that offers no way round."""

    def __init__(self, message: str, hazards: tuple[Any, ...] = ()) -> None:
        super().__init__(message)
        self.hazards = hazards


class InputError(CupledgerError):
    """A number or an option that cannot be meant: out of range, or of the wrong kind."""


class SubstanceError(CupledgerError):
    """A substance that is not known, or of which a needed property is not known."""


class EquationError(CupledgerError):
    """A chemical equation that cannot be read, or that does not balance."""


class ReactionError(CupledgerError):
    """A reaction that cannot be deduced, or for which a needed amount is missing."""


class TableError(CupledgerError):
    """A table of runs that cannot be read at all."""


class RegistryError(CupledgerError):
    """The registry cannot be opened, or refuses a change."""


@dataclass(frozen=True, slots=True)
class RowProblem:
    """Why one row of a table could not be used, or was used with a reservation.

    ``row`` is the row's own label (or ``sheet row N`` where it has none), ``column`` the column's
    name as design.md gives it.
    """

    row: str
    column: str
    message: str
    found: str = ""
    expected: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        parts = [f"row {self.row}, column {self.column}: {self.message}"]
        if self.found:
            parts.append(f"found {self.found}")
        if self.expected:
            parts.append(f"expected {self.expected}")
        if self.remedy:
            parts.append(self.remedy)
        return "; ".join(parts)
