"""A group's feedback sheet: what the verdict is, in kind words, and their numbers step by step."""

from __future__ import annotations

from dataclasses import dataclass

from calib.classwork.marking.marked import Marked
from calib.classwork.marking.slips import KINDS, STAGES
from calib.classwork.marking.verdicts import Fit
from calib.classwork.worked.full import full_steps
from calib.classwork.worked.simple import simple_steps
from calib.classwork.worked.steps import Step, number

__all__ = ["Feedback", "feedback", "fit_words", "way_words"]

HELP: dict[str, str] = {
    "sign": "Heat given out leaves the substances with less: when it becomes warmer ΔH is "
    "negative, when it becomes colder it is positive.",
    "J for kJ": "1 kJ is 1000 J: divide the joules by 1000 before writing kJ/mol.",
    "kJ for J": "This answer belongs in joules: 1 kJ is 1000 J.",
    "one mass only": "Everything in the cup changes its temperature, so all of it counts.",
    "not divided": "The question asks for each mole (or gram): divide by how many there were.",
    "wrong moles": "Divide by the moles of what runs out first, with volumes in litres.",
    "wrong mass": "Divide by the mass of what gives or takes the heat.",
    "kelvin added": "A difference of 1 °C is a difference of 1 K: nothing is added to it.",
    "calories": "1 cal is 4.184 J: with water's 4.18 J/(g K) the heat comes out in joules.",
    "final temperature": "What counts is how far the temperature went: end less start.",
    "solute left out": "What dissolves is part of the solution, and its mass was to be counted.",
    "solute counted": "Only the water's mass was to be counted here.",
    "melt not warmed": "The melted ice is warmed from 0 °C too; that heat is not heat of fusion.",
}


@dataclass(frozen=True, slots=True)
class Feedback:
    """One sheet. ``here`` maps the number of a step to the sentence that points at it."""

    run: str
    process: str
    answer: str
    verdict: str
    headline: str
    sentences: tuple[str, ...]
    steps: tuple[Step, ...]
    here: dict[int, str]
    own: str


def feedback(marked: Marked) -> Feedback:
    """The sheet for one group."""
    steps = _steps(marked)
    own = f"{number(marked.own, 3)} {marked.unit}"
    return Feedback(
        marked.readings.label,
        marked.readings.process,
        marked.answer.shown,
        marked.verdict,
        _headline(marked),
        tuple(_sentences(marked, own)),
        steps,
        _pointers(marked, steps),
        own,
    )


def _steps(marked: Marked) -> tuple[Step, ...]:
    if marked.taught.depth == "full" and marked.result is not None:
        return full_steps(marked.result)
    return simple_steps(marked.readings, marked.taught, marked.unit)


def _headline(marked: Marked) -> str:
    answer = marked.answer.shown
    if marked.fits and all(len(fit.slips) == 2 for fit in marked.fits):
        return "Nearly there: two steps are worth another look."
    return {
        "right": f"Well done: {answer} is right.",
        "right within rounding": f"Well done: {answer} is right, within rounding.",
        "right, simpler than taught": f"{answer} is calculated rightly, in a simpler way.",
        "slip": "Nearly there: one step is worth another look.",
        "several slips fit": "Nearly there: one step is worth another look.",
        "not explained": "Let us go through this together.",
    }[marked.verdict]


def _sentences(marked: Marked, own: str) -> list[str]:
    if marked.verdict == "right":
        return [f"Your readings lead to your number{way_words(marked)}."]
    if marked.verdict == "right within rounding":
        exact = f"{number(marked.own, 4)} {marked.unit}"
        return [
            f"Your readings lead to your number{way_words(marked)}.",
            f"Keeping every digit to the end gives {exact}; rounding on the way moved it a little.",
        ]
    if marked.verdict == "right, simpler than taught":
        left_out = " and ".join(marked.honest.way.left_out if marked.honest else ())
        return [f"What it leaves out: {left_out}.", f"With everything it comes to {own}."]
    if marked.verdict == "slip":
        return [*_explained(marked, marked.fits[0]), f"Put right, your readings give {own}."]
    if marked.verdict == "several slips fit":
        said = [_would(marked, fit) for fit in marked.fits]
        return [
            "More than one thing would lead to your number, so compare your sheet with the steps:",
            *said,
            f"Put right, your readings give {own}.",
        ]
    return [
        f"From your readings the steps below lead to {own}; you wrote {marked.answer.shown}.",
        "Your number could not be traced to a single step. Compare line by line, and if you "
        "calculated in another way, show how: it may be right too.",
    ]


def _explained(marked: Marked, fit: Fit) -> list[str]:
    said = [_would(marked, fit), *_substituted(marked, fit)]
    said += [f"It also comes out when {_gives(marked, other)}" for other in marked.fits[1:]]
    said += [HELP[kind] for kind in dict.fromkeys(fit.kinds)]
    return said


def _would(marked: Marked, fit: Fit) -> str:
    return f"Your number comes out when {_gives(marked, fit)}"


def _gives(marked: Marked, fit: Fit) -> str:
    return f"{fit_words(fit)}: that gives {number(fit.value, 4)} {marked.unit}."


def _substituted(marked: Marked, fit: Fit) -> list[str]:
    """The calculation with the slip in it, the group's numbers substituted."""
    path = fit.path
    if path.kind != "molar" or abs(path.factor) not in (1.0, 1000.0):
        return []
    heat = f"{number(path.mass_g)} g × {path.c_J_per_gK:.4g} J/(g K)"
    if path.cup_J_per_K:
        heat = f"({heat} + {number(path.cup_J_per_K)} J/K)"
    rise = number(path.rise_K, 5 if abs(path.rise_K) > 100.0 else 3)
    text = f"{heat} × {f'({rise})' if path.rise_K < 0.0 else rise} K"
    if path.offset_J:
        text = f"({text} − {number(-path.offset_J)} J)"
    if path.divided:
        text += f" ÷ {number(path.divisor)} mol"
    if abs(path.factor) == 1.0:
        text += " ÷ 1000"
    sign = "−" if path.factor > 0.0 else ""
    rounded = ", rounded on the way" if fit.rounding.steps else ""
    return [f"Perhaps so{rounded}: {sign}{text} = {number(fit.value, 4)} {marked.unit}."]


def fit_words(fit: Fit) -> str:
    """The slips of a fit as one clause."""
    return "; and also ".join(slip.words for slip in fit.slips)


def way_words(marked: Marked) -> str:
    """How the honest way differs from the one taught, as a clause; empty where it does not."""
    if marked.honest is None or not marked.honest.way.choices:
        return ""
    return ", " + ", ".join(marked.honest.way.choices)


def _pointers(marked: Marked, steps: tuple[Step, ...]) -> dict[int, str]:
    """The first step of each slip's stage, with what happened there; none where it is unsure."""
    if marked.verdict != "slip":
        return {}
    found: dict[int, str] = {}
    for slip in sorted(marked.fits[0].slips, key=lambda one: STAGES.index(one.stage)):
        at = _place(steps, slip.stage, slip.kind)
        if at is not None:
            words = slip.words if len(marked.fits) == 1 else KINDS[slip.kind]
            text = f"Here, on your sheet: {words}."
            found[at] = f"{found[at]} {text}" if at in found else text
    return found


def _place(steps: tuple[Step, ...], stage: str, kind: str) -> int | None:
    places = [i for i, step in enumerate(steps) if step.stage == stage]
    if not places:
        return len(steps) - 1
    return places[-1] if kind == "not divided" else places[0]
