"""``cupledger correct``: one logged curve, corrected for heat loss."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli.compare_view import show_comparison
from calib.cli.options import JsonFlag, PageFile, RegistryPlace
from calib.cli.output import Output
from calib.rounding import figures, interval, with_u

if TYPE_CHECKING:
    from calib.jobs.correcting import CurveReport


def correct(
    curve: Annotated[Path, typer.Argument(metavar="CURVE", help="A logger's text file.")],
    mixed_at: Annotated[
        float | None,
        typer.Option("--mixed-at", metavar="S", help="Moment of mixing on the curve's clock, s."),
    ] = None,
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
    registry: RegistryPlace = None,
    page: PageFile = None,
    time_column: Annotated[
        str | None, typer.Option("--time-column", metavar="NAME", help="Column with the time.")
    ] = None,
    temperature_column: Annotated[
        str | None,
        typer.Option("--temperature-column", metavar="NAME", help="Column with the temperature."),
    ] = None,
    time_unit: Annotated[
        str | None, typer.Option("--time-unit", metavar="UNIT", help="s, min or h.")
    ] = None,
    unit: Annotated[
        str | None, typer.Option("--unit", metavar="UNIT", help="Of temperature: C, F or K.")
    ] = None,
    run: Annotated[
        str | None, typer.Option("--run", metavar="NAME", help="Which run, where several stand.")
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Correct one logged curve for heat loss.

    The rise sought is what a perfectly insulated cup would have shown.
    """
    from calib.jobs.correcting import correct_file

    out = Output(as_json=as_json)
    report = correct_file(
        curve,
        reading={
            "time_column": time_column,
            "temperature_column": temperature_column,
            "time_unit": time_unit,
            "temperature_unit": unit,
            "run": run,
        },
        mixed_at_s=mixed_at,
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
        room_C=room,
        capacity_ratio=capacity_ratio,
    )
    _show(out, report, every_method=compare)
    if page is not None:
        from calib.jobs.pages import write_curve_page

        out.note(f"page written: {write_curve_page(page, report)}")
    out.dump(report.to_json())


def _show(out: Output, report: CurveReport, *, every_method: bool) -> None:
    corrected = report.corrected
    chosen = corrected.chosen
    for guess in report.curve.guesses:
        out.note(f"reading: {guess}")
    for warning in corrected.warnings:
        out.note(f"warning: {warning}")
    found = "as given" if corrected.mixing_given else f"found, ± {corrected.u_mixed_at_s:.1f} s"
    rows = [
        ["moment of mixing", f"{corrected.mixed_at_s:.1f} s", found],
        ["before mixing", f"{chosen.before_C:.3f} °C", "the fore period carried to that moment"],
        [
            "corrected rise",
            f"{with_u(chosen.rise_K, chosen.u_rise_K)} K",
            f"95 %: {interval(chosen.interval95_K)} K; method {chosen.method}",
        ],
        [
            "extreme reading",
            f"{corrected.extreme_C:.3f} °C",
            f"{corrected.extreme_at_s - corrected.mixed_at_s:.0f} s after mixing, a change of"
            f" {corrected.extreme_C - chosen.before_C:.3f} K",
        ],
    ]
    if chosen.cooling_rate_per_s is not None:
        rate = with_u(chosen.cooling_rate_per_s * 60, (chosen.u_cooling_rate_per_s or 0) * 60)
        rows.append(["cooling rate k", f"{rate} 1/min", "of the difference to where it settles"])
    if corrected.settled_after_s is not None:
        rows.append(["settled after", f"{corrected.settled_after_s:.0f} s", "from mixing"])
    out.table(["what", "value", "how"], rows, title=report.curve.source)
    out.say(f"Why this method: {corrected.rule}")
    made_of = ", ".join(f"{name} {figures(u, 2)}" for name, u in chosen.parts)
    out.say(f"± is one standard uncertainty (k = 1), made of (K): {made_of}")
    if report.prior is not None:
        out.say(f"Registered heat loss: {report.prior.verdict}")
    _show_release(out, report)
    if every_method:
        _show_methods(out, report)
    if report.comparison is not None:
        show_comparison(out, report.comparison)


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


def _show_methods(out: Output, report: CurveReport) -> None:
    out.table(
        ["method", "rise K", "k 1/min", "rms K", "lag-1", "admissible", "why"],
        [
            [
                m.method,
                with_u(m.rise_K, m.u_rise_K),
                figures(None if m.cooling_rate_per_s is None else 60 * m.cooling_rate_per_s, 3),
                figures(m.residual_rms_K, 2),
                figures(m.lag1_autocorrelation, 2),
                "yes" if m.admissible else "no",
                m.why,
            ]
            for m in report.corrected.methods
        ],
        title="Every correction",
    )
