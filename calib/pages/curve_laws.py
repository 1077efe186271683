"""Section of a curve's page on cooling laws: which one the after period asks for."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from calib.pages.explanations import Meaning
from calib.pages.explanations_curve import LATE_HEAT, law_meaning
from calib.pages.typeset import plus_minus
from fitting.cooling.result import Meant

if TYPE_CHECKING:
    from fitting.cooling.result import LawComparison, LawFit, Parameter

_DASH = "–"
_HEADERS = ("law", "ΔAICc", "forecast rms / mK", "k / (1/min)", "T∞ / °C", "further parameters")
_COMMON = 3  # start, rate and end are parameters of every law


def law_blocks(laws: LawComparison | None) -> dict[str, Any]:
    """What the template needs for the section on cooling laws; empty without a comparison."""
    if laws is None:
        return {"law_rows": (), "law_headers": _HEADERS, "law_used": None, "law_verdict": "",
                "law_stretch": "", "law_meanings": ()}  # fmt: skip
    return {
        "law_rows": [_row(one) for one in laws.laws],
        "law_headers": _HEADERS,
        "law_used": next((i for i, one in enumerate(laws.laws) if one.name == laws.chosen), None),
        "law_verdict": f"{laws.best.title}: {laws.why}",
        "law_stretch": _stretch(laws),
        "law_meanings": [_meaning(one) for one in laws.laws],
    }


def _meaning(one: LawFit) -> Meaning:
    """What a law says; a fading term is called a wall or late heat as its sign has it."""
    if one.meant == Meant.LATE_HEAT:
        return replace(LATE_HEAT, name=one.title)
    return law_meaning(one.name, one.title, one.equation)


def _stretch(laws: LawComparison) -> str:
    if not (math.isfinite(laws.from_s) and math.isfinite(laws.to_s)):
        return ""
    return f"Fitted from {laws.from_s:.0f} to {laws.to_s:.0f} s on the curve's clock."


def shown_parameters(one: LawFit) -> list[Parameter]:
    """What a law has beside start, rate and end, a drift in K/h as people read it."""
    return [
        (name, 3600 * value, 3600 * u, "K/h") if unit == "K/s" else (name, value, u, unit)
        for name, value, u, unit in one.parameters[_COMMON:]
    ]


def further_parameters(one: LawFit) -> str:
    """What a law has beside start, rate and end, each with its uncertainty; a dash for nothing."""
    each = (
        f"{name} {plus_minus(value, u)}{f' {unit}' if unit else ''}"
        for name, value, u, unit in shown_parameters(one)
    )
    return "; ".join(each) or _DASH


def _row(one: LawFit) -> tuple[str, ...]:
    forecast = one.forecast_rms_K
    return (
        one.title,
        f"{one.delta_aicc:.1f}",
        f"{1000 * forecast:.1f}" if math.isfinite(forecast) else _DASH,
        plus_minus(60 * one.rate_per_s, 60 * one.u_rate_per_s),
        plus_minus(one.t_inf_C, one.u_t_inf_K),
        further_parameters(one),
    )
