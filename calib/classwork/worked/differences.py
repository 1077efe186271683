"""Why the simple and the full answer differ: one line a difference, in the unit of the answer.

The simple calculation is turned into the full one step by step, each step keeping those before it;
a line is the change that its step makes. So the lines add up to the whole difference exactly, and
another order of the steps would share it out a little differently.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calib.classwork.marking.readings import GroupReadings
from calib.classwork.marking.ways import Taught, full_ways, simple_path

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult

__all__ = ["Difference", "differences"]


@dataclass(frozen=True, slots=True)
class Difference:
    """What one part of the full treatment changes, and why it does."""

    name: str
    change: float
    after: float
    why: str


_Line = tuple[str, tuple[str, ...], str]
_RISE: _Line = (
    "the rise corrected for heat loss in place of the extreme reading", ("rise_K", "drop_K"),
    "heat passes between cup and room before the extreme is read",
)  # fmt: skip
_CUP: _Line = (
    "the cup's constant",
    ("cup_J_per_K",),
    "cup, lid and probe change their temperature too",
)
_MOLAR: tuple[_Line, ...] = (
    ("masses from densities in place of 1 mL for 1 g", ("mass_g",),
     "a millilitre is not a gram: most solutions are denser, water is a little lighter"),
    ("the solution's own specific heat in place of water's 4.18 J/(g K)", ("c_J_per_gK",),
     "a gram of solution takes up less heat than a gram of water"),
    _RISE, _CUP,
    ("the temperature of what is added", ("offset_J",),
     "it started elsewhere and so brought heat along, or took some"),
    ("moles from the density, where a solution was weighed", ("divisor",),
     "a gram of solution is not a millilitre, so it holds fewer moles than taken"),
)  # fmt: skip
_PHYSICAL: tuple[_Line, ...] = (
    ("the water's density in place of 1 mL for 1 g", ("mass_g",),
     "water at room temperature is a little lighter than 1 g/mL"),
    ("water's specific heat at this temperature in place of 4.18 J/(g K)", ("c_J_per_gK",),
     "it changes a little with temperature"),
    _RISE, _CUP,
    ("the melt's specific heat and the ice's own temperature", ("melt_J_per_g",),
     "water near 0 °C takes up a little more; ice below 0 °C is warmed first"),
)  # fmt: skip


def differences(
    readings: GroupReadings, taught: Taught, result: RunResult, unit: str = ""
) -> tuple[Difference, ...]:
    """The lines from the simple answer to the full one; a step that changes nothing has none."""
    unit = unit or readings.unit()
    path = simple_path(readings, taught, unit=unit)
    goal = full_ways(readings, result, unit=unit)[0].path
    found = []
    value = path.value()
    number = readings.limiting.number
    if readings.kind == "molar" and number != 1.0:
        path = replace(path, divisor=path.divisor / number)
        what = (
            f"per mole of the equation as written, which uses {number:g} {readings.limiting.label}"
        )
        found.append(
            Difference(what, path.value() - value, path.value(), "another thing is counted")
        )
        value = path.value()
    for name, fields, why in _MOLAR if readings.kind == "molar" else _PHYSICAL:
        changed: dict[str, Any] = {field: getattr(goal, field) for field in fields}
        path = replace(path, **changed)
        after = path.value()
        if abs(after - value) > 1e-9 * max(abs(after), 1e-9):
            found.append(Difference(name, after - value, after, why))
        value = after
    return tuple(found)
