"""What a command has to say beside its result: records, grouped, most serious first.

A class of sixty rows says the same thing sixty times. So every guess, warning and refusal is kept
as a record; those that say the same are shown as one line that keeps what differs in sight: the
rows, the range of a number, the names. Refusals come last, nearest to the prompt.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

MOST_LINES = 10
_MOST_ROWS = 16  # rows, or runs of rows, that a line names
READING, WARNING, SERIOUS = "reading", "warning", "serious"
REFUSED, NOT_COMPUTED, TO_DECIDE = "not used", "not computed", "to decide"
FAILED = "error"  # an output that could not be written, a registry that could not be stored in
_RANK = {SERIOUS: 0, WARNING: 1, READING: 2, TO_DECIDE: 3, NOT_COMPUTED: 3, REFUSED: 3, FAILED: 4}
_LAST = 3

# Words of a warning that the number beside it may be wrong, and not only less well known.
SERIOUS_WORDS = (
    "no correction is admissible", "check heater_s", "outside the", "past its recheck",
    "disagrees", "does not look like", "off the jump", "wrong sign", "overdue", "no constant",
    "left out of the mean", "is held back",
)  # fmt: skip

_VARYING = re.compile(r"'[^'\n]*'|\"[^\"\n]*\"|(?:(?<![\w)])[+−-])?[\w.]*\d[\w.-]*(?<![.-])")
_NUMBER = re.compile(r"[+−-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?")
_LABEL = re.compile(r"(.*?)(\d+)")


@dataclass(frozen=True, slots=True)
class Said:
    """One guess, warning or refusal: of which file and row, how grave, and in what words."""

    severity: str
    text: str
    row: str | None = None
    file: str | None = None

    @property
    def kind(self) -> str:
        """What it says, whatever its numbers and names: ``the extreme's time … # s taken``."""
        return _VARYING.sub("#", self.text)

    def to_json(self) -> dict[str, Any]:
        """The record with its kind."""
        return {"kind": self.kind, **asdict(self)}


def gravity(text: str) -> str:
    """Whether a warning says that a number may be wrong, or only less well known."""
    return SERIOUS if any(words in text for words in SERIOUS_WORDS) else WARNING


def lines_of(said: Sequence[Said], *, everything: bool = False) -> list[str]:
    """The lines for a person: one a kind, most serious first, refusals last.

    At most `MOST_LINES` kinds unless ``everything``; what is left out is counted on a line of its
    own. Refusals go before warnings where there is no room for all.
    """
    if everything:
        ordered = sorted(said, key=lambda one: _RANK[one.severity])
        return [_line([one]) for one in dict.fromkeys(ordered)]
    groups: dict[tuple[str, str, bool], list[Said]] = {}
    for one in dict.fromkeys(said):
        groups.setdefault((one.severity, one.kind, one.row is None), []).append(one)
    ordered_groups = sorted(
        groups.values(), key=lambda group: (_RANK[group[0].severity], -len(group))
    )
    refused = [g for g in ordered_groups if _RANK[g[0].severity] >= _LAST]
    others = [g for g in ordered_groups if _RANK[g[0].severity] < _LAST]
    for_refused = max(MOST_LINES - min(len(others), 4), 1)
    for_others = MOST_LINES - min(len(refused), for_refused)
    lines = [_line(group) for group in others[:for_others]]
    hidden = len(others[for_others:]) + len(refused[for_refused:])
    if hidden:
        lines.append(f"and {hidden} more kind{'s' if hidden > 1 else ''}: --all-warnings")
    return lines + [_line(group) for group in refused[:for_refused]]


def _line(group: Sequence[Said]) -> str:
    first = group[0]
    words = "warning" if first.severity == SERIOUS else first.severity
    rows = list(dict.fromkeys(one.row for one in group if one.row is not None))
    if len(group) == 1:
        if first.row is None:
            return f"{words}: {first.text}"
        if first.severity == REFUSED:  # its text begins with the column
            return f"{words}: row {first.row}, {first.text}"
        return f"{words}: {first.row}: {first.text}"
    text = _merged([one.text for one in group])
    if len(rows) > 1:
        return f"{words}: {len(rows)} rows: {text} (rows {listed_rows(rows)})"
    return f"{words}: " + (f"{rows[0]}: " if rows else "") + f"{text} ({len(group)} times)"


def _merged(texts: Sequence[str]) -> str:
    """One sentence for many of a kind; where they differ, the range or the first few names."""
    found = [_VARYING.findall(text) for text in texts]
    columns = iter([list(dict.fromkeys(column)) for column in zip(*found, strict=True)])
    return _VARYING.sub(lambda _: _range(next(columns)), texts[0])


def _range(tokens: list[str]) -> str:
    if len(tokens) == 1:
        return tokens[0]
    if all(_NUMBER.fullmatch(token) for token in tokens):
        ordered = sorted(tokens, key=lambda token: float(token.replace("−", "-")))
        return f"{ordered[0]} to {ordered[-1]}"
    more = f" and {len(tokens) - 3} more" if len(tokens) > 3 else ""
    return f"{', '.join(tokens[:3])}{more}"


def listed_rows(rows: Iterable[str]) -> str:
    """Labels of rows, runs of numbers drawn together, a stem said once; at most sixteen parts.

    >>> listed_rows(["2", "3", "4", "7", "P1"])
    '2-4, 7, P1'
    >>> listed_rows(["bench 1", "bench 3", "bench 4", "bench 5"])
    'bench 1, 3-5'
    """
    spans: list[tuple[str, list[str]]] = []  # stem, numbers as they are written
    for row in rows:
        found = _LABEL.fullmatch(row)
        stem, number = (found[1], found[2]) if found else (row, "")
        if spans and number and spans[-1][0] == stem and spans[-1][1][-1:] != [""]:
            before = spans[-1][1][-1]
            if int(number) == int(before) + 1:
                spans[-1][1].append(number)
                continue
        spans.append((stem, [number]))
    parts, said = [], None
    for stem, numbers in spans:
        first = numbers[0] if stem == said else stem + numbers[0]
        parts.append(first if len(numbers) == 1 else f"{first}-{numbers[-1]}")
        said = stem if numbers[0] else None
    more = f" and {len(parts) - _MOST_ROWS} more" if len(parts) > _MOST_ROWS else ""
    return f"{', '.join(parts[:_MOST_ROWS])}{more}"
