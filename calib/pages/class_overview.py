"""The overview of one reaction on a class page: all groups as points, the mean, the references."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from calib.pages.small_drawings import Mark, Point, class_points
from calib.pages.typeset import minus, plus_minus, reaction_text
from calib.rounding import figures

Row = Mapping[str, Any]


def reaction_block(
    number: int, name: str, runs: Sequence[dict[str, Any]], summary: Row
) -> dict[str, Any]:
    """Drawing, sentence and text alternative for the groups of one reaction."""
    points = [p for p in (_point(run) for run in runs) if p is not None]
    marks = _marks([run["row"] for run in runs], summary)
    ident, title = f"reaction-{number}", f"ΔH of every group: {reaction_text(name)}"
    lines = "; ".join(f"{m.label.lower()} {minus(figures(m.value, 4))}" for m in marks)
    flagged = sum(p.flagged for p in points)
    description = (
        f"{len(points)} groups as points with their 95 % intervals, smallest at the top. "
        f"Lines, in kJ/mol: {lines or 'none'}. "
        f"{flagged} with remarks stand out as hollow diamonds. The table below has every number."
    )
    svg = class_points(
        points, marks, f"{ident}-wide", "wide", title, description, "ΔH / (kJ/mol)"
    ) + class_points(
        points, marks, f"{ident}-narrow", "narrow", title, description, "ΔH / (kJ/mol)"
    )
    return {
        "name": reaction_text(name),
        "ident": ident,
        "svg": svg,
        "description": description,
        "sentence": _sentence(summary, len(points)),
    }


def _sentence(summary: Row, groups: int) -> str:
    mean = summary.get("mean_kJ_per_mol")
    if mean is None:
        return f"{groups} groups; no mean was taken."
    spread = summary.get("sd_kJ_per_mol")
    scatter = (
        f", standard deviation between groups {minus(figures(spread, 2))} kJ/mol"
        if spread is not None
        else ""
    )
    said = (
        f"Mean of {groups} groups: {plus_minus(mean, summary.get('u_mean_kJ_per_mol'))} kJ/mol"
        f"{scatter}."
    )
    shared, own = summary.get("u_shared_kJ_per_mol"), summary.get("u_independent_kJ_per_mol")
    if shared is not None and own is not None:
        said += (
            f" Of its standard uncertainty {figures(shared, 2)} kJ/mol is shared by all groups "
            f"(stock, cups, sensors) and {figures(own, 2)} kJ/mol is theirs alone."
        )
    return said


def _point(run: Mapping[str, Any]) -> Point | None:
    row = run["row"]
    value = row.get("dH_kJ_per_mol")
    if value is None or not math.isfinite(value):
        return None
    low, high = row.get("interval95_kJ_per_mol") or (math.nan, math.nan)
    return Point(run["number"], run["label"], value, low, high, bool(run["warnings"]))


def _marks(rows: Sequence[Row], summary: Row) -> list[Mark]:
    """Mean and reference values; a reference that differs from run to run is shown as its mean."""
    marks = []
    mean, u = summary.get("mean_kJ_per_mol"), summary.get("u_mean_kJ_per_mol")
    if mean is not None:
        marks.append(Mark("Mean ± 2 u", mean, 2 * (u or 0.0), "insulated"))
    here = _common(rows, summary, "reference_kJ_per_mol")
    dilute = _common(rows, summary, "reference_infinite_dilution_kJ_per_mol")
    if here is not None:
        label = "Reference" if dilute is None else "Reference at this concentration"
        marks.append(Mark(label, *here, style="after"))
    if dilute is not None:
        marks.append(Mark("Reference at infinite dilution", *dilute, style="release"))
    return marks


def _common(rows: Sequence[Row], summary: Row, key: str) -> tuple[float, float] | None:
    found = [row[key] for row in rows if row.get(key) is not None]
    if not found and summary.get(key) is not None:
        found = [summary[key]]
    if not found:
        return None
    middle = sum(found) / len(found)
    return middle, max(abs(value - middle) for value in found)


def middle_reference(rows: Sequence[Row], summary: Row, key: str) -> float | None:
    """The runs' mean of one reference value, or the summary's own; None where there is none."""
    found = _common(rows, summary, key)
    return None if found is None else found[0]
