"""Exact linear algebra on small whole-number matrices: balancing, and finding cycles."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import gcd, lcm


def nullspace(rows: Sequence[Sequence[Fraction | int]]) -> list[list[int]]:
    """Whole-number basis of the vectors x with A x = 0, by exact Gaussian elimination.

    ``rows`` is A, shape (m, n). Each basis vector is in lowest terms with its first entry that is
    not nought positive.

    >>> nullspace([[1, -1, 0], [0, 1, -2]])
    [[2, 2, 1]]
    """
    if not rows:
        return []
    reduced, pivots = _reduced([[Fraction(x) for x in row] for row in rows])
    columns = len(rows[0])
    basis = []
    for free in (c for c in range(columns) if c not in pivots):
        vector = [Fraction(0)] * columns
        vector[free] = Fraction(1)
        for row, pivot in enumerate(pivots):
            vector[pivot] = -reduced[row][free]
        basis.append(whole(vector))
    return basis


def _reduced(matrix: list[list[Fraction]]) -> tuple[list[list[Fraction]], list[int]]:
    pivots: list[int] = []
    row = 0
    for column in range(len(matrix[0])):
        best = next((r for r in range(row, len(matrix)) if matrix[r][column]), None)
        if best is None:
            continue
        matrix[row], matrix[best] = matrix[best], matrix[row]
        lead = matrix[row][column]
        matrix[row] = [x / lead for x in matrix[row]]
        for other in range(len(matrix)):
            factor = matrix[other][column]
            if other != row and factor:
                pairs = zip(matrix[other], matrix[row], strict=True)
                matrix[other] = [x - factor * y for x, y in pairs]
        pivots.append(column)
        row += 1
        if row == len(matrix):
            break
    return matrix, pivots


def whole(vector: Sequence[Fraction]) -> list[int]:
    """The shortest whole-number vector along ``vector``, its first non-zero entry positive."""
    scale = lcm(*(x.denominator for x in vector))
    numbers = [int(x * scale) for x in vector]
    common = gcd(*numbers) or 1
    lead = next((n for n in numbers if n), 1)
    return [n // common * (1 if lead > 0 else -1) for n in numbers]
