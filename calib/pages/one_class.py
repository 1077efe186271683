"""The page of a class: every group's enthalpy, with its curve, budget and remarks on demand."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from calib.pages.class_overview import SUMMARY_HEADERS, reaction_block, summary_row
from calib.pages.class_rows import (
    MOLAR,
    Kind,
    Row,
    at_infinite_dilution,
    at_this_run,
    deviation_percent,
    kind_of,
    quantity,
)
from calib.pages.curve_meanings import listed_meaning
from calib.pages.explanations import NUMBERS
from calib.pages.names import Naming
from calib.pages.one_curve import DEFAULT_CAUTIONS
from calib.pages.rendering import render
from calib.pages.small_drawings import small_curve
from calib.pages.typeset import minus, plus_minus, reaction_text, signed, span
from calib.rounding import figures

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected
    from fitting.curve import Curve


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
    _Column("result", "n"),
    _Column("minus expected / %", "n rare"),
    _Column("remarks", "n rare"),
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
        mishaps: by the run's label, rows with ``name``, ``change_kJ_per_mol`` (or ``change`` in
            the result's own unit), ``change_percent`` and ``explains`` (true where it would explain
            the group's deviation), best first; by default those that stand in ``enthalpy``.
        anonymous: write numbers instead of names; the names are then nowhere in the file.
        notes: further sentences for the section on how it was computed.

    Returns:
        the page as text, to be written with `write_page`.
    """
    rows = list(enthalpy.get("runs", ()))
    problems = list(enthalpy.get("errors", ()))
    naming = Naming(
        [str(row["run"]) for row in rows],
        anonymous=anonymous,
        unused=[str(problem["row"]) for problem in problems if problem.get("row")],
    )
    kinds = _kinds(rows, enthalpy)
    known = curves or {}
    runs = [
        _run(row, i, naming, list(kinds), known.get(str(row["run"])), mishaps or {})
        for i, row in enumerate(rows, 1)
    ]
    by_kind = [[r for r in runs if r["reaction_number"] == i] for i in range(1, len(kinds) + 1)]
    return render(
        "class.html.jinja",
        script="class.js",
        title=title,
        subtitle=_subtitle(rows, len(kinds), problems),
        anonymous=anonymous,
        reactions=[
            reaction_block(i, kind, by_kind[i - 1], summary, naming)
            for i, (kind, summary) in enumerate(kinds.items(), 1)
        ],
        summary_headers=SUMMARY_HEADERS,
        summary_rows=[
            summary_row(kind, summary, [r["row"] for r in own])
            for (kind, summary), own in zip(kinds.items(), by_kind, strict=True)
        ],
        columns=_COLUMNS,
        runs=runs,
        problems=[_problem(p, naming) for p in problems],
        meanings=[NUMBERS[n] for n in ("rise", "heat", "extent", "dH", "u_dH", "mean")]
        + [NUMBERS[n] for n in ("reference", "constant", "share")],
        method_meanings=[listed_meaning(name) for name in _methods_in_use(rows)],
        hazards=tuple(str(one["words"]) for one in enthalpy.get("hazards", ())),
        cautions=tuple(cautions),
        notes=[naming.masked(str(note)) for note in (*notes, *(enthalpy.get("notes") or ()))],
    )


def _kinds(rows: Sequence[Row], enthalpy: Mapping[str, Any]) -> dict[Kind, Row]:
    """Reactions in the order of their first group, with their summary where there is one."""
    summaries = {kind_of(summary): summary for summary in enthalpy.get("summary", ())}
    return {kind: summaries.get(kind, {}) for kind in dict.fromkeys(kind_of(row) for row in rows)}


def _methods_in_use(rows: Sequence[Row]) -> list[str]:
    from fitting.corrections import METHODS

    used = {str(row["method"]) for row in rows if row.get("method")}
    return [name for name in METHODS if name in used]


def _problem(problem: Row, naming: Naming) -> tuple[Any, ...]:
    more = [
        f"{word} {problem[key]}"
        for key, word in (("found", "found"), ("expected", "expected"), ("remedy", "what to do:"))
        if problem.get(key) and not (naming.anonymous and key == "found" and _words(problem[key]))
    ]
    message = "; ".join([str(problem.get("message") or ""), *more])
    return (
        naming.shown_text(str(problem.get("row") or "–")),
        str(problem.get("column") or "–"),
        naming.masked(message),
    )


def _words(found: object) -> bool:
    """Whether what was found holds letters, and so may hold a name."""
    text = str(found)
    return text not in ("an empty cell", "no such column") and any(map(str.isalpha, text))


def _subtitle(rows: Sequence[Row], reactions: int, problems: Sequence[Row]) -> str:
    groups = f"{len(rows)} group{'s' if len(rows) != 1 else ''}"
    kinds = f"{reactions} reaction{'s' if reactions != 1 else ''}"
    if not problems:
        return f"{groups}, {kinds}; every row could be used."
    lost = len({p.get("row") for p in problems})
    return f"{groups}, {kinds}; {lost} row{'s' if lost != 1 else ''} could not be used."


def _run(
    row: Row,
    number: int,
    naming: Naming,
    kinds: Sequence[Kind],
    logged: tuple[Curve, Corrected] | None,
    mishaps: Mapping[str, Sequence[Row]],
) -> dict[str, Any]:
    label = str(row["run"])
    others = str(row.get("suspected") or "")  # may name other groups
    warnings = [
        naming.masked(str(text), None if others and others in str(text) else label)
        for text in row.get("warnings") or ()
    ]
    svg, figure_text = _drawing(number, logged)
    return {
        "number": number,
        "label": naming.shown(label),
        "row": row,
        "reaction_number": kinds.index(kind_of(row)) + 1,
        "cells": _cells(row, len(warnings)),
        "opens": "curve" if svg else "details",
        "svg": svg,
        "figure_text": figure_text,
        "facts": _facts(row),
        "warnings": warnings,
        "budget_unit": quantity(row).unit,
        "budget": [
            (str(b["source"]), figures(b.get("u_kJ_per_mol", b.get("u")), 2), _share(b))
            for b in row.get("budget") or ()
        ],
        "without": [
            (
                str(w["left_out"]),
                minus(figures(w.get("result_kJ_per_mol"), 4)),
                _percent(w.get("shift_percent")),
            )
            for w in row.get("without") or ()
        ],
        "mishaps": [
            (
                f"{m['name']}, either way" if m.get("either_way") else str(m["name"]),
                minus(figures(_change(m), 2)),
                _percent(m.get("change_percent")),
                "yes" if m.get("explains") else "no",
            )
            for m in mishaps.get(label, row.get("mishaps") or ())
        ],
        "verdict": _verdict(row),
    }


def _change(mishap: Row) -> float | None:
    own = mishap.get("change_kJ_per_mol")
    return own if own is not None else mishap.get("change")


def _verdict(row: Row) -> str:
    """The run's deviation, and what would explain it, in a sentence or two."""
    said = str(row.get("mishap_verdict") or "")
    deviation = row.get("deviation")
    if not said or deviation is None:
        return said
    off = f"{plus_minus(deviation, row.get('u_deviation'))} {row.get('unit') or MOLAR}"
    return f"Off {row.get('deviation_from')} by {off}; {said}."


def _percent(value: float | None) -> str:
    return "–" if value is None else signed(value)


def _share(line: Row) -> str:
    share = line.get("share_percent")
    return "–" if share is None else minus(f"{share:.1f}")


def _cells(row: Row, remarks: int) -> list[_Cell]:
    result, rise, reaction = quantity(row), row.get("rise_K"), kind_of(row)[0]
    deviation = deviation_percent(row)
    return [
        _Cell(reaction_text(reaction), reaction),
        _Cell(str(row.get("apparatus") or "–"), str(row.get("apparatus") or "")),
        _Cell(plus_minus(rise, row.get("u_rise_K")), _key(rise)),
        _Cell(f"{plus_minus(result.value, result.u)} {result.unit}", _key(result.value)),
        _Cell(_percent(deviation), _key(deviation)),
        _Cell(str(remarks) if remarks else "", str(remarks)),
    ]


def _key(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else repr(float(value))


def _facts(row: Row) -> list[tuple[str, str]]:
    result, here, dilute = quantity(row), at_this_run(row), at_infinite_dilution(row)
    constant = plus_minus(row.get("constant_J_per_K"), row.get("u_constant_J_per_K"))
    number = f", no. {row['constant_id']}" if row.get("constant_id") is not None else ""
    method = str(row.get("method") or "–")
    heat = plus_minus(row.get("heat_J"), row.get("u_heat_J"))
    facts = [
        ("result", f"{plus_minus(result.value, result.u)} {result.unit}"),
        *((("which is", reaction_text(str(row["per"]))),) if row.get("per") else ()),
        ("95 % interval", f"{span(result.interval95)} {result.unit}"),
    ]
    reported = row.get("reported_kJ_per_mol")
    if reported is not None:
        facts.append(("the group's own answer", f"{minus(figures(reported, 5))} kJ/mol"))
    if here is not None:
        facts.append(
            ("expected at its concentration", f"{plus_minus(here.value, here.u)} {result.unit}")
        )
        if row.get("expected_band"):
            facts.append(("which", minus(str(row["expected_band"]))))
    elif row.get("why_no_expected"):
        facts.append(("expected at its concentration", f"not given: {row['why_no_expected']}"))
    if dilute is not None:
        name = "at infinite dilution" if result.unit == MOLAR else "published"
        facts.append((name, f"{plus_minus(dilute.value, dilute.u)} {result.unit}"))
    return [
        *facts,
        ("corrected rise", f"{plus_minus(row.get('rise_K'), row.get('u_rise_K'))} K"),
        ("correction", listed_meaning(method).name),
        ("heat released", f"{heat} J"),
        ("extent", f"{figures(row.get('extent_mol'), 4)} mol"),
        ("limiting", reaction_text(str(row.get("limiting") or "–"))),
        ("apparatus", str(row.get("apparatus") or "–")),
        ("its constant", f"{constant} J/K{number}"),
    ]


def _drawing(number: int, logged: tuple[Curve, Corrected] | None) -> tuple[Markup | str, str]:
    if logged is None:
        return "", ""
    curve, corrected = logged
    chosen = corrected.chosen
    text = (
        f"{len(curve)} readings; blue: fore line, brown: after line, dashed where traced back; "
        f"square to diamond: the rise, {plus_minus(chosen.rise_K, chosen.u_rise_K)} K. "
        f"{corrected.rule[:1].upper()}{corrected.rule[1:]}."
    )
    description = (
        f"Temperature from {minus(f'{chosen.before_C:.2f}')} °C before mixing to "
        f"{minus(f'{corrected.final_C:.2f}')} °C without loss."
    )
    ident = f"curve-{number}"
    return small_curve(curve, corrected, ident, "Curve and correction", description), text
