"""What a person must be told about a constant, with the likely reason."""

from __future__ import annotations

import math
from collections.abc import Sequence

from calib.calibration.combine import Combined
from calib.calibration.consistency import Agreement
from calib.calibration.report import OUTLYING, RunFinding

__all__ = ["quality_of", "warnings_of"]

Budget = Sequence[tuple[str, float, float]]
INCONSISTENT = 0.01


def quality_of(c: Combined, agreements: Sequence[Agreement]) -> str:
    """Why a constant should not be approved without a reason; empty where it may be."""
    found = []
    if c.interval95[1] < 0.0:
        found.append("the constant is negative beyond its uncertainty, which no cup can have")
    if any(not one.consistent for one in agreements):
        found.append("the ways to the constant disagree")
    return "; ".join(found)


def warnings_of(
    c: Combined,
    runs: Sequence[RunFinding],
    budget: Budget,
    agreements: Sequence[Agreement],
    loss: Combined | None,
) -> tuple[str, ...]:
    """Sentences on sign, significance, number of runs, spread, outliers, agreement and G."""
    found: list[str] = []
    found += _sign(c, runs, budget)
    if len(runs) == 1:
        found.append("one run only: how much runs differ is not known, and was assumed")
    elif c.p_value < INCONSISTENT:
        found.append(
            f"the runs differ by more than their budgets explain (p = {c.p_value:.2g}); a spread "
            f"between runs of {c.between_sd:.2g} J/K was added"
        )
    for run in runs:
        if run.outlying:
            found.append(
                f"run {run.calibration.run.run} is outlying: {abs(run.deleted):.1f} standard "
                f"uncertainties from what the others say (rule: more than {OUTLYING:g}); kept, not "
                "dropped"
            )
    found += [one.sentence for one in agreements if not one.consistent]
    found += _readings_only(runs)
    if loss is not None and loss.interval95[0] < 0.0:
        found.append(
            f"the heat loss is not significant: {1000 * loss.value:.2g} ± {1000 * loss.u:.2g} mW/K;"
            " a longer log after mixing would show it"
        )
    return tuple(found)


def _sign(c: Combined, runs: Sequence[RunFinding], budget: Budget) -> list[str]:
    if c.interval95[0] > 0.0:
        return []
    chief = ""
    if budget:
        source, u, share = budget[0]
        chief = f"; the largest part of it is {source} ({u:.2g} J/K, {share:.0f} %)"
    if c.value < 0.0:
        certain = "beyond its uncertainty" if c.interval95[1] < 0.0 else "within its uncertainty"
        return [
            f"the constant is negative ({c.value:.2g} ± {c.u:.2g} J/K), {certain}: "
            f"{_negative_reason(runs)}{chief}"
        ]
    return [
        f"the constant is not distinguishable from zero ({c.value:.2g} ± {c.u:.2g} J/K){chief}; "
        "a larger temperature difference, or more runs, would help"
    ]


def _negative_reason(runs: Sequence[RunFinding]) -> str:
    ways = {run.calibration.way for run in runs}
    if "mixing" in ways:
        shift = _shift_per_tenth(runs)
        sensitive = f" (0.1 K in it shifts the constant by {shift:.2g} J/K)" if shift else ""
        return (
            "likely the added water was further from the cup's temperature than read, as when the "
            f"thermometer had not settled{sensitive}, or a mass is wrong"
        )
    if "heater" in ways:
        return "likely less liquid than entered, or more power than the meters showed"
    return "likely more of the reagent than entered, or less liquid"


def _shift_per_tenth(runs: Sequence[RunFinding]) -> float:
    """How far 0.1 K in the added water's temperature moves the constant. [J/K]"""
    shifts = [
        0.1 * abs(line.sensitivity)
        for run in runs
        if run.calibration.constant is not None
        for line in run.calibration.constant.lines
        if line.name in ("added_C", "added_C assumed")
    ]
    return max(shifts, default=0.0)


def _readings_only(runs: Sequence[RunFinding]) -> list[str]:
    bare = [r for r in runs if not r.calibration.rise.from_curve]
    if not bare or len(bare) < len(runs):
        return []
    kinds = sorted({r.calibration.rise.method for r in bare})
    return [f"from readings without a logged curve ({', '.join(kinds)})"]


def deviation_text(deleted: float) -> str:
    """A run's deviation from the others in words; empty where it is not known."""
    return f"{deleted:+.1f} u" if math.isfinite(deleted) else ""
