"""Marking a row or a whole table: ``mark_row`` and ``mark_table``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from calib.classwork.marking.readings import CannotBeMarkedError, GroupReadings, group_readings
from calib.classwork.marking.slips import slips_for
from calib.classwork.marking.typed import TypedAnswer, UnreadableAnswerError, typed_answer
from calib.classwork.marking.verdicts import (
    Fit,
    HonestFit,
    exact_fit,
    find_slips,
    honest_fit,
)
from calib.classwork.marking.ways import Taught, Way, full_ways, simple_ways
from calib.errors import RowProblem
from calib.run_model.refusal import NOT_COMPUTED, RowRefusedError, not_computed

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.enthalpies.sources import ConstantSource
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run, Table

__all__ = ["VERDICTS", "Marked", "Marking", "Unmarked", "mark_row", "mark_table"]

VerdictName = Literal[
    "right", "right within rounding", "right, simpler than taught", "slip",
    "several slips fit", "not explained",
]  # fmt: skip
VERDICTS: tuple[str, ...] = (
    "right", "right within rounding", "right, simpler than taught", "slip", "several slips fit",
    "not explained", "no answer", "cannot be marked",
)  # fmt: skip
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True, eq=False)
class Marked:
    """One row's verdict. ``own`` is what its readings give by the calculation taught."""

    run: Run
    readings: GroupReadings
    answer: TypedAnswer
    taught: Taught
    verdict: VerdictName
    own: float
    unit: str
    honest: HonestFit | None
    fits: tuple[Fit, ...]
    result: RunResult | None
    notes: tuple[str, ...] = ()

    @property
    def kinds(self) -> tuple[tuple[str, ...], ...]:
        """The distinct kinds of slip that fit, each as the kinds of one or two slips."""
        return tuple(dict.fromkeys(fit.kinds for fit in self.fits))


@dataclass(frozen=True, slots=True)
class Unmarked:
    """A row without a verdict, and why."""

    run: Run
    verdict: Literal["no answer", "cannot be marked"]
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Marking:
    """A table's rows in its order; ``problems`` are rows that could not be used."""

    rows: tuple[Marked | Unmarked, ...]
    problems: tuple[RowProblem, ...]
    notes: tuple[str, ...]

    @property
    def marked(self) -> tuple[Marked, ...]:
        """The rows that have a verdict."""
        return tuple(row for row in self.rows if isinstance(row, Marked))


def mark_table(
    table: Table,
    constants: ConstantSource | None,
    taught: Taught,
    *,
    instruments: Instruments | None = None,
    progress: Progress | None = None,
) -> Marking:
    """Mark every row that has an answer; good rows are marked whatever the others hold.

    ``constants`` is needed for the full depth; without it, or without a constant for a cup, the
    simple depth is marked all the same.
    """
    from calib.runs.instruments import Instruments as Loader

    tools = instruments if instruments is not None else Loader.load(table)
    rows: list[Marked | Unmarked] = []
    problems = list(table.problems)
    for count, run in enumerate(table.rows, start=1):
        try:
            rows.append(mark_row(run, tools, constants, taught))
        except RowRefusedError as refused:
            problems += refused.problems
        except NOT_COMPUTED as error:
            problems.append(not_computed(run.run, error))
        except CannotBeMarkedError as reason:
            rows.append(Unmarked(run, "cannot be marked", str(reason)))
            problems.append(
                RowProblem(run.run, "added", f"cannot be marked: {reason}",
                           f"{run.added or 'nothing'} with an answer of its own",
                           "a reaction, a dissolution, a dilution, a hot solid or ice",
                           "leave the answer empty in this row")
            )  # fmt: skip
        if progress is not None:
            progress(count, len(table.rows), "answers")
    return Marking(tuple(rows), tuple(problems), tuple(table.notes))


def mark_row(
    run: Run, instruments: Instruments, constants: ConstantSource | None, taught: Taught
) -> Marked | Unmarked:
    """The verdict on one row's answer.

    Raises:
        RowRefusedError: the readings, or the answer itself, cannot be used.
        CannotBeMarkedError: there is an answer, but the run is of a kind that gives none.
    """
    try:
        answer = typed_answer(run)
    except UnreadableAnswerError as error:
        raise RowRefusedError(
            RowProblem(run.run, error.column, "the answer is no number", error.found,
                       "a number", "write the number alone")
        ) from None  # fmt: skip
    if answer is None:
        return Unmarked(run, "no answer", "no answer was given")
    readings = group_readings(run, instruments)
    unit = readings.unit(answer.column)
    answer = _in_unit(run, readings, answer, unit)
    ways = _Ways(readings, taught, unit, run, instruments, constants)
    return _verdict(run, readings, answer, taught, ways)


def _in_unit(run: Run, readings: GroupReadings, answer: TypedAnswer, unit: str) -> TypedAnswer:
    """The answer read in the unit its run has; a column in another unit is refused."""
    own_column = answer.column != "reported_kJ_per_mol"
    if own_column and answer.unit != unit:
        raise RowRefusedError(
            RowProblem(run.run, answer.column, f"the run gives no answer in {answer.unit}",
                       answer.text, f"an answer in {unit}", "move it to the column of its unit")
        )  # fmt: skip
    if readings.kind == "specific heat" and not own_column:
        raise RowRefusedError(
            RowProblem(run.run, answer.column, "cannot be marked: a specific heat is no molar "
                       "enthalpy", answer.text, "an answer in J/(g K)",
                       "move it to a column reported_J_per_gK")
        )  # fmt: skip
    return replace(answer, unit=unit)


class _Ways:
    """The honest ways of both depths; the full depth is computed only when it is asked for."""

    def __init__(
        self,
        readings: GroupReadings,
        taught: Taught,
        unit: str,
        run: Run,
        instruments: Instruments,
        constants: ConstantSource | None,
    ) -> None:
        self.readings, self.taught, self.unit = readings, taught, unit
        self._run, self._instruments, self._constants = run, instruments, constants
        self._result: RunResult | None = None
        self._asked = False
        self.missing: RowRefusedError | None = None

    @property
    def result(self) -> RunResult | None:
        """What ``enthalpy`` makes of the row, or None where its cup has no constant."""
        if not self._asked:
            self._asked = True
            if self._constants is not None:
                from calib.enthalpies.one_run import evaluate_run

                try:
                    self._result = evaluate_run(self._run, self._instruments, self._constants)
                except RowRefusedError as refused:
                    self.missing = refused
        return self._result

    def simple(self) -> list[Way]:
        return simple_ways(self.readings, self.taught, unit=self.unit)

    def full(self, *, whole: bool = False) -> list[Way]:
        result = self.result
        if result is None:
            return []
        return full_ways(self.readings, result, unit=self.unit, whole=whole)


def _verdict(
    run: Run, readings: GroupReadings, answer: TypedAnswer, taught: Taught, ways: _Ways
) -> Marked:
    simple = ways.simple()
    blank = Marked(
        run, readings, answer, taught, "not explained", simple[0].path.value(), answer.unit,
        None, (), None, readings.prepared.warnings,
    )  # fmt: skip
    if taught.depth == "full":
        return _at_full_depth(blank, simple, ways)
    fit = honest_fit(answer, simple)
    if fit is not None:
        return replace(blank, verdict=_right(fit), honest=fit)
    marked = _with_slips(blank, [simple])
    more = [_as_full(way) for way in ways.full(whole=True)]
    fit = exact_fit(answer, more, with_slack=False) if marked.fits else honest_fit(answer, more)
    if fit is not None:  # a group that did more than it was taught is right
        return replace(blank, verdict=_right(fit), honest=fit, result=ways.result)
    return replace(marked, result=ways.result)


def _as_full(way: Way) -> Way:
    return replace(way, choices=("with the full calculation", *way.choices))


def _at_full_depth(blank: Marked, simple: list[Way], ways: _Ways) -> Marked:
    full = ways.full()
    if not full:
        raise ways.missing or RowRefusedError(
            RowProblem(blank.run.run, "apparatus", "the full depth needs the cup's constant",
                       str(blank.run.apparatus or "an empty cell"), "a cup with a constant",
                       "calibrate the cup, or mark with --depth simple")
        )  # fmt: skip
    notes = ways.result.warnings if ways.result is not None else ()
    blank = replace(blank, own=full[0].path.value(), result=ways.result, notes=notes)
    whole = [way for way in full if not way.left_out]
    fit = honest_fit(blank.answer, whole)
    if fit is not None:
        return replace(blank, verdict=_right(fit), honest=fit)
    less = [replace(way, left_out=("everything that the full depth adds",)) for way in simple] + [
        way for way in full if len(way.left_out) == 1
    ]
    fit = honest_fit(blank.answer, less)
    if fit is not None:
        return replace(blank, verdict="right, simpler than taught", honest=fit)
    return _with_slips(blank, [whole, simple])


def _right(fit: HonestFit) -> VerdictName:
    return "right" if fit.exact else "right within rounding"


def _with_slips(blank: Marked, layers: list[list[Way]]) -> Marked:
    slips = slips_for(blank.readings, blank.taught, blank.unit)
    fits = find_slips(blank.answer, layers, slips)
    if not fits:
        return blank
    one = len({fit.kinds for fit in fits}) == 1
    return replace(blank, verdict="slip" if one else "several slips fit", fits=fits)
