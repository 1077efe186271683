"""What the result's uncertainty will be made of, and what a smaller one would take.

The planned readings are put into a row and the row is evaluated as any other, so that the budget
is the one that the class will get.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from calib.enthalpies.one_run import RunResult, evaluate_run
from calib.enthalpies.sources import AppliedConstant
from calib.errors import CupledgerError
from calib.run_model.refusal import RowRefusedError
from calib.runs.instruments import Instruments
from calib.runs.model import Run

__all__ = ["GivenConstant", "Wanted", "expected_result", "relative_u_percent", "what_it_takes"]

STEPS_K = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.001)
"""Display steps of thermometers in use, coarsest first. [K]"""
MOST_FACTOR, LEAST_FACTOR = 16.0, 1.0 / 16.0


@dataclass(frozen=True, slots=True)
class GivenConstant:
    """A source that gives one constant, whatever the cup's name."""

    constant: AppliedConstant

    def constant_for(self, apparatus: str, on: date | None) -> AppliedConstant:
        """The constant."""
        del apparatus, on
        return self.constant

    def kind_pooled(self, apparatus: str, on: date | None) -> AppliedConstant:
        """The same."""
        del apparatus, on
        return self.constant


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a wanted relative standard uncertainty [%] of the result takes.

    ``step_K`` is the coarsest thermometer step that reaches it with the amounts planned,
    ``amount_factor`` the smallest factor on the amount of what reacts that reaches it with the
    thermometer planned; None where nothing tried does.
    """

    wanted_percent: float
    planned_percent: float
    step_K: float | None
    amount_factor: float | None
    finest_percent: float
    sentences: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As the command prints it."""
        return {
            "wanted_percent": self.wanted_percent, "planned_percent": self.planned_percent,
            "reached": self.planned_percent <= self.wanted_percent,
            "coarsest_step_K": self.step_K, "smallest_amount_factor": self.amount_factor,
            "finest_thermometer_percent": self.finest_percent, "sentences": list(self.sentences),
        }  # fmt: skip


def with_step(instruments: Instruments, step_K: float) -> Instruments:
    """The same instruments, the thermometer showing steps of ``step_K``."""
    columns = ("in_cup_C", "added_C", "extreme_C")
    steps = {**instruments.steps, **dict.fromkeys(columns, step_K)}
    settings = instruments.settings
    changed = {
        name: replace(setting, step=None)
        for name, setting in settings.columns.items()
        if name in columns
    }
    sections = dict(settings.sections)
    if "temperature" in sections:
        sections["temperature"] = replace(sections["temperature"], step=None)
    settings = replace(settings, columns={**settings.columns, **changed}, sections=sections)
    return Instruments(settings, steps)


def expected_result(
    run: Run, shown_C: float, after_s: float, instruments: Instruments, constant: AppliedConstant
) -> RunResult:
    """The row that a perfect class would hand in, evaluated. Raises RowRefusedError."""
    row = replace(run, extreme_C=shown_C, extreme_after_s=after_s)
    return evaluate_run(row, instruments, GivenConstant(constant))


def relative_u_percent(result: RunResult) -> float:
    """Standard uncertainty of the result in per cent of it."""
    value = result.result.value
    return 100.0 * result.result.u / abs(value) if value else float("inf")


Evaluate = Callable[[float, float], float]
"""u [%] for a thermometer's step [K] and a factor on the amount of what reacts."""


def what_it_takes(wanted_percent: float, step_K: float, u_percent: Evaluate) -> Wanted:
    """Search the steps in use and the amounts between a sixteenth and sixteenfold."""
    planned = u_percent(step_K, 1.0)
    by_step = {step: _safe(u_percent, step, 1.0) for step in STEPS_K}
    finest = min(by_step.values())
    step = next((one for one in STEPS_K if by_step[one] <= wanted_percent), None)
    factor = _smallest_factor(wanted_percent, lambda f: _safe(u_percent, step_K, f))
    return Wanted(
        wanted_percent, planned, step, factor, finest,
        tuple(_sentences(wanted_percent, planned, (step, factor, finest), step_K)),
    )  # fmt: skip


def _safe(u_percent: Evaluate, step_K: float, factor: float) -> float:
    try:
        return u_percent(step_K, factor)
    except (CupledgerError, RowRefusedError):
        return float("inf")


def _smallest_factor(wanted: float, u_percent: Callable[[float], float]) -> float | None:
    """Smallest factor that reaches it, by halving and doubling from 1 and then bisection."""
    high: float = 1.0
    while u_percent(high) > wanted:
        high *= 2.0
        if high > MOST_FACTOR:
            return None
    low = high / 2.0
    while low >= LEAST_FACTOR and u_percent(low) <= wanted:
        high, low = low, low / 2.0
    for _ in range(6):
        middle = (low * high) ** 0.5
        low, high = (low, middle) if u_percent(middle) <= wanted else (middle, high)
    return high


def _sentences(
    wanted: float, planned: float, found: tuple[float | None, float | None, float], step_K: float
) -> list[str]:
    step, factor, finest = found
    said = []
    if planned <= wanted:
        said.append(f"{wanted:g} % is reached with what is planned ({planned:.2g} %)")
        if step is not None and step > step_K:
            said.append(f"a thermometer that shows {step:g} K would do")
        if factor is not None and factor < 0.95:
            said.append(f"{100 * factor:.0f} % of what is to react would do")
        return said
    said.append(f"{wanted:g} % is not reached with what is planned ({planned:.2g} %)")
    if step is not None:
        said.append(f"it takes a thermometer that shows {step:g} K")
    else:
        said.append(f"no thermometer alone reaches it: at best {finest:.2g} %")
    if factor is not None:
        said.append(
            f"or {factor:.2g} times what is to react, with a thermometer that shows {step_K:g} K"
        )
    else:
        said.append("nor does taking more of what is to react: mend the largest error first")
    return said
