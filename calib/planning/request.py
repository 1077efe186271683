"""What is planned: two portions as a person writes them, a cup, a thermometer.

``50 mL 1.0 mol/L HCl(aq)``, ``4.0 g NaOH(s)``, ``100 g water at 60 °C``: numbers with units in any
order, and what is left over is the substance.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from datetime import date

from calib.errors import InputError
from calib.runs.columns import COLUMNS, SOLID_C
from calib.runs.model import Run
from calib.runs.units import Unit, find_unit
from fitting.cup.knowledge import BENCH

__all__ = ["Planned", "parse_portion", "planned_run"]

_AMOUNT = re.compile(
    r"(?<![\w.,·*])(?P<number>[-−+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*"
    r"(?P<unit>°\s?[CFK]\b|[A-Za-zµμ]+(?:[\^]?3|³)?(?:\s?/\s?[A-Za-z]+(?:[\^]?3|³)?|\s?[·*]?\s?L(?:-1|⁻¹))?)"
    r"(?![\w(])"
)
_FILLERS = re.compile(r"^(?:of|at|with|and|in|,|;)\s*|\s*(?:\bof|\bat|\bwith|\band|,|;)$")
_COLUMN = {"volume": "mL", "mass": "g", "concentration": "mol_per_L", "temperature": "C"}
_EXAMPLES = "'50 mL 1.0 mol/L HCl(aq)', '4.0 g NaOH(s)' or '100 g water at 60 °C'"


@dataclass(frozen=True, slots=True)
class Planned:
    """One portion: substance as written, and its amount; temperature [°C] where it is given."""

    substance: str
    mL: float | None = None
    g: float | None = None
    mol_per_L: float | None = None
    C: float | None = None

    def scaled(self, factor: float) -> Planned:
        """The same with another amount of substance: concentration, or else a solid's mass."""
        if self.mol_per_L is not None:
            return replace(self, mol_per_L=self.mol_per_L * factor)
        return replace(self, g=None if self.g is None else self.g * factor)

    def __str__(self) -> str:
        amounts = [
            f"{value:.4g} {unit}"
            for value, unit in ((self.mL, "mL"), (self.g, "g"), (self.mol_per_L, "mol/L"))
            if value is not None
        ]
        at = f" at {self.C:.4g} °C" if self.C is not None else ""
        return " ".join([*amounts, self.substance]) + at


def parse_portion(text: str, what: str = "portion") -> Planned:
    """Read one portion. Raises InputError with what was found and an example.

    >>> parse_portion("50 mL 1.0 mol/L HCl(aq)")
    Planned(substance='HCl(aq)', mL=50.0, g=None, mol_per_L=1.0, C=None)
    >>> parse_portion("60 g Cu(s) at 99 °C").C
    99.0
    """
    rest, found = text, dict[str, float]()
    for match in _AMOUNT.finditer(text):
        unit = find_unit(re.sub(r"\s", "", match["unit"]))
        if unit is None or unit.quantity not in _COLUMN:
            raise InputError(
                f"the {what} {text!r}: {match[0]!r} is no amount; expected mL, g, mol/L or °C, as "
                f"in {_EXAMPLES}"
            )
        name = _COLUMN[unit.quantity]
        if name in found:
            raise InputError(f"the {what} {text!r} gives its {unit.quantity} twice; give it once")
        found[name] = _value(match["number"], unit, name, text, what)
        rest = rest.replace(match[0], " ", 1)
    substance = " ".join(rest.split())
    while (shorter := _FILLERS.sub("", substance).strip()) != substance:
        substance = shorter
    if not substance:
        raise InputError(f"the {what} {text!r} names no substance; write it as in {_EXAMPLES}")
    if "mL" not in found and "g" not in found:
        raise InputError(
            f"the {what} {text!r} has no amount; give a volume or a mass, as in {_EXAMPLES}"
        )
    return Planned(substance, **found)


def _value(number: str, unit: Unit, name: str, text: str, what: str) -> float:
    value = unit.convert(float(number.replace(",", ".").replace("−", "-")))
    column = COLUMNS[f"added_{name}"]
    low, high = SOLID_C if name == "C" else (column.low, column.high)
    if not math.isfinite(value) or not low <= value <= high or (column.low_open and value <= low):
        raise InputError(
            f"the {what} {text!r}: {value:g} {column.unit} cannot be meant; expected "
            f"{'above' if column.low_open else 'from'} {low:g} to {high:g} {column.unit}"
        )
    return value


def planned_run(
    in_cup: Planned,
    added: Planned,
    *,
    reaction: str | None = None,
    apparatus: str | None = None,
    on: date | None = None,
    room_C: float = BENCH.usual_room_C.value,
) -> Run:
    """The planned run as a row of a table; temperatures that were not given are the room's."""
    cup_C = in_cup.C if in_cup.C is not None else room_C
    ice = added.substance.strip().casefold() in ("ice", "h2o(s)", "crushed ice", "ice cubes")
    added_C = added.C if added.C is not None else (0.0 if ice else cup_C)
    return Run(
        run="plan",
        apparatus=apparatus or "planned cup",
        date=on,
        reaction=reaction,
        in_cup=in_cup.substance,
        added=added.substance,
        in_cup_mL=in_cup.mL,
        in_cup_g=in_cup.g,
        in_cup_mol_per_L=in_cup.mol_per_L,
        in_cup_C=cup_C,
        added_mL=added.mL,
        added_g=added.g,
        added_mol_per_L=added.mol_per_L,
        added_C=added_C,
        room_C=room_C,
    )
