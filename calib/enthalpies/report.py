"""What ``evaluate`` gives back: every run, the summaries, the rows that could not be used."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib.enthalpies.one_run import RunResult
from calib.enthalpies.per_mole import step_to_25, two_values
from calib.enthalpies.summary import ReactionSummary
from calib.enthalpies.tested import RunTest
from calib.errors import RowProblem

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["EnthalpyReport", "run_json"]


@dataclass(frozen=True, slots=True, eq=False)
class EnthalpyReport:
    """Results of a table. ``digest`` is the SHA-256 of the table's file; ``tests`` says of each
    result, in their order, whether it is in the means and what is held against it.
    """

    results: tuple[RunResult, ...]
    summary: tuple[ReactionSummary, ...]
    problems: tuple[RowProblem, ...]
    notes: tuple[str, ...] = ()
    digest: str = ""
    tests: tuple[RunTest, ...] = ()

    @property
    def in_means(self) -> tuple[RunResult, ...]:
        """The results that the means are taken of."""
        if not self.tests:
            return self.results
        pairs = zip(self.results, self.tests, strict=True)
        return tuple(one for one, test in pairs if not test.left_out)

    def result(self, run: str) -> RunResult:
        """The result of one run. Raises KeyError."""
        for one in self.results:
            if one.run.run == run:
                return one
        raise KeyError(run)

    def to_json(self) -> dict[str, Any]:
        """The object of ``enthalpy --json``."""
        tests = self.tests or (RunTest(),) * len(self.results)
        return {
            "runs": [
                {**run_json(one), **_tested(test)}
                for one, test in zip(self.results, tests, strict=True)
            ],
            "summary": [one.to_json() for one in self.summary],
            "errors": [
                {"row": p.row, "column": p.column, "message": p.message, "found": p.found,
                 "expected": p.expected, "remedy": p.remedy}
                for p in self.problems
            ],
            "notes": list(self.notes),
        }  # fmt: skip

    def to_frame(self) -> pd.DataFrame:
        """One line a run, as a pandas table."""
        import pandas as pd

        left_out = ("budget", "without", "warnings", "monte_carlo")
        return pd.DataFrame(
            [
                {key: value for key, value in run_json(one).items() if key not in left_out}
                | {"warnings": "; ".join(one.warnings)}
                for one in self.results
            ]
        )


def _tested(test: RunTest) -> dict[str, Any]:
    return {
        "in_mean": not test.left_out,
        "suspected": test.reason or None,
        "mends": [
            {
                key: None if isinstance(value, float) and not math.isfinite(value) else value
                for key, value in mend.to_json().items()
            }
            for mend in test.mends
        ],
    }


def run_json(one: RunResult) -> dict[str, Any]:
    """One run with the keys of design.md, and what explains them."""
    rise, prepared = one.measured.rise, one.measured.prepared
    extent = prepared.process.extent
    molar = one.molar
    return {
        "run": one.run.run,
        "apparatus": one.run.apparatus,
        "date": one.run.date.isoformat() if one.run.date is not None else None,
        "reaction": one.process,
        "constant_id": one.constant.id,
        "constant_J_per_K": one.constant.value_J_per_K,
        "u_constant_J_per_K": one.constant.u_J_per_K,
        "constant_pooled": one.constant.pooled,
        "constant_source": one.constant.source,
        "before_C": rise.before_C,
        "final_C": rise.final_C,
        "rise_K": rise.rise_K,
        "u_rise_K": one.u_rise_K,
        "method": rise.method,
        "from_curve": rise.from_curve,
        "heat_J": one.heat_J,
        "u_heat_J": one.u_heat_J,
        "extent_mol": _extent(one),
        "limiting": prepared.process.limiting_text if extent is not None else None,
        "fill_mL": prepared.fill_mL,
        "at_C": one.at_C,
        "dH_kJ_per_mol": molar.value if molar else None,
        "u_dH_kJ_per_mol": molar.u if molar else None,
        "interval95_kJ_per_mol": list(molar.interval95) if molar else None,
        "per": one.per,
        "moles_per_reaction": one.basis.moles_per_reaction if molar else None,
        **_step_to_25(one),
        **two_values(one.expected, molar=molar is not None),
        **_physical(one),
        "warnings": list(one.warnings),
        "budget": _budget(one),
        "without": [
            {"left_out": t.left_out, "result_kJ_per_mol": t.result_kJ_per_mol,
             "shift_kJ_per_mol": t.shift_kJ_per_mol, "shift_percent": t.shift_percent}
            for t in one.treatments
        ],
        "monte_carlo": _monte_carlo(one),
        "reported_kJ_per_mol": one.run.reported_kJ_per_mol,
        "extra": dict(one.run.extra),
    }  # fmt: skip


def _extent(one: RunResult) -> float | None:
    if one.molar is None:
        return None
    x = {i.name: i.value for i in one.measured.quantities.inputs_used()}
    return float(one.measured.extent_mol(x))


def _step_to_25(one: RunResult) -> dict[str, Any]:
    from calib.reactions.heat_capacity_change import delta_cp

    equation = one.measured.prepared.process.equation
    change = delta_cp(equation) if equation is not None else None
    return step_to_25(change, one.at_C, one.basis)


def _physical(one: RunResult) -> dict[str, Any]:
    p = one.physical
    if p is None:
        return {"quantity": "molar enthalpy", "unit": "kJ/mol"}
    return {
        "quantity": p.quantity,
        "unit": p.unit,
        "value": p.result.value,
        "u_value": p.result.u,
        "interval95": list(p.result.interval95),
        "per_mole": p.per_mole,
        "u_per_mole": p.u_per_mole,
        "unit_molar": p.unit_molar,
        "reference": p.reference,
        "reference_source": p.reference_source,
    }


def _budget(one: RunResult) -> list[dict[str, Any]]:
    key = "u_kJ_per_mol" if one.physical is None else "u"
    return [
        {"source": line.source, key: abs(line.contribution), "share_percent": line.share_percent,
         "shared": line.key is not None}
        for line in one.result.all_lines
        if abs(line.share_percent) >= 0.005
    ]  # fmt: skip


def _monte_carlo(one: RunResult) -> dict[str, Any] | None:
    m = one.monte_carlo
    if m is None:
        return None
    return {
        "mean": m.mean, "u": m.u, "interval95": list(m.interval95), "agrees": m.agrees, "why": m.why
    }  # fmt: skip
