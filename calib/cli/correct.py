"""``cupledger correct``: one logged curve, corrected for heat loss."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli.compare_view import show_comparison
from calib.cli.options import (
    JsonFlag,
    Overwrite,
    PageFile,
    RegistryPlace,
    RunName,
    TemperatureColumn,
    TemperatureUnit,
    TimeColumn,
    TimeUnit,
)
from calib.cli.output import Output
from calib.cli.problems import Done, exit_code
from calib.errors import InputError
from calib.rounding import figures, interval, with_u

if TYPE_CHECKING:
    from calib.jobs.correcting import CurveReport
    from fitting.corrections import Corrected, Correction


def correct(
    curve: Annotated[Path, typer.Argument(metavar="CURVE", help="A logger's text file.")],
    mixed_at: Annotated[
        float | None,
        typer.Option("--mixed-at", metavar="S", help="Moment of mixing on the curve's clock, s."),
    ] = None,
    u_mixed_at: Annotated[
        float,
        typer.Option(
            "--u-mixed-at",
            metavar="S",
            help="Its standard uncertainty, s; without it the moment is taken as exact.",
        ),
    ] = 0.0,
    method: Annotated[
        str | None, typer.Option("--method", metavar="NAME", help="Use this correction.")
    ] = None,
    compare: Annotated[
        bool, typer.Option("--compare", help="Show every correction side by side.")
    ] = False,
    room: Annotated[
        float | None, typer.Option("--room", metavar="C", help="Room temperature, °C.")
    ] = None,
    capacity_ratio: Annotated[
        float,
        typer.Option(
            "--capacity-ratio",
            metavar="R",
            help="Heat capacity of cup and content before mixing over that after it;"
            " 0.5 where a second, equal portion was poured in. 1: a solid was added.",
        ),
    ] = 1.0,
    sensor_lag: Annotated[
        float | None,
        typer.Option("--sensor-lag", metavar="S", help="The sensor's time constant, s."),
    ] = None,
    u_sensor_lag: Annotated[
        float | None,
        typer.Option("--u-sensor-lag", metavar="S", help="Its standard uncertainty; default 10 %."),
    ] = None,
    heat_capacity: Annotated[
        float | None,
        typer.Option(
            "--heat-capacity", metavar="C", help="Of content and cup, J/K: gives joules and watts."
        ),
    ] = None,
    u_heat_capacity: Annotated[
        float | None,
        typer.Option("--u-heat-capacity", metavar="C", help="Its standard uncertainty, J/K."),
    ] = None,
    apparatus: Annotated[
        str | None,
        typer.Option(
            "--apparatus",
            metavar="ID",
            help="Registered cup: its heat loss enters as what is known of the cooling rate;"
            " needs --heat-capacity.",
        ),
    ] = None,
    vessel: Annotated[
        str | None,
        typer.Option(
            "--vessel",
            metavar="KIND",
            help="cup, flask, or what stands free: beaker, metal, paper: what is known of its wall"
            " and loss. Default: a registered kind's,"
            " else a cup unless the curve shows a flask's heavy wall.",
        ),
    ] = None,
    lid: Annotated[
        str | None,
        typer.Option(
            "--lid",
            metavar="KIND",
            help="closed, hole (a lid with a hole) or open (none): how much vapour leaves."
            " Default: a registered kind's, else not told.",
        ),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            "--leave-out",
            metavar="FROM:TO",
            help="Seconds on the curve's clock whose readings are not used; repeatable. Isolated"
            " wrong readings are set aside without it.",
        ),
    ] = None,
    registry: RegistryPlace = None,
    page: PageFile = None,
    overwrite: Overwrite = False,
    time_column: TimeColumn = None,
    temperature_column: TemperatureColumn = None,
    time_unit: TimeUnit = None,
    unit: TemperatureUnit = None,
    run: RunName = None,
    as_json: JsonFlag = False,
) -> None:
    """Correct one logged curve for heat loss.

    The rise sought is what a perfectly insulated cup would have shown.
    """
    from calib.jobs.correcting import correct_file
    from calib.outputs import CURVE_PAGE, outputs_beside
    from fitting.cup.circumstances import Circumstances

    out, done = Output(as_json=as_json, file=curve), Done()
    outputs = outputs_beside(registry, overwrite=overwrite, curve=curve)
    outputs.claim(CURVE_PAGE, page, "--page")
    spans = tuple(_span(text) for text in leave_out or ())
    report = correct_file(
        curve,
        reading={
            "time_column": time_column,
            "temperature_column": temperature_column,
            "time_unit": time_unit,
            "temperature_unit": unit,
            "run": run,
        },
        known=Circumstances(
            mixed_at_s=mixed_at,
            u_mixed_at_s=u_mixed_at,
            capacity_ratio=capacity_ratio,
            room_C=room,
            vessel=vessel,
            lid=lid,
        ),
        method=method,
        compare=compare,
        release={
            "sensor_lag_s": sensor_lag,
            "u_sensor_lag_s": u_sensor_lag,
            "heat_capacity_J_per_K": heat_capacity,
            "u_heat_capacity_J_per_K": u_heat_capacity,
        },
        progress=out.progress,
        apparatus=apparatus,
        registry=registry,
        leave_out=spans,
    )
    if page is not None:
        from calib.jobs.pages import write_curve_page

        done.do(lambda: f"page written: {write_curve_page(page, report, outputs=outputs)}")
    _show(out, report, every_method=compare)
    done.show(out)
    out.dump({**report.to_json(), "errors": done.errors})
    raise typer.Exit(exit_code(done.errors, anything_done=True))


def _span(text: str) -> tuple[float, float]:
    """FROM:TO as two numbers of seconds."""
    low, mark, high = text.partition(":")
    try:
        if not mark:
            raise ValueError
        return float(low), float(high)
    except ValueError:
        raise InputError(
            f"--leave-out is '{text}'; expected FROM:TO in seconds on the curve's clock, such as "
            "215:220"
        ) from None


def _vessel(corrected: Corrected) -> str:
    found = corrected.chosen.vessel
    return f"; the vessel taken for a {found}" if found else ""


def _show(out: Output, report: CurveReport, *, every_method: bool) -> None:
    corrected = report.corrected
    chosen = corrected.chosen
    for guess in report.curve.guesses:
        out.reading(guess)
    for warning in corrected.warnings:
        out.warn(warning)
    rows = [
        ["moment of mixing", *_moment(corrected)],
        [
            "before mixing",
            f"{with_u(chosen.before_C, chosen.u_before_K)} °C",
            f"95 %: {interval(chosen.before_interval95_C)} °C; the fore period carried to that"
            " moment: noise, steps, drift and wander of its readings",
        ],
        [
            "corrected rise",
            f"{with_u(chosen.rise_K, chosen.u_rise_K)} K",
            f"95 %: {interval(chosen.interval95_K)} K; method {chosen.method}{_vessel(corrected)}",
        ],
        [
            "extreme reading",
            f"{with_u(corrected.extreme_C, corrected.u_extreme_K)} °C",
            f"{corrected.extreme_at_s - corrected.mixed_at_s:.0f} s after mixing, a change of"
            f" {_raw_change(corrected)} K; noise and step of one reading, loss not put back",
        ],
    ]
    if chosen.cooling_rate_per_s is not None:
        rate = with_u(chosen.cooling_rate_per_s * 60, (chosen.u_cooling_rate_per_s or 0) * 60)
        rows.append(
            ["cooling rate k", f"{rate} 1/min", "of the difference to the temperature tended to"]
        )
    rows += _ends(report)
    out.table(["what", "value", "how"], rows, title=report.curve.source)
    out.say(f"Why this method: {corrected.rule}")
    least = 0.02 * chosen.u_rise_K  # what adds less than 0.04 % to u is not named
    made_of = ", ".join(f"{name} {figures(u, 2)}" for name, u in chosen.parts if u > least)
    out.say(f"± is one standard uncertainty (k = 1), made of (K): {made_of}")
    _show_steps(out, corrected)
    if report.prior is not None:
        out.say(f"Registered heat loss: {report.prior.verdict}")
    _show_release(out, report)
    if every_method:
        _show_methods(out, report)
    if report.comparison is not None:
        show_comparison(out, report.comparison)


def _show_steps(out: Output, corrected: Corrected) -> None:
    """The way from the textbook integral to the average, cause by cause."""
    chosen = corrected.chosen
    integral = next((m for m in corrected.methods if m.method == "integral"), None)
    if not chosen.steps or integral is None:
        return
    out.table(
        ["from the textbook integral to this rise", "mK"],
        [
            ["integral of Newton's law, K", f"{integral.rise_K:.4f}"],
            *[[cause, with_u(1000 * moved, 1000 * u)] for cause, moved, u in chosen.steps],
            ["average over models, K", f"{chosen.rise_K:.4f}"],
        ],
    )


def _show_by_hand(out: Output, methods: tuple[Correction, ...]) -> None:
    """What the integral and the equal areas were made of, to do them again on paper."""
    from fitting.corrections import METHODS

    for m in methods:
        if m.worked is not None:
            numbers = ", ".join(f"{name} {text} {unit}" for name, text, unit in m.worked.printed())
            out.say(f"By hand, {m.method}: {METHODS[m.method].equation} with {numbers}")
            out.say("  (trapezoids over the readings between t_m and t_f, T_i and T_f at its ends)")
    for m in methods:
        if m.balance is not None:
            since = m.balance.at_s - m.balance.mixed_at_s
            out.say(
                f"Equal areas: {since:.1f} s after the mixing, {m.balance.at_s:.1f} s on the clock"
            )
    for m in methods:
        if m.method in METHODS:
            out.say(f"{m.method}: {METHODS[m.method].equation}")


def _moment(corrected: Corrected) -> tuple[str, str]:
    at, u = corrected.mixed_at_s, corrected.u_mixed_at_s
    if not corrected.mixing_given:
        return f"{with_u(at, max(u, 0.1))} s", "found from the curve: spread of likely moments"
    return f"{at:.1f} s", f"as given, ± {figures(u, 2)} s" if u > 0 else "as given, taken as exact"


def _raw_change(corrected: Corrected) -> str:
    change = corrected.extreme_C - corrected.chosen.before_C
    return with_u(change, math.hypot(corrected.u_extreme_K, corrected.chosen.u_before_K or 0.0))


def _ends(report: CurveReport) -> list[list[str]]:
    """Where the cup tends to, and when the change was over."""
    chosen, rows, when = report.corrected.chosen, [], report.settled
    if chosen.t_inf_C is not None:
        rows.append(
            [
                "tends to",
                f"{with_u(chosen.t_inf_C, chosen.u_t_inf_K)} °C",
                f"95 %: {interval(chosen.t_inf_interval95_C)} °C; room and stirrer, from both"
                " drifts, in the room as it was at the mixing",
            ]
        )
    if when is not None:
        low, high = when.interval95_s
        until = "the end of the log or later" if high is None else f"{high:.0f} s"
        rows.append(
            [
                "settled after",
                "not told" if when.u_s is None else f"{with_u(when.after_s, when.u_s)} s",
                f"95 %: {low:.0f} s to {until} from mixing; 99 % of the change is shown: noise,"
                " smoothing, the rise's own u, a slow wall",
            ]
        )
    return rows


def _show_release(out: Output, report: CurveReport) -> None:
    release = report.release
    if release is None:
        out.say(f"Heat release: not told, since {report.release_refused}")
        return
    out.say(f"Heat release: {release.verdict}")
    if release.total_J is None:
        out.say(
            f"  heat: {with_u(release.total_K, release.u_total_K)} J for each J/K of content and"
            " cup, both portions from one temperature; --heat-capacity gives joules and watts"
        )
    else:
        out.say(
            f"  heat: {with_u(release.total_J, release.u_total_J)} J, with"
            f" {with_u(release.heat_capacity_J_per_K, release.u_heat_capacity_J_per_K)} J/K,"
            " both portions from one temperature"
        )
    for note in release.notes:
        out.say(f"  {note}")


def _rate(method: Correction) -> str:
    k, u = method.cooling_rate_per_s, method.u_cooling_rate_per_s
    return "–" if k is None else with_u(60 * k, None if u is None else 60 * u)


def _show_methods(out: Output, report: CurveReport) -> None:
    out.table(
        ["method", "rise K", "k 1/min", "rms K", "lag-1", "admissible", "why"],
        [
            [
                m.method,
                with_u(m.rise_K, m.u_rise_K),
                _rate(m),
                figures(m.residual_rms_K, 2),
                figures(m.lag1_autocorrelation, 2),
                "yes" if m.admissible else "no",
                m.why,
            ]
            for m in report.corrected.methods
        ],
        title="Every correction",
    )
    _show_by_hand(out, report.corrected.methods)
    out.say("rms and lag-1 describe the residuals of the after period; they carry no ±")
    out.say()
