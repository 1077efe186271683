"""Whether a row can have been meant: limits, states, amounts, and what a run cannot do without.

Facts checked here need no chemistry beyond the state of a substance; what needs more (whether a
reaction balances, whether a cup is known) is checked where it is known.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from calib.errors import RowProblem
from calib.runs.columns import COLUMNS, SOLID_C

STATES = {"s": "solid", "l": "liquid", "aq": "in water", "g": "gas"}
_OTHER_STATES = {"c": "s", "cr": "s", "sol": "aq", "solid": "s", "liquid": "l", "liq": "l"}
_WATER = {"water", "h2o", "h2o(l)", "water(l)", "distilled water", "deionised water", "pure water"}
_READINGS = (
    "in_cup_C",
    "added_C",
    "extreme_C",
    "extreme_after_s",
    "curve",
    "room_C",
    "heater_s",
    "mixed_at_s",
    "reported_kJ_per_mol",
)

Fields = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Checker:
    """Checks one row. ``columns`` are the known columns of its table, ``failed`` those of its cells
    that could not be read and have been reported already.
    """

    columns: Collection[str]
    failed: Collection[str] = ()

    def problems(self, label: str, fields: Fields) -> list[RowProblem]:
        """Everything that keeps a row from being used."""
        found: list[RowProblem] = []
        for check in (_states, _limits, _concentrations, _two_amounts, self._needs):
            for column, message, seen, expected, remedy in check(fields):
                if column not in self.failed:
                    found.append(RowProblem(label, column, message, seen, expected, remedy))
        return found

    def _needs(self, fields: Fields) -> list[_Finding]:
        heater = any(fields.get(c) is not None for c in ("heater_V", "heater_A", "heater_s"))
        found = self._needs_amount("in_cup", fields)
        if heater:
            for column in ("heater_V", "heater_A", "heater_s"):
                found += self._needs_one((column,), fields, "an electrical calibration needs it")
        if fields.get("added") is not None or not (heater or _only_cooling(fields)):
            found += self._needs_amount("added", fields)
        found += self._needs_one(
            ("extreme_C", "curve"), fields, "a logged curve or the extreme reading is needed"
        )
        if fields.get("curve") is None:
            found += self._needs_one(
                ("in_cup_C", "added_C"), fields, "a temperature before mixing is needed"
            )
        return found

    def _needs_amount(self, side: str, fields: Fields) -> list[_Finding]:
        if _state(fields.get(side)) == "s" and fields.get(f"{side}_mL") is not None:
            return []  # said already: a solid is weighed
        if _state(fields.get(side)) == "s":
            return self._needs_one((f"{side}_g",), fields, "the mass of a solid is needed")
        return self._needs_one((f"{side}_mL", f"{side}_g"), fields, "an amount is needed")

    def _needs_one(self, names: tuple[str, ...], fields: Fields, why: str) -> list[_Finding]:
        if any(fields.get(name) is not None or name in self.failed for name in names):
            return []
        either = " or ".join(names)
        if any(name in self.columns for name in names):
            seen, remedy = "an empty cell", f"fill in {either}"
        else:
            seen, remedy = "no such column", f"add a column {either}"
        column = next((name for name in names if name in self.columns), names[0])
        return [(column, why, seen, either, remedy)]


_Finding = tuple[str, str, str, str, str]  # column, message, found, expected, remedy


def _only_cooling(fields: Fields) -> bool:
    """Whether a row is a log of a cup that cools: a curve, and nothing said of anything added."""
    added = ("added", "added_mL", "added_g", "added_C", "added_mol_per_L", "reaction")
    return fields.get("curve") is not None and all(fields.get(name) is None for name in added)


def has_readings(fields: Fields) -> bool:
    """Whether anything was measured in a row, beyond what a blank form already holds."""
    return any(fields.get(column) is not None for column in _READINGS)


@lru_cache(maxsize=4096)
def _state(substance: str | None) -> str | None:
    """The state written behind a substance, ``"l"`` for plain water, None where none is."""
    if substance is None:
        return None
    if substance.strip().casefold() in _WATER:
        return "l"
    match = re.fullmatch(r".*\S\s*\(\s*([A-Za-z]+)\s*\)", substance.strip())
    if match is None:
        return None
    state = match[1].casefold()
    state = _OTHER_STATES.get(state, state)
    roman = re.fullmatch("i{1,3}|i?v|vi{1,3}", match[1]) is not None
    return state if state in STATES or (match[1].islower() and not roman) else None


def _states(fields: Fields) -> list[_Finding]:
    found: list[_Finding] = []
    for side in ("in_cup", "added"):
        state = _state(fields.get(side))
        if state is None or state in STATES:
            continue
        known = ", ".join(f"({s}) {name}" for s, name in STATES.items())
        found.append((side, "the state is not known", repr(fields[side]), known, "correct it"))
    return found


def _limits(fields: Fields) -> list[_Finding]:
    found: list[_Finding] = []
    for name, column in COLUMNS.items():
        value = fields.get(name)
        if column.kind != "number" or value is None:
            continue
        low, high, open_low = column.low, column.high, column.low_open
        if name in ("in_cup_C", "added_C") and _state(fields.get(name[:-2])) == "s":
            low, high = SOLID_C
        if low <= value <= high and not (open_low and value == low):
            continue
        above = f"above {low:g}" if open_low else f"from {low:g}"
        remedy = _hint(name, value) or "correct the reading"
        seen = f"{value:g} {column.unit}"
        expected = f"{above} to {high:g} {column.unit}"
        found.append((name, f"{column.meaning} cannot be meant", seen, expected, remedy))
    return found


def _hint(name: str, value: float) -> str:
    if not name.endswith("_C"):
        return "a negative amount is none: correct the sign" if value < 0 else ""
    if name == "room_C" and 60.0 < value <= 100.0:
        return "if it is in °F, write °F in the heading or the cell"
    if 273.15 <= value <= 373.15:
        return "if it is in kelvin, write K in the heading or the cell"
    if 100.0 < value <= 212.0:
        return "if it is in °F, write °F in the heading or the cell"
    return ""


def _concentrations(fields: Fields) -> list[_Finding]:
    found: list[_Finding] = []
    for side in ("in_cup", "added"):
        column = f"{side}_mol_per_L"
        value, state = fields.get(column), _state(fields.get(side))
        if value is not None and state in ("s", "l", "g"):
            what = "water" if state == "l" else f"a {STATES[state]}"
            remedy = f"write {side} as a solution, such as HCl(aq), or clear {column}"
            seen = f"{value:g} mol/L for {fields[side]!r}"
            found.append((column, f"{what} has no concentration", seen, "an empty cell", remedy))
        elif value is None and state == "aq":
            remedy = f"fill in {column}"
            found.append((column, "a solution needs it", "an empty cell", "mol/L", remedy))
        if state == "s" and fields.get(f"{side}_mL") is not None:
            seen = f"{fields[f'{side}_mL']:g} mL of {fields[side]!r}"
            remedy = f"weigh it and fill in {side}_g"
            found.append((f"{side}_mL", "a solid is weighed", seen, "its mass in g", remedy))
    return found


def _two_amounts(fields: Fields) -> list[_Finding]:
    """Mass and volume of one liquid, both given, must make a density that a liquid can have."""
    found: list[_Finding] = []
    for side in ("in_cup", "added"):
        volume, mass = fields.get(f"{side}_mL"), fields.get(f"{side}_g")
        if volume is None or mass is None or volume <= 0 or mass <= 0:
            continue
        low, high = _density_limits(side, fields)
        if not low <= mass / volume <= high:
            seen = f"{mass:g} g in {volume:g} mL, {mass / volume:.3g} g/mL"
            expected = f"{low:.3g} to {high:.3g} g/mL"
            message = "mass and volume do not belong together"
            found.append((f"{side}_g", message, seen, expected, "correct or clear one of them"))
    return found


def _density_limits(side: str, fields: Fields) -> tuple[float, float]:
    """Plausible limits of a liquid's density in g/mL.

    Water's lies between 0.958 and 1.000 from 0 to 100 °C (IAPWS-95). A solution of c mol/L weighs
    at most 0.25 kg/L per mol/L more than water (common practice, no source). Both are widened by
    5 % for a volume read off a measuring vessel.
    """
    substance, c = fields.get(side), fields.get(f"{side}_mol_per_L")
    if _state(substance) == "l" and str(substance).strip().casefold() in _WATER:
        return 0.958 * 0.95, 1.0 * 1.05
    return 0.7, min(3.5, 1.05 * (1.0 + 0.25 * c)) if c is not None else 3.5
