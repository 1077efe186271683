"""Plan a run with the constant of a registered cup, of a given one, or an assumed one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError

if TYPE_CHECKING:
    from calib.enthalpies.sources import AppliedConstant
    from calib.planning.plan import Plan, PlanRequest
    from calib.run_model.prepared import PreparedRun
    from calib.runs.model import Run


def plan_run(
    request: PlanRequest,
    *,
    apparatus: str | None = None,
    on: date | None = None,
    given: tuple[float, float] | None = None,
    registry: str | None = None,
    readings: Path | None = None,
) -> dict[str, Any]:
    """The object of ``plan --json``.

    ``apparatus`` takes the constant in force on a day (today by default) from the registry;
    ``given`` is a constant and its standard uncertainty [J/K]. ``readings`` is a file
    ``readings.toml`` that names the instruments. Without any a foam cup is assumed.

    Raises:
        InputError, ReactionError, SubstanceError, RegistryError: it cannot be planned, and why.
    """
    from calib.planning.report import plan_json

    return plan_json(
        make_plan_from(
            request, apparatus=apparatus, on=on, given=given, registry=registry, readings=readings
        )
    )


def make_plan_from(
    request: PlanRequest,
    *,
    apparatus: str | None = None,
    on: date | None = None,
    given: tuple[float, float] | None = None,
    registry: str | None = None,
    readings: Path | None = None,
) -> Plan:
    """The plan itself, for notebooks; arguments as in :func:`plan_run`."""
    from calib.planning.plan import make_plan
    from calib.runs.instruments import Instruments

    if readings is not None and not readings.exists():
        raise InputError(
            f"{readings}: there is no such file; expected a readings.toml: check the name"
        )
    tools = Instruments.load(readings) if readings is not None else None
    if apparatus is not None and given is not None:
        raise InputError("a cup and a constant by hand exclude each other; give one of them")
    if apparatus is not None:
        return _with_registry(request, apparatus, on or date.today(), registry, tools)
    if given is None:
        return make_plan(request, instruments=tools)
    value, u = given
    if not (0.0 <= value <= 1e4 and 0.0 <= u <= 1e4):
        raise InputError(f"a constant of {value:g} ± {u:g} J/K: expected 0 to 10000 for both")
    return make_plan(request, _given(value, u), instruments=tools)


def _given(value: float, u: float) -> Any:
    from calib.enthalpies.sources import AppliedConstant
    from calib.planning.plan import UNKNOWN_CUP

    def constant_for(run: Run, prepared: PreparedRun) -> AppliedConstant:
        del run, prepared
        return AppliedConstant("a cup with a constant given by hand", value, u, None,
                               "constant:given", UNKNOWN_CUP.loss,
                               source="given by hand; its heat loss is assumed")  # fmt: skip

    return constant_for


def _with_registry(
    request: PlanRequest, apparatus: str, on: date, registry: str | None, tools: Any
) -> Plan:
    from dataclasses import replace

    from calib.enthalpies.sources import FromRegistry, apply_constant
    from calib.planning.plan import make_plan
    from calib.registry import open_registry

    with open_registry(registry) as store:
        kind = store.apparatus(apparatus).kind
        source = FromRegistry(store)

        def constant_for(run: Run, prepared: PreparedRun) -> AppliedConstant:
            return apply_constant(source, replace(run, apparatus=apparatus, date=on), prepared)

        return make_plan(request, constant_for, instruments=tools, kind=kind)


def day_of(text: str | None) -> date | None:
    """A day as ISO 8601 writes it. Raises InputError."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"{text!r} is no date; expected one such as 2026-11-25") from None


def strengths(items: Sequence[str]) -> dict[str, float]:
    """``HCl=12.0`` as formula and mol/L. Raises InputError."""
    from calib.errors import SubstanceError
    from calib.substances.names import resolve

    found: dict[str, float] = {}
    for item in items:
        name, _, number = item.partition("=")
        try:
            value = float(number.replace(",", "."))
            formula = resolve(name.strip(), dissolved=True).formula
        except (ValueError, SubstanceError):
            raise InputError(
                f"--concentrated {item!r}: expected a formula and mol/L, such as HCl=12.0"
            ) from None
        if not 0.0 < value <= 60.0:
            raise InputError(f"--concentrated {item!r}: expected above 0 to 60 mol/L")
        found[formula] = value
    return found
