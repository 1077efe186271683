"""The object of ``enthalpy --json`` with each run's mishaps and what may be wrong with outliers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from calib.classwork.mishaps import Verdict, explain, explain_mean, likely_reason, mishap_rows
from calib.enthalpies.goal import goal_of
from calib.errors import CupledgerError

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.enthalpies.report import EnthalpyReport

__all__ = ["class_facts"]


def class_facts(report: EnthalpyReport) -> dict[str, Any]:
    """``report.to_json()`` and, by run, ``deviation``, ``mishaps`` and ``mishap_verdict``; by
    reaction ``outlying_reasons`` and what the whole class may have had in common.
    """
    facts = report.to_json()
    for one, line in zip(report.results, facts["runs"], strict=True):
        verdict = _explained(one)
        line["deviation"] = verdict.deviation
        line["u_deviation"] = verdict.u_deviation
        line["deviation_from"] = verdict.goal.name if verdict.goal is not None else None
        line["explanation_needed"] = verdict.needed
        line["mishap_verdict"] = verdict.sentence
        line["mishaps"] = mishap_rows(verdict, one.unit)
    groups: dict[tuple[str, str], dict[str, RunResult]] = {}
    for one in report.in_means or report.results:
        groups.setdefault((one.process, one.unit), {})[one.run.run] = one
    for summary in facts["summary"]:
        members = groups.get((summary["reaction"], summary["unit"]), {})
        _add_common(summary, list(members.values()))
        summary["outlying_reasons"] = [
            {"run": label, "reason": likely_reason(
                members[label], [one for name, one in members.items() if name != label])}
            for label in summary["outlying"]
            if label in members
        ]  # fmt: skip
    return facts


def _explained(one: RunResult) -> Verdict:
    """The run's mishaps, in its own net: what cannot be worked out for one costs no other row."""
    try:
        return explain(one, goal_of(one))
    except (ArithmeticError, ValueError, LookupError, CupledgerError) as error:
        said = f"its mishaps cannot be worked out ({type(error).__name__})"
        return Verdict(None, None, None, False, (), said)


def _add_common(summary: dict[str, Any], members: list[RunResult]) -> None:
    """What the whole class may have had in common, where it has more than one group.

    From three groups on the robust centre is held against the expected value.
    """
    few = len(members) < 3
    middle, u = (
        (summary["mean"], summary["u_mean"])
        if few
        else (summary["robust_mean"], summary["u_robust_mean"])
    )
    low, high = summary["interval95"]
    factor = 0.5 * (high - low) / summary["u_mean"] if summary["u_mean"] > 0 else 2.0
    verdict = None
    if len(members) > 1:
        try:
            verdict = explain_mean(members, middle, u, factor)
        except (ArithmeticError, ValueError, LookupError, CupledgerError):
            verdict = None
    summary["deviation"] = verdict.deviation if verdict is not None else None
    summary["u_deviation"] = verdict.u_deviation if verdict is not None else None
    summary["mishap_verdict"] = verdict.sentence if verdict is not None else None
