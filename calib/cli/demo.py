"""``cupledger demo``: the main job on the sample runs, start to finish."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calib.cli.options import JsonFlag
from calib.cli.output import Output
from calib.rounding import with_u


def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="Where to write; must be new or a demo's.")
    ] = Path("cupledger-demo"),
    as_json: JsonFlag = False,
) -> None:
    """Run the whole job on invented sample runs: cups, constants, class, pages."""
    from calib.jobs.demo import run_demo

    out = Output(as_json=as_json)
    facts = run_demo(folder, progress=out.progress)
    out.say("Everything in this demo is invented: the school, its cups, its readings.")
    out.say()
    out.table(
        ["cup", "constant J/K", "true J/K", "from"],
        [
            [
                c["apparatus"],
                with_u(c["constant_J_per_K"], c["u_constant_J_per_K"]),
                c["invented_truth"],
                f"{c['runs']} {c['method']} runs",
            ]
            for c in facts["constants"]
        ],
        title="1. Each cup's constant, from hot/cold mixing",
    )
    out.table(
        ["run", "cup", "rise K", "ΔH kJ/mol", "constant", "remarks"],
        [
            [
                r["run"],
                r["apparatus"],
                with_u(r["rise_K"], r["u_rise_K"]),
                with_u(r["dH_kJ_per_mol"], r["u_dH_kJ_per_mol"]),
                f"no. {r['constant_id']}" if r["constant_id"] is not None else "kind's pooled",
                "; ".join(r["warnings"]),
            ]
            for r in facts["runs"]
        ],
        title="2. Every run of two classes, with the right cup's constant applied",
    )
    out.table(
        ["reaction", "runs", "mean kJ/mol", "true kJ/mol"],
        [
            [
                s["reaction"],
                str(s["runs"]),
                with_u(s["mean_kJ_per_mol"], s["u_mean_kJ_per_mol"]),
                s["invented_truth"],
            ]
            for s in facts["summary"]
        ],
        title="3. Means, with what the runs share kept apart from what they do not",
    )
    out.say("Written:")
    for path in facts["files"]:
        out.say(f"  {path}")
    out.dump(facts)
