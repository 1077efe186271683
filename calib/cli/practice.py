"""``cupledger practice``: a curve with a known answer, and the score of a student's value."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.options import JsonFlag, Overwrite
from calib.cli.output import Output
from calib.rounding import with_u

_FACTS = {
    "heat_J": ("heat released", "J", ".0f"),
    "heat_capacity_J_per_K": ("heat capacity of content and cup", "J/K", ".1f"),
    "heat_loss_W_per_K": ("loss conductance G", "W/K", ".4f"),
    "cooling_rate_per_s": ("cooling rate k", "1/min", ".5f"),
    "slow_wall_J_per_K": ("slow inner wall", "J/K", ".1f"),
    "sensor_lag_s": ("sensor's lag", "s", ".1f"),
    "spilt_share": ("share of the liquid spilt", "", ".3f"),
    "room_drift_K_per_min": ("drift of the room", "K/min", "+.4f"),
}


def practice(
    curve: Annotated[
        Path | None,
        typer.Argument(
            metavar="[CURVE.csv]",
            help="File to write (default: practice-SEED.csv here); with --reveal the one to open.",
        ),
    ] = None,
    difficulty: Annotated[
        list[str] | None,
        typer.Option(
            "--with",
            metavar="NAME",
            help="Make it harder: noise, lag, slow-wall, evaporation, slow-dissolution,"
            " drifting-room, no-fore, spill; several with commas between them.",
        ),
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option("--seed", metavar="N", help="The same number gives the same curve."),
    ] = None,
    overwrite: Overwrite = False,
    reveal: Annotated[
        bool, typer.Option("--reveal", help="Open the sealed answer and score --rise.")
    ] = False,
    rise: Annotated[
        float | None, typer.Option("--rise", metavar="K", help="Your corrected rise, K.")
    ] = None,
    u: Annotated[
        float | None, typer.Option("--u", metavar="K", help="Its standard uncertainty, K.")
    ] = None,
    answer: Annotated[
        Path | None,
        typer.Option("--answer", metavar="FILE", help="The answer, if not beside the curve."),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Make a curve with a known answer to try corrections on, or score a value with --reveal.

    The curve comes from a simulated cup that obeys none of the fitted models. Its answer lies
    sealed in a second file.
    """
    from calib.jobs.practising import practise

    out = Output(as_json=as_json)
    facts = practise(
        curve,
        difficulties=difficulty or (),
        seed=seed,
        overwrite=overwrite,
        reveal=reveal,
        rise_K=rise,
        u_rise_K=u,
        answer=answer,
    )
    if reveal:
        _show_answer(out, facts)
    else:
        _show_task(out, facts)
    out.dump(facts)


def _show_task(out: Output, facts: dict[str, Any]) -> None:
    from calib.jobs.practising import difficulties

    task, known = facts["task"], difficulties()
    out.say(f"Written: {facts['curve']}, and its sealed answer {facts['answer']}")
    out.say("The curve is invented: it comes from a simulated cup.")
    out.table(
        ["what you may know", "value"],
        [
            ["what was done", task["kind"]],
            ["moment of mixing", f"{task['mixed_at_s']:g} s"],
            ["heat capacity before mixing over that after it", f"{task['capacity_ratio']:.4f}"],
            ["room", f"{task['room_C']:.1f} °C"],
            ["made harder by", "; ".join(known[name] for name in facts["difficulties"]) or "–"],
            ["seed", str(facts["seed"])],
        ],
    )
    out.say("Find the rise that a perfectly insulated cup would have shown. For instance:")
    out.say(
        f"  cupledger correct {_quoted(facts['curve'])} --mixed-at {task['mixed_at_s']:g}"
        f" --capacity-ratio {task['capacity_ratio']:.4f} --room {task['room_C']:.1f} --compare"
    )
    out.say("Then let it be scored:")
    out.say(f"  cupledger practice {_quoted(facts['curve'])} --reveal --rise YOURS --u ITS_U")


def _show_answer(out: Output, facts: dict[str, Any]) -> None:
    out.say(facts["verdict"])
    rows = [
        [
            m["name"] + (" (default)" if m["name"] == facts["default"] else ""),
            with_u(m["rise_K"], m["u_rise_K"]),
            f"{m['error_K']:+.3f}",
            f"{m['error_percent']:+.2f}",
            "yes" if m["holds"] else "no",
            "yes" if m["admissible"] else "no",
            m["why"],
        ]
        for m in facts["methods"]
    ]
    if facts["student_rise_K"] is not None:
        holds = {True: "yes", False: "no", None: "–"}[facts["holds"]]
        yours = with_u(facts["student_rise_K"], facts["u_student_K"])
        off = [f"{facts['error_K']:+.3f}", f"{facts['error_percent']:+.2f}"]
        rows.insert(0, ["yours", yours, *off, holds, "–", ""])
    out.table(
        ["method", "rise K", "off by K", "off by %", "95 % holds", "admissible", "why"],
        rows,
        title=f"What each method gives; the truth is {facts['true_rise_K']:.3f} K",
    )
    out.table(
        ["how the curve was made", "value", "unit"],
        [
            [words, format(_in_unit(facts["facts"][name], unit), spec), unit]
            for name, (words, unit, spec) in _FACTS.items()
            if name in facts["facts"]
        ]
        + [["difficulties", ", ".join(facts["difficulties"]) or "none", ""]]
        + [["seed", str(facts["seed"]), ""]],
        title="Settings of the simulation, which are exact",
    )
    for note in facts["notes"]:
        out.say(f"Note: {note}")


def _in_unit(per_s: float, unit: str) -> float:
    """The number in the unit that is shown: rates per minute, as `correct` shows them."""
    return 60 * per_s if unit == "1/min" else per_s


def _quoted(path: str) -> str:
    return f'"{path}"' if " " in path else path
