"""A row that cannot be used, with every reason found."""

from __future__ import annotations

from calib.errors import CupledgerError, InputError, RowProblem

__all__ = ["NOT_COMPUTED", "RowRefusedError", "not_computed"]

NOT_COMPUTED = (ArithmeticError, ValueError, LookupError, TypeError, StopIteration, InputError)
"""What numbers that nobody can have meant may end in, deep inside: the row's problem alone."""


class RowRefusedError(CupledgerError):
    """The row cannot be computed; ``problems`` name column, found, expected and the remedy."""

    def __init__(self, *problems: RowProblem) -> None:
        super().__init__("; ".join(map(str, problems)))
        self.problems = problems


def not_computed(label: str, error: Exception) -> RowProblem:
    """The problem of a row whose numbers ended in one of `NOT_COMPUTED`."""
    own = isinstance(error, InputError)
    said = str(error) if own else f"no heat balance can be worked out ({type(error).__name__})"
    return RowProblem(
        label, "run", said, "amounts and temperatures as they stand in this row",
        "numbers that a cup can have", "check every amount and temperature of the row",
    )  # fmt: skip
