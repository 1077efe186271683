"""Two registries' histories of the same cups, laid together so that no day has two constants.

Nothing is written here; rows are those of the constants table, known by uid.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from datetime import date
from typing import Any

RANK = {"draft": 0, "approved": 1, "superseded": 2, "withdrawn": 3}
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Decision:
    """What happens to one constant of theirs: it takes their status here, or waits (``why``)."""

    theirs: Row
    ours: Row | None
    why: str | None = None

    @property
    def start(self) -> date:
        """First day in force here: an approval given here keeps its date."""
        ours = self.ours
        kept = ours is not None and ours["approved_at"] is not None
        day: date = ours["valid_from"] if ours is not None and kept else self.theirs["valid_from"]
        return day

    @property
    def end(self) -> date | None:
        """First day out of force here: the earlier of the two registries' ends."""
        ends = [row["valid_to"] for row in (self.theirs, self.ours) if row is not None]
        return min((day for day in ends if day is not None), default=None)


@dataclass(frozen=True, slots=True)
class _Period:
    apparatus: str
    start: date
    end: date | None
    number: int | None

    def overlaps(self, other: _Period) -> bool:
        return (
            self.apparatus == other.apparatus
            and self.start < (other.end or date.max)
            and other.start < (self.end or date.max)
        )


def in_use(row: Row) -> bool:
    """Whether a constant is in force on any day."""
    return row["status"] in {"approved", "superseded"} and (
        row["valid_to"] is None or row["valid_to"] > row["valid_from"]
    )


def is_ahead(theirs: Row, ours: Row) -> bool:
    """Whether their copy of a constant is further on than ours."""
    if RANK[theirs["status"]] != RANK[ours["status"]]:
        return RANK[theirs["status"]] > RANK[ours["status"]]
    return bool(
        theirs["status"] == "superseded"
        and theirs["valid_to"] is not None
        and theirs["valid_to"] < ours["valid_to"]
    )


def decide(
    theirs: Mapping[str, Row],
    ours: Mapping[str, Row],
    strangers: Set[str],
    withheld: Mapping[str, str],
) -> list[Decision]:
    """What to do with each constant of theirs that is new here or further on there.

    In the order to be carried out: those that end before those that take over from them.
    ``strangers`` are identifiers that name another cup there; ``withheld`` are the uids of
    constants that are not to take their status, with the reason.
    """
    moving = [
        Decision(row, ours.get(uid))
        for uid, row in theirs.items()
        if row["status"] != "draft" and (uid not in ours or is_ahead(row, ours[uid]))
    ]
    uids = {decision.theirs["uid"] for decision in moving}
    settled = [_as_it_is(row) for uid, row in ours.items() if uid not in uids and in_use(row)]
    decided: list[Decision] = []
    # What is in force here already comes first, then theirs by date.
    for decision in sorted(moving, key=lambda d: (not _in_force_here(d), d.theirs["valid_from"])):
        why = withheld.get(decision.theirs["uid"])
        why = why or _in_the_way(decision, settled, strangers)
        if why is not None and _in_force_here(decision) and decision.ours is not None:
            settled.append(_as_it_is(decision.ours))
        elif why is None and in_use(decision.theirs):
            settled.append(_as_it_will_be(decision))
        decided.append(Decision(decision.theirs, decision.ours, why))
    return _without_open_ends(decided)


def _without_open_ends(decided: Iterable[Decision]) -> list[Decision]:
    """A constant in force here does not end for the sake of one that waits."""
    decided = list(decided)
    waiting = {decision.theirs["uid"] for decision in decided if decision.why is not None}
    found = []
    for decision in decided:
        row, why = decision.theirs, decision.why
        if _in_force_here(decision) and row["superseded_by"] in waiting:
            why = why or "it would end for one that waits"
        found.append(Decision(row, decision.ours, why))
    return sorted(found, key=lambda d: d.theirs["status"] == "approved")


def _in_force_here(decision: Decision) -> bool:
    return decision.ours is not None and in_use(decision.ours)


def _in_the_way(decision: Decision, settled: Iterable[_Period], strangers: Set[str]) -> str | None:
    row = decision.theirs
    if row["status"] == "withdrawn":
        return None
    if row["apparatus"] in strangers:
        return "the cup may be another one"
    if not in_use(row):
        return None
    mine = _as_it_will_be(decision)
    for period in settled:
        if period.overlaps(mine):
            what = "another of theirs" if period.number is None else f"constant {period.number}"
            return f"{what} is in force here from {period.start}"
    return None


def _as_it_is(row: Row) -> _Period:
    return _Period(row["apparatus"], row["valid_from"], row["valid_to"], row["id"])


def _as_it_will_be(decision: Decision) -> _Period:
    number = None if decision.ours is None else decision.ours["id"]
    return _Period(decision.theirs["apparatus"], decision.start, decision.end, number)
