"""Worked answers and feedback sheets as Markdown (CommonMark); labels can carry no markup."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from calib.classwork.worked.steps import Step, minus, number, shown

if TYPE_CHECKING:
    from calib.classwork.marking.feedback import Feedback
    from calib.classwork.worked.answer import WorkedAnswer

__all__ = ["ORDER", "answer_markdown", "plain_markdown", "sheets_markdown"]

ORDER = (
    "Each line keeps those above it; another order would share the whole out a little otherwise."
)
_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|!~&])")


def plain_markdown(text: str) -> str:
    """A text that shows as it stands, whatever markup it looks like.

    >>> plain_markdown("<b>team*1*</b>")
    '\\\\<b\\\\>team\\\\*1\\\\*\\\\</b\\\\>'
    """
    return _SPECIAL.sub(r"\\\1", " ".join(text.split()))


def answer_markdown(answer: WorkedAnswer) -> str:
    """The worked answer of one run."""
    p = plain_markdown
    lines = [f"# Worked answer: {p(answer.run)}", "", p(answer.process), ""]
    lines += [f"**{p(one.sentence)}**\n" for one in answer.hazards]
    lines += ["## Simple", "", *_steps(answer.simple, {})]
    lines += ["## Full", ""]
    if answer.full:
        lines += ["± is one standard uncertainty (k = 1).", "", *_steps(answer.full, {})]
    else:
        lines += [f"Not computed: {p(answer.no_full)}", ""]
    if answer.full_value is not None:
        lines += [*_differences(answer), ""]
    if answer.reference:
        lines += ["## To compare with", "", p(answer.reference), ""]
    if answer.warnings:
        lines += ["## Remarks", "", *(f"- {p(line)}" for line in answer.warnings), ""]
    lines += ["## Cautions", "", *(f"- {p(line)}" for line in answer.cautions), ""]
    return "\n".join(lines)


def _differences(answer: WorkedAnswer) -> Iterator[str]:
    p, unit = plain_markdown, answer.unit
    assert answer.full_value is not None
    yield "## Why they differ"
    yield ""
    yield ORDER
    yield ""
    yield f"| from simple to full | change / {unit} | then / {unit} | why |"
    yield "|---|---:|---:|---|"
    yield f"| simple answer | | {number(answer.simple_value)} | |"
    for d in answer.differences:
        change = minus(f"{d.change:+.3g}")
        yield f"| {p(d.name)} | {change} | {number(d.after)} | {p(d.why)} |"
    whole = minus(f"{answer.full_value - answer.simple_value:+.3g}")
    full = shown(answer.full_value, answer.u_full or 0.0)
    yield f"| **full answer** | **{whole} in all** | **{full}** | |"


def _steps(steps: Sequence[Step], here: Mapping[int, str]) -> Iterator[str]:
    p = plain_markdown
    for place, step in enumerate(steps):
        yield f"{place + 1}. **{p(step.title)}**: {p(step.formula)}"
        yield ""
        yield f"   {p(step.numbers)}"
        yield ""
        yield f"   **{p(step.result)}**"
        for text in (step.remark, f"± is made of: {step.made_of}" if step.made_of else ""):
            if text:
                yield ""
                yield f"   {p(text)}"
        if place in here:
            yield ""
            yield f"   → **{p(here[place])}**"
        yield ""


def sheets_markdown(sheets: Iterable[Feedback]) -> str:
    """Feedback sheets, one after the other."""
    return "\n---\n\n".join("\n".join(_sheet(one)) + "\n" for one in sheets)


def _sheet(one: Feedback) -> Iterator[str]:
    p = plain_markdown
    yield f"# {p(one.run)}"
    yield ""
    yield f"{p(one.process)}. Your answer: **{p(one.answer)}**"
    yield ""
    yield f"## {p(one.headline)}"
    yield ""
    for sentence in one.sentences:
        yield p(sentence)
        yield ""
    yield "## Your numbers, step by step"
    yield ""
    yield from _steps(one.steps, one.here)
