"""The page of one cooling log: the laws, what they miss, what they forecast, and the cup's loss."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.pages.curve_laws import further_parameters
from calib.pages.explanations_cooling import COOLING, PARTS
from calib.pages.explanations_curve import law_meaning
from calib.pages.figures import FigureBlock, draw_svg
from calib.pages.rendering import render
from calib.pages.typeset import minus, plus_minus, signed, span
from calib.rounding import decimals_for
from fitting.drawings.cooling import draw_cooling

if TYPE_CHECKING:
    from calib.jobs.cooling_down import CooldownReport
    from fitting.cooling import CoolingLog, LawFit
    from fitting.cooling.cooling_log import Parts

CAUTIONS = (
    "Hot water scalds: 45 °C is enough for a cooling log; carry and pour it with care.",
    "Glass thermometers and sensors break: stir with the stirrer, not with the sensor.",
    "Cups tip over: stand each in a beaker, and keep cables and mains plugs out of the wet.",
)
Row = tuple[str, ...]
_DASH = "–"
_MOST_ROWS = 20


def cooldown_page(
    report: CooldownReport, *, title: str = "", cautions: Sequence[str] = CAUTIONS
) -> str:
    """One HTML page for one cooling log.

    Args:
        report: what `calib.jobs.cooling_down.cool_down` gave.
        title: heading of the page; made from the log's source where empty.
        cautions: sentences for the people at the bench.

    Returns:
        the page as text, to be written with `write_page`.
    """
    log = report.log
    return render(
        "cooldown.html.jinja",
        title=title or f"Cooling of {report.curve.source or 'a logged cup'}",
        subtitle=_subtitle(log),
        answer=_answer(log),
        law_title=log.laws.named(log.law).title,
        decided_by=log.decided_by,
        averaged=not log.forced,
        agreement=report.agreement,
        warnings=report.warnings,
        facts=_facts(report),
        budgets=_budgets(report),
        cooling_figure=_cooling_figure(log),
        close_figures=(_residual_figure(log), _forecast_figure(log)),
        law_headers=_HEADERS,
        law_rows=[_law_row(one, log) for one in log.laws.laws],
        law_used=next(i for i, one in enumerate(log.laws.laws) if one.name == log.law),
        verdicts=[_judgement(one) for one in log.laws.laws],
        law_meanings=[law_meaning(one.name, one.title, one.equation) for one in log.laws.laws],
        meanings=_meanings(report),
        cautions=tuple(cautions),
        origin=_origin(report),
        guesses=report.curve.guesses,
    )


def _subtitle(log: CoolingLog) -> str:
    curve = log.curve
    step = f", step of the reading {curve.resolution_K:g} K" if curve.resolution_K else ""
    return (
        f"{len(curve)} readings over {curve.duration_s / 60:.0f} min, from {log.start_C:.1f} to "
        f"{log.end_C:.1f} °C{step}."
    )


def _answer(log: CoolingLog) -> dict[str, str]:
    """The first lines of the page: the loss where it is known, else the rate."""
    low, high = (60 * edge for edge in log.rate_interval95_per_s)
    rate = f"k = {plus_minus(60 * log.rate_per_s, 60 * log.u_rate_per_s)} 1/min"
    found = {
        "big": f"Cooling rate {rate}",
        "interval": f"{span((low, high)).replace(' to ', ' and ')} 1/min",
        "more": "",
        "settles": f"{plus_minus(log.t_inf_C, log.u_t_inf_K)} °C",
    }
    if log.conductance_W_per_K is not None and log.conductance_interval95_W_per_K is not None:
        G = plus_minus(log.conductance_W_per_K, log.u_conductance_W_per_K)
        both = span(log.conductance_interval95_W_per_K).replace(" to ", " and ")
        found |= {"big": f"Heat loss G = {G} W/K", "interval": f"{both} W/K", "more": rate}
    return found


def _facts(report: CooldownReport) -> list[tuple[str, str, str, str]]:
    """Quantity, value, unit and the name of what explains it."""
    log = report.log
    rate95 = tuple(60 * edge for edge in log.rate_interval95_per_s)
    facts = [
        ("cooling rate", plus_minus(60 * log.rate_per_s, 60 * log.u_rate_per_s), "1/min", "rate"),
        ("its 95 % interval", span(rate95), "1/min", "rate_interval"),
        (
            "temperature the cup tends to", plus_minus(log.t_inf_C, log.u_t_inf_K), "°C",
            "settles",
        ),
        ("its 95 % interval", span(log.t_inf_interval95_C), "°C", "rate_interval"),
        ("mean temperature of the log", minus(f"{log.middle_C:.2f}"), "°C", "middle"),
    ]  # fmt: skip
    if log.conductance_W_per_K is not None:
        G = plus_minus(log.conductance_W_per_K, log.u_conductance_W_per_K)
        facts += [
            ("heat loss", G, "W/K", "loss"),
            ("its 95 % interval", span(log.conductance_interval95_W_per_K), "W/K", "rate_interval"),
        ]
    if report.capacity is not None:
        C = plus_minus(report.capacity.value, report.capacity.u or None)
        facts.append(("heat capacity", C, "J/K", "capacity"))
    titles = {one.name: one.title for one in log.laws.laws}
    facts += [
        (f"chance of more than an everyday share: {titles[name]}", f"{100 * chance:.0f}", "%",
         "chance")
        for name, chance in log.chances
    ]  # fmt: skip
    return facts


def _budgets(report: CooldownReport) -> list[tuple[str, tuple[str, ...], list[tuple[str, ...]]]]:
    """Title, headers and rows of what each uncertainty is made of."""
    rate: Parts = tuple((name, 60 * u) for name, u in report.log.parts)
    tables = [("What the uncertainty of the rate is made of", "u / (1/min)", rate)]
    if report.conductance_parts:
        title = "What the uncertainty of the heat loss is made of"
        tables.append((title, "u / (W/K)", report.conductance_parts))
    return [
        (title, ("source", unit, "share of u² / %", "what it is"), _budget_rows(parts))
        for title, unit, parts in tables
    ]


def _budget_rows(parts: Parts) -> list[tuple[str, ...]]:
    total = sum(u * u for _, u in parts)
    if total <= 0:
        return []
    return [
        (name, f"{u:.{decimals_for(u)}f}", _percent(u * u / total), PARTS.get(name, ""))
        for name, u in sorted(parts, key=lambda part: -part[1])
    ]


def _percent(share: float) -> str:
    return f"{100 * share:.0f}" if share >= 0.005 else "< 1"


def _cooling_figure(log: CoolingLog) -> FigureBlock:
    low, high = log.t_inf_interval95_C
    description = (
        f"Readings against time since the start, from {log.start_C:.2f} to {log.end_C:.2f} °C, "
        f"with the law that is named. The cup tends to {log.t_inf_C:.2f} °C, with 95 % "
        f"probability to between {low:.2f} and {high:.2f} °C."
    )
    ident, title = "figure-cooling", "Readings and the law"
    svg = draw_svg(lambda ax: draw_cooling(ax, log, "cooling"), ident, title, description)
    return FigureBlock(ident, title, description, svg, *_rows(log, forecast=False))


def _residual_figure(log: CoolingLog) -> FigureBlock:
    said = "; ".join(f"{one.name} {1000 * one.residual_rms_K:.1f} mK rms" for one in log.laws.laws)
    description = (
        f"What each law leaves of the averaged readings: {said}. A slow wave means that the law "
        "does not quite hold."
    )
    ident, title = "figure-residuals", "Residuals of every law"
    svg = draw_svg(
        lambda ax: draw_cooling(ax, log, "residuals"), ident, title, description, wide=(7.4, 3.2),
        narrow=(3.7, 3.4),
    )  # fmt: skip
    return FigureBlock(ident, title, description, svg, *_rows(log, forecast=False))


def _forecast_figure(log: CoolingLog) -> FigureBlock:
    known = [one for one in log.laws.laws if math.isfinite(one.forecast_rms_K)]
    said = "; ".join(f"{one.name} {1000 * one.forecast_rms_K:.1f} mK rms" for one in known)
    description = (
        "Each law was fitted to the part before the upright line and then held against the rest: "
        f"{said or 'the log is too short for that'}."
    )
    ident, title = "figure-forecast", "Forecast of the held-back end"
    svg = draw_svg(
        lambda ax: draw_cooling(ax, log, "forecast"), ident, title, description, wide=(7.4, 3.2),
        narrow=(3.7, 3.4),
    )  # fmt: skip
    return FigureBlock(ident, title, description, svg, *_rows(log, forecast=True))


def _rows(
    log: CoolingLog, *, forecast: bool
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Some twenty averaged readings with what each law leaves of them."""
    t, y = log.stretch.t, log.stretch.y
    first = int(np.searchsorted(t, log.held_from_s())) if forecast else 0
    lines = {one.name: log.line_C(one.name, forecast=forecast) for one in log.laws.laws}
    kept = {name: line for name, line in lines.items() if line is not None}
    every = max(1, (t.size - first) // _MOST_ROWS)
    rows = tuple(
        (
            f"{t[i] / 60:.1f}",
            minus(f"{y[i]:.3f}"),
            *(signed(1000 * float(y[i] - line[i])) for line in kept.values()),
        )
        for i in range(first, t.size, every)
    )
    return ("time / min", "reading / °C", *(f"− {name} / mK" for name in kept)), rows


_HEADERS = (
    "law", "ΔAICc", "forecast / mK", "rms / mK", "lag-1", "k / (1/min)", "T∞ / °C",
    "further parameters", "may be used",
)  # fmt: skip


def _law_row(one: LawFit, log: CoolingLog) -> tuple[str, ...]:
    forecast = one.forecast_rms_K
    return (
        one.title,
        f"{one.delta_aicc:.1f}",
        f"{1000 * forecast:.1f}" if math.isfinite(forecast) else _DASH,
        f"{1000 * one.residual_rms_K:.1f}",
        minus(f"{one.lag1_autocorrelation:.2f}"),
        plus_minus(60 * one.rate_per_s, 60 * one.u_rate_per_s),
        plus_minus(one.t_inf_C, one.u_t_inf_K),
        further_parameters(one),
        "yes" if one.admissible else "no",
    )


def _judgement(one: LawFit) -> dict[str, str]:
    verdict = "may be used" if one.admissible else "not to be used here"
    return {"title": one.title, "verdict": verdict, "why": one.why}


def _meanings(report: CooldownReport) -> list[tuple[str, Any]]:
    log = report.log
    values = {
        "rate": f"{plus_minus(60 * log.rate_per_s, 60 * log.u_rate_per_s)} 1/min",
        "settles": f"{plus_minus(log.t_inf_C, log.u_t_inf_K)} °C",
        "middle": minus(f"{log.middle_C:.2f} °C"),
    }
    left_out = set() if log.chances else {"chance"}
    if log.conductance_W_per_K is None:
        left_out |= {"loss", "capacity"}
    else:
        G = plus_minus(log.conductance_W_per_K, log.u_conductance_W_per_K)
        values["loss"] = f"{G} W/K"
    return [
        (name, one.worth(values.get(name, "")))
        for name, one in COOLING.items()
        if name not in left_out
    ]


def _origin(report: CooldownReport) -> list[tuple[str, str]]:
    curve, log = report.curve, report.log
    rows = [
        ("source", curve.source or "arrays"),
        ("readings", f"{len(log.curve)} of {len(curve)} in use"),
        ("clock", f"{log.curve.time_s[0]:g} to {log.curve.time_s[-1]:g} s"),
        ("room noted", _DASH if log.room_C is None else minus(f"{log.room_C:g} °C")),
    ]
    if report.capacity is not None:
        rows.append(("heat capacity", report.capacity.source))
    if curve.started is not None:
        rows.append(("started", curve.started.isoformat(sep=" ")))
    if curve.digest:
        rows.append(("SHA-256 of the file", curve.digest))
    return rows
