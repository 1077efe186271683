"""The ways to a constant: what one run of each kind says.

mixing      C_app = [C_2 (T_2 − T_1) − C_mix rise] / rise
reaction    C_app = [−ξ ΔH(T_1) + C_2 (T_2 − T_1) − C_mix rise] / rise
heater      C_app = (V − I R) I t / rise − C_1
cooling     no constant; the loss conductance only
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from calib import balance
from calib.errors import ReactionError, RowProblem
from calib.run_model.refusal import RowRefusedError
from calib.uncertainty import Input, Propagated, propagate

if TYPE_CHECKING:
    from calib.estimate import Estimate
    from calib.run_model.measured import MeasuredRun
    from calib.run_model.prepared import PreparedRun
    from calib.run_model.quantities import Quantities

__all__ = ["KNOWN_WAYS", "WAY_TITLES", "Way", "constant_of_run", "way_of"]

Way = Literal["mixing", "reaction", "heater", "cooling"]
KNOWN_WAYS: tuple[Way, ...] = ("mixing", "reaction", "heater", "cooling")
WAY_TITLES = {
    "mixing": "hot/cold mixing",
    "reaction": "known reaction",
    "heater": "electrical heater",
    "cooling": "cooling log",
}
U_UNMATCHED_SHARE = 0.03
"""u of a reference enthalpy whose concentration dependence is not known, as a share of it; 2 mol/L
neutralizations differ from infinite dilution by 5 % (reference table of this project)."""
U_LEADS_OHM = 0.03
"""u of the leads' resistance between meter and heater, where none is given (common practice)."""
U_POWER_SHARE = 0.005
"""u of the mean power from its drift during heating, as a share (common practice)."""


@dataclass(frozen=True, slots=True, eq=False)
class KnownHeat:
    """A heat that is known by itself: a function of the inputs [J], its remarks."""

    function: Callable[[Mapping[str, Any]], Any]
    warnings: tuple[str, ...] = ()


def way_of(prepared: PreparedRun) -> Way:
    """Which way to a constant a run is. Raises RowRefusedError for a run that is none."""
    kind = prepared.process.kind
    if kind in ("mixing", "heater", "cooling"):
        return kind
    if kind == "reaction":
        return "reaction"
    raise RowRefusedError(
        RowProblem(
            prepared.run.run, "added", f"a run of {prepared.process.name} does not tell a cup's "
            "constant", str(prepared.run.added),
            "hot and cold water, a reaction of known enthalpy, or a heater",
            "take the row out, or give the reaction",
        )
    )  # fmt: skip


def constant_of_run(measured: MeasuredRun, way: Way) -> tuple[Propagated, tuple[str, ...]]:
    """The constant that one run gives [J/K], with its budget, and remarks on the known heat.

    Raises RowRefusedError where the heat of the reaction is not known.
    """
    q = measured.quantities
    if way == "mixing":
        heat = KnownHeat(lambda x: 0.0)
    elif way == "heater":
        heat = _heater(measured, q)
    else:
        heat = _reaction(measured, q)
    f = heat.function
    constant = propagate(lambda x: measured.constant_J_per_K(x, f(x)), q.inputs_used())
    return constant, heat.warnings


def _heater(measured: MeasuredRun, q: Quantities) -> KnownHeat:
    run, instruments = measured.prepared.run, measured.prepared.instruments
    for column, label in (
        ("heater_V", "heater's voltage"),
        ("heater_A", "heater's current"),
        ("heater_s", "duration of heating"),
    ):
        q.put_reading(column, instruments.u(column, getattr(run, column), run), label)
    lead = "resistance of the leads beyond the voltmeter"
    q.put(Input("lead_ohm", 0.0, U_LEADS_OHM, key="heater leads", source=lead))
    drift = "variation of the power while heating"
    q.put(Input("power", 1.0, U_POWER_SHARE, source=drift))

    def heat(x: Mapping[str, Any]) -> Any:
        joule = balance.heater_heat_J(
            q.of(x, "heater_V"), q.of(x, "heater_A"), q.of(x, "heater_s"), x["lead_ohm"]
        )
        return joule * x["power"]

    return KnownHeat(heat)


def _reaction(measured: MeasuredRun, q: Quantities) -> KnownHeat:
    enthalpy, warnings = reference_at_run(measured)
    process = measured.prepared.process
    key = f"reference enthalpy:{process.name}"
    q.put_estimate("dH_known", enthalpy, key, f"enthalpy of the known reaction ({enthalpy.kind})")
    return KnownHeat(lambda x: -1000.0 * measured.extent_mol(x) * x["dH_known"], warnings)


def reference_at_run(measured: MeasuredRun) -> tuple[Estimate, tuple[str, ...]]:
    """Enthalpy of the run's reaction at its own concentrations and T_1 [kJ/mol], with remarks."""
    from calib.estimate import Estimate
    from calib.run_model.expected import expected_for

    process, run = measured.prepared.process, measured.prepared.run
    try:
        expected = expected_for(measured.prepared, measured.rise.before_C)
    except ReactionError as error:
        raise RowRefusedError(
            RowProblem(run.run, "reaction", f"its enthalpy is not known: {error}", process.name,
                       "a reaction of known enthalpy", "calibrate with hot and cold water instead")
        ) from None  # fmt: skip
    if expected.at_run is not None:
        return expected.at_run, ()
    plain = expected.at_infinite_dilution
    u = (plain.u**2 + (U_UNMATCHED_SHARE * plain.value) ** 2) ** 0.5
    warning = (
        f"the known value is that at infinite dilution, taken with {100 * U_UNMATCHED_SHARE:g} % "
        f"for the concentration, because at the run's own it cannot be had: {expected.why}"
    )
    return Estimate(plain.value, u, plain.unit, plain.source, "assumed"), (warning,)
