"""The columns of a table of runs: what each holds, in which unit, and within which limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Quantity = Literal[
    "volume",
    "mass",
    "concentration",
    "temperature",
    "duration",
    "voltage",
    "current",
    "molar enthalpy",
]
Kind = Literal["label", "text", "date", "file", "number"]


@dataclass(frozen=True, slots=True)
class Column:
    """One known column. ``low`` and ``high`` are the limits beyond which a number is refused."""

    name: str
    kind: Kind
    meaning: str
    quantity: Quantity | None = None
    unit: str = ""
    low: float = float("-inf")
    high: float = float("inf")
    low_open: bool = False


def _number(
    name: str,
    meaning: str,
    quantity: Quantity,
    unit: str,
    low: float,
    high: float,
    low_open: bool = False,
) -> Column:
    return Column(name, "number", meaning, quantity, unit, low, high, low_open)


LEAST_G, LEAST_M = 1e-6, 1e-9
"""Least mass [g], volume [mL] and concentration [mol/L] that a cell can mean: below, no balance
and no cup shows anything, and arithmetic itself fails somewhere."""

_ALL = (
    Column("run", "label", "the row's own label; unique"),
    Column("apparatus", "text", "identifier in the registry"),
    Column("date", "date", "day of the run, best as 2026-11-25"),
    Column("reaction", "text", "an equation, or the name of a known reaction"),
    Column("in_cup", "text", "what is in the cup first: formula or name with state"),
    Column("added", "text", "what is added: formula or name with state"),
    _number("in_cup_mL", "volume in the cup", "volume", "mL", LEAST_G, 1e5),
    _number("in_cup_g", "mass in the cup", "mass", "g", LEAST_G, 1e5),
    _number("added_mL", "volume added", "volume", "mL", LEAST_G, 1e5),
    _number("added_g", "mass added", "mass", "g", LEAST_G, 1e5),
    _number("in_cup_mol_per_L", "its concentration", "concentration", "mol/L", LEAST_M, 60.0),
    _number("added_mol_per_L", "its concentration", "concentration", "mol/L", LEAST_M, 60.0),
    _number("in_cup_C", "temperature in the cup before mixing", "temperature", "°C", 0.0, 100.0),
    _number("added_C", "temperature of what is added", "temperature", "°C", 0.0, 100.0),
    _number("extreme_C", "highest or lowest reading after mixing", "temperature", "°C", 0.0, 100.0),
    _number("extreme_after_s", "time from mixing to that reading", "duration", "s", 0.0, 1e5),
    Column("curve", "file", "file of the logged curve, relative to the table"),
    _number("mixed_at_s", "moment of mixing on the curve's clock", "duration", "s", -1e7, 1e7),
    _number("room_C", "room temperature", "temperature", "°C", -10.0, 60.0),
    _number("heater_V", "the heater's voltage", "voltage", "V", 0.0, 500.0, True),
    _number("heater_A", "the heater's current", "current", "A", 0.0, 100.0, True),
    _number("heater_s", "how long the heater was on", "duration", "s", 0.0, 1e5, True),
    _number("reported_kJ_per_mol", "the group's own answer", "molar enthalpy", "kJ/mol", -1e9, 1e9),
)

COLUMNS: dict[str, Column] = {column.name: column for column in _ALL}
"""Every known column by its name, in the order of the documentation."""

NUMBERS: tuple[str, ...] = tuple(c.name for c in _ALL if c.kind == "number")
"""The columns that hold a number; each can have a ``u_`` column beside it."""

SOLID_C = (-200.0, 1200.0)
"""Limits for the temperature of a solid, which may come in hot."""

FURTHER = {
    "added_read_s": "seconds between the reading of added_C and the pouring",
    "added_curve": "file of the added liquid's own log, extrapolated to the pouring",
    "added_poured_at_s": "moment of pouring on that log's clock; its last reading unless given",
}
"""Columns that calibration reads from what is carried through, by name, and what they mean."""
