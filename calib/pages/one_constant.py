"""The certificate of one constant: what is on file for a cup, on one sheet of paper."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import accumulate, takewhile
from typing import TYPE_CHECKING, Any

from calib.pages.explanations import NUMBERS, Meaning
from calib.pages.figures import FigureBlock, draw_svg
from calib.pages.rendering import render
from calib.pages.typeset import dash, minus, plus_minus, signed, span
from calib.rounding import figures
from fitting.drawings.style import INK, LIGHT, tidy_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from calib.registry.records import StoredConstant

Row = Mapping[str, Any]

_MOST_RUN_LINES = 12  # lines of the table that leave room for the rest on one sheet
_LABEL_WIDTH = 15  # letters of a run's label on one line
_MOST_REMARK_LINES = 7
_REMARK_WIDTH = 100  # letters
_MOST_BUDGET = 7
_MOST_DIGESTS = 8
_CAUTION = (
    "Calibrations use hot water and glass, some also acids, bases or a heater: the safety data "
    "sheets, the local rules and the qualified staff in charge come first."
)
_RUN_HEADERS = ("run", "date", "constant / (J/K)", "minus value / u")


def certificate_page(
    constant: StoredConstant,
    runs: Sequence[Row] | None = None,
    *,
    budget: Sequence[Row] | None = None,
    title: str = "",
    chain_head: str = "",
) -> str:
    """One HTML page that prints on one sheet of A4.

    Args:
        constant: a constant from the registry.
        runs: one mapping a run: ``run``, ``date``, ``constant_J_per_K``,
            ``u_constant_J_per_K``; None takes what is stored with the constant.
        budget: ``source``, ``u_J_per_K``, ``share_percent``, the largest come first; None takes
            what is stored.
        title: heading of the page; made from the apparatus where empty.
        chain_head: newest hash of the registry's chain, by which the registry can be verified.

    Returns:
        the page as text, to be written with `write_page`.
    """
    details = _details(constant)
    listed = list(details.get("runs", ()) if runs is None else runs)
    found = [row for row in listed if _value(row) is not None]
    edges = constant.interval95_J_per_K
    told = details.get("budget", ()) if budget is None else budget
    shown = listed[: _fitting(map(_label_lines, listed), _MOST_RUN_LINES)]
    lines = sorted(told, key=lambda line: -abs(line.get("u_J_per_K") or 0.0))
    return render(
        "certificate.html.jinja",
        title=title or f"Calibration certificate: {constant.apparatus}",
        subtitle=(
            f"{constant.kind or 'Kind not stated'}. Constant no. {constant.id}, {constant.status}."
        ),
        withdrawn=_no_longer(constant),
        constant=plus_minus(constant.constant_J_per_K, constant.u_constant_J_per_K),
        interval=span(edges),
        loss=_loss(constant),
        validity=_validity(constant),
        budget=[_budget_line(line) for line in lines[:_MOST_BUDGET]],
        figure=_figure(constant, found, edges) if found else None,
        run_headers=_RUN_HEADERS,
        runs=[_run(row, constant) for row in shown],
        more_runs=_more_runs(len(listed) - len(shown)),
        warnings=_warnings(constant),
        meanings=_meanings(constant),
        caution=_CAUTION,
        record=_record(constant, chain_head),
        digests=[digest[:12] for digest in constant.digests[:_MOST_DIGESTS]],
        more_digests=max(len(constant.digests) - _MOST_DIGESTS, 0),
    )


def _details(constant: StoredConstant) -> dict[str, Any]:
    """What the calibration left beside the raw rows: runs, budget, interval."""
    details = json.loads(constant.details_json or "{}")
    return details if isinstance(details, dict) else {}


def _value(row: Row) -> float | None:
    value = row.get("constant_J_per_K")
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else None


def _u(row: Row) -> float | None:
    u = row.get("u_constant_J_per_K")
    return float(u) if isinstance(u, int | float) and math.isfinite(u) and u > 0 else None


def _no_longer(constant: StoredConstant) -> str:
    if constant.status == "withdrawn":
        return f"Withdrawn: {constant.withdrawn_why or 'no reason on file'}. Do not use."
    if constant.status == "superseded":
        by = f" by constant no. {constant.superseded_by}" if constant.superseded_by else ""
        return f"Superseded{by}; in force for runs before {dash(constant.valid_to)} only."
    if constant.status == "draft":
        return "Draft: not yet approved, no run uses it."
    return ""


def _loss(constant: StoredConstant) -> str:
    parts = []
    if constant.heat_loss_W_per_K is not None:
        loss = plus_minus(constant.heat_loss_W_per_K, constant.u_heat_loss_W_per_K)
        parts.append(f"Heat-loss conductance G {loss} W/K.")
    if constant.sensor_lag_s is not None:
        parts.append(f"Sensor lag {figures(constant.sensor_lag_s, 2)} s.")
    if constant.wall_part_J_per_K is not None:
        part = figures(abs(constant.wall_part_J_per_K), 2)
        parts.append(
            f"Of its u, {part} J/K come from what the cup's wall hides of every rise; runs in this "
            "cup share that, and most of it cancels in their enthalpies."
        )
    return " ".join(parts)


def _validity(constant: StoredConstant) -> list[tuple[str, str]]:
    until = "until further notice" if constant.valid_to is None else f"to {constant.valid_to}"
    recheck = [str(constant.recheck_due)] if constant.recheck_due else []
    if constant.recheck_uses is not None:
        recheck.append(f"after {constant.recheck_uses} uses ({constant.uses} so far)")
    spread, slope = constant.between_run_sd_J_per_K, constant.fill_slope_J_per_K_per_mL
    rows = [
        ("in force", f"from {constant.valid_from} {until}"),
        ("recheck due", ", or ".join(recheck) or "not set"),
        ("fill it was found in", _range(constant.fill_mL, "mL")),
        ("temperatures it was found in", _range(constant.temperature_C, "°C")),
        ("method", constant.method),
        ("runs", str(constant.runs)),
        ("standard deviation between runs", "–" if spread is None else f"{figures(spread, 2)} J/K"),
    ]
    if slope is not None:
        line = plus_minus(slope, constant.u_fill_slope_J_per_K_per_mL)
        at = figures(constant.fill_reference_mL, 4)
        rows.insert(3, ("change with the fill", f"{line} J/(K mL), about {at} mL"))
    return rows


def _range(pair: tuple[float, float] | None, unit: str) -> str:
    if pair is None:
        return "not on file"
    return minus(f"{figures(pair[0], 4)} to {figures(pair[1], 4)} {unit}")


def _budget_line(line: Row) -> tuple[str, str, str]:
    share = line.get("share_percent")
    return (
        str(line["source"]),
        minus(figures(line.get("u_J_per_K"), 2)),
        "–" if share is None else minus(f"{share:.0f}"),
    )


def _run(row: Row, constant: StoredConstant) -> tuple[str, ...]:
    value, u = _value(row), _u(row)
    off = "–" if value is None or u is None else signed((value - constant.constant_J_per_K) / u)
    return dash(row.get("run")), dash(row.get("date")), plus_minus(value, u), off


def _label_lines(row: Row) -> int:
    return -(-len(str(row.get("run") or "–")) // _LABEL_WIDTH)


def _fitting(lines: Iterable[int], most: int) -> int:
    """How many of the first entries, each of so many lines, fit into ``most`` lines; at least 1."""
    used = accumulate(lines)
    return max(sum(1 for _ in takewhile(lambda total: total <= most, used)), 1)


def _more_runs(more: int) -> str:
    if more <= 0:
        return ""
    what = "1 further run is" if more == 1 else f"{more} further runs are"
    return f"{what} in the drawing and on file."


def _figure(
    constant: StoredConstant, runs: Sequence[Row], edges: tuple[float, float]
) -> FigureBlock:
    low, high = edges
    description = (
        f"Constants of {len(runs)} single runs with intervals of two standard uncertainties; "
        f"the line is the value, {minus(figures(constant.constant_J_per_K, 4))} J/K, the band its "
        f"95 % interval, {span((low, high))} J/K."
    )

    def draw(ax: Axes) -> None:
        ax.axhspan(low, high, color=LIGHT["insulated"], alpha=0.18, linewidth=0)
        ax.axhline(constant.constant_J_per_K, color=LIGHT["insulated"])
        for at, row in enumerate(runs, 1):
            value, u = _value(row), _u(row)
            if value is not None:
                ax.errorbar(
                    [at],
                    [value],
                    yerr=[2 * (u or 0.0)],
                    fmt="o",
                    color=LIGHT["fore"],
                    ecolor=INK,
                    markersize=5,
                    capsize=3,
                    elinewidth=1.0,
                )
        tidy_axes(ax, "run, in the order of the table", "constant / (J/K)")
        ax.set_xlim(0.4, len(runs) + 0.6)
        ax.locator_params(axis="x", integer=True)

    title = "Single runs and the value"
    svg = draw_svg(draw, "figure-runs", title, description, wide=(4.4, 2.3), narrow=None)
    return FigureBlock("figure-runs", title, description, svg)


def _warnings(constant: StoredConstant) -> list[str]:
    failed = [f"Quality not met: {constant.failed_quality}"] if constant.failed_quality else []
    every = failed + list(constant.warnings)
    count = _fitting((-(-len(one) // _REMARK_WIDTH) for one in every), _MOST_REMARK_LINES)
    more = len(every) - count
    on_file = [f"{more} more on file: cupledger constants --apparatus {constant.apparatus}"]
    return every[:count] + (on_file if more > 0 else [])


def _meanings(constant: StoredConstant) -> list[Meaning]:
    names = ["constant", "between", "share"]
    if constant.heat_loss_W_per_K is not None:
        names.insert(1, "loss")
    return [NUMBERS[name] for name in names]


def _record(constant: StoredConstant, chain_head: str) -> str:
    made = f"Made by {constant.made_by} on {constant.made_at.isoformat()[:10]}"
    said = f"{made} with cupledger {constant.software_version}."
    if constant.approved_at is not None:
        said += f" Approved by {constant.approved_by} on {constant.approved_at.isoformat()[:10]}"
        said += f": {constant.approved_why}." if constant.approved_why else "."
    if constant.note:
        said += f" Note: {constant.note.rstrip('.')}."
    said += f" Registry entry {constant.uid}."
    if chain_head:  # in parts of eight, so that the line can be folded on the sheet
        parts = " ".join(chain_head[at : at + 8] for at in range(0, len(chain_head), 8))
        said += f" Head of the registry's chain of hashes: {parts}."
    return said
