"""Look up what is known of a substance, a reaction or an instrument, with sources."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from calib.errors import CupledgerError, InputError
from calib.estimate import Estimate
from calib.rounding import with_u

Section = dict[str, Any]


def look_up(words: str) -> dict[str, Any]:
    """Facts about what the words name: an equation, a substance, or a word to search for.

    Returns ``sections`` (each a title and lines of what, value, unit, u, holds, source) and
    ``cautions``. Without words: an overview of everything in use.

    Raises:
        InputError: nothing is known under these words; the message names what comes near.
        EquationError: it looks like an equation and cannot be read.
    """
    text = words.strip()
    if not text:
        return {"asked": "", "sections": _overview(), "cautions": []}
    found: list[Section] = []
    cautions: list[str] = []
    why: list[str] = []
    is_equation = any(arrow in text for arrow in ("->", "→", "=", "⇌"))
    for look in (_reaction, _substance):
        if is_equation and look is _substance:
            continue
        try:
            sections, warned = look(text)
        except CupledgerError as error:
            if is_equation:
                raise
            why.append(str(error))
            continue
        found += sections
        cautions += [line for line in warned if line not in cautions]
    if not is_equation:
        found += _searched(text)
    if not found:
        raise InputError(
            f"nothing is known under {text!r}; give a formula (KNO3), an equation"
            f" (HNO3(aq) + KOH(aq) -> KNO3(aq) + H2O(l)) or an instrument (balance); {why[-1]}"
        )
    return {"asked": text, "sections": found, "cautions": cautions}


def _line(what: str, estimate: Estimate | None, holds: str = "") -> list[dict[str, Any]]:
    if estimate is None:
        return []
    shown = f"{with_u(estimate.value, estimate.u)} {estimate.unit}"
    return [
        {
            "what": what,
            "value": shown,
            "number": estimate.value,
            "u": estimate.u,
            "unit": estimate.unit,
            "holds": holds,
            "source": estimate.source,
        }
    ]


def _reaction(text: str) -> tuple[list[Section], list[str]]:
    from calib.reactions.describe import describe_reaction

    facts = describe_reaction(text)
    lines = [
        {
            "what": fact.what,
            "value": f"{with_u(fact.value, fact.u)} {fact.unit}",
            "number": fact.value,
            "u": fact.u,
            "unit": fact.unit,
            "holds": fact.holds,
            "source": fact.source,
        }
        for fact in facts.facts
    ]
    lines += [
        {"what": "not known", "value": "–", "source": missing, "number": None, "u": None}
        for missing in facts.missing
    ]
    title = f"{facts.equation} ({facts.per})"
    return [{"title": title, "kind": "reaction", "lines": lines}], list(facts.cautions)


def _substance(text: str) -> tuple[list[Section], list[str]]:
    from calib.reactions.cautions import cautions
    from calib.reactions.describe import describe_solute
    from calib.reactions.equation import parse_species
    from calib.substances.facts import describe
    from calib.substances.names import resolve

    formula = resolve(text).formula
    facts = describe(formula)
    lines = [
        *_line("molar mass", facts.molar_mass),
        *_line("c_p of a solution", facts.solution_cp, facts.solution_cp_range),
        *_line("density of a solution", facts.solution_density, facts.solution_density_range),
        *_line("c_p of the solid", facts.solid_cp),
        *_line("solubility", facts.solubility),
    ]
    lines += [
        {
            "what": fact.what,
            "value": f"{with_u(fact.value, fact.u)} {fact.unit}",
            "number": fact.value,
            "u": fact.u,
            "unit": fact.unit,
            "holds": fact.holds,
            "source": fact.source,
        }
        for fact in describe_solute(formula)
    ]
    names = ", ".join(facts.names)
    title = f"{facts.formula}" + (f": {names}" if names else "")
    state = facts.usual_state or "aq"
    warned = cautions([parse_species(f"{formula}({state})"), parse_species(f"{formula}(aq)")])
    return [{"title": title, "kind": "substance", "lines": lines}], list(warned)


def _searched(text: str) -> list[Section]:
    from calib.reactions.describe import search

    sections: list[Section] = []
    reactions = search(text)
    if reactions:
        lines = [
            {"what": what, "value": value, "source": source} for what, value, source in reactions
        ]
        sections.append({"title": f"reactions with {text!r}", "kind": "search", "lines": lines})
    tolerances = _tolerances(lambda line: text.lower() in line.lower())
    if tolerances:
        sections.append(
            {"title": f"instruments with {text!r}", "kind": "instrument", "lines": tolerances}
        )
    return sections


def _tolerances(wanted: Callable[[str], bool]) -> list[dict[str, Any]]:
    from calib.runs.instruments import describe

    return [
        {
            "what": line.instrument,
            "value": line.limit,
            "u": line.u,
            "unit": line.unit,
            "source": f"{line.source} ({line.origin})",
        }
        for line in describe()
        if wanted(f"{line.instrument} {line.applies_to}")
    ]


def _overview() -> list[Section]:
    from calib.reactions.describe import search

    reactions = [
        {"what": what, "value": value, "source": source} for what, value, source in search("")
    ]
    return [
        {"title": "reactions", "kind": "search", "lines": reactions},
        {"title": "instruments", "kind": "instrument", "lines": _tolerances(lambda _: True)},
    ]
