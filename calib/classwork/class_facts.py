"""The object of ``enthalpy --json`` with each run's mishaps and what may be wrong with outliers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from calib.classwork.mishaps import explain, goal_of, likely_reason, mishap_rows

if TYPE_CHECKING:
    from calib.enthalpies.report import EnthalpyReport

__all__ = ["class_facts"]


def class_facts(report: EnthalpyReport) -> dict[str, Any]:
    """``report.to_json()`` and, by run, ``deviation``, ``mishaps`` and ``mishap_verdict``; by
    reaction ``outlying_reasons``.
    """
    facts = report.to_json()
    for one, line in zip(report.results, facts["runs"], strict=True):
        verdict = explain(one, goal_of(one))
        line["deviation"] = verdict.deviation
        line["u_deviation"] = verdict.u_deviation
        line["deviation_from"] = verdict.goal.name if verdict.goal is not None else None
        line["explanation_needed"] = verdict.needed
        line["mishap_verdict"] = verdict.sentence
        line["mishaps"] = mishap_rows(verdict, one.unit)
    for summary in facts["summary"]:
        if not summary["outlying"]:
            summary["outlying_reasons"] = []
            continue
        members = {
            one.run.run: one
            for one in report.results
            if (one.process, one.unit) == (summary["reaction"], summary["unit"])
        }
        summary["outlying_reasons"] = [
            {"run": label, "reason": likely_reason(
                members[label], [one for name, one in members.items() if name != label])}
            for label in summary["outlying"]
            if label in members
        ]  # fmt: skip
    return facts
