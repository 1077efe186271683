"""Pages of marking: the worked answer of one run, and the feedback sheets of a class."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from calib.classwork.worked.markdown import ORDER
from calib.classwork.worked.steps import minus, number, shown
from calib.pages.rendering import render
from calib.pages.typeset import reaction_text

if TYPE_CHECKING:
    from calib.classwork.marking.feedback import Feedback
    from calib.classwork.worked.answer import WorkedAnswer

__all__ = ["answer_page", "sheets_page"]


def answer_page(answer: WorkedAnswer) -> str:
    """One HTML page with a run's answer at both depths; write it with ``write_page``."""
    simple = f"{number(answer.simple_value, 3)} {answer.unit}"
    full = ""
    if answer.full_value is not None:
        full = f"{shown(answer.full_value, answer.u_full or 0.0)} {answer.unit}"
    if answer.interval95 is not None:
        low, high = answer.interval95
        span = f"95 % interval {number(low)} to {number(high)} {answer.unit}"
        summary = f"The full calculation, ± one standard uncertainty; {span}. Simple: {simple}."
    else:
        summary = "The simple calculation."
    return render(
        "key.html.jinja",
        title=f"Worked answer: {answer.run}",
        subtitle=reaction_text(answer.process),
        simple_text=simple,
        full_text=full,
        summary=summary,
        simple=answer.simple,
        full=answer.full,
        no_full=answer.no_full,
        differences=_rows(answer),
        order=ORDER,
        unit=answer.unit,
        reference=minus(answer.reference),
        warnings=answer.warnings,
        hazards=tuple(one.words for one in answer.hazards),
        cautions=answer.cautions,
    )


def _rows(answer: WorkedAnswer) -> list[tuple[str, str, str, str]]:
    if answer.full_value is None:
        return []
    rows = [("simple answer", "", number(answer.simple_value), "")]
    rows += [
        (d.name, minus(f"{d.change:+.3g}"), number(d.after), d.why) for d in answer.differences
    ]
    whole = minus(f"{answer.full_value - answer.simple_value:+.3g}")
    full = shown(answer.full_value, answer.u_full or 0.0)
    return [*rows, ("full answer", f"{whole} in all", full, "")]


def sheets_page(sheets: Sequence[Feedback], *, title: str = "") -> str:
    """One HTML page with a sheet for each group, each beginning on a new sheet of paper."""
    own = [replace(one, process=reaction_text(one.process)) for one in sheets]
    many = f"{len(own)} sheet" + ("s" if len(own) != 1 else "")
    heading = title or (f"Feedback: {own[0].run}" if len(own) == 1 else "Feedback")
    return render(
        "feedback.html.jinja",
        title=heading,
        subtitle=f"{many}; printed, each begins on a new page.",
        sheets=own,
    )
