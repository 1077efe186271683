"""The worked answer of one run: both depths, why they differ, and the usual cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib.classwork.marking.readings import GroupReadings, group_readings
from calib.classwork.marking.ways import Taught
from calib.classwork.worked.differences import Difference, differences
from calib.classwork.worked.full import full_steps
from calib.classwork.worked.simple import simple_steps
from calib.classwork.worked.steps import Step
from calib.run_model.refusal import RowRefusedError

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.enthalpies.sources import ConstantSource
    from calib.hazards.asking import Hazard
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run

__all__ = ["WorkedAnswer", "worked_answer"]

HOT_C = 50.0


@dataclass(frozen=True, slots=True, eq=False)
class WorkedAnswer:
    """One run's answer. ``full`` is empty where ``no_full`` says why there is none."""

    run: str
    apparatus: str
    process: str
    quantity: str
    unit: str
    simple: tuple[Step, ...]
    full: tuple[Step, ...]
    no_full: str
    differences: tuple[Difference, ...]
    simple_value: float
    full_value: float | None
    u_full: float | None
    interval95: tuple[float, float] | None
    reference: str
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    hazards: tuple[Hazard, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The object of ``key --json``."""
        return {
            "hazards": [one.to_json() for one in self.hazards],
            "run": self.run, "apparatus": self.apparatus, "process": self.process,
            "quantity": self.quantity, "unit": self.unit,
            "simple": self.simple_value, "full": self.full_value, "u_full": self.u_full,
            "interval95": list(self.interval95) if self.interval95 else None,
            "simple_steps": [_step(one) for one in self.simple],
            "full_steps": [_step(one) for one in self.full],
            "differences": [
                {"name": d.name, "change": d.change, "after": d.after, "why": d.why}
                for d in self.differences
            ],
            "reference": self.reference, "cautions": list(self.cautions),
            "warnings": list(self.warnings),
        }  # fmt: skip


def _step(one: Step) -> dict[str, Any]:
    return {
        "stage": one.stage, "title": one.title, "formula": one.formula, "numbers": one.numbers,
        "result": one.result, "value": one.value, "unit": one.unit, "u": one.u,
        "made_of": one.made_of, "remark": one.remark,
    }  # fmt: skip


def worked_answer(
    run: Run, instruments: Instruments, constants: ConstantSource | None, taught: Taught
) -> WorkedAnswer:
    """Work out a row at both depths; without a constant for its cup, at the simple depth only.

    Raises:
        RowRefusedError: the row's readings cannot be used.
        CannotBeMarkedError: the run is of a kind that gives no enthalpy.
    """
    readings = group_readings(run, instruments)
    unit = "J/g" if readings.kind == "fusion" else readings.unit()
    result, why = _result(run, instruments, constants)
    simple = simple_steps(readings, taught, unit)
    found = result.result if result is not None else None
    return WorkedAnswer(
        run=run.run,
        apparatus=run.apparatus or "",
        process=readings.process,
        quantity="molar enthalpy" if readings.kind == "molar" else f"{readings.kind}",
        unit=unit,
        simple=simple,
        full=full_steps(result) if result is not None else (),
        no_full=why,
        differences=differences(readings, taught, result, unit) if result is not None else (),
        simple_value=simple[-1].value,
        full_value=found.value if found else None,
        u_full=found.u if found else None,
        interval95=found.interval95 if found else None,
        reference=_reference(result),
        cautions=_cautions(readings),
        warnings=result.warnings if result is not None else readings.prepared.warnings,
    )


def _result(
    run: Run, instruments: Instruments, constants: ConstantSource | None
) -> tuple[RunResult | None, str]:
    from calib.enthalpies.one_run import evaluate_run

    if constants is None:
        return None, "the full depth needs the cup's constant"
    try:
        return evaluate_run(run, instruments, constants), ""
    except RowRefusedError as refused:
        return None, str(refused)


def _reference(result: RunResult | None) -> str:
    """The accepted value to compare with, with its source; empty where there is none."""
    if result is None:
        return ""
    if result.physical is not None:
        p = result.physical
        return f"{p.reference:.4g} {p.unit}: {p.reference_source}" if p.reference else ""
    if result.expected is None:
        return ""
    accepted, here = result.expected.at_infinite_dilution, result.expected.at_run
    text = f"{accepted.value:.2f} ± {accepted.u:.2f} kJ/mol at infinite dilution: {accepted.source}"
    if here is not None:
        text += f"; {here.value:.2f} ± {here.u:.2f} kJ/mol at this run's concentrations"
    return text


def _cautions(readings: GroupReadings) -> tuple[str, ...]:
    from calib.reactions.cautions import DEFER, cautions, cautions_for
    from calib.reactions.deduce import PhysicalProcess

    prepared = readings.prepared
    assert prepared.added is not None
    used = (prepared.in_cup.species, prepared.added.species)
    hot = max(readings.added_C or 0.0, readings.rise.start_C, readings.rise.end_C) > HOT_C
    process = prepared.process.equation
    if process is not None:
        lines = (*cautions_for(process, hot=hot), *cautions(used))
    else:
        kind = prepared.process.kind
        lines = cautions_for(PhysicalProcess(kind, *used, used[1], ""), hot=hot)
    kept = [line for line in dict.fromkeys(lines) if line != DEFER]
    return (*kept, DEFER)
