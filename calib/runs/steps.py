"""The step of a display or a scale, from the digits that people wrote down."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

_MOST_PLACES = 4
_ENOUGH_FOR_WHOLE = 3
_ENOUGH_FOR_MULTIPLE = 8


def find_steps(rows: Iterable[Mapping[str, tuple[str, float]]]) -> dict[str, float]:
    """The step of every column that tells, in the column's unit.

    ``rows`` give for each column the digits of its cell, and the factor from the unit they stand in
    to the column's.
    """
    digits: dict[str, list[str]] = {}
    factors: dict[str, float] = {}
    for row in rows:
        for name, (text, factor) in row.items():
            digits.setdefault(name, []).append(text)
            factors[name] = factor
    steps = {name: find_step(texts) for name, texts in digits.items()}
    return {name: factors[name] * step for name, step in steps.items() if step is not None}


def find_step(digits: Sequence[str]) -> float | None:
    """The step that most of these numbers were read to; None where they do not tell.

    Trailing zeros get lost in workbooks. So the median number of places counts, and whole numbers
    are believed to be read to the whole unit only where there are at least three different ones and
    nothing else; multiples of 2 or 5 of the last place (a scale with 0.2 or 0.5 divisions) count
    only where eight different ones are, which chance brings about in less than 0.4 % of cases.
    """
    plain = [text for text in digits if "e" not in text.casefold()]
    places = sorted(len(text.partition(".")[2]) for text in plain)
    if not places:
        return None
    usual = max(places[(len(places) - 1) // 2], 1 if places[-1] > 0 else 0)
    if usual > _MOST_PLACES or (usual == 0 and len(set(plain)) < _ENOUGH_FOR_WHOLE):
        return None
    return float(_multiple(plain, usual) * 10.0**-usual)


def _multiple(digits: Sequence[str], places: int) -> int:
    units = {round(float(text) * 10**places, 3) for text in digits}
    if len(units) < _ENOUGH_FOR_MULTIPLE:
        return 1
    for multiple in (5, 2):
        if all(unit % multiple == 0 for unit in units):
            return multiple
    return 1
