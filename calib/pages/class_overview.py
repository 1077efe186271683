"""The overview of one reaction on a class page: all groups as points, the mean, the references."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from calib.pages.class_rows import (
    MOLAR,
    Kind,
    Middle,
    Row,
    at_infinite_dilution,
    at_this_run,
    mean_of,
    middle,
    quantity,
    spread_of,
)
from calib.pages.names import Naming
from calib.pages.small_drawings import Mark, Point, class_points
from calib.pages.typeset import dash, minus, plus_minus, reaction_text, signed
from calib.rounding import figures

SUMMARY_HEADERS = (
    "reaction",
    "groups",
    "unit",
    "mean ± u",
    "standard deviation",
    "expected at these concentrations ± u",
    "at infinite dilution, or published ± u",
    "mean minus expected / %",
)


def reaction_block(
    number: int, kind: Kind, runs: Sequence[dict[str, Any]], summary: Row, naming: Naming
) -> dict[str, Any]:
    """Drawing, sentence and text alternative for the groups of one reaction."""
    name, unit = reaction_text(kind[0]), kind[1]
    points = [p for p in (_point(run) for run in runs) if p is not None]
    marks = _marks(_in_mean([run["row"] for run in runs]), summary)
    ident, label = f"reaction-{number}", f"{'ΔH' if unit == MOLAR else 'result'} / ({unit})"
    lines = "; ".join(f"{m.label} {minus(figures(m.value, 4))}" for m in marks)
    flagged = sum(p.flagged for p in points)
    hollow = f" Hollow diamonds: {flagged} with remarks." if flagged else ""
    if any(p.aside for p in points):
        hollow += " The scale is that of the groups in the mean; an arrow points to one beyond it."
    description = (
        f"{len(points)} group{'s' * (len(points) != 1)} as points with 95 % intervals, smallest at "
        "the top. "
        f"Lines, in {unit}: {lines or 'none'}.{hollow} The table below has every number."
    )
    drawn = [
        class_points(
            points, marks, f"{ident}-{form}", form, f"Every group: {name}", description, label
        )
        for form in ("wide", "narrow")
    ]
    return {
        "name": name,
        "ident": ident,
        "svg": drawn[0] + drawn[1],
        "description": description,
        "sentence": _sentence(summary, len(points), naming),
        "outlying": naming.masked(_outlying(summary)),
    }


def summary_row(kind: Kind, summary: Row, rows: Sequence[Row]) -> tuple[str, ...]:
    """One line of the table of means."""
    mean = mean_of(summary)
    counted = _in_mean(rows)
    here = middle([at_this_run(row) for row in counted])
    dilute = middle([at_infinite_dilution(row) for row in counted])
    left_out = len(summary.get("left_out") or ())
    groups = dash(summary.get("runs"))
    goal = here or dilute
    off = (
        "–"
        if mean.value is None or goal is None or goal.value == 0
        else signed(100 * (mean.value - goal.value) / abs(goal.value))
    )
    return (
        reaction_text(kind[0]),
        f"{summary['runs'] - left_out} of {groups}" if left_out else groups,
        kind[1],
        plus_minus(mean.value, mean.u),
        minus(figures(spread_of(summary), 2)),
        _around(here),
        _around(dilute),
        off,
    )


def _in_mean(rows: Sequence[Row]) -> list[Row]:
    """The rows that the mean is of; all where none is, as for one run alone."""
    return [row for row in rows if row.get("in_mean", True)] or list(rows)


def _around(found: Middle | None) -> str:
    if found is None:
        return "–"
    return minus(figures(found.value, 4)) if found.u is None else plus_minus(found.value, found.u)


def _sentence(summary: Row, groups: int, naming: Naming) -> str:
    mean = mean_of(summary)
    if mean.value is None:
        return f"{groups} group{'s' * (groups != 1)}; no mean was taken."
    spread = spread_of(summary)
    scatter = (
        f", standard deviation between groups {figures(spread, 2)} {mean.unit}"
        if spread is not None
        else ""
    )
    left_out = [str(run) for run in summary.get("left_out") or ()]
    said_out = ""
    if left_out:
        said_out = naming.masked(
            f" Left out of the mean, each with its reason in the table below: "
            f"{', '.join(left_out)}."
        )
        groups -= len(left_out)
    if groups == 1:
        return f"One group: {plus_minus(mean.value, mean.u)} {mean.unit}.{said_out}"
    said = f"Mean of {groups} groups: {plus_minus(mean.value, mean.u)} {mean.unit}{scatter}."
    said += said_out + _robust(summary, groups, mean.unit)
    shared, own = summary.get("u_shared"), summary.get("u_independent")
    if shared is not None and own is not None:
        said += (
            f" Of its standard uncertainty {figures(shared, 2)} {mean.unit} is shared by all "
            f"groups and {figures(own, 2)} {mean.unit} is their own."
        )
    sources = [str(one["source"]) for one in summary.get("shared") or ()]
    if sources:
        said += f" Shared: {', '.join(sources)}."
    if summary.get("deviation") is not None:
        off = plus_minus(summary["deviation"], summary.get("u_deviation"))
        which = "robust mean" if groups > 2 else "mean"
        said += (
            f" The {which} is off what is expected by {off} {mean.unit}; "
            f"{summary['mishap_verdict']}."
        )
    return said


def _robust(summary: Row, groups: int, unit: str) -> str:
    """The centre in which groups far off count less, where there are enough to tell."""
    middle = summary.get("robust_mean")
    if middle is None or groups < 3:
        return ""
    value = plus_minus(middle, summary.get("u_robust_mean"))
    return f" Robust mean, in which groups far off count less: {value} {unit}."


def _outlying(summary: Row) -> str:
    outlying = [str(run) for run in summary.get("outlying") or ()]
    if not outlying:
        return ""
    reasons = {str(one["run"]): str(one["reason"]) for one in summary.get("outlying_reasons") or ()}
    named = [f"{run} ({reasons[run]})" if run in reasons else run for run in outlying]
    return f"Far from the others, by more than three times what explains it: {'; '.join(named)}."


def _point(run: Mapping[str, Any]) -> Point | None:
    result = quantity(run["row"])
    if result.value is None:
        return None
    low, high = result.interval95 or (result.value, result.value)
    return Point(
        run["number"], run["label"], result.value, low, high, bool(run["warnings"]),
        aside=not run["row"].get("in_mean", True),
    )  # fmt: skip


def _marks(rows: Sequence[Row], summary: Row) -> list[Mark]:
    """Mean and references, each with the band of its 95 % interval over the runs."""
    marks, mean = [], mean_of(summary)
    if mean.value is not None:
        low, high = mean.interval95 or (mean.value, mean.value)
        marks.append(Mark("mean, 95 %", mean.value, (high - low) / 2, "insulated"))
    here = middle([at_this_run(row) for row in rows])
    dilute = middle([at_infinite_dilution(row) for row in rows])
    if here is not None:
        marks.append(Mark("expected here, 95 %", here.value, here.half_width95, "after"))
    if dilute is not None:
        # a metal's specific heat or ice's heat of fusion has a published value, no dilution
        label = "infinite dilution" if mean.unit == MOLAR else "published"
        marks.append(Mark(label, dilute.value, dilute.half_width95, "release"))
    return marks
