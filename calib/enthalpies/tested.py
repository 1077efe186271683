"""Runs tested before they are averaged: which one a slip in typing would explain.

Every run is held against T, the robust centre of its reaction's runs (the expected value where
there are fewer than three, or where the centre itself lies far off it), with the spread s of honest
runs about T. For few runs their own spread says little, so it is taken together with what classes
usually show:

    s² = (ν s_seen² + ν₀ s_usual²)/(ν + ν₀),   ν = n − 1, ν₀ = 4, s_usual = max(5 % of T, u)

A run beyond ``FAR`` s and ``FAR_SHARE`` of T, or with an entry that is far from the other rows', is
computed again without each slip of `calib.enthalpies.slips`. A slip is named where the row without
it fits T and its entries fit the other rows' better, by a logarithm of odds

    L = ½ (z² − z'²) + ½ Σ (d² − d'²) + (o − o') − cost

z the run's distance from T in s (½ z² counts up to ``MOST``; within half of T, where bad luck at
the bench can reach, up to ``MOST_OF_BAD_LUCK`` only), d an entry's distance from the other rows' in
their spread, o how unusual the entries are in themselves; primes without the slip. Common practice,
no source; the thresholds are judged by tests/benchmarks/slips_in_classes.py, on seeds they were not
tuned on. A row that is named leaves the mean, is kept in the table, and says why.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.enthalpies.goal import goal_of
from calib.enthalpies.one_run import RunResult
from calib.enthalpies.plausible import far_off
from calib.enthalpies.same_rows import told_twice
from calib.enthalpies.slips import AMOUNTS, TEMPERATURES, TypedSlip, oddity, typed_slips
from calib.errors import CupledgerError
from calib.rounding import figures, with_u
from calib.uncertainty.means import robust_mean

if TYPE_CHECKING:
    from calib.run_model.found_rise import Rise
    from calib.runs.model import Run

__all__ = ["Mend", "RunTest", "run_tests", "with_remarks"]

USUAL_SHARE, USUAL_WEIGHT = 0.05, 4.0
FAR, FAR_SHARE = 4.0, 0.15
GROSS, GROSS_SHARE = 8.0, 0.5
OFF_CENTRE = 0.4
ODD_ENTRY, ODD_FACTOR, ODD_K = 6.0, 4.0, 12.0
ENOUGH, ALSO, FITS = 7.0, 3.0, 3.0
MOST, MOST_OF_BAD_LUCK = 50.0, 6.0
MOST_ALIKE, ROOM = 0.25, 1.05
CHANCE = 1e-3  # of amounts alike by accident; above it a bench is not told that it copied
MOST_SEARCHED = 60
"""Rows of one reaction that are computed again without each slip: more than so many mistyped rows
are no slips of typing but one of the whole table, and each costs a hundred heat balances."""
_MANY = 30  # rows, from which on one row hardly moves the middle of its column
_LEAST_LOG, _LEAST_K = 0.1, 1.5
_ENTRIES = (*AMOUNTS, *TEMPERATURES, "room_C")

Again = Callable[["Run", "Rise | None"], RunResult]


@dataclass(frozen=True, slots=True)
class Mend:
    """A slip that would mend a row, and what the row then gives, in the result's unit."""

    kind: str
    columns: tuple[str, ...]
    words: str
    gives: float
    u_gives: float

    def to_json(self) -> dict[str, Any]:
        """As ``enthalpy --json`` has it."""
        return {
            "kind": self.kind, "columns": list(self.columns), "words": self.words,
            "gives": self.gives, "u_gives": self.u_gives,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class RunTest:
    """What testing says of one run. ``reason`` is empty where nothing is said against it."""

    reason: str = ""
    left_out: bool = False
    mends: tuple[Mend, ...] = ()

    @property
    def kind(self) -> str:
        """The kind of slip that would mend it best, or nothing."""
        return self.mends[0].kind if self.mends else ""


def run_tests(
    results: Sequence[RunResult],
    again: Again,
    *,
    keep_all: bool = False,
    files: Mapping[str, tuple[str, ...]] | None = None,
) -> tuple[RunTest, ...]:
    """Test every run against those of its reaction; one answer a run, in their order.

    ``again`` computes a changed row, with a rise given or its own. ``keep_all`` leaves none out;
    what was found is said all the same. ``files`` tells curves in several rows
    (`calib.enthalpies.same_rows.same_files`).
    """
    tests = [RunTest()] * len(results)
    groups: dict[tuple[str, str], list[int]] = {}
    for place, one in enumerate(results):
        groups.setdefault((one.process, one.unit), []).append(place)
    for places in groups.values():
        group = _Group([results[i] for i in places], again)
        for place, test in zip(places, group.tests(), strict=True):
            tests[place] = test
    for place, said, out in told_twice(results, [one.left_out for one in tests], files):
        if tests[place].left_out:
            continue
        before = f"{tests[place].reason}; " if tests[place].reason else ""
        tests[place] = replace(tests[place], reason=before + said, left_out=out)
    for places in groups.values():
        if all(tests[i].left_out for i in places):
            for i in places:
                tests[i] = replace(tests[i], left_out=False)
    if keep_all:
        tests = [replace(one, left_out=False) for one in tests]
    return tuple(tests)


def with_remarks(results: Sequence[RunResult], tests: Sequence[RunTest]) -> tuple[RunResult, ...]:
    """The runs with what testing says of them as their first warning."""
    told = []
    for one, test in zip(results, tests, strict=True):
        said = test.reason
        if test.left_out:
            said = f"left out of the mean: {said} (--keep-all keeps it in)"
        alone = "" if test.reason else far_off(one)
        first = tuple(text for text in (said, alone) if text)
        told.append(replace(one, warnings=(*first, *one.warnings)) if first else one)
    return tuple(told)


@dataclass(slots=True)
class _Group:
    """The runs of one reaction, and what an honest one of them would give."""

    runs: Sequence[RunResult]
    again: Again
    target: float = math.nan
    spread: float = math.nan
    name: str = ""
    searched: int = 0
    columns: dict[str, tuple[float, float] | None] = field(default_factory=dict)

    def tests(self) -> list[RunTest]:
        if not self._aim():
            return [RunTest() for _ in self.runs]
        return [self._test(place) for place in range(len(self.runs))]

    def _aim(self) -> bool:
        """Find T and s; False where there is nothing to hold a run against."""
        values = np.array([one.result.value for one in self.runs])
        n = values.size
        u = float(np.median([one.result.u for one in self.runs]))
        goals = [goal for goal in map(goal_of, self.runs) if goal is not None]
        expected = float(np.median([g.value for g in goals])) if goals else None
        middle, seen = robust_mean(values)
        off = expected is not None and abs(middle - expected) > OFF_CENTRE * abs(expected)
        if n >= 3 and not off:
            self.target, self.name = middle, "the other runs"
            usual = max(USUAL_SHARE * abs(middle), min(u, abs(middle)))
            freedom = n - 1.0
            self.spread = math.sqrt(
                (freedom * seen**2 + USUAL_WEIGHT * usual**2) / (freedom + USUAL_WEIGHT)
            )
            return middle != 0.0
        if expected is None or expected == 0.0:
            return False
        u_goal = max(goal.u for goal in goals)
        self.target, self.name = expected, goals[0].name
        self.spread = math.hypot(USUAL_SHARE * abs(expected), u_goal)
        return True

    def _z(self, value: float) -> float:
        return (value - self.target) / self.spread

    def _test(self, place: int) -> RunTest:
        one = self.runs[place]
        off = one.result.value - self.target
        far = abs(off) > max(FAR * self.spread, FAR_SHARE * abs(self.target))
        if not far and not self._odd_entries(one):
            return RunTest()
        others = [other for i, other in enumerate(self.runs) if i != place]
        gross = abs(off) > max(GROSS * self.spread, GROSS_SHARE * abs(self.target))
        self.searched += 1
        if self.searched > MOST_SEARCHED:
            said = (
                f"{with_u(one.result.value, one.result.u)} {one.unit} is far from {self._target()}"
            )
            more = f"slips in typing were looked for in {MOST_SEARCHED} such rows, not in this one"
            return RunTest(f"{said}; {more}", gross) if far else RunTest()
        mends = self._mends(one, others, gross=gross)
        if not mends:
            return self._without_mend(one, others, far=far, gross=gross)
        best = mends[0]
        matters = far or abs(one.result.value - best.gives) > best.u_gives
        return RunTest(self._words(one, mends, far=far), matters, tuple(mends))

    def _odd_entries(self, one: RunResult) -> bool:
        """Whether an entry lies far from the other rows', by itself no finding: slips are tried."""
        for column in _ENTRIES:
            value = getattr(one.run, column)
            if value is None:
                continue
            about = self._column(column, one)
            apart = _apart_from(column, value, about)
            least = ODD_K if column.endswith("_C") else math.log(ODD_FACTOR)
            if about is not None and apart > max(least, ODD_ENTRY * about[1]):
                return True
        return False

    def _column(self, column: str, one: RunResult) -> tuple[float, float] | None:
        """Middle and spread of a column in the other rows; in all rows where they are many."""
        if len(self.runs) < _MANY:
            return _middle(column, [other.run for other in self.runs if other is not one])
        if column not in self.columns:
            self.columns[column] = _middle(column, [other.run for other in self.runs])
        return self.columns[column]

    def _mends(self, one: RunResult, others: Sequence[RunResult], *, gross: bool) -> list[Mend]:
        found: list[tuple[float, Mend]] = []
        for slip in typed_slips(one, others):
            made = self._without(slip)
            if made is None or not self._both(one, slip, others):
                continue
            z, mended = self._z(one.result.value), self._z(made.result.value)
            if abs(mended) > FITS or made.result.u > 0.5 * abs(self.target):
                continue
            most = MOST if gross else MOST_OF_BAD_LUCK
            odds = min(0.5 * z**2, most) - 0.5 * mended**2 - slip.cost
            odds += 0.5 * _evidence(slip, one.run, [other.run for other in others])
            hot = one.unit == "J/(g K)"
            odds += oddity(one.run, slip.columns, hot=hot) - oddity(slip.run, slip.columns, hot=hot)
            mend = Mend(slip.kind, slip.columns, slip.words, made.result.value, made.result.u)
            found.append((odds, mend))
        found.sort(key=lambda pair: -pair[0])
        if not found or found[0][0] < ENOUGH:
            return []
        return [mend for odds, mend in found if odds > found[0][0] - ALSO][:3]

    def _without(self, slip: TypedSlip) -> RunResult | None:
        try:
            made = self.again(slip.run, slip.rise)
        except (CupledgerError, ArithmeticError, ValueError, LookupError, StopIteration):
            return None
        return made if math.isfinite(made.result.value) else None

    def _both(self, one: RunResult, slip: TypedSlip, others: Sequence[RunResult]) -> bool:
        """Whether the other bench, too, is mended where two curves are exchanged."""
        if slip.kind != "another bench's curve":
            return True
        other = next(x for x in others if x.measured.rise is slip.rise)
        if abs(self._z(other.result.value)) < FAR:
            return False
        made = self._without(TypedSlip("", (), "", other.run, one.measured.rise))
        return made is not None and abs(self._z(made.result.value)) < FITS

    def _words(self, one: RunResult, mends: Sequence[Mend], *, far: bool) -> str:
        unit = one.unit
        gives = [f"{m.words} ({with_u(m.gives, m.u_gives)} {unit})" for m in mends]
        value = with_u(one.result.value, one.result.u)
        if far:
            start = f"{value} {unit} is far from {self._target()}; "
        else:
            start = "it has an entry that is far from the other rows'; "
        return f"{start}what would mend it: {'; or '.join(gives)}; check the row"

    def _target(self) -> str:
        unit = self.runs[0].unit
        within = figures(2.0 * self.spread, 2)
        return f"{self.name} ({figures(self.target, 4)} {unit}, honest runs within some {within})"

    def _without_mend(
        self, one: RunResult, others: Sequence[RunResult], *, far: bool, gross: bool
    ) -> RunTest:
        if not far:
            return RunTest()
        value = f"{with_u(one.result.value, one.result.u)} {one.unit}"
        start = f"{value} is far from {self._target()}; "
        twin = _twin(one, others, one.result.value / self.target)
        if twin is not None:
            kind, columns, words = twin
            mend = Mend(kind, columns, words, math.nan, math.nan)
            return RunTest(f"{start}{words}: are they its own?", True, (mend,))
        if gross:
            many = abs(one.result.value - self.target) / self.spread
            return RunTest(
                f"{start}that is {many:.0f} times their spread, and no single slip in typing "
                "explains it: look at the row",
                True,
            )
        return RunTest()


def _entries(column: str, runs: Sequence[Run]) -> np.ndarray[Any, Any] | None:
    """The other rows' entries of a column, logarithms for amounts; None below two."""
    values = [getattr(run, column) for run in runs]
    known = np.array([v for v in values if v is not None], dtype=np.float64)
    if known.size < 2:
        return None
    if column.endswith("_C"):
        return known
    return np.log(known[known > 0]) if (known > 0).sum() > 1 else None


def _middle(column: str, runs: Sequence[Run]) -> tuple[float, float] | None:
    """Middle and spread of the rows' entries, logarithms for amounts; None below two."""
    others = _entries(column, runs)
    if others is None:
        return None
    middle = float(np.median(others))
    spread = 1.4826 * float(np.median(np.abs(others - middle)))
    if others.size == 2:
        spread = abs(float(others[0] - others[1]))
    return middle, max(spread, _LEAST_K if column.endswith("_C") else _LEAST_LOG)


def _apart_from(column: str, value: float | None, about: tuple[float, float] | None) -> float:
    """How far an entry lies from a middle, in K or as a logarithm; 0 where not known."""
    if about is None or value is None or (value <= 0 and not column.endswith("_C")):
        return 0.0
    return abs((value if column.endswith("_C") else math.log(value)) - about[0])


def _distance(column: str, value: float | None, runs: Sequence[Run]) -> float:
    """Distance of an entry from the other rows' middle, in their spread; 0 where not known."""
    about = _middle(column, runs)
    return _apart_from(column, value, about) / about[1] if about is not None else 0.0


def _evidence(slip: TypedSlip, typed: Run, others: Sequence[Run]) -> float:
    """Σ (d² − d'²) over the columns that a slip is in, each square bounded."""
    total = 0.0
    for column in slip.columns:
        if column not in _ENTRIES:
            continue
        before = _distance(column, getattr(typed, column), others)
        after = _distance(column, getattr(slip.run, column), others)
        total += min(before**2, MOST) - min(after**2, MOST)
    return total


def _twin(
    one: RunResult, others: Sequence[RunResult], ratio: float
) -> tuple[str, tuple[str, ...], str] | None:
    """Another row with the very same amounts or readings, where that can be why the run is off.

    ``ratio`` is the run's result over T. Amounts of its own would have to be among those that the
    class took: the amount times ``ratio`` within the others' range; and to be alike by chance must
    be out of the question (`_chance_alike`). Readings of a bench with other amounts must be alike
    in all columns, two of which tell something.
    """
    for kind, columns, least in (
        ("another bench's amounts", AMOUNTS, 1),
        ("another bench's readings", TEMPERATURES, 2),
    ):
        used = tuple(c for c in columns if getattr(one.run, c) is not None)
        own = [getattr(one.run, c) for c in used]
        twins = [x for x in others if [getattr(x.run, c) for c in used] == own]
        telling = [c for c in used if _share_alike(c, one, others) <= MOST_ALIKE]
        if len(used) < 2 or len(telling) < least or len(twins) != 1 or len(others) < 2:
            continue
        if columns is AMOUNTS:
            fits = any(_in_range(c, ratio, one, others) for c in telling)
            fits = fits and _chance_alike(telling, others) < CHANCE
        else:
            fits = any(_apart(c, one, twins[0]) > FAR_SHARE for c in AMOUNTS)
        if fits:
            what = kind.rpartition(" ")[2]
            return kind, used, f"its {what} are those of {twins[0].run.run} to the last digit"
    return None


def _share_alike(column: str, one: RunResult, others: Sequence[RunResult]) -> float:
    """Share of the other rows, the nearest one set aside, with the very same entry."""
    alike = sum(getattr(x.run, column) == getattr(one.run, column) for x in others)
    return float(max(alike - 1, 0)) / max(len(others) - 1, 1)


def _chance_alike(columns: Sequence[str], others: Sequence[RunResult]) -> float:
    """How many of the others have, by chance, the entries of one more row in all these columns.

    n Π d/(2 s √π), s the standard deviation of a column and d its last digit: two normal numbers of
    spread s differ by d/2 at most with that probability where d is small against s.
    """
    chance = float(len(others))
    for column in columns:
        known = [float(v) for v in (getattr(x.run, column) for x in others) if v is not None]
        digit = 10.0 ** -max((_decimals(value) for value in known), default=0)
        spread = statistics.stdev(known) if len(known) > 1 else 0.0
        chance *= min(digit / (2.0 * spread * math.sqrt(math.pi)), 1.0) if spread > 0 else 1.0
    return chance


def _decimals(value: float) -> int:
    return len(f"{value:.6f}".rstrip("0").partition(".")[2])


def _in_range(column: str, ratio: float, one: RunResult, others: Sequence[RunResult]) -> bool:
    known = [float(v) for v in (getattr(x.run, column) for x in others) if v is not None]
    own = float(getattr(one.run, column))
    if column.endswith("mol_per_L") or not known or ratio <= 0:
        return False
    return min(known) / ROOM <= own * ratio <= max(known) * ROOM


def _apart(column: str, one: RunResult, other: RunResult) -> float:
    a, b = getattr(one.run, column), getattr(other.run, column)
    return abs(float(a) / float(b) - 1.0) if a is not None and b else 0.0
