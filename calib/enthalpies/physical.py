"""Runs in which nothing new is formed: a metal's specific heat, the heat of fusion of ice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib import balance
from calib.errors import RowProblem
from calib.estimate import Estimate
from calib.run_model.measured import MeasuredRun
from calib.run_model.refusal import RowRefusedError
from calib.substances.formula import molar_mass
from calib.substances.water import FUSION, ICE_CP
from calib.uncertainty import Propagated, propagate

__all__ = ["PhysicalResult", "physical_result"]


@dataclass(frozen=True, slots=True, eq=False)
class PhysicalResult:
    """A physical quantity in its own unit. ``per_mole`` is the same per mole, in ``unit_molar``."""

    quantity: str
    result: Propagated
    unit: str
    per_mole: float
    u_per_mole: float
    unit_molar: str
    reference: float | None
    reference_source: str
    per: str
    warnings: tuple[str, ...] = ()


def physical_result(measured: MeasuredRun) -> PhysicalResult:
    """The quantity that a physical process gives. Raises RowRefusedError."""
    kind = measured.prepared.process.kind
    if kind == "specific heat":
        return _specific_heat(measured)
    if kind == "fusion":
        return _fusion(measured)
    run = measured.prepared.run
    raise RowRefusedError(
        RowProblem(run.run, "added", f"no quantity is computed for {kind}", str(run.added),
                   "a reaction, a dissolution, a dilution, a hot solid or ice")
    )  # fmt: skip


def _specific_heat(measured: MeasuredRun) -> PhysicalResult:
    from calib.errors import SubstanceError
    from calib.substances.solids import solid_cp

    added = measured.prepared.added
    assert added is not None
    _refuse_no_flow(measured)

    def f(x: Mapping[str, Any]) -> Any:
        cup, rise = measured.cup_C(x), measured.rise_K(x)
        return balance.specific_heat_from_mixing(
            cup + rise, cup, measured.added_C(x), measured.C_1(x), measured.C_cup(x), added.mass(x)
        )

    result = propagate(f, measured.quantities.inputs_used())
    formula = added.species.formula
    M = molar_mass(formula).value
    try:
        known: Estimate | None = solid_cp(formula)
    except SubstanceError:
        known = None
    return PhysicalResult(
        f"specific heat of {formula}", result, "J/(g K)", result.value * M, result.u * M,
        "J/(mol K)", known.value if known else None, known.source if known else "",
        f"per gram of {formula}",
    )  # fmt: skip


def _refuse_no_flow(measured: MeasuredRun) -> None:
    """Heat flows from the warmer to the colder: T_f must lie between T_1 and T_2.

    Without ``in_cup_C`` the cup would be taken as warm as the hot solid, and nothing would flow.
    """
    run, rise = measured.prepared.run, measured.rise
    q = measured.quantities
    t1, t2 = q.value("cup_C"), q.value("added_C")
    tf = t1 + rise.rise_K
    if not rise.before_given and not rise.from_curve:
        raise RowRefusedError(
            RowProblem(run.run, "in_cup_C", "a specific heat needs the temperature in the cup "
                       "before the hot solid went in", "an empty cell", "°C", "fill in in_cup_C")
        )  # fmt: skip
    if (tf - t1) * (t2 - tf) > 0.0:
        return
    column = "curve" if rise.from_curve else "extreme_C"
    raise RowRefusedError(
        RowProblem(run.run, column, "the temperature after mixing does not lie between those of "
                   "the cup and of what was added, so no heat can have flown between them",
                   f"{t1:.4g} °C in the cup, {t2:.4g} °C added, {tf:.4g} °C after",
                   "a temperature between the two", "check the three temperatures of the row")
    )  # fmt: skip


def _fusion(measured: MeasuredRun) -> PhysicalResult:
    from calib.substances.water import U_CP_J_PER_GK, enthalpy_J_per_g

    added = measured.prepared.added
    assert added is not None
    q, final = measured.quantities, measured.rise.final_C
    q.put_estimate("c_ice", ICE_CP, "heat capacity:H2O(s)", "specific heat of ice")
    mean = float(enthalpy_J_per_g(max(final, 0.01)) - enthalpy_J_per_g(0.0)) / max(final, 0.01)
    melt = Estimate(mean, U_CP_J_PER_GK, "J/(g K)", "IAPWS-95")
    q.put_estimate("c_melt", melt, "heat capacity:H2O", "specific heat of the melt")

    def f(x: Mapping[str, Any]) -> Any:
        cup, rise = measured.cup_C(x), measured.rise_K(x)
        return balance.heat_of_fusion_J_per_g(
            cup + rise, cup, measured.added_C(x), 0.0, measured.C_1(x), measured.C_cup(x),
            added.mass(x), x["c_ice"], x["c_melt"],
        )  # fmt: skip

    result = propagate(f, q.inputs_used())
    M = molar_mass("H2O").value
    warnings = ("the ice was taken as dry; water that clings to it lowers the result",)
    return PhysicalResult(
        "heat of fusion of ice", result, "J/g", result.value * M / 1000.0, result.u * M / 1000.0,
        "kJ/mol", FUSION.value, f"handbook value {FUSION.value:g} J/g, 6.01 kJ/mol (from memory)",
        "per gram of ice",
        warnings,
    )  # fmt: skip
