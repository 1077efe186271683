"""What ``calibrate`` shows people: runs with their weight, constants, agreement, kinds."""

from __future__ import annotations

from typing import Any

from calib.cli.output import Output
from calib.rounding import figures, interval, with_u

__all__ = ["show_calibration"]


def show_calibration(out: Output, facts: dict[str, Any]) -> None:
    """Print the object of ``calibrate --json`` for people."""
    _runs(out, facts)
    _constants(out, facts["constants"])
    _agreement(out, facts["constants"])
    for constant in facts["constants"]:
        choice = constant["model_choice"]
        if choice and "hardly differ" not in choice:
            at = f" at {constant['reference_fill_mL']:.0f} mL"
            out.say(f"{constant['apparatus']}: dependence on the fill: {choice}; shown{at}")
    for kind in facts.get("kinds", ()):
        out.say(_kind(kind))
    for constant in facts["constants"]:
        for warning in constant["warnings"]:
            out.warn(warning, row=constant["apparatus"])
    out.say(
        "± is one standard uncertainty (k = 1): the runs' readings, the masses, what they share,"
        " and the spread between runs."
    )
    drafts = [
        str(c["id"])
        for c in facts["constants"]
        if c["status"] == "draft" and not c["failed_quality"]
    ]
    if drafts:
        out.say(f"Drafts. To use them: cupledger constants approve {' '.join(drafts)}")


def _runs(out: Output, facts: dict[str, Any]) -> None:
    out.table(
        [
            "run",
            "cup",
            "constant from this run J/K",
            "rise K",
            "weight",
            "leverage",
            "from others",
            "method",
            "remarks",
        ],
        [
            [
                run["run"],
                run["apparatus"],
                with_u(run["constant_J_per_K"], run["u_constant_J_per_K"]),
                with_u(run["rise_K"], run["u_rise_K"]) if run["way"] != "cooling" else "–",
                _share(run["weight"], run),
                _share(run["leverage"], run),
                _away(run),
                run["method"],
                "; ".join(run["warnings"]),
            ]
            for run in facts["runs"]
        ],
        title="Runs",
    )
    if any(run["deviation_from_others"] is not None for run in facts["runs"]):
        out.say(
            "weight: its part in the constant; leverage: how far the constant follows this run; "
            f"from others: in standard uncertainties. Rule: {facts['outlier_rule']}."
        )
        out.say()


def _share(value: float | None, run: dict[str, Any]) -> str:
    return "–" if value is None or run["way"] == "cooling" else f"{value:.2f}"


def _away(run: dict[str, Any]) -> str:
    away = run["deviation_from_others"]
    if away is None:
        return "–"
    return f"{away:+.1f}" + (" outlying" if run["outlying"] else "")


def _constants(out: Output, constants: list[dict[str, Any]]) -> None:
    out.table(
        [
            "no.",
            "cup",
            "constant J/K",
            "95 % interval",
            "loss G W/K",
            "runs",
            "spread",
            "way",
            "status",
        ],
        [
            [
                str(c["id"]) if c["id"] is not None else "–",
                c["apparatus"],
                with_u(c["constant_J_per_K"], c["u_constant_J_per_K"]),
                interval(c["interval95_J_per_K"]),
                with_u(c["heat_loss_W_per_K"], c["u_heat_loss_W_per_K"])
                if c["heat_loss_W_per_K"] is not None
                else "–",
                str(c["runs"]),
                figures(c["between_run_sd_J_per_K"], 2),
                c["method"],
                c["status"],
            ]
            for c in constants
        ],
        title="Constants",
    )


def _agreement(out: Output, constants: list[dict[str, Any]]) -> None:
    """Which way agrees with which, once a cup."""
    said: set[str] = set()
    for constant in constants:
        for pair in constant["agreement"]:
            line = f"{constant['apparatus']}: {pair['sentence']}"
            if line not in said:
                said.add(line)
                out.say(line)


def _kind(kind: dict[str, Any]) -> str:
    low, high = kind["interval95_one_more_J_per_K"]
    mean = with_u(kind["mean_J_per_K"], kind["u_mean_J_per_K"])
    return (
        f"Kind {kind['kind']!r}: mean of {len(kind['cups'])} cups {mean} J/K; they differ by "
        f"{kind['between_cup_sd_J_per_K']:.2g} J/K (standard deviation); one more cup of it: "
        f"{low:.1f} to {high:.1f} J/K (95 %)"
    )
