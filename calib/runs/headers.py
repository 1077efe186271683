"""Headings read tolerantly: ``added_mL``, ``Added (mL)``, ``added / mL`` are the same column.

A heading is taken apart into a name and a unit. Names are compared without case, blanks and
punctuation; besides the documented ones a few everyday words are understood (``_WORDS``). Whatever
was renamed, assumed or converted is said in the heading's note.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from calib.runs.columns import COLUMNS, FURTHER, NUMBERS, Quantity
from calib.runs.units import Unit, column_unit, find_unit


@dataclass(frozen=True, slots=True)
class Heading:
    """What one heading stands for.

    ``column`` is None where it is not known. ``uncertainty`` marks a ``u_`` column. ``unit`` is the
    unit its bare numbers are in (None: a text column). ``amount`` is the side (``"in_cup"``,
    ``"added"``) of a heading that leaves the choice between mL and g to the cells.
    """

    text: str
    column: str | None = None
    uncertainty: bool = False
    unit: Unit | None = None
    amount: str | None = None
    percent: bool = False
    note: str = ""

    @property
    def known(self) -> bool:
        """Whether the heading names a column."""
        return self.column is not None or self.amount is not None

    @property
    def name(self) -> str:
        """The column's documented name, ``u_`` included; the heading itself where unknown."""
        if self.amount is not None:
            return f"{self.amount}_mL or {self.amount}_g"
        if self.column is None:
            return self.text
        return f"u_{self.column}" if self.uncertainty else self.column


# everyday words for the text columns
_WORDS: dict[str, str] = {
    "run": "run, run no, run number, run label, label, row label, group, bench, team, pair",
    "apparatus": "apparatus, apparatus id, cup, cup id, cup no, cup number, calorimeter, vessel",
    "date": "date, day, date of run, run date, day of run",
    "reaction": "reaction, equation, chemical equation, reaction equation",
    "in_cup": "in cup, liquid in cup, in cup first, first liquid, liquid 1, substance in cup, "
    "contents of cup, cup contents, in cup substance",
    "added": "added, added substance, substance added, second liquid, liquid 2, what is added, "
    "added to cup, poured in",
    "curve": "curve, curve file, logged curve, log file, logger file, file of curve, file",
}

# everyday words for what a number belongs to: the columns it can mean, by quantity
_SIDES: dict[str, dict[Quantity, str]] = {
    side: {
        "volume": f"{side}_mL",
        "mass": f"{side}_g",
        "concentration": f"{side}_mol_per_L",
        "temperature": f"{side}_C",
    }
    for side in ("in_cup", "added")
}
_SUBJECTS: tuple[tuple[str, dict[Quantity, str]], ...] = (
    ("in cup, liquid in cup, in cup first, first liquid, liquid 1", _SIDES["in_cup"]),
    ("added, second liquid, liquid 2, added liquid, added solid, addition", _SIDES["added"]),
)
_QUANTITY_WORDS: dict[Quantity, str] = {
    "volume": "volume, vol",
    "mass": "mass, weight",
    "concentration": "concentration, conc, molarity",
    "temperature": "temperature, temp, T, starting temperature, start temperature, "
    "initial temperature, temperature before, temperature before mixing",
}
_NUMBER_WORDS: dict[str, str] = {
    "extreme_C": "extreme, extreme temperature, extreme reading, highest or lowest reading, "
    "highest or lowest temperature, highest reading, lowest reading, highest temperature, "
    "lowest temperature, peak, peak temperature, maximum temperature, minimum temperature, "
    "max temp, min temp, final temperature, final temp, end temperature",
    "extreme_after_s": "extreme after, extreme reached after, time to extreme, time of extreme",
    "mixed_at_s": "mixed at, time of mixing, moment of mixing, mixing time",
    "room_C": "room, room temperature, room temp, air temperature, ambient temperature",
    "heater_V": "heater voltage, voltage of heater, heater",
    "heater_A": "heater current, current of heater, heater",
    "heater_s": "heater time, heater duration, heating time, heater on for, heater",
    "reported_kJ_per_mol": "reported, reported enthalpy, reported answer, own answer, "
    "own result, reported result, reported molar enthalpy, answer",
}
_NEEDS_UNIT = {"heater", "in cup", "added", "reported", "answer"}
_DROPPED = {"the", "of", "no", "number", "id"}


def _squeeze(text: str) -> str:
    """A name without case, blanks, punctuation and filler words."""
    tokens = re.findall(r"[^\W_]+", text.casefold())
    kept = [token for token in tokens if token not in _DROPPED]
    return "".join(kept or tokens)


@cache
def _texts() -> dict[str, str]:
    return {
        _squeeze(word): column for column, words in _WORDS.items() for word in words.split(", ")
    }


@cache
def _numbers() -> dict[str, dict[Quantity, str]]:
    """Squeezed name -> the columns it can mean by quantity; one entry with no unit is assumed."""
    found: dict[str, dict[Quantity, str]] = {}

    def add(words: str, quantity: Quantity, column: str) -> None:
        found.setdefault(_squeeze(words), {}).setdefault(quantity, column)

    for column in NUMBERS:
        quantity = COLUMNS[column].quantity
        assert quantity is not None
        add(column, quantity, column)
        for word in _NUMBER_WORDS.get(column, "").split(", "):
            if word:
                add(word, quantity, column)
    for subjects, columns in _SUBJECTS:
        for subject in subjects.split(", "):
            for quantity, column in columns.items():
                add(subject, quantity, column)
                for word in _QUANTITY_WORDS[quantity].split(", "):
                    add(f"{subject} {word}", quantity, column)
                    add(f"{word} {subject}", quantity, column)
    return found


@cache
def _needs_unit() -> frozenset[str]:
    bare = {_squeeze(word) for word in _NEEDS_UNIT}
    subjects = {_squeeze(s) for subjects, _ in _SUBJECTS for s in subjects.split(", ")}
    return frozenset(bare | subjects)


@cache
def _amounts() -> dict[str, str]:
    words = {"in_cup": _SUBJECTS[0][0], "added": _SUBJECTS[1][0]}
    return {
        _squeeze(form.format(subject)): side
        for side, subjects in words.items()
        for subject in subjects.split(", ")
        for form in ("amount {}", "{} amount", "quantity {}", "{} quantity", "how much {}")
    }


def clean(text: str) -> str:
    """A heading's text on one line, in compatibility form."""
    text = unicodedata.normalize("NFKC", text.replace("\ufeff", ""))
    return re.sub(r"\s+", " ", text).strip()


_UNCERTAINTY = (
    r"u[ _]*\((?P<a>[^()]+)\)(?P<rest>.*)",
    r"u[ _]+(?P<a>.+)",
    r"(?:standard )?uncertainty(?: of| in)? (?P<a>.+)",
    r"(?P<a>.+?)[ _](?:standard )?uncertainty(?P<rest>.*)",
    r"(?:±|\+/-|\+-)\s*(?P<a>.+)",
)


def _uncertain(text: str) -> str | None:
    """The name that an uncertainty is said to belong to, or None where it is none."""
    for pattern in _UNCERTAINTY:
        match = re.fullmatch(pattern, text, re.IGNORECASE)
        if match:
            rest = match.groupdict().get("rest") or ""
            return (match["a"] + " " + rest).strip()
    return None


def _splits(text: str) -> Iterator[tuple[str, str]]:
    """Every way to take a heading apart into name and unit, the clearest first."""
    bracket = re.fullmatch(r"(.*?)\s*[\[({<]([^\[\](){}<>]*)[\])}>]\s*", text)
    if bracket:
        yield bracket[1], re.sub(r"^in ", "", bracket[2].strip())
    if "/" in text:
        name, _, unit = text.partition("/")
        yield name, unit
    for mark in (" in ", ", ", "; ", ": ", " - "):
        name, found, unit = text.rpartition(mark)
        if found and name:
            yield name, unit
    tokens = re.split(r"[\s_]+", text)
    for count in range(1, min(4, len(tokens))):
        yield " ".join(tokens[:-count]), " ".join(tokens[-count:])


@cache
def read_heading(raw: str) -> Heading:
    """What a heading stands for."""
    text = clean(raw)
    if not text or len(text) > 200:
        return Heading(raw)
    inner = _uncertain(text)
    if inner is not None:
        found = _number_heading(raw, inner, uncertainty=True)
        if found is not None:
            return found
    side = _amounts().get(_squeeze(text))
    if side is not None:
        note = f"heading {raw!r} says no unit: mL or g is taken from each cell"
        return Heading(raw, amount=side, note=note)
    column = _texts().get(_squeeze(text))
    if column is not None and not re.search(r"[%°/=<>+*]", text):
        return Heading(raw, column, note=renamed(raw, column))
    further = _further().get(_squeeze(text))
    if further is not None:
        return Heading(further, note=renamed(raw, further))
    return _number_heading(raw, text, uncertainty=False) or Heading(raw, note=_near(raw, text))


def _number_heading(raw: str, text: str, *, uncertainty: bool) -> Heading | None:
    names = _numbers()
    for name, unit_text in _splits(text):
        columns = names.get(_squeeze(name))
        if columns is None:
            continue
        if uncertainty and unit_text.strip() in ("%", "percent"):
            column = next(iter(columns.values()))
            if len(columns) == 1:
                return _named(raw, column, None, uncertainty, percent=True)
        unit = find_unit(unit_text)
        if unit is None or unit.quantity not in columns:
            continue
        column = columns[unit.quantity]
        if _squeeze(name) == _squeeze(column) and not _same_unit(unit, uncertainty):
            note = f"heading {raw!r} names two units: carried through untouched; write {column}"
            return Heading(raw, note=note)
        return _named(raw, column, unit, uncertainty)
    squeezed = _squeeze(text)
    columns = names.get(squeezed)
    if columns is None or len(columns) != 1 or squeezed in _needs_unit():
        return None
    ((quantity, column),) = columns.items()
    unit = column_unit(quantity)
    return _named(raw, column, unit, uncertainty, assumed=squeezed != _squeeze(column))


def _named(
    raw: str,
    column: str,
    unit: Unit | None,
    uncertainty: bool,
    *,
    assumed: bool = False,
    percent: bool = False,
) -> Heading:
    name = f"u_{column}" if uncertainty else column
    note = renamed(raw, name)
    if uncertainty and note:
        note += " (a standard uncertainty, k = 1)"
    if percent:
        note = f"{note or f'heading {raw!r}'}: per cent of {column}"
    elif unit is not None and not _same_unit(unit, uncertainty):
        note = f"{note or f'heading {raw!r}'}, converted from {unit.symbol}"
    elif assumed:
        note = f"{note}, its unit assumed: {COLUMNS[column].unit}"
    return Heading(raw, column, uncertainty, unit, percent=percent, note=note)


def _same_unit(unit: Unit, uncertainty: bool) -> bool:
    return unit.factor == 1.0 if uncertainty else unit.is_column_unit


def renamed(raw: str, name: str) -> str:
    """What to say about a heading that was not the column's documented name; else nothing."""
    return "" if raw.strip().casefold() == name.casefold() else f"heading {raw!r} read as {name}"


@cache
def _further() -> dict[str, str]:
    return {_squeeze(name): name for name in FURTHER}


@cache
def _documented() -> dict[str, str]:
    return {_squeeze(name): name for name in (*COLUMNS, *(f"u_{c}" for c in NUMBERS))}


def _near(raw: str, text: str) -> str:
    near = difflib.get_close_matches(_squeeze(text), _documented(), n=1, cutoff=0.82)
    hint = f"; if {_documented()[near[0]]} is meant, write it so" if near else ""
    return f"heading {raw!r} is not a known column: carried through untouched{hint}"


def is_unit_text(value: object) -> bool:
    """Whether a cell holds a unit and nothing else, as in a row of units under the headings."""
    if not isinstance(value, str):
        return False
    return find_unit(value.strip().strip("[](){}/ ")) is not None
