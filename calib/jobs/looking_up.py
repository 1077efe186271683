"""Look up what is known of a substance, a reaction or an instrument, with sources."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from calib.errors import CupledgerError, InputError
from calib.jobs.reference_lines import (
    Section,
    catalogue_section,
    cups_section,
    instruments,
    reaction,
    substance,
)

ALL_REACTIONS = ("reactions", "reaction", "list")
ALL_CUPS = ("cups", "vessels")


def look_up(words: str) -> dict[str, Any]:
    """Facts about what the words name: an equation, a substance, or a word to search for.

    ``reactions`` or a topic of the list (``neutralization``, ``specific heat``, ...) gives every
    reaction of it with accepted value, expected rise and what is missing; ``cups`` every fact that
    is taken as known of cups, lids, sensors, rooms and releases. Returns ``sections``
    (each a title, a kind and lines of what, value, number, unit, u, holds, source) and
    ``cautions``. Without words: an overview of everything in use.

    ``hazards`` come first: what the words name together, or what is dangerous by itself.

    Raises:
        HazardError: what must not be put together.
        InputError: nothing is known under these words; the message names what comes near.
        EquationError: it looks like an equation and cannot be read.
    """
    from calib.hazards.asking import asked_of_words, refuse, said_with_errors

    text = " ".join(words.split())
    hazards = asked_of_words(text) if text else ()
    refuse(hazards)
    with said_with_errors(hazards):
        return {"hazards": [one.to_json() for one in hazards], **_look_up(text)}


def _look_up(text: str) -> dict[str, Any]:
    if not text:
        return _found("", _overview())
    if text.lower() in ALL_REACTIONS:
        return _found(text, [catalogue_section()])
    if text.lower() in ALL_CUPS:
        return _found(text, [cups_section()])
    if text.lower() in _topics():
        return _found(text, [catalogue_section(text.lower())])
    if any(arrow in text for arrow in ("->", "→", "=", "⇌")):
        return _found(text, *reaction(text))
    return _by_words(text)


def _found(asked: str, sections: list[Section], cautions: Iterable[str] = ()) -> dict[str, Any]:
    return {"asked": asked, "sections": sections, "cautions": list(dict.fromkeys(cautions))}


def _by_words(text: str) -> dict[str, Any]:
    sections: list[Section] = []
    cautions: list[str] = []
    why = ""
    for look in (reaction, substance):
        try:
            more, warned = look(text)
        except CupledgerError as error:
            why = str(error)
            continue
        sections += more
        cautions += warned
    sections += _searched(text)
    if not sections:
        raise InputError(
            f"nothing is known under {text!r}{_near(text)}; give a formula (KNO3), an equation"
            " (HNO3(aq) + KOH(aq) -> KNO3(aq) + H2O(l)), an instrument (balance), or 'reactions'"
            f" for the whole list; {why}"
        )
    return _found(text, sections, cautions)


def _searched(text: str) -> list[Section]:
    """Reactions and instruments that have every word."""
    from calib.reactions.describe import search

    sections: list[Section] = []
    reactions = search(text)
    if reactions:
        sections.append(_names(f"reactions with {text!r}", reactions))
    tools = instruments(text.lower().split())
    if tools:
        title = f"instruments with {text!r}"
        sections.append({"title": title, "kind": "instrument", "lines": tools})
    return sections


def _names(title: str, reactions: Iterable[tuple[str, str, str]]) -> Section:
    lines = [
        {"what": topic, "value": name, "name": name, "equation": equation, "source": equation}
        for topic, name, equation in reactions
    ]
    return {"title": title, "kind": "search", "lines": lines}


def _topics() -> set[str]:
    from calib.reactions.catalogue import catalogue

    return {entry.topic for entry in catalogue()}


def _near(text: str) -> str:
    """Names of the lists that come near, for somebody who mistyped."""
    from difflib import get_close_matches

    from calib.reactions.describe import search

    known = {name.lower() for _, name, _ in search("")} | _topics()
    known |= {str(line["what"]).lower() for line in instruments()}
    known |= {"pipette", "burette", "balance", "cylinder", "flask", "thermistor", "probe"}
    near = get_close_matches(text.lower(), sorted(known), 3, 0.6)
    return f" (near: {', '.join(near)})" if near else ""


def _overview() -> list[Section]:
    from calib.reactions.describe import search

    return [
        _names("reactions", search("")),
        {"title": "instruments", "kind": "instrument", "lines": instruments()},
    ]
