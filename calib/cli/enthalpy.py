"""``cupledger enthalpy``: molar enthalpies of every run, with the constants applied."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.cli.mishaps import show_mishaps, show_outlying
from calib.cli.options import (
    ByName,
    JsonFlag,
    KeepAll,
    Overwrite,
    PageFile,
    RegistryPlace,
    TableFile,
)
from calib.cli.output import Output
from calib.cli.problems import Done, exit_code, show_problems
from calib.cli.said_first import say_first
from calib.rounding import figures, interval, with_u

if TYPE_CHECKING:
    from calib.jobs.evaluating import TableResults


def enthalpy(
    table: TableFile,
    page: PageFile = None,
    results: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write the results: CSV or XLSX."),
    ] = None,
    at_25: Annotated[
        bool, typer.Option("--at-25", help="Report at 25 °C where the change of Cp is known.")
    ] = False,
    per: Annotated[
        str,
        typer.Option(
            "--per",
            metavar="WHAT",
            help="Per mole of what: reaction (as written), water (formed), salt (dissolved), or a"
            " substance of the equation.",
        ),
    ] = "",
    budget: Annotated[
        bool, typer.Option("--budget", help="Print what each uncertainty is made of.")
    ] = False,
    record: Annotated[
        bool,
        typer.Option("--record", help="Keep the results, each with its constant and its inputs."),
    ] = False,
    by: ByName = None,
    mishaps: Annotated[
        bool,
        typer.Option("--mishaps", help="Print what usual mishaps would have done to each run."),
    ] = False,
    numbers: Annotated[
        bool, typer.Option("--numbers", help="Numbers in place of the groups' names on the page.")
    ] = False,
    summary: Annotated[
        Path | None,
        typer.Option("--summary", metavar="FILE", help="Write the means by reaction: CSV or XLSX."),
    ] = None,
    overwrite: Overwrite = False,
    keep_all: KeepAll = False,
    registry: RegistryPlace = None,
    as_json: JsonFlag = False,
) -> None:
    """Compute every row's molar enthalpy with the constant of its cup and date."""
    from calib.jobs.evaluating import evaluate_table
    from calib.outputs import CLASS_PAGE, RESULTS, SUMMARY, outputs_beside

    out, done = Output(as_json=as_json, file=table), Done()
    outputs = outputs_beside(registry, overwrite=overwrite, table=table)
    outputs.claim(CLASS_PAGE, page, "--page")
    outputs.claim(RESULTS, results, "--out")
    outputs.claim(SUMMARY, summary, "--summary")
    report = evaluate_table(
        table,
        registry,
        at_25=at_25,
        per=per,
        keep_all=keep_all,
        progress=out.progress,
        outputs=outputs,
    )
    facts = report.facts
    if page is not None:
        from calib.jobs.pages import write_class_page

        made = partial(write_class_page, page, report, numbers=numbers, outputs=outputs)
        done.do(lambda: f"page written: {made()}")
    if results is not None:
        from calib.jobs.results_file import write_results

        done.do(lambda: f"results written: {write_results(results, report, outputs=outputs)}")
    if summary is not None:
        from calib.jobs.results_file import write_summary

        done.do(lambda: f"means written: {write_summary(summary, report, outputs=outputs)}")
    if record:
        done.do(lambda: _record(report, registry, by, {"at_25": at_25, "per": per}))
    _show(out, facts, budget=budget)
    if mishaps:
        show_mishaps(out, facts["runs"])
    done.show(out)
    facts["errors"] += done.errors
    out.dump(facts)
    raise typer.Exit(exit_code(facts["errors"], bool(facts["runs"])))


def _record(
    report: TableResults, registry: str | None, by: str | None, options: dict[str, Any]
) -> str:
    from calib.jobs.recording import record_results

    kept = record_results(report, registry, by=by, options=options)
    report.facts.update(kept)
    return f"results kept: {len(kept['recorded'])}, new: {kept['recorded_new']}"


def _show(out: Output, facts: dict[str, Any], *, budget: bool) -> None:
    say_first(out, facts["hazards"])
    for note in facts["notes"]:
        out.reading(note)
    show_problems(out, facts["errors"])
    runs = facts["runs"]
    out.table(
        [
            "run",
            "cup",
            "constant J/K",
            "rise K",
            "heat J",
            "ΔH kJ/mol",
            "95 % interval",
            "per",
            "at °C",
            "limiting",
        ],
        [
            [
                run["run"],
                run["apparatus"],
                figures(run["constant_J_per_K"], 4),
                with_u(run["rise_K"], run["u_rise_K"]),
                figures(run["heat_J"], 5),
                _result(run),
                interval(run["interval95_kJ_per_mol"] or run["interval95"]),
                _per(run).removeprefix("per "),
                figures(run["at_C"], 3),
                run["limiting"] or "",
            ]
            for run in runs
        ],
    )
    for run in runs:
        for warning in run["warnings"]:
            out.warn(warning, row=run["run"])
    for line in facts["summary"]:
        own = [run for run in runs if run["reaction"] == line["reaction"]]
        _show_summary(out, line)
        _show_step_to_25(out, own)
        show_outlying(out, line)
    if budget:
        for run in runs:
            out.table(
                ["made of", f"u {run['unit']}", "share %"],
                [
                    [
                        line["source"],
                        figures(line.get("u_kJ_per_mol", line.get("u")), 3),
                        f"{line['share_percent']:.1f}",
                    ]
                    for line in run["budget"]
                ],
                title=f"{run['run']}: what the uncertainty is made of",
            )
            out.table(
                ["made of", "kJ/mol", "source"],
                [
                    [line["what"], with_u(line["kJ_per_mol"], line["u_kJ_per_mol"]), line["source"]]
                    for line in run["expected_lines"]
                ],
                title=f"{run['run']}: what the expected value is made of",
            )
    elif runs:
        out.say("± is one standard uncertainty (k = 1); what it is made of: --budget or --json.")


def _show_summary(out: Output, line: dict[str, Any]) -> None:
    """The mean, what it is per mole of, and the accepted and the expected value under it."""
    many = f"{line['runs']} run" + ("s" if line["runs"] != 1 else "")
    if line["left_out"]:
        many += f", {line['runs_in_mean']} of them in the mean"
    spread = f", spread {figures(line['sd'], 3)}" if line["sd"] is not None else ""
    unit = f"{line['unit']} {_per(line)}"
    if line["per_remark"]:
        out.warn(f"per mole: {line['per_remark']}")
    out.say(
        f"{line['reaction']}: {many}, mean {with_u(line['mean'], line['u_mean'])} {unit}{spread}"
    )
    if line["reference"] is None:
        out.say(f"  accepted value: not known ({line['why_no_expected'] or 'no source'})")
        return
    molar = line["unit"] == "kJ/mol"
    where = "accepted at infinite dilution, 25 °C" if molar else "published"
    out.say(f"  {where}: {_number(line, 'reference')} {unit} ({line['reference_source']})")
    if line["expected_at_runs"] is not None:
        low, high = line["expected_range"]
        several = line["runs_in_mean"] > 1
        own = f", run by run {figures(low, 4)} to {figures(high, 4)}" if several else ""
        out.say(
            f"  expected at these concentrations and temperatures:"
            f" {_number(line, 'expected_at_runs')} {unit}{own}"
        )
        if line["expected_band"]:
            out.say(f"  it {line['expected_band']}")
    elif molar:
        out.say(
            f"  expected at these concentrations and temperatures: cannot be given,"
            f" {line['why_no_expected']}"
        )


def _show_step_to_25(out: Output, runs: list[dict[str, Any]]) -> None:
    """What carries the runs' enthalpies from their own temperatures to 25 °C."""
    known = [run for run in runs if run["to_25_C_kJ_per_mol"] is not None]
    if not known or all(run["at_C"] == 25.0 for run in runs):
        return
    step = sum(run["to_25_C_kJ_per_mol"] for run in known) / len(known)
    u = max(run["u_to_25_C_kJ_per_mol"] for run in known)
    at = sum(run["at_C"] for run in known) / len(known)
    out.say(
        f"  these stand at {at:.1f} °C; to 25 °C: {with_u(step, u)} kJ/mol to be added, by ΔCp of"
        f" {with_u(1e3 * known[0]['dCp_kJ_per_mol_K'], 1e3 * known[0]['u_dCp_kJ_per_mol_K'])}"
        f" J/(mol K) ({known[0]['dCp_source']}); --at-25 does it"
    )


def _per(line: dict[str, Any]) -> str:
    """What a result is per mole of, without the equation that stands beside it."""
    return str(line["per"]).removesuffix(f", {line['reaction']}")


def _number(line: dict[str, Any], key: str) -> str:
    value, u = line[key], line[f"u_{key}"]
    return with_u(value, u) if u is not None else figures(value, 4)


def _result(run: dict[str, Any]) -> str:
    """The molar enthalpy, or what else the run measures, such as a metal's specific heat."""
    if run["dH_kJ_per_mol"] is not None:
        return f"{with_u(run['dH_kJ_per_mol'], run['u_dH_kJ_per_mol'])} kJ/mol"
    return f"{with_u(run['value'], run['u_value'])} {run['unit']}, {run['quantity']}"
