"""A row that cannot be used, with every reason found."""

from __future__ import annotations

from calib.errors import CupledgerError, RowProblem

__all__ = ["RowRefusedError"]


class RowRefusedError(CupledgerError):
    """The row cannot be computed; ``problems`` name column, found, expected and the remedy."""

    def __init__(self, *problems: RowProblem) -> None:
        super().__init__("; ".join(map(str, problems)))
        self.problems = problems
