"""From tables of runs to whether their reactions agree with one another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.enthalpies.consistency import Agreement, ReactionMean
    from calib.estimate import Estimate
    from calib.reactions.cycles import AdjustedValue
    from calib.reactions.equation import Equation

Progress = Callable[[int, int, str], None]


def compare_reactions(
    tables: Sequence[Path],
    registry: str | None = None,
    *,
    as_run: bool = False,
    keep_all: bool = False,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Every reaction of the tables against what the others say of it; plain data.

    The runs are those that ``enthalpy`` takes its means of; the others stand in ``left_out``, none
    with ``keep_all``. Rows that cannot be used stand in ``errors``; all others are computed.

    Raises:
        TableError, RegistryError, InputError: nothing could be done; the message says why.
    """
    from calib.enthalpies.consistency import agreement
    from calib.jobs.evaluating import evaluate_table

    reports = [
        evaluate_table(path, registry, per="reaction", keep_all=keep_all, progress=progress)
        for path in tables
    ]
    results = [one for report in reports for one in report.report.in_means]
    found = agreement(results, as_run=as_run)
    several = len(reports) > 1
    return {
        **_facts(found),
        "left_out": [
            {"run": run["run"], "reason": run["suspected"]}
            for report in reports
            for run in report.facts["runs"]
            if not run["in_mean"]
        ],
        "errors": [
            {**problem, **({"table": report.table.path.name} if several else {})}
            for report in reports
            for problem in report.facts["errors"]
        ],
        "notes": [note for report in reports for note in report.facts["notes"]],
    }


def _facts(found: Agreement) -> dict[str, Any]:
    from calib.reactions.cycles import DISAGREES

    adjusted = {one.name: one for one in found.found.values}
    return {
        "state": found.state,
        "reactions": [_reaction(mean, adjusted[mean.name]) for mean in found.means],
        "correlations": _correlations(found),
        "cycles": [
            {
                "sum": str(one.cycle),
                "closure_kJ_per_mol": one.value,
                "u_closure_kJ_per_mol": one.u,
                "ratio": one.ratio,
                "probability": one.probability,
                "closes": one.ratio <= DISAGREES,
            }
            for one in found.found.closures
        ],
        "chi2": found.found.chi2,
        "degrees_of_freedom": found.found.degrees_of_freedom,
        "disagreeing": list(found.found.disagreeing),
        "runs": [
            {
                "run": one.run,
                "reaction": one.reaction,
                "off_kJ_per_mol": one.off,
                "u_kJ_per_mol": one.u,
                "ratio": one.ratio,
                "closes_without": one.closes_without,
            }
            for one in found.runs
        ],
        "ionizations": [
            {
                "reaction": str(one.equation),
                "dH_kJ_per_mol": one.dH.value,
                "u_dH_kJ_per_mol": one.dH.u,
                "made_of": one.words,
                **_reference(one.equation),
            }
            for one in found.ionizations
        ],
        "words": found.words,
    }


def _reaction(mean: ReactionMean, value: AdjustedValue) -> dict[str, Any]:
    from calib.reactions.ionic import net_ionic

    return {
        "name": mean.name,
        "reaction": str(mean.equation),
        "net_ionic": str(net_ionic(mean.equation)),
        "runs": len(mean.runs),
        "in_runs_kJ_per_mol": mean.in_runs,
        "carried_by_kJ_per_mol": mean.shift,
        "why_not_carried": mean.why_not or None,
        "dH_kJ_per_mol": mean.result.value,
        "u_dH_kJ_per_mol": mean.result.u,
        "adjusted_kJ_per_mol": value.adjusted.value,
        "u_adjusted_kJ_per_mol": value.adjusted.u,
        "residual": value.residual,
        **_pair("implied", value.implied),
        **_reference(mean.equation),
    }


def _reference(equation: Equation) -> dict[str, Any]:
    from calib.errors import CupledgerError
    from calib.reactions.reference import reference_enthalpy

    try:
        known: Estimate | None = reference_enthalpy(equation)
    except CupledgerError:
        known = None
    return {
        **_pair("reference", known),
        "reference_source": known.source if known is not None else None,
    }


def _pair(name: str, one: Estimate | None) -> dict[str, Any]:
    return {
        f"{name}_kJ_per_mol": one.value if one is not None else None,
        f"u_{name}_kJ_per_mol": one.u if one is not None else None,
    }


def _correlations(found: Agreement) -> list[list[float]]:
    """Correlation coefficients of the reactions' enthalpies, in the order of ``reactions``."""
    from calib.uncertainty.propagation import covariance_matrix

    matrix = covariance_matrix([one.result for one in found.means])
    u = [one.result.u or 1.0 for one in found.means]
    return [[float(matrix[i, j]) / (u[i] * u[j]) for j in range(len(u))] for i in range(len(u))]
