"""``readings.toml``: which instruments a table of runs was read with.

The file stands beside the table. Every section and key is optional::

    date_order = "day first"            # how 03/04/2026 is meant: "day first" or "month first"
    assumed_equal_halfwidth_K = 0.3     # where only one liquid's temperature was read

    [temperature]                       # in_cup_C, added_C, extreme_C, room_C and logged curves
    instrument = "Pt100"                # thermistor, Pt100, type K thermocouple, glass thermometer
    class = "B"
    step = 0.1                          # what the display moves by

    [volume]
    instrument = "cylinder"             # cylinder, pipet, buret, flask, beaker, syringe
    class = "A"
    capacity_mL = 100

    [mass]
    step = 0.01

    [concentration]
    relative_u_percent = 0.5

    [columns.added_mL]                  # one column that was read with something else
    instrument = "pipet"
    capacity_mL = 25
    shared = "table"                    # one and the same for all: "table", "apparatus", "run"

``halfwidth`` (a tolerance), ``u`` (a standard uncertainty from a certificate) and ``slope_percent``
replace the published limits; ``name`` tells two instruments of one kind apart.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Literal, get_args

from calib.errors import TableError
from calib.runs.columns import COLUMNS, NUMBERS
from fitting.files.bounded import SETTINGS, read_bytes

FILE_NAME = "readings.toml"

Shared = Literal["table", "apparatus", "run"]
DateOrder = Literal["day first", "month first"]

SECTIONS = ("temperature", "mass", "volume", "concentration", "voltage", "current", "duration")
INSTRUMENTS: dict[str, tuple[str, ...]] = {
    "temperature": ("thermistor", "Pt100", "type K thermocouple", "glass thermometer"),
    "mass": ("balance",),
    "volume": ("cylinder", "pipet", "buret", "flask", "beaker", "syringe"),
    "concentration": ("stock solution",),
    "voltage": ("meter",),
    "current": ("meter",),
    "duration": ("stopwatch",),
}
CLASSES: dict[str, tuple[str, ...]] = {
    "Pt100": ("AA", "A", "B", "C"),
    "cylinder": ("A", "B"),
    "pipet": ("A", "B"),
    "buret": ("A", "B"),
    "flask": ("A", "B"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What is said about the instrument of one column; ``None`` where nothing is said.

    ``step``, ``halfwidth`` and ``u`` are in the column's unit.
    """

    instrument: str | None = None
    grade: str | None = None
    name: str | None = None
    capacity_mL: float | None = None
    step: float | None = None
    halfwidth: float | None = None
    u: float | None = None
    slope_percent: float | None = None
    relative_u_percent: float | None = None
    shared: Shared | None = None

    def over(self, general: Setting) -> Setting:
        """This setting, filled up from a more general one that it takes precedence over."""
        if self.instrument not in (None, general.instrument):
            general = Setting(shared=general.shared)
        mine = {f.name: getattr(self, f.name) for f in fields(self)}
        return Setting(
            **{key: getattr(general, key) if mine[key] is None else mine[key] for key in mine}
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """The whole of a ``readings.toml``, by section and by column."""

    path: Path | None = None
    sections: Mapping[str, Setting]
    columns: Mapping[str, Setting]
    date_order: DateOrder | None = None
    assumed_equal_halfwidth_K: float = 0.3

    def of(self, column: str) -> Setting:
        """What is said about a column: its own section first, then its quantity's."""
        # a logged curve is a series of temperatures, though its column holds a file's name
        quantity = "temperature" if column == "curve" else COLUMNS[column].quantity
        general = self.sections.get(str(quantity), Setting())
        return self.columns.get(column, Setting()).over(general)


def read_settings(table: Path) -> Settings:
    """The settings beside a table; empty ones where there is no file.

    Raises:
        TableError: the file cannot be read, or holds a key or a value that is not known.
    """
    path = table.parent / FILE_NAME
    try:
        if not os.path.lexists(path):
            return Settings(sections={}, columns={})
        raw = tomllib.loads(_bounded(path, read_bytes(path, SETTINGS, TableError)))
    except (ValueError, RecursionError) as error:
        raise TableError(f"{path}: cannot be read as TOML: {error}") from error
    return _Reader(path).settings(raw)


_MOST_DOTS = 40  # on one line; a key that means something has two


def _bounded(path: Path, content: bytes) -> str:
    """The text, whose keys are short: reading one takes memory by the square of its dots.

    Raises:
        TableError: a line has more dots than any key needs.
    """
    text = content.decode("utf-8-sig")
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") > _MOST_DOTS and not line.lstrip().startswith("#"):
            raise TableError(
                f"{path}: line {number} has {line.count('.')} dots; expected keys of three parts at"
                " most, such as columns.added_mL.instrument"
            )
    return text


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path = path

    def settings(self, raw: Mapping[str, Any]) -> Settings:
        sections: dict[str, Setting] = {}
        columns: dict[str, Setting] = {}
        more: dict[str, Any] = {}
        for key, value in raw.items():
            if key in SECTIONS:
                sections[key] = self.setting(key, key, value)
            elif key == "columns":
                for column, content in self.section("columns", value).items():
                    self.known(column, NUMBERS, "columns")
                    quantity = str(COLUMNS[column].quantity)
                    columns[column] = self.setting(f"columns.{column}", quantity, content)
            elif key == "date_order":
                more[key] = self.choice(key, value, get_args(DateOrder))
            elif key == "assumed_equal_halfwidth_K":
                more[key] = self.number(key, value)
            else:
                self.known(key, (*SECTIONS, "columns", *_TOP_KEYS), "the file")
        return Settings(path=self.path, sections=sections, columns=columns, **more)

    def setting(self, where: str, quantity: str, raw: Any) -> Setting:
        found: dict[str, Any] = {}
        for key, value in self.section(where, raw).items():
            self.known(key, _KEYS, where)
            place = f"{where}.{key}"
            if key == "instrument":
                found[key] = self.choice(place, value, INSTRUMENTS.get(quantity, ()))
            elif key == "shared":
                found[key] = self.choice(place, value, get_args(Shared))
            elif key == "class":
                found["grade"] = self.choice(place, value, ("AA", "A", "B", "C"))
            elif key == "name":
                found[key] = str(value)
            else:
                found[key] = self.number(place, value)
        self.class_fits(where, found)
        return Setting(**found)

    def class_fits(self, where: str, found: Mapping[str, Any]) -> None:
        instrument, grade = found.get("instrument"), found.get("grade")
        if instrument is not None and grade is not None:
            classes = CLASSES.get(instrument, ())
            if grade not in classes:
                hint = f"its classes are {', '.join(classes)}" if classes else "it has no classes"
                raise TableError(f"{self.path}: {where}.class: {instrument} {grade!r}: {hint}")

    def section(self, where: str, raw: Any) -> Mapping[str, Any]:
        if not isinstance(raw, Mapping):
            raise TableError(
                f"{self.path}: {where} is a section: write it as [{where}], not {where} = {raw!r}"
            )
        return raw

    def known(self, key: str, keys: tuple[str, ...], where: str) -> None:
        if key in keys:
            return
        near = difflib.get_close_matches(key, keys, n=1, cutoff=0.5)
        hint = f"nearest: {near[0]!r}; " if near else ""
        raise TableError(
            f"{self.path}: {key!r} in {where} is not known; {hint}known here: {', '.join(keys)}"
        )

    def choice(self, where: str, value: Any, choices: tuple[str, ...]) -> str:
        text = str(value).strip().casefold()
        for choice in choices:
            if choice.casefold() == text:
                return choice
        near = difflib.get_close_matches(text, choices, n=1, cutoff=0.5)
        hint = f"nearest: {near[0]!r}; " if near else ""
        raise TableError(
            f"{self.path}: {where} = {value!r}: {hint}one of {', '.join(map(repr, choices))}"
        )

    def number(self, where: str, value: Any) -> float:
        good = isinstance(value, int | float) and not isinstance(value, bool)
        low = 1e-3 if where.endswith("capacity_mL") else 0.0
        if not good or not low <= value <= 1e6:
            raise TableError(
                f"{self.path}: {where} = {value!r:.40}: expected a number from {low:g} to a million"
            )
        return float(value)


_KEYS = (
    "instrument",
    "class",
    "name",
    "capacity_mL",
    "step",
    "halfwidth",
    "u",
    "slope_percent",
    "relative_u_percent",
    "shared",
)
_TOP_KEYS = ("date_order", "assumed_equal_halfwidth_K")
