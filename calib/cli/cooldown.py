"""``cupledger cooldown``: a log of a cup that only cools; its law, its rate and its heat loss."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

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
from calib.rounding import figures, interval, with_u

if TYPE_CHECKING:
    from calib.jobs.cooling_down import CooldownReport


def cooldown(
    log: Annotated[Path, typer.Argument(metavar="LOG", help="A logger's text file.")],
    room: Annotated[
        float | None,
        typer.Option(
            "--room", "--room-C", metavar="C", help="Room temperature at the start, °C, if noted."
        ),
    ] = None,
    u_room: Annotated[
        float, typer.Option("--u-room", metavar="K", help="Its standard uncertainty, K.")
    ] = 0.5,
    heat_capacity: Annotated[
        float | None,
        typer.Option("--heat-capacity", metavar="C", help="Of content and cup, J/K: gives W/K."),
    ] = None,
    u_heat_capacity: Annotated[
        float | None,
        typer.Option("--u-heat-capacity", metavar="C", help="Its standard uncertainty, J/K."),
    ] = None,
    apparatus: Annotated[
        str | None,
        typer.Option(
            "--apparatus", metavar="ID", help="Registered cup that was filled; needs --fill."
        ),
    ] = None,
    fill: Annotated[
        float | None, typer.Option("--fill", metavar="G", help="Grams of water in that cup.")
    ] = None,
    u_fill: Annotated[
        float | None,
        typer.Option("--u-fill", metavar="G", help="Their standard uncertainty; default 0.5 g."),
    ] = None,
    start: Annotated[
        float | None,
        typer.Option("--start", metavar="S", help="Leave out what is before, s on its clock."),
    ] = None,
    end: Annotated[
        float | None,
        typer.Option("--end", metavar="S", help="Leave out what is after, s on its clock."),
    ] = None,
    law: Annotated[
        str | None,
        typer.Option(
            "--law",
            metavar="NAME",
            help="Take this law as true: newton, slow-wall, steeper or drifting-room.",
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
    """Find law, rate and heat loss of a cup from a log of nothing but cooling (or warming).

    Fill the cup with warm water, close the lid, stir, and log for an hour or more.
    """
    from calib.jobs.cooling_down import cool_down
    from calib.outputs import COOLDOWN_PAGE, outputs_beside

    out, done = Output(as_json=as_json, file=log), Done()
    outputs = outputs_beside(registry, overwrite=overwrite, curve=log)
    outputs.claim(COOLDOWN_PAGE, page, "--page")
    report = cool_down(
        log,
        reading={
            "time_column": time_column,
            "temperature_column": temperature_column,
            "time_unit": time_unit,
            "temperature_unit": unit,
            "run": run,
        },
        heat_capacity=(heat_capacity, u_heat_capacity),
        apparatus=apparatus,
        fill_g=fill,
        u_fill_g=u_fill,
        registry=registry,
        room_C=room,
        u_room_K=u_room,
        from_s=start,
        to_s=end,
        law=law,
    )
    if page is not None:
        from calib.jobs.pages import write_cooldown_page

        done.do(lambda: f"page written: {write_cooldown_page(page, report, outputs=outputs)}")
    _show(out, report)
    done.show(out)
    out.dump({**report.to_json(), "errors": done.errors})
    raise typer.Exit(exit_code(done.errors, anything_done=True))


def _show(out: Output, report: CooldownReport) -> None:
    log = report.log
    for guess in report.curve.guesses:
        out.reading(guess)
    for warning in report.warnings:
        out.warn(warning)
    k, u_k = 60 * log.rate_per_s, 60 * log.u_rate_per_s
    k95 = (60 * log.rate_interval95_per_s[0], 60 * log.rate_interval95_per_s[1])
    rows = [
        ["cooling rate k", f"{with_u(k, u_k)} 1/min", f"95 %: {interval(k95)} 1/min"],
        [
            "tends to T∞",
            f"{with_u(log.t_inf_C, log.u_t_inf_K)} °C",
            f"95 %: {interval(log.t_inf_interval95_C)} °C; at the start of the log",
        ],
    ]
    if log.conductance_W_per_K is not None:
        rows.append(
            [
                "heat loss G",
                f"{with_u(log.conductance_W_per_K, log.u_conductance_W_per_K)} W/K",
                f"95 %: {interval(log.conductance_interval95_W_per_K)} W/K",
            ]
        )
    if report.capacity is not None:
        shown = with_u(report.capacity.value, report.capacity.u)
        rows.append(["heat capacity", f"{shown} J/K", report.capacity.source])
    rows.append(
        [
            "log",
            f"{log.start_C:.2f} to {log.end_C:.2f} °C",
            f"k and G hold at {log.middle_C:.1f} °C",
        ]
    )
    out.table(["what", "value", "how"], rows, title=report.curve.source)
    made_of = ", ".join(f"{name} {figures(60 * u, 2)}" for name, u in log.parts)
    out.say(f"± is one standard uncertainty (k = 1), for the rate made of (1/min): {made_of}")
    if report.conductance_parts:
        made_of = ", ".join(f"{name} {figures(u, 2)}" for name, u in report.conductance_parts)
        out.say(f"for the heat loss made of (W/K): {made_of}")
    if report.agreement:
        out.say(f"Registry: {report.agreement}")
    _show_laws(out, report)


def _show_laws(out: Output, report: CooldownReport) -> None:
    log = report.log
    chances = dict(log.chances)
    out.say()
    out.table(
        ["law", "ΔAICc", "forecast mK", "rms mK", "lag-1", "k 1/min", "T∞ °C", "admissible", "why"],
        [
            [
                one.name + (" *" if one.name == log.law else ""),
                f"{one.delta_aicc:.1f}",
                figures(1000 * one.forecast_rms_K, 3),
                figures(1000 * one.residual_rms_K, 3),
                figures(one.lag1_autocorrelation, 2),
                with_u(60 * one.rate_per_s, 60 * one.u_rate_per_s),
                with_u(one.t_inf_C, one.u_t_inf_K),
                "yes" if one.admissible else "no",
                one.why,
            ]
            for one in log.laws.laws
        ],
        title="Cooling laws, each by itself (* is the one that is named)",
    )
    out.say(f"Law: {log.laws.named(log.law).title}. Why this law: {log.decided_by}")
    if chances:
        words = ", ".join(f"{name} {100 * chance:.0f} %" for name, chance in chances.items())
        out.say(
            "k and T∞ above are averaged over all mixtures of the laws, each weighed by how well "
            f"it explains the log; more than an ordinary share of: {words}"
        )
