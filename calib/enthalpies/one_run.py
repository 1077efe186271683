"""One run of a class: from its row to a molar enthalpy with its budget."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calib import balance
from calib.enthalpies.parts import Treatment, treatments
from calib.enthalpies.per_mole import chosen_basis, on_basis
from calib.enthalpies.physical import PhysicalResult, physical_result
from calib.enthalpies.plausible import refuse_later_days, remarks_on_result, remarks_on_run
from calib.enthalpies.sources import (
    AppliedConstant,
    ConstantSource,
    apply_constant,
    range_warnings,
)
from calib.errors import ReactionError, RowProblem
from calib.run_model.measured import MeasuredRun, measure
from calib.run_model.prepared import prepare
from calib.run_model.refusal import RowRefusedError
from calib.run_model.rise import find_rise
from calib.run_model.shared_wall import install_constant
from calib.uncertainty import MonteCarlo, Propagated, monte_carlo, propagate

if TYPE_CHECKING:
    from calib.reactions.basis import Basis
    from calib.reactions.concentration import Expected
    from calib.run_model.found_rise import Rise
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run

__all__ = ["RunResult", "evaluate_run"]

MOLAR = ("reaction", "dilution")


@dataclass(frozen=True, slots=True, eq=False)
class RunResult:
    """What one run gives. ``molar`` is the enthalpy [kJ/mol] at ``at_C``, None for a physical
    quantity, which then stands in ``physical``. ``basis`` says what it is per mole of; expected
    values and treatments are on the same basis.
    """

    run: Run
    measured: MeasuredRun
    constant: AppliedConstant
    heat_J: float
    u_heat_J: float
    molar: Propagated | None
    at_C: float
    physical: PhysicalResult | None
    expected: Expected | None
    treatments: tuple[Treatment, ...]
    monte_carlo: MonteCarlo | None
    warnings: tuple[str, ...]
    basis: Basis
    basis_remark: str

    @property
    def result(self) -> Propagated:
        """The run's own quantity with its budget, molar or physical."""
        if self.molar is not None:
            return self.molar
        assert self.physical is not None
        return self.physical.result

    @property
    def unit(self) -> str:
        """Unit of the result."""
        return "kJ/mol" if self.physical is None else self.physical.unit

    @property
    def per(self) -> str:
        """What the result refers to, in words."""
        return self.basis.words if self.physical is None else self.physical.per

    @property
    def process(self) -> str:
        """What the run is grouped by: the equation, or the physical process."""
        return self.measured.prepared.process.name

    @property
    def u_rise_K(self) -> float:
        """Standard uncertainty of the rise with the thermometer's steps and scale. [K]"""
        q = self.measured.quantities
        return propagate(self.measured.rise_K, q.inputs_used()).u


def evaluate_run(
    run: Run,
    instruments: Instruments,
    constants: ConstantSource,
    *,
    at_25: bool = False,
    check_monte_carlo: bool = False,
    method: str | None = None,
    per: str = "",
    rise: Rise | None = None,
) -> RunResult:
    """Compute one row, per mole of ``per`` (see `calib.enthalpy.evaluate`).

    ``rise`` takes the place of the row's own, so that a curve is not corrected again where only
    amounts are asked about. Raises RowRefusedError.
    """
    refuse_later_days(run)
    prepared = prepare(run, instruments)
    _refuse_calibrations(run, prepared.process.kind)
    constant = apply_constant(constants, run, prepared)
    if rise is None:
        rise = find_rise(
            prepared, C_app=constant.value_J_per_K, u_C_app=constant.u_J_per_K,
            loss=constant.loss, method=method, hidden=constant.hidden,
        )  # fmt: skip
    measured = measure(prepared, rise)
    q = measured.quantities
    install_constant(
        q, run.apparatus, (constant.value_J_per_K, constant.u_J_per_K), key=constant.key or None,
        source=f"the cup's constant{' (pooled value of its kind)' * constant.pooled}",
        wall_part_J_per_K=constant.wall_part_J_per_K,
    )  # fmt: skip
    heat = propagate(lambda x: measured.heat_J(x, measured.C_cup(x)), q.inputs_used())
    warnings = [*prepared.warnings, *constant.warnings, *rise.warnings]
    t_mean = 0.5 * (rise.before_C + rise.final_C)
    warnings += range_warnings(constant, prepared.fill_mL, t_mean)
    warnings += remarks_on_run(measured)
    basis, unmet = chosen_basis(prepared, per)
    base = RunResult(
        run, measured, constant, heat.value, heat.u, None, rise.before_C, None, None, (), None, (),
        basis, unmet,
    )  # fmt: skip
    if prepared.process.kind not in MOLAR:
        physical = physical_result(measured)
        done = replace(base, physical=physical)
        warnings += [*physical.warnings, *remarks_on_result(done)]
        return replace(done, warnings=_once(warnings))
    f, at_C, remarks = _molar_function(measured, basis.moles_per_reaction, at_25=at_25)
    molar = propagate(f, q.inputs_used())
    check = _check(measured, f, at_25) if check_monte_carlo else None
    if check is not None and not check.agrees:
        remarks.append(f"the linear budget does not hold by itself: {check.why}")
    done = replace(
        base,
        molar=molar,
        at_C=at_C,
        expected=_expected(measured, at_C, basis, remarks),
        treatments=treatments(measured, constant, molar.value, basis.moles_per_reaction),
        monte_carlo=check,
    )
    return replace(done, warnings=_once([*warnings, *remarks, *remarks_on_result(done)]))


def _once(sentences: list[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(sentences))


def _refuse_calibrations(run: Run, kind: str) -> None:
    if kind in ("mixing", "heater", "cooling"):
        what = {"mixing": "hot/cold mixing", "heater": "a heater", "cooling": "a cooling log"}[kind]
        raise RowRefusedError(
            RowProblem(run.run, "added", f"{what} gives the cup's constant, no enthalpy",
                       str(run.added or "nothing"), "a reaction, a dissolution, ice or a hot solid",
                       "compute this row with: cupledger calibrate TABLE")
        )  # fmt: skip
    if kind in ("specific heat", "fusion") and run.added_C is None:
        raise RowRefusedError(
            RowProblem(run.run, "added_C", "the temperature of what is added decides the result",
                       "an empty cell", "°C", "fill it in (0 for melting ice)")
        )  # fmt: skip


Function = Callable[[Mapping[str, Any]], Any]


def _molar_function(
    measured: MeasuredRun, moles_per_reaction: float, *, at_25: bool
) -> tuple[Function, float, list[str]]:
    """ΔH(inputs) [kJ/mol], the temperature it refers to, and remarks."""
    from calib.reactions.heat_capacity_change import delta_cp

    def at_t1(x: Mapping[str, Any]) -> Any:
        heat = measured.heat_J(x, measured.C_cup(x))
        return balance.molar_enthalpy_kJ_per_mol(heat, measured.extent_mol(x) * moles_per_reaction)

    equation = measured.prepared.process.equation
    t1 = measured.rise.before_C
    if not at_25:
        return at_t1, t1, []
    change = delta_cp(equation) if equation is not None else None
    if change is None:
        return at_t1, t1, [f"ΔCp is not known, so ΔH stands at {t1:.1f} °C, not at 25 °C"]
    measured.quantities.put_estimate(
        "dCp", change, f"ΔCp:{measured.prepared.process.name}", "change of heat capacity ΔCp"
    )
    return (
        lambda x: balance.enthalpy_at_other_temperature(
            at_t1(x), x["dCp"] / moles_per_reaction, measured.cup_C(x), 25.0
        ),
        25.0,
        [],
    )


def _check(measured: MeasuredRun, linear: Function, at_25: bool) -> MonteCarlo:
    """Monte Carlo with the minimum itself as the extent."""
    inputs = measured.quantities.inputs_used()
    if measured.limiting is None or not measured.limiting.uncertain:
        return monte_carlo(linear, inputs)
    exact = measured.limiting.exact_extent

    def f(x: Mapping[str, Any]) -> Any:
        return linear(x) * measured.extent_mol(x) / exact(x)

    del at_25  # the step to 25 °C is small beside the extent's error: scaled with it
    return monte_carlo(f, inputs)


def _expected(
    measured: MeasuredRun, at_C: float, basis: Basis, remarks: list[str]
) -> Expected | None:
    from calib.run_model.expected import expected_for

    try:
        return on_basis(expected_for(measured.prepared, at_C), basis)
    except ReactionError as error:
        remarks.append(f"no reference value: {error}")
        return None
