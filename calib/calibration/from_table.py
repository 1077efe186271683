"""From a table of calibration runs to every cup's constant."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Protocol

from calib.calibration.combine import Between
from calib.calibration.one_run import CalibrationRun, run_calibration
from calib.calibration.own_logs import with_own_logs
from calib.calibration.per_cup import combine_cup
from calib.calibration.report import CalibrationReport, CupConstant
from calib.errors import RowProblem
from calib.run_model.refusal import RowRefusedError
from calib.run_model.rise import Loss

if TYPE_CHECKING:
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run, Table

__all__ = ["KnownLoss", "calibrate", "calibrate_runs"]

Progress = Callable[[int, int, str], None]


class KnownLoss(Protocol):
    """Where a cup's heat loss may be known from before."""

    def loss_of(self, apparatus: str) -> Loss | None:
        """The cup's conductance, or None."""
        ...


KnownConstant = Callable[[str], tuple[float, float] | None]
"""A cup's constant from before with its u [J/K], or None."""


def calibrate(
    table: Table,
    *,
    instruments: Instruments | None = None,
    known_loss: KnownLoss | None = None,
    known_constant: KnownConstant | None = None,
    between: Between = "mandel-paule",
    method: str | None = None,
    progress: Progress | None = None,
) -> CalibrationReport:
    """Constants of all cups in a table.

    Each row is a mixing, known-reaction, heater or cooling run, as its columns say. ``between``
    chooses the estimator of the spread between runs, ``method`` a correction of curves by name.
    ``known_loss`` helps with rows that have readings only; the table's own curves come first.
    ``known_constant`` helps with cups that have cooling logs only.
    Rows that cannot be used become problems; all others are computed.
    """
    from calib.runs.instruments import Instruments as Loader

    tools = instruments if instruments is not None else Loader.load(table)
    rows, refused = with_own_logs(table)
    constants, problems = calibrate_runs(
        rows, tools, known_loss=known_loss, known_constant=known_constant, between=between,
        method=method, progress=progress,
    )  # fmt: skip
    problems += refused
    order = {run.run: place for place, run in enumerate(table.rows)}
    problems.sort(key=lambda p: order.get(p.row, -1))
    return CalibrationReport(
        constants, (*table.problems, *problems), tuple(table.notes), table.digest
    )


def calibrate_runs(
    runs: Sequence[Run],
    instruments: Instruments,
    *,
    known_loss: KnownLoss | None = None,
    known_constant: KnownConstant | None = None,
    between: Between = "mandel-paule",
    method: str | None = None,
    progress: Progress | None = None,
) -> tuple[tuple[CupConstant, ...], list[RowProblem]]:
    """``calibrate`` on rows already read: constants by cup, and the problems of rows."""
    problems: list[RowProblem] = []
    done: dict[str, list[CalibrationRun]] = {}
    losses: dict[str, Loss | None] = {}
    count = 0
    for run in _curves_first(runs):
        cup = run.apparatus
        if cup is None or not cup.strip():
            problems.append(_no_apparatus(run))
            continue
        loss = losses.get(cup) if run.curve_path is None else None
        if run.curve_path is None and loss is None and known_loss is not None:
            loss = known_loss.loss_of(cup)
        try:
            one = run_calibration(run, instruments, loss=loss, method=method)
            done.setdefault(cup, []).append(one)
        except RowRefusedError as refused:
            problems += refused.problems
        count += 1
        if progress is not None:
            progress(count, len(runs), "calibration runs")
        if run.curve_path is not None:
            losses[cup] = _loss_so_far(cup, done.get(cup, []))
    place = {id(run): index for index, run in enumerate(runs)}
    constants: list[CupConstant] = []
    for cup, own in done.items():
        own.sort(key=lambda one: place[id(one.run)])
        known = known_constant(cup) if known_constant is not None else None
        constants += combine_cup(cup, own, between=between, known=known)
    first = {run.apparatus: index for index, run in reversed(list(enumerate(runs)))}
    constants.sort(key=lambda c: first.get(c.apparatus, 0))
    return tuple(constants), problems


def _curves_first(runs: Iterable[Run]) -> list[Run]:
    """Rows with curves before those with readings, which need the conductance."""
    return sorted(runs, key=lambda run: run.curve_path is None)


def _loss_so_far(cup: str, own: Sequence[CalibrationRun]) -> Loss | None:
    found = combine_cup(cup, own) if own else ()
    if not found or found[0].heat_loss_W_per_K is None:
        return None
    return Loss(found[0].heat_loss_W_per_K, found[0].u_heat_loss_W_per_K or 0.0)


def _no_apparatus(run: Run) -> RowProblem:
    return RowProblem(
        run.run, "apparatus", "the cup is not named", "an empty cell",
        "the cup's identifier, such as H1", "fill in apparatus",
    )  # fmt: skip
