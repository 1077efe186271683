"""From a table of runs to molar enthalpies, with the constants of a registry."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.enthalpy import EnthalpyReport
    from calib.outputs import Outputs
    from calib.runs.model import Table

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True, eq=False)
class TableResults:
    """A table, its report, and the object of ``enthalpy --json``."""

    table: Table
    report: EnthalpyReport
    facts: dict[str, Any]


def evaluate_table(
    path: Path,
    registry: str | None = None,
    *,
    at_25: bool = False,
    check_monte_carlo: bool = False,
    per: str = "",
    keep_all: bool = False,
    progress: Progress | None = None,
    outputs: Outputs | None = None,
) -> TableResults:
    """Compute every row with the constant in force for its cup and date.

    ``per`` chooses what the enthalpies are per mole of, ``keep_all`` takes every computed row into
    the means, see `calib.enthalpy.evaluate`. ``outputs`` are those of the call: none may be a curve
    of the table, which is told before any work.

    Rows that cannot be used stand in ``facts["errors"]``; all others are computed.

    Raises:
        TableError, RegistryError, OutputError: nothing could be done; the message says why.
    """
    from calib.classwork.class_facts import class_facts
    from calib.enthalpy import FromRegistry, evaluate
    from calib.hazards.asking import said_with_errors
    from calib.jobs.asked_of_tables import asked_of_file
    from calib.jobs.vessels import told_kinds
    from calib.outputs import reads_table
    from calib.registry import open_registry
    from calib.runs.reader import read_table

    table = read_table(path)
    hazards = asked_of_file(table)
    if outputs is not None:
        reads_table(outputs, table)
    with said_with_errors(hazards), open_registry(registry, create=False) as store:
        report = evaluate(
            told_kinds(table, store),
            FromRegistry(store),
            at_25=at_25,
            check_monte_carlo=check_monte_carlo,
            per=per,
            keep_all=keep_all,
            progress=progress,
        )
    facts = {"hazards": [one.to_json() for one in hazards], **class_facts(report)}
    return TableResults(table, report, facts)
