"""From what a person writes in a cell to a formula and a state.

``water``, ``Potassium nitrate``, ``KNO3(s)``, ``nacl``, ``ice``, ``TRIS``, ``nitric acid (aq)``.
The list of names is ``data/substances.tsv``.
"""

from __future__ import annotations

import re
from difflib import get_close_matches
from functools import cache
from typing import Literal, NamedTuple, cast

from calib.errors import SubstanceError
from calib.substances import tables
from calib.substances.formula import normalise, split_charge, split_hydrate

State = Literal["s", "l", "g", "aq"]

_STATE = re.compile(r"\s*\(\s*(s|l|g|aq|cr|solid|liquid|gas|aqueous|dissolved)\s*\)\s*$", re.I)
_STATE_WORDS: dict[str, State] = {
    "cr": "s", "solid": "s", "liquid": "l", "gas": "g", "aqueous": "aq", "dissolved": "aq",
}  # fmt: skip
_TAIL = re.compile(r"[\s,]+(?P<word>solution|aqueous|soln\.?|solid|pellets?|crystals?|powder|gas)$")
_HEAD = re.compile(
    r"^(?P<word>aqueous|solid|dilute|dil\.|concentrated|conc\.|hot|cold|warm)\s+(?P<rest>.+)$"
)
_TAIL_STATE: dict[str, State] = {"solution": "aq", "aqueous": "aq", "soln": "aq", "gas": "g"}
_HEAD_STATE: dict[str, State] = {"aqueous": "aq", "dilute": "aq", "dil": "aq", "solid": "s"}
_SPECIAL: dict[str, tuple[str, State]] = {
    "ice": ("H2O", "s"),
    "ice cubes": ("H2O", "s"),
    "crushed ice": ("H2O", "s"),
    "steam": ("H2O", "g"),
    "dry ice": ("CO2", "s"),
    "glacial acetic acid": ("CH3COOH", "l"),
    "ammonia gas": ("NH3", "g"),
    "hydrogen chloride": ("HCl", "g"),
    "brine": ("NaCl", "aq"),
    "limewater": ("Ca(OH)2", "aq"),
    "lime water": ("Ca(OH)2", "aq"),
    "baryta water": ("Ba(OH)2", "aq"),
}


class Resolved(NamedTuple):
    """A substance as understood: the formula in this project's spelling, and its state."""

    formula: str
    state: State


@cache
def _by_name() -> dict[str, tuple[str, State]]:
    known: dict[str, tuple[str, State]] = {}
    for row in tables.rows("substances"):
        for name in row["names"].split(";"):
            if name:
                known[_plain(name)] = (row["formula"], cast("State", row["state"]))
    return known | _SPECIAL


@cache
def _by_formula() -> dict[str, State]:
    return {row["formula"]: cast("State", row["state"]) for row in tables.rows("substances")}


@cache
def _by_loose_formula() -> dict[str, str | None]:
    """Formulas whatever their case; ``None`` where two differ by case alone."""
    loose: dict[str, str | None] = {}
    for row in tables.rows("substances"):
        for spelling in [row["formula"], *row["spellings"].split(";")]:
            key = spelling.casefold()
            if key:
                loose[key] = (
                    row["formula"] if loose.get(key, row["formula"]) == row["formula"] else None
                )
    return loose


def _plain(name: str) -> str:
    text = re.sub(r"\s+", " ", name.strip().casefold())
    text = re.sub(r"\s*\(\s*(i{1,3}|iv|vi?|vii)\s*\)", r"(\1)", text)
    text = (
        text.replace("sulph", "sulf").replace("aluminum", "aluminium").replace("cesium", "caesium")
    )
    return text.replace("caaesium", "caesium").replace("hydrogen carbonate", "hydrogencarbonate")


def names_of(formula: str) -> tuple[str, ...]:
    """The names in use for a formula, the first being the usual one; empty where none is known."""
    for row in tables.rows("substances"):
        if row["formula"] == formula:
            return tuple(name for name in row["names"].split(";") if name)
    return ()


def usual_state(formula: str) -> State | None:
    """The state in which the substance is kept in a laboratory, or ``None`` where not known."""
    return _by_formula().get(formula)


def class_of(formula: str) -> str | None:
    """``acid``, ``base``, ``salt``, ``metal``, ``oxide``, ``molecular``, ``gas``; or ``None``."""
    anhydrous = split_hydrate(formula)[0]
    for row in tables.rows("substances"):
        if row["formula"] == anhydrous:
            return row["class"]
    return None


def ions_of(formula: str) -> tuple[tuple[str, int], ...] | None:
    """The ions of a strong electrolyte in water, with their numbers; ``None`` for all others.

    >>> ions_of("(NH4)2SO4")
    (('NH4+', 2), ('SO4-2', 1))
    """
    anhydrous = split_hydrate(formula)[0]
    for row in tables.rows("substances"):
        if row["formula"] == anhydrous and row["ions"]:
            found = []
            for ion in row["ions"].split(","):
                digits = re.match(r"\d*", ion)
                n = digits[0] if digits else ""
                found.append((ion[len(n) :], int(n or 1)))
            return tuple(found)
    return None


def _take_state(text: str) -> tuple[str, State | None]:
    if match := _STATE.search(text):
        word = match[1].casefold()
        return text[: match.start()].strip(), _STATE_WORDS.get(word) or cast("State", word)
    return text.strip(), None


def _from_words(plain: str) -> tuple[str, State | None] | None:
    """A name, perhaps with a word before or behind that tells the state."""
    if plain in _by_name():
        return _by_name()[plain]
    if match := _TAIL.search(plain):
        found = _from_words(plain[: match.start()])
        return found and (found[0], _TAIL_STATE.get(match["word"].rstrip("."), "s"))
    if match := _HEAD.match(plain):
        found = _from_words(match["rest"])
        word = match["word"].rstrip(".")
        return found and (found[0], _HEAD_STATE.get(word, found[1]))
    loose = _by_loose_formula().get(plain)
    return (loose, _by_formula()[loose]) if loose else None


def _unknown(text: str, why: str) -> SubstanceError:
    plain = _plain(text)
    near = get_close_matches(plain, [*_by_name(), *_by_loose_formula()], n=3, cutoff=0.6)
    proper = [_by_loose_formula().get(name) or name for name in near]
    tip = f"; the nearest known: {', '.join(dict.fromkeys(proper))}" if proper else ""
    return SubstanceError(f"the substance {text!r} is not known ({why}){tip}")


def resolve(text: str, *, dissolved: bool = False) -> Resolved:
    """What substance a cell means.

    A state in brackets wins, then a word such as ``solution``; else, where ``dissolved`` says that
    the cell stands beside a concentration, aqueous; else the state in which it is kept. Names are
    read whatever their case. A formula that is not in the list is accepted if it can be read and
    its state is given. Raises SubstanceError with the nearest names otherwise.

    >>> resolve("Potassium nitrate"), resolve("HCl(aq)"), resolve("ice")
    (Resolved(formula='KNO3', state='s'), Resolved(formula='HCl', state='aq'), \
Resolved(formula='H2O', state='s'))
    """
    body, stated = _take_state(text)
    if not body:
        raise _unknown(text, "it is empty")
    plain = _plain(body)
    if found := _special_or_formula(body, plain, text):
        formula, usual = found
    else:
        raise _unknown(text, "no such name, and no formula")
    state = stated or (_worded(plain) or ("aq" if dissolved and formula != "H2O" else usual))
    if state is None:
        raise _unknown(text, "write its state behind it: (s), (l), (g) or (aq)")
    if formula == "H2O" and state == "aq":
        state = "l"
    return Resolved(formula, state)


def _worded(plain: str) -> State | None:
    """The state that a word beside the name tells, if any does."""
    if plain in _SPECIAL:
        return _SPECIAL[plain][1]
    if plain in _by_name():
        return None
    if match := _TAIL.search(plain):
        return _TAIL_STATE.get(match["word"].rstrip("."), "s")
    if match := _HEAD.match(plain):
        return _HEAD_STATE.get(match["word"].rstrip("."))
    return None


def _special_or_formula(body: str, plain: str, text: str) -> tuple[str, State | None] | None:
    if plain in _by_name():
        return _by_name()[plain]
    try:
        formula = normalise(body)
    except SubstanceError as error:
        if found := _from_words(plain):
            return found
        if re.search(r"\d|[()·]", body) and " " not in body:
            raise _unknown(text, str(error)) from None
        return None
    _, charge = split_charge(formula)
    return formula, "aq" if charge else usual_state(formula)
