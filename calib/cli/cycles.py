"""``cupledger cycles``: do the measured reactions agree with one another?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import JsonFlag, KeepAll, RegistryPlace
from calib.cli.output import Output
from calib.cli.problems import exit_code, show_problems
from calib.rounding import figures, with_u


def cycles(
    tables: Annotated[
        list[Path],
        typer.Argument(metavar="TABLE...", help="Tables of runs: CSV, XLSX or ODS; all together."),
    ],
    as_run: Annotated[
        bool,
        typer.Option(
            "--as-run",
            help="Compare at the runs' own concentrations and temperatures, carrying nothing to"
            " infinite dilution and 25 °C.",
        ),
    ] = False,
    keep_all: KeepAll = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Hold reactions that add up to nothing against one another: who disagrees?

    The four pairings of a strong and a weak acid with a strong and a weak base are such a set.
    """
    from calib.jobs.agreeing import compare_reactions

    out = Output(as_json=as_json)
    facts = compare_reactions(
        tables, registry, as_run=as_run, keep_all=keep_all, progress=out.progress
    )
    show_problems(out, facts["errors"])
    for one in facts["left_out"]:
        out.warn(f"left out of the mean: {one['reason']} (--keep-all keeps it in)", row=one["run"])
    _show_reactions(out, facts)
    _show_cycles(out, facts)
    _show_ionizations(out, facts)
    out.dump(facts)
    raise typer.Exit(exit_code(facts["errors"], bool(facts["reactions"])))


def _show_reactions(out: Output, facts: dict[str, Any]) -> None:
    out.table(
        ["", "runs", "in the runs", "carried by", "ΔH kJ/mol", "adjusted", "others say", "accepted",
         "reaction as written"],
        [
            [
                one["name"],
                str(one["runs"]),
                figures(one["in_runs_kJ_per_mol"], 4),
                f"{one['carried_by_kJ_per_mol']:+.2f}",
                with_u(one["dH_kJ_per_mol"], one["u_dH_kJ_per_mol"]),
                with_u(one["adjusted_kJ_per_mol"], one["u_adjusted_kJ_per_mol"]),
                _or_dash(one, "implied"),
                _or_dash(one, "reference"),
                one["reaction"],
            ]
            for one in facts["reactions"]
        ],
        title=f"Reactions, {facts['state']}, kJ per mole of reaction as written",
    )  # fmt: skip
    for one in facts["reactions"]:
        if one["why_not_carried"]:
            out.warn(
                f"{one['name']} could not be carried to infinite dilution, so its"
                f" uncertainty is wider: {one['why_not_carried']}"
            )


def _or_dash(one: dict[str, Any], key: str) -> str:
    value = one[f"{key}_kJ_per_mol"]
    return "–" if value is None else with_u(value, one[f"u_{key}_kJ_per_mol"])


def _show_cycles(out: Output, facts: dict[str, Any]) -> None:
    out.table(
        ["sum", "adds up to kJ/mol", "times its u", "closes"],
        [
            [
                one["sum"],
                with_u(one["closure_kJ_per_mol"], one["u_closure_kJ_per_mol"]),
                figures(one["ratio"], 2),
                "yes" if one["closes"] else "no",
            ]
            for one in facts["cycles"]
        ],
        title="Cycles: sums that should be nothing",
    )
    if any(not one["closes"] for one in facts["cycles"]) or _far(facts):
        worst = sorted(facts["runs"], key=lambda one: -one["ratio"])
        out.table(
            ["run", "of", "off by kJ/mol", "times its u", "closes without it"],
            [
                [
                    one["run"],
                    one["reaction"],
                    f"{one['off_kJ_per_mol']:+.2f}",
                    figures(one["ratio"], 2),
                    "yes" if one["closes_without"] else "no",
                ]
                for one in worst
            ],
            title="Runs against the adjusted values",
        )
    out.say(f"{facts['words'][:1].upper()}{facts['words'][1:]}.")


def _far(facts: dict[str, Any]) -> bool:
    """Whether a run lies far from the rest although the cycles may close."""
    return any(one["ratio"] > 3.0 for one in facts["runs"])


def _show_ionizations(out: Output, facts: dict[str, Any]) -> None:
    out.say()
    out.table(
        ["ionization, as a difference", "kJ/mol", "accepted", "made of"],
        [
            [
                one["reaction"],
                with_u(one["dH_kJ_per_mol"], one["u_dH_kJ_per_mol"]),
                _or_dash(one, "reference"),
                one["made_of"],
            ]
            for one in facts["ionizations"]
        ],
        title=f"Enthalpies of ionization, {facts['state']}",
    )
    out.say(
        "± is one standard uncertainty (k = 1), of the runs' readings, masses and cups and of what"
        " carried them to one state; what reactions share is kept as their correlation."
    )
