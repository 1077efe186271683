"""Plan a calibration with the constant to be expected: a registered cup's, its kind's, a guess."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError

if TYPE_CHECKING:
    from calib.planning.calibration_session import SessionRequest
    from calib.runs.instruments import Instruments

__all__ = ["plan_calibration_session"]

GUESS = "15 J/K assumed: two foam cups take 10 to 30 J/K (common practice, no source)"


def plan_calibration_session(
    request: SessionRequest,
    *,
    apparatus: str | None = None,
    registry: str | None = None,
    readings: Path | None = None,
    step_K: float | None = None,
    balance_step_g: float | None = None,
) -> dict[str, Any]:
    """The object of ``constants plan --json``.

    With ``apparatus`` the constant expected is the cup's own in force, else its kind's pooled
    value, else the request's. ``readings`` is a ``readings.toml`` that names the instruments; the
    published defaults are taken without it. ``step_K`` and ``balance_step_g`` are what thermometer
    and balance move by, in place of what these say.

    Raises:
        InputError, RegistryError, TableError: it cannot be planned, and why.
    """
    from calib.planning.calibration_session import plan_session
    from calib.runs.instruments import Instruments

    if readings is not None and not readings.is_file():
        raise InputError(f"{readings}: there is no such file; expected a readings.toml")
    if readings is not None and readings.name != "readings.toml":
        raise InputError(f"{readings}: the file of instruments must be called readings.toml")
    tools = Instruments.load(readings) if readings is not None else Instruments.default()
    tools = _with_steps(tools, {"temperature": step_K, "mass": balance_step_g})
    where = "given"
    if apparatus is not None:
        value, where, kind = _expected(apparatus, registry)
        request = replace(request, apparatus=apparatus, kind=kind)
        if value is not None:
            request = replace(request, constant_J_per_K=value)
    facts = plan_session(request, tools).to_json()
    facts["expected_from"] = where
    facts["instruments"] = str(readings) if readings is not None else "published defaults"
    return facts


def _with_steps(tools: Instruments, steps: Mapping[str, float | None]) -> Instruments:
    from calib.runs.readings_file import Setting

    sections = dict(tools.settings.sections)
    for quantity, step in steps.items():
        if step is None:
            continue
        if not 1e-6 <= step <= 10.0:
            raise InputError(f"a display step of {step:g} for {quantity}; expected 1e-6 to 10")
        sections[quantity] = replace(sections.get(quantity, Setting()), step=step)
    return replace(tools, settings=replace(tools.settings, sections=sections))


def _expected(apparatus: str, registry: str | None) -> tuple[float | None, str, str]:
    """The constant to expect [J/K], where it is from, and the cup's kind in words."""
    from calib.registry import open_registry
    from calib.registry.errors import NoConstant

    with open_registry(registry, create=False) as store:
        cup = store.apparatus(apparatus)
        try:
            own = store.constant_for(apparatus)
            return own.constant_J_per_K, f"constant {own.id} of {apparatus}", cup.kind
        except NoConstant:
            pass
        try:
            pooled = store.kind_pooled(cup.kind)
        except NoConstant:
            return None, GUESS, cup.kind
    return pooled.constant_J_per_K, pooled.why, cup.kind
