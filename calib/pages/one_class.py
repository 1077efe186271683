"""The page of a class: every group's enthalpy, with its curve, budget and remarks on demand."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from calib.pages.class_overview import middle_reference, reaction_block
from calib.pages.explanations import NUMBERS
from calib.pages.names import Naming
from calib.pages.one_curve import DEFAULT_CAUTIONS, listed_meaning
from calib.pages.rendering import render
from calib.pages.small_drawings import small_curve
from calib.pages.typeset import dash, minus, plus_minus, reaction_text, signed, span
from calib.rounding import figures

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected
    from fitting.curve import Curve

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class _Cell:
    text: str
    key: str  # what the script sorts by: a number, a text, or nothing


@dataclass(frozen=True, slots=True)
class _Column:
    title: str
    css: str


_COLUMNS = (
    _Column("group", ""),
    _Column("reaction", "wordy rare"),
    _Column("apparatus", "rare"),
    _Column("rise / K", "n rare"),
    _Column("ΔH / (kJ/mol)", "n"),
    _Column("minus reference / %", "n rare"),
    _Column("remarks", "n rare"),
)
_SUMMARY = (
    "reaction",
    "groups",
    "mean ± u / (kJ/mol)",
    "standard deviation",
    "reference here",
    "at infinite dilution",
    "mean minus reference / %",
)


def class_page(
    enthalpy: Mapping[str, Any],
    curves: Mapping[str, tuple[Curve, Corrected]] | None = None,
    *,
    title: str = "Molar enthalpies of a class",
    cautions: Sequence[str] = DEFAULT_CAUTIONS,
    mishaps: Mapping[str, Sequence[Row]] | None = None,
    anonymous: bool = False,
    notes: Sequence[str] = (),
) -> str:
    """One HTML page for one table of runs.

    Args:
        enthalpy: what ``EnthalpyReport.to_json()`` gives: ``runs``, ``summary``, ``errors``.
        curves: the logged curve and its correction by the run's label, where there is one.
        title: heading of the page.
        cautions: sentences for the people at the bench.
        mishaps: by the run's label, rows with ``name``, ``change_kJ_per_mol``, ``change_percent``
            and ``explains`` (true where it would explain the group's deviation), best first.
        anonymous: write numbers instead of names; the names are then nowhere in the file.
        notes: further sentences for the section on how it was computed.

    Returns:
        the page as text, to be written with `write_page`.
    """
    rows = list(enthalpy.get("runs", ()))
    naming = Naming([str(row["run"]) for row in rows], anonymous=anonymous)
    reactions = _reactions(rows, enthalpy)
    problems = list(enthalpy.get("errors", ()))
    known = curves or {}
    runs = [
        _run(row, i, naming, reactions, known.get(str(row["run"])), (mishaps or {}))
        for i, row in enumerate(rows, 1)
    ]
    used = sorted({str(row["method"]) for row in rows if row.get("method")})
    return render(
        "class.html.jinja",
        script="class.js",
        title=title,
        subtitle=_subtitle(rows, reactions, problems),
        anonymous=anonymous,
        reactions=[
            reaction_block(i, name, [r for r in runs if r["reaction_number"] == i], summary)
            for i, (name, summary) in enumerate(reactions.items(), 1)
        ],
        summary_headers=_SUMMARY,
        summary_rows=[
            _summary_row(name, s, [r["row"] for r in runs if r["reaction_number"] == i])
            for i, (name, s) in enumerate(reactions.items(), 1)
        ],
        columns=_COLUMNS,
        runs=runs,
        problems=[
            (
                naming.shown_text(str(p.get("row") or "–")),
                str(p.get("column") or "–"),
                naming.masked(str(p.get("message") or "")),
            )
            for p in problems
        ],
        meanings=[NUMBERS[n] for n in ("rise", "heat", "extent", "dH", "u_dH", "mean")]
        + [NUMBERS[n] for n in ("reference", "constant", "share")],
        method_meanings=[listed_meaning(name) for name in used],
        cautions=tuple(cautions),
        notes=tuple(notes),
    )


def _reactions(rows: Sequence[Row], enthalpy: Mapping[str, Any]) -> dict[str, Row]:
    """Reactions in the order of their first group, with their summary where there is one."""
    summaries = {str(s.get("reaction", "")): s for s in enthalpy.get("summary", ())}
    only = next(iter(summaries)) if len(summaries) == 1 else ""
    return {
        name: summaries.get(name, {})
        for name in dict.fromkeys(str(row.get("reaction") or only or "all runs") for row in rows)
    }


def _subtitle(rows: Sequence[Row], reactions: Mapping[str, Row], problems: Sequence[Row]) -> str:
    groups = f"{len(rows)} group{'s' if len(rows) != 1 else ''}"
    kinds = f"{len(reactions)} reaction{'s' if len(reactions) != 1 else ''}"
    if not problems:
        return f"{groups}, {kinds}; every row could be used."
    lost = len({p.get("row") for p in problems})
    return f"{groups}, {kinds}; {lost} row{'s' if lost != 1 else ''} could not be used."


def _summary_row(name: str, summary: Row, rows: Sequence[Row]) -> tuple[str, ...]:
    mean = summary.get("mean_kJ_per_mol")
    reference = middle_reference(rows, summary, "reference_kJ_per_mol")
    dilute = middle_reference(rows, summary, "reference_infinite_dilution_kJ_per_mol")
    return (
        reaction_text(name),
        dash(summary.get("runs")),
        plus_minus(mean, summary.get("u_mean_kJ_per_mol")),
        minus(figures(summary.get("sd_kJ_per_mol"), 2)),
        minus(figures(reference, 4)),
        minus(figures(dilute, 4)),
        _percent(_deviation(mean, reference)),
    )


def _deviation(value: float | None, reference: float | None) -> float | None:
    """How far a value lies beyond its reference, in per cent of the reference's size."""
    if value is None or not reference:
        return None
    return 100 * (value - reference) / abs(reference)


def _percent(value: float | None) -> str:
    return "–" if value is None else signed(value)


def _run(
    row: Row,
    number: int,
    naming: Naming,
    reactions: Mapping[str, Row],
    logged: tuple[Curve, Corrected] | None,
    mishaps: Mapping[str, Sequence[Row]],
) -> dict[str, Any]:
    label = str(row["run"])
    names = list(reactions)
    reaction = str(row.get("reaction") or (names[0] if len(names) == 1 else "all runs"))
    warnings = [naming.masked(str(text), label) for text in row.get("warnings") or ()]
    svg, figure_text = _drawing(number, logged)
    return {
        "number": number,
        "label": naming.shown(label),
        "row": row,
        "reaction_number": names.index(reaction) + 1,
        "cells": _cells(row, reaction, len(warnings)),
        "opens": "curve" if svg else "details",
        "svg": svg,
        "figure_text": figure_text,
        "facts": _facts(row),
        "warnings": warnings,
        "budget": [
            (str(b["source"]), minus(figures(b.get("u_kJ_per_mol"), 2)), _share(b))
            for b in row.get("budget") or ()
        ],
        "mishaps": [
            (
                str(m["name"]),
                signed(m["change_kJ_per_mol"], 2),
                _percent(m.get("change_percent")),
                "yes" if m.get("explains") else "no",
            )
            for m in mishaps.get(label, ())
        ],
    }


def _share(line: Row) -> str:
    share = line.get("share_percent")
    return "–" if share is None else minus(f"{share:.1f}")


def _cells(row: Row, reaction: str, remarks: int) -> list[_Cell]:
    value, rise = row.get("dH_kJ_per_mol"), row.get("rise_K")
    deviation = _deviation(value, row.get("reference_kJ_per_mol"))
    return [
        _Cell(reaction_text(reaction), reaction),
        _Cell(str(row.get("apparatus") or "–"), str(row.get("apparatus") or "")),
        _Cell(plus_minus(rise, row.get("u_rise_K")), _key(rise)),
        _Cell(plus_minus(value, row.get("u_dH_kJ_per_mol")), _key(value)),
        _Cell(_percent(deviation), _key(deviation)),
        _Cell(str(remarks) if remarks else "", str(remarks)),
    ]


def _key(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else repr(float(value))


def _facts(row: Row) -> list[tuple[str, str]]:
    constant = plus_minus(row.get("constant_J_per_K"), row.get("u_constant_J_per_K"))
    number = row.get("constant_id")
    facts = [
        ("ΔH", f"{plus_minus(row.get('dH_kJ_per_mol'), row.get('u_dH_kJ_per_mol'))} kJ/mol"),
        ("95 % interval", f"{span(row.get('interval95_kJ_per_mol'))} kJ/mol"),
        ("reference", f"{minus(figures(row.get('reference_kJ_per_mol'), 4))} kJ/mol"),
        ("corrected rise", f"{plus_minus(row.get('rise_K'), row.get('u_rise_K'))} K"),
        ("correction", listed_meaning(str(row.get("method") or "–")).name),
        ("heat released", f"{minus(figures(row.get('heat_J'), 5))} J"),
        ("extent", f"{figures(row.get('extent_mol'), 4)} mol"),
        ("limiting", reaction_text(str(row.get("limiting") or "–"))),
        ("apparatus", str(row.get("apparatus") or "–")),
        ("its constant", f"{constant} J/K" + (f", no. {number}" if number is not None else "")),
    ]
    reported = row.get("reported_kJ_per_mol")
    if reported is not None:
        facts.insert(1, ("the group's own answer", f"{minus(figures(reported, 5))} kJ/mol"))
    return facts


def _drawing(number: int, logged: tuple[Curve, Corrected] | None) -> tuple[Markup | str, str]:
    if logged is None:
        return "", ""
    curve, corrected = logged
    chosen = corrected.chosen
    text = (
        f"{len(curve)} readings; blue: fore line, brown: after line, dashed where traced back; "
        f"square to diamond: the rise, {plus_minus(chosen.rise_K, chosen.u_rise_K)} K. "
        f"{corrected.rule}"
    )
    description = (
        f"Temperature from {minus(f'{chosen.before_C:.2f}')} °C before mixing to "
        f"{minus(f'{corrected.final_C:.2f}')} °C without loss."
    )
    ident = f"curve-{number}"
    return small_curve(curve, corrected, ident, "Curve and correction", description), text
