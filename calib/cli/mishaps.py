"""How ``cupledger enthalpy`` shows mishaps and groups far from the others."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from calib.cli.output import Output
from calib.rounding import figures, with_u


def show_mishaps(out: Output, runs: Sequence[dict[str, Any]]) -> None:
    """One table a run: what each mishap would have done, best explanation first."""
    for run in runs:
        title = f"{run['run']}: what usual mishaps would have done"
        rows = [
            [
                f"{line['name']}, either way" if line["either_way"] else line["name"],
                figures(line["change"], 2),
                figures(line["change_percent"], 2),
                "yes" if line["explains"] else "",
            ]
            for line in run["mishaps"]
        ]
        out.table(
            ["if this had happened", f"change {run['unit']}", "change %", "explains"], rows, title
        )
        if run["deviation"] is None:
            out.say(f"{run['run']}: {run['mishap_verdict']}")
        else:
            off = f"{with_u(run['deviation'], run['u_deviation'])} {run['unit']}"
            out.say(f"{run['run']}: off {run['deviation_from']} by {off}; {run['mishap_verdict']}")
        out.say()


def show_outlying(out: Output, summary: dict[str, Any]) -> None:
    """The robust mean, both parts of the mean's uncertainty, and groups far off with a reason."""
    if summary["runs_in_mean"] < 2:
        return
    unit = summary["unit"]
    robust = ""
    middle = "mean"
    if summary["runs_in_mean"] > 2:
        middle = "robust mean"
        value = with_u(summary["robust_mean"], summary["u_robust_mean"])
        robust = f"robust mean {value} {unit}; "
    sources = ", ".join(one["source"] for one in summary["shared"][:4])
    shared = f" ({sources})" if sources else ""
    out.say(
        f"  {robust}of the mean's uncertainty {figures(summary['u_shared'], 2)} {unit} is shared by"
        f" all{shared}, {figures(summary['u_independent'], 2)} {unit} is the groups' own"
    )
    if summary["deviation"] is not None:
        off = f"{with_u(summary['deviation'], summary['u_deviation'])} {unit}"
        out.say(f"  the {middle} is off what is expected by {off}; {summary['mishap_verdict']}")
    for one in summary["outlying_reasons"]:
        out.say(f"  far from the others: {one['run']}: {one['reason']}")
