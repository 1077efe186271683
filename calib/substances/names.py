"""From what a person writes in a cell to a formula and a state.

``water``, ``Potassium nitrate``, ``KNO3(s)``, ``nacl``, ``ice``, ``TRIS``, ``nitric acid (aq)``.
The list of names is ``data/substances.tsv``.
"""

from __future__ import annotations

import re
from difflib import get_close_matches
from functools import cache, lru_cache
from math import gcd
from typing import Literal, NamedTuple, cast

from calib.errors import SubstanceError
from calib.substances import tables
from calib.substances.formula import elements, normalise, split_charge, split_hydrate

State = Literal["s", "l", "g", "aq"]

_STATE = re.compile(r"\s*\(\s*(s|l|g|aq|cr|solid|liquid|gas|aqueous|dissolved)\s*\)\s*$", re.I)
_STATE_WORDS: dict[str, State] = {
    "cr": "s", "solid": "s", "liquid": "l", "gas": "g", "aqueous": "aq", "dissolved": "aq",
}  # fmt: skip
_TAIL = re.compile(r"[\s,]+(?P<word>solution|aqueous|soln\.?|solid|pellets?|crystals?|powder|gas)$")
_HEAD = re.compile(
    r"^(?P<word>aqueous|solid|dilute|dil\.?|concentrated|conc\.?|anhydrous|hot|cold|warm)\s+"
    r"(?P<rest>.+)$"
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
    text = re.sub(r"\s*\((conc|concentrated|dil|dilute|anhydrous)\.?\)", "", text)
    text = re.sub(r"\s*\(\s*(i{1,3}|iv|vi?|vii)\s*\)", r"(\1)", text)
    text = (
        text.replace("sulph", "sulf").replace("aluminum", "aluminium").replace("cesium", "caesium")
    )
    return text.replace("caaesium", "caesium").replace("hydrogen carbonate", "hydrogencarbonate")


@cache
def _rows() -> dict[str, dict[str, str]]:
    return {row["formula"]: row for row in tables.rows("substances")}


def names_of(formula: str) -> tuple[str, ...]:
    """The names in use for a formula, the first being the usual one; empty where none is known."""
    row = _rows().get(formula)
    return tuple(name for name in row["names"].split(";") if name) if row else ()


def usual_state(formula: str) -> State | None:
    """The state in which the substance is kept in a laboratory, or ``None`` where not known."""
    return _by_formula().get(formula)


@lru_cache(maxsize=1024)
def class_of(formula: str) -> str | None:
    """``acid``, ``base``, ``salt``, ``metal``, ``oxide``, ``molecular``, ``gas``; or ``None``."""
    row = _rows().get(split_hydrate(formula)[0])
    return row["class"] if row else None


@lru_cache(maxsize=1024)
def ions_of(formula: str) -> tuple[tuple[str, int], ...] | None:
    """The ions of a strong electrolyte in water, with their numbers; ``None`` for all others.

    From the list of substances; a salt that is not in it is taken apart into known ions if that can
    be done in one way (``CsBr``, ``Ba(ClO4)2``).

    >>> ions_of("(NH4)2SO4")
    (('NH4+', 2), ('SO4-2', 1))
    """
    dry = split_hydrate(formula)[0]
    row = _rows().get(dry)
    if row is None:
        return _taken_apart(dry)
    if not row["ions"]:
        return None
    counted = [re.fullmatch(r"(\d*)(.+)", ion) for ion in row["ions"].split(",")]
    return tuple((m[2], int(m[1] or 1)) for m in counted if m)


def is_saltlike(formula: str) -> bool:
    """Whether a solute is made of ions: a salt, a strong acid or base, or an unlisted metal's."""
    if ions_of(formula) or class_of(formula) == "salt":
        return True
    if class_of(formula) is not None:
        return False
    return not set(elements(formula)) <= {"C", "H", "N", "O", "S", "P", "F", "Cl", "Br", "I", "B"}


def _taken_apart(formula: str) -> tuple[tuple[str, int], ...] | None:
    known = [(*split_charge(row["species"]), row["species"]) for row in tables.rows("aqueous")]
    cations = [(body, z, ion) for body, z, ion in known if z > 0 and body != "H"]
    anions = [(body, -z, ion) for body, z, ion in known if z < 0]
    for plus, z_plus, cation in cations:
        for minus, z_minus, anion in anions:
            shared = gcd(z_plus, z_minus)
            n_plus, n_minus = z_minus // shared, z_plus // shared
            if formula == _times(plus, n_plus) + _times(minus, n_minus):
                return ((cation, n_plus), (anion, n_minus))
    return None


def _times(group: str, n: int) -> str:
    if n == 1:
        return group
    return f"{group}{n}" if re.fullmatch(r"[A-Z][a-z]?", group) else f"({group}){n}"


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
        if re.search(r"\d|[()·]", body) and not re.search(r"[a-z]{3}", body):
            raise _unknown(text, str(error)) from None
        return None
    _, charge = split_charge(formula)
    return formula, "aq" if charge else usual_state(formula)
