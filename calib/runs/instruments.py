"""What each reading of a table is worth, from the instruments it was read with.

Published tolerances are the default (:mod:`calib.runs.tolerances`); ``readings.toml`` beside the
table names the instruments in use (:mod:`calib.runs.readings_file`); a ``u_`` column of the table
takes precedence over both. The display step is the one the digits in a column show, unless said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from calib.runs import tolerances as tol
from calib.runs.columns import COLUMNS
from calib.runs.model import Run, Table
from calib.runs.parts import PartMaker
from calib.runs.reading import Part, Reading, u_of_difference
from calib.runs.readings_file import Setting, Settings, read_settings

__all__ = ["Instruments", "Part", "Reading", "ToleranceLine", "describe", "u_of_difference"]

STEP_DEFAULTS = {"temperature": 0.1, "mass": 0.01, "voltage": 0.01, "current": 0.01}
"""Display steps taken where neither ``readings.toml`` nor the digits written tell: °C, g, V, A."""


@dataclass(frozen=True, slots=True)
class Instruments:
    """The instruments of one table: published defaults, ``readings.toml``, the digits written.

    ``steps`` are the reading steps seen in the digits of each column.
    """

    settings: Settings
    steps: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def load(cls, table: Table | Path | str) -> Instruments:
        """The instruments for a table, or for a path beside which ``readings.toml`` may stand.

        Raises:
            TableError: ``readings.toml`` is there but cannot be read, or names what is not known.
        """
        if isinstance(table, Table):
            return cls(read_settings(table.path), table.steps)
        return cls(read_settings(Path(table)))

    @classmethod
    def default(cls) -> Instruments:
        """Published defaults only."""
        return cls(Settings(sections={}, columns={}))

    @property
    def u_assumed_equal_K(self) -> float:
        """Standard uncertainty of a liquid's temperature that was taken equal to the other's."""
        return tol.rectangular(self.settings.assumed_equal_halfwidth_K)

    def u(self, column: str, value: float, run: Run) -> Reading:
        """What a value in a column of a run is worth.

        ``column`` is a number column of the table, or ``"curve"`` for a logged temperature (whose
        display step and noise belong to its correction, so that only offset and slope are listed).
        A ``u_`` column of the table takes precedence over everything else.

        Raises:
            KeyError: the column holds no numbers.
        """
        quantity = "temperature" if column == "curve" else COLUMNS[column].quantity
        if quantity is None:
            raise KeyError(column)
        unit = "°C" if column == "curve" else COLUMNS[column].unit
        setting = self.settings.of(column)
        maker = PartMaker(column, value, run, setting, self._step(column, str(quantity), setting))
        given = run.u.get(column)
        if given is not None:
            return Reading(column, value, unit, maker.given(given, str(quantity)))
        return Reading(column, value, unit, maker.parts(str(quantity)))

    def step_K(self, column: str) -> float:
        """The display step of the thermometer read for a column of temperatures. [K]"""
        return self._step(column, "temperature", self.settings.of(column))

    def _step(self, column: str, quantity: str, setting: Setting) -> float:
        if setting.step is not None:
            return setting.step
        default = STEP_DEFAULTS.get(quantity, 0.0)
        return self.steps.get(column, default)


@dataclass(frozen=True, slots=True)
class ToleranceLine:
    """One line of the list of tolerances in use. ``u`` is for the limit's constant part."""

    instrument: str
    applies_to: str
    limit: str
    u: float
    unit: str
    source: str
    origin: tol.Origin


def describe() -> tuple[ToleranceLine, ...]:
    """Every tolerance in use with its source, for the command ``reference``."""
    lines = [
        ToleranceLine(
            f"{g.capacity_mL:g} mL {g.instrument} class {g.grade}",
            "volume",
            f"±{g.halfwidth:g} mL",
            tol.rectangular(g.halfwidth),
            "mL",
            g.source,
            g.origin,
        )
        for g in tol.GLASSWARE
    ]
    lines += [
        ToleranceLine(
            f"{t.instrument} {t.grade}".strip(),
            "temperature",
            f"±({t.halfwidth:g} °C + {100 * t.slope:.2g} % of the reading)",
            tol.rectangular(t.halfwidth),
            "°C",
            t.source,
            t.origin,
        )
        for t in (*tol.THERMOMETERS, tol.glass_thermometer(0.2), tol.glass_thermometer(1.0))
    ]
    return (*lines, *_practice())


def _practice() -> tuple[ToleranceLine, ...]:
    rows = (
        ("balance with 0.01 g display", "mass", "±0.02 g", 0.02, "g", tol.BALANCE_SOURCE),
        ("marks on a beaker", "volume", "±5 %", 5.0, "%", tol.BEAKER_SOURCE),
        ("graduated syringe", "volume", "±4 %", 4.0, "%", tol.SYRINGE_SOURCE),
        ("voltmeter", "voltage", "±(0.5 % + 2 steps)", 0.5, "%", tol.VOLTMETER_SOURCE),
        ("ammeter", "current", "±(1 % + 2 steps)", 1.0, "%", tol.AMMETER_SOURCE),
        ("stopwatch", "duration", "±0.5 s", 0.5, "s", tol.STOPWATCH_SOURCE),
    )
    stock = ToleranceLine(
        "stock solution", "concentration", "u = 0.5 %", 0.5, "%", tol.STOCK_SOURCE, "practice"
    )
    return (
        *(
            ToleranceLine(name, what, limit, tol.rectangular(half), unit, source, "practice")
            for name, what, limit, half, unit, source in rows
        ),
        stock,
    )
