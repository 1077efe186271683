"""From a table of runs to molar enthalpies: ``evaluate(table, constants)``.

    ΔH(T_1) = −[(C_mix + C_app)(T_f − T_1) − C_2 (T_2 − T_1)] / ξ

per run, with the right cup's constant by apparatus and date, its budget, the accepted value at
infinite dilution and the one expected at the run's own concentration; and per reaction a mean whose
shared and independent parts stand apart.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from calib.enthalpies.one_run import RunResult, evaluate_run
from calib.enthalpies.report import EnthalpyReport
from calib.enthalpies.same_rows import same_files, with_same_file
from calib.enthalpies.sources import (
    AppliedConstant,
    ConstantSource,
    FixedConstants,
    FromRegistry,
)
from calib.enthalpies.summary import ReactionSummary, summarise
from calib.enthalpies.tested import run_tests, with_remarks
from calib.errors import RowProblem
from calib.run_model.refusal import NOT_COMPUTED, RowRefusedError, not_computed

if TYPE_CHECKING:
    from calib.run_model.found_rise import Rise
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run, Table

__all__ = [
    "AppliedConstant",
    "ConstantSource",
    "EnthalpyReport",
    "FixedConstants",
    "FromRegistry",
    "ReactionSummary",
    "RunResult",
    "evaluate",
    "evaluate_run",
]

Progress = Callable[[int, int, str], None]


def evaluate(
    table: Table,
    constants: ConstantSource,
    *,
    instruments: Instruments | None = None,
    at_25: bool = False,
    check_monte_carlo: bool = False,
    method: str | None = None,
    per: str = "",
    keep_all: bool = False,
    progress: Progress | None = None,
) -> EnthalpyReport:
    """Every row's molar enthalpy, in any mix of reactions and cups.

    ``constants`` gives each row's constant (``FromRegistry(registry)``, or ``FixedConstants`` by
    hand). ``at_25`` reports at 25 °C where the change of heat capacity is known; otherwise ΔH
    stands at the run's starting temperature. ``check_monte_carlo`` validates every budget by
    JCGM 101. ``method`` names a correction of curves. ``per`` chooses what the enthalpies are per
    mole of: ``reaction`` as written, ``water`` formed, ``salt`` dissolved, or one of the equation's
    substances; where a row's reaction has no such thing it stays as written, with a remark. Rows
    that cannot be used become problems; all others are computed.

    Runs are tested before they are averaged (`calib.enthalpies.tested`): one that a slip in typing
    explains stays in the table with the reason, and leaves the means unless ``keep_all``.

    Raises ReactionError where ``per`` is none of these.
    """
    from calib.reactions.basis import check_wish
    from calib.runs.instruments import Instruments as Loader

    check_wish(per)
    tools = instruments if instruments is not None else Loader.load(table)
    results: list[RunResult] = []
    problems: list[RowProblem] = list(table.problems)

    def again(run: Run, rise: Rise | None = None) -> RunResult:
        return evaluate_run(
            run, tools, constants, at_25=at_25, method=method, per=per, rise=rise,
        )  # fmt: skip

    for count, run in enumerate(table.rows, start=1):
        try:
            results.append(
                evaluate_run(
                    run,
                    tools,
                    constants,
                    at_25=at_25,
                    check_monte_carlo=check_monte_carlo,
                    method=method,
                    per=per,
                )
            )
        except RowRefusedError as refused:
            problems += refused.problems
        except NOT_COMPUTED as error:
            problems.append(not_computed(run.run, error))
        if progress is not None:
            progress(count, len(table.rows), "runs")
    files = same_files(table.rows)
    problems = [with_same_file(one, files) for one in problems]
    tests = run_tests(results, again, keep_all=keep_all, files=files)
    told = with_remarks(results, tests)
    left_out = {place for place, test in enumerate(tests) if test.left_out}
    return EnthalpyReport(
        told, summarise(told, left_out), tuple(problems), tuple(table.notes), table.digest, tests
    )
