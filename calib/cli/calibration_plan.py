"""``cupledger constants plan``: a calibration planned before any water is heated."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import JsonFlag, RegistryPlace
from calib.cli.output import Output
from calib.rounding import figures

__all__ = ["plan"]


def plan(
    apparatus: Annotated[
        str | None,
        typer.Option("--apparatus", metavar="CUP", help="A cup of the registry."),
    ] = None,
    wanted: Annotated[
        float | None,
        typer.Option("--wanted", metavar="J/K", help="Standard uncertainty wanted (k = 1)."),
    ] = None,
    runs: Annotated[
        int | None, typer.Option("--runs", help="How many runs; 4 unless told.")
    ] = None,
    constant: Annotated[
        float, typer.Option("--constant", metavar="J/K", help="Constant expected of the cup.")
    ] = 15.0,
    fill: Annotated[
        float, typer.Option("--fill", metavar="G", help="Water in the cup after mixing.")
    ] = 200.0,
    cold: Annotated[
        float, typer.Option("--cold", metavar="°C", help="Cold water: the room's temperature.")
    ] = 21.0,
    hottest: Annotated[
        float, typer.Option("--hottest", metavar="°C", help="Hottest water you will pour.")
    ] = 60.0,
    wait: Annotated[
        float | None,
        typer.Option("--wait", metavar="S", help="From reading the hot water to pouring it."),
    ] = None,
    no_log: Annotated[
        bool, typer.Option("--no-log", help="Only the extreme is read; no curve is logged.")
    ] = False,
    step: Annotated[
        float | None, typer.Option("--step", metavar="K", help="What the thermometer moves by.")
    ] = None,
    balance_step: Annotated[
        float | None, typer.Option("--balance-step", metavar="G", help="What the balance moves by.")
    ] = None,
    readings: Annotated[
        Path | None, typer.Option("--readings", metavar="FILE", help="A readings.toml to use.")
    ] = None,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """How many mixing runs, which masses and temperatures, for a constant known so well.

    Every plan is put through the budget of a calibration; what limits it is said.
    """
    from calib.jobs.planning_calibration import plan_calibration_session
    from calib.planning.calibration_session import SessionRequest

    out = Output(as_json=as_json)
    request = SessionRequest(
        constant_J_per_K=constant, fill_g=fill, cold_C=cold, hot_limit_C=hottest,
        wanted_J_per_K=wanted, runs=runs, wait_s=wait, logged=not no_log,
    )  # fmt: skip
    facts = plan_calibration_session(
        request, apparatus=apparatus, registry=registry, readings=readings, step_K=step,
        balance_step_g=balance_step,
    )  # fmt: skip
    _show(out, facts)
    out.dump(facts)


def _show(out: Output, facts: dict[str, Any]) -> None:
    best = facts["plan"]
    out.say(f"Expected constant: {facts['expected_constant_J_per_K']:.3g} J/K "
            f"({facts['expected_from']}); instruments: {facts['instruments']}.")  # fmt: skip
    out.say()
    out.table(
        ["", "in the cup", "cold g", "cold °C", "hot g", "hot °C", "change K", "runs", "u J/K",
         "limited by"],
        [_row(one, mark) for one, mark in [(best, "take"), *((o, "or") for o in
                                                            facts["other_mixtures"])]],
        title="Mixtures, best first",
    )  # fmt: skip
    out.say(f"{facts['sentence']}.")
    for line in facts["advice"]:
        out.say(f"To do better: {line}.")
    out.say()
    out.table(
        ["runs", "u J/K", "95 % ± J/K"],
        [
            [
                str(one["runs"]),
                figures(one["u_J_per_K"], 2),
                figures(one["half_width95_J_per_K"], 2),
            ]
            for one in facts["by_number_of_runs"]
        ],
        title="This mixture with other numbers of runs",
    )
    out.table(
        ["source", "u J/K", "share %"],
        [
            [line["source"], figures(line["u_J_per_K"], 2), f"{line['share_percent']:.0f}"]
            for line in best["limits"]
        ],
        title="Budget of the plan",
    )
    for line in facts["cautions"]:
        out.say(f"Caution: {line}")


def _row(one: dict[str, Any], mark: str) -> list[str]:
    chief = one["limits"][0] if one["limits"] else None
    return [
        mark, one["in_cup"], f"{one['cold_g']:.0f}", f"{one['cold_C']:.0f}", f"{one['hot_g']:.0f}",
        f"{one['hot_C']:.0f}", f"{one['expected_change_K']:+.1f}", str(one["runs"]),
        figures(one["u_J_per_K"], 2),
        f"{chief['source']} ({chief['share_percent']:.0f} %)" if chief else "–",
    ]  # fmt: skip
