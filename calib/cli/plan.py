"""``cupledger plan``: what to expect of a run before it is done."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import JsonFlag, RegistryPlace
from calib.cli.output import Output
from calib.cli.said_first import ask_first, say_first
from calib.errors import InputError
from calib.rounding import figures, interval, with_u


def plan(
    in_cup: Annotated[
        str,
        typer.Argument(metavar="IN_CUP", help="In the cup first: '50 mL 1.0 mol/L HNO3(aq)'."),
    ],
    added: Annotated[str, typer.Argument(metavar="ADDED", help="What is added: '4.0 g KNO3(s)'.")],
    reaction: Annotated[
        str | None, typer.Option("--reaction", help="The equation, where the two do not tell it.")
    ] = None,
    apparatus: Annotated[
        str | None, typer.Option("--apparatus", metavar="CUP", help="A cup of the registry.")
    ] = None,
    day: Annotated[
        str | None, typer.Option("--date", metavar="DAY", help="Day of the session; today.")
    ] = None,
    constant: Annotated[
        float | None, typer.Option("--constant", metavar="J/K", help="The cup's constant by hand.")
    ] = None,
    u_constant: Annotated[
        float | None,
        typer.Option("--u-constant", metavar="J/K", help="Its u; default 2."),
    ] = None,
    room: Annotated[float, typer.Option("--room", metavar="°C", help="Room temperature.")] = 21.0,
    step: Annotated[
        float, typer.Option("--step", metavar="K", help="What the thermometer moves by.")
    ] = 0.1,
    extreme_after: Annotated[
        float | None,
        typer.Option("--extreme-after", metavar="S", help="When the extreme is expected."),
    ] = None,
    wanted: Annotated[
        float | None,
        typer.Option("--wanted", metavar="%", help="Standard uncertainty wanted of the result."),
    ] = None,
    enthalpy: Annotated[
        float | None,
        typer.Option("--enthalpy", metavar="KJ_PER_MOL", help="ΔH of the reaction by hand."),
    ] = None,
    u_enthalpy: Annotated[
        float | None,
        typer.Option("--u-enthalpy", metavar="KJ_PER_MOL", help="Its uncertainty; default 1."),
    ] = None,
    benches: Annotated[int, typer.Option("--benches", help="How many benches.")] = 1,
    runs_each: Annotated[int, typer.Option("--runs-each", help="Runs of each bench.")] = 1,
    concentrated: Annotated[
        list[str] | None,
        typer.Option(
            "--concentrated", metavar="FORMULA=MOL_PER_L", help="A concentrated solution in store."
        ),
    ] = None,
    readings: Annotated[
        Path | None, typer.Option("--readings", metavar="FILE", help="A readings.toml to use.")
    ] = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Foretell rise, limiting reagent, what dissolves, how hot it gets, which error dominates."""
    from calib.hazards.asking import asked_of_row
    from calib.jobs.planning import day_of, plan_run, strengths
    from calib.planning.plan import PlanRequest
    from calib.planning.request import parse_portion

    out = Output(as_json=as_json)
    ask_first(out, asked_of_row(in_cup, added, reaction))
    request = PlanRequest(
        in_cup=parse_portion(in_cup, "portion in the cup"),
        added=parse_portion(added, "portion that is added"),
        reaction=reaction,
        benches=benches,
        runs_each=runs_each,
        room_C=room,
        step_K=step,
        after_s=extreme_after,
        wanted_percent=wanted,
        dH=_both("enthalpy", enthalpy, u_enthalpy, 1.0),
        concentrated=strengths(concentrated or []),
    )
    facts = plan_run(
        request,
        apparatus=apparatus,
        on=day_of(day),
        given=_both("constant", constant, u_constant, 2.0),
        registry=registry,
        readings=readings,
    )
    _show(out, facts)
    out.dump(facts)


def _both(
    name: str, value: float | None, u: float | None, usual: float
) -> tuple[float, float] | None:
    """A value given by hand with its uncertainty, which means nothing by itself."""
    if value is None and u is not None:
        raise InputError(f"--u-{name} without --{name}; give both, or neither")
    return None if value is None else (value, usual if u is None else u)


def _show(out: Output, facts: dict[str, Any]) -> None:
    say_first(out, facts["hazards"])
    out.say(f"{facts['reaction']}: {facts['in_cup']}, then {facts['added']}")
    constant = with_u(facts["constant_J_per_K"], facts["u_constant_J_per_K"])
    out.say(f"cup: {facts['apparatus']}, {constant} J/K ({facts['constant_source']})")
    out.say()
    out.table(["what to expect", "value"], list(_expected(facts)))
    _show_verdicts(out, facts)
    out.table(
        ["the rise's spread is made of", "u K", "share %", "shared"],
        [
            [line["source"], figures(line["u_K"], 2), f"{line['share_percent']:.1f}",
             "all alike" if line["shared"] else ""]
            for line in facts["spread"][:8]
        ],
    )  # fmt: skip
    if facts["result"] is not None:
        out.table(
            ["the result's uncertainty is made of", f"u {facts['unit']}", "share %"],
            [
                [line["source"], figures(line["u"], 2), f"{line['share_percent']:.1f}"]
                for line in facts["result_budget"][:8]
            ],
        )
    for one in facts["preparation"]:
        out.say(f"To prepare, for {facts['benches'] * facts['runs_each']} runs: {one['substance']}")
        for number, text in enumerate(one["steps"], start=1):
            out.say(f"  {number}. {text}")
    out.say()
    for group in facts["cautions"]:
        for text in group["lines"]:
            out.say(f"Caution ({group['substance']}): {text}")
    for warning in facts["warnings"]:
        out.warn(warning)


def _expected(facts: dict[str, Any]) -> list[list[str]]:
    rows = [
        ["rise without heat loss", f"{with_u(facts['rise_K'], facts['u_rise_K'])} K"],
        ["its 95 % interval", f"{interval(facts['interval95_K'])} K"],
        ["from, to", f"{facts['before_C']:.1f} to {facts['final_C']:.1f} °C"],
        ["the thermometer will show", f"{with_u(facts['shown_C'], facts['u_shown_K'])} °C, about "
         f"{facts['shown_after_s']:.0f} s after mixing"],
        ["lost to the room by then", f"{facts['lost_before_K']:.2f} K"],
    ]  # fmt: skip
    if facts["dH_kJ_per_mol"] is not None:
        dH = with_u(facts["dH_kJ_per_mol"], facts["u_dH_kJ_per_mol"])
        rows.append(["ΔH taken, at these concentrations", f"{dH} kJ/mol"])
        if facts["dH_band"]:
            rows.append(["which, in words,", facts["dH_band"].split(", most of it")[0]])
    if facts["limiting"] is not None:
        either = "; which one runs out is uncertain" if facts["limiting_uncertain"] else ""
        rows.append(["limiting reagent", f"{facts['limiting']}{either}"])
        rows.append(["extent", f"{figures(facts['extent_mol'], 4)} mol"])
        rows += [
            [f"{one['substance']} brought, left over",
             f"{one['mol']:.4g}, {one['left_mol']:.2g} mol"]
            for one in facts["reaches"]
        ]  # fmt: skip
    if facts["result"] is not None:
        result = with_u(abs(facts["result"]), facts["u_result"])
        rows.append([
            "one bench's result, size and u",
            f"{result} {facts['unit']} ({facts['u_percent']:.2g} %)",
        ])  # fmt: skip
        rows.append(["largest error", str(facts["dominating"])])
    return rows


def _show_verdicts(out: Output, facts: dict[str, Any]) -> None:
    for one in facts["dissolving"]:
        out.say(f"Dissolving: {one['sentence']}.")
    for text in facts["heat_limit"]["sentences"]:
        out.say(f"Heat: {text}.")
    if facts["wanted"] is not None:
        for text in facts["wanted"]["sentences"]:
            out.say(f"Wanted uncertainty: {text}.")
    out.say()
