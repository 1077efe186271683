"""The parts of a reading's error, by the kind of instrument it was read with.

Who shares an instrument is seldom written down. Unless ``readings.toml`` says otherwise, one set of
glassware and one thermometer are taken to stay with each apparatus, one balance and one meter with
the whole table, and one stock solution with each substance and concentration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.runs import tolerances as tol
from calib.runs.cells import last_place
from calib.runs.model import Run
from calib.runs.reading import Part
from calib.runs.readings_file import Setting

SLOPE_ZERO_C = 20.0
"""Where a thermometer's slope error is taken to vanish; cancels in every difference."""

_SHARED_DEFAULTS = {"temperature": "apparatus", "volume": "apparatus", "duration": "run"}


@dataclass(frozen=True, slots=True)
class PartMaker:
    """Makes the parts for one reading."""

    column: str
    value: float
    run: Run
    setting: Setting
    step: float

    def parts(self, quantity: str) -> tuple[Part, ...]:
        """The parts, for a column of that quantity."""
        make = {
            "temperature": self.temperature,
            "volume": self.volume,
            "mass": self.mass,
            "concentration": self.concentration,
            "voltage": self.meter,
            "current": self.meter,
            "duration": self.duration,
        }.get(quantity, self.written)
        return make()

    def given(self, u: float, quantity: str) -> tuple[Part, ...]:
        """The one part that the table's own ``u_`` column gives."""
        source = f"column u_{self.column} of the table"
        key = self.stock_key() if quantity == "concentration" else None
        return (Part(f"{self.column} as given", 1.0, u, source, key),)

    def key(self, instrument: str, part: str, quantity: str) -> str:
        """The name of an error that readings made with the same instrument have in common."""
        shared = self.setting.shared or _SHARED_DEFAULTS.get(quantity, "table")
        who = {
            "table": "one for all",
            "apparatus": f"with {self.run.apparatus or 'run ' + self.run.run}",
            "run": f"run {self.run.run}",
        }[shared]
        return f"{self.setting.name or instrument} {part}: {who}"

    def own(self, instrument: str, quantity: str, slope_at: float) -> tuple[Part, ...] | None:
        """Offset and slope as the setting gives them, where it does."""
        given = self.setting
        if given.u is None and given.halfwidth is None and given.slope_percent is None:
            return None
        source = f"readings.toml, {given.name or instrument}"
        u = given.u if given.u is not None else tol.rectangular(given.halfwidth or 0.0)
        parts = [
            Part(f"{instrument} offset", 1.0, u, source, self.key(instrument, "offset", quantity))
        ]
        if given.slope_percent is not None:
            slope = tol.rectangular(given.slope_percent / 100.0)
            key = self.key(instrument, "slope", quantity)
            parts.append(Part(f"{instrument} slope", slope_at, slope, source, key))
        return tuple(parts)

    def reading_step(self, name: str, times: int = 1) -> tuple[Part, ...]:
        """The display's rounding, for a value that took that many readings."""
        if self.step <= 0.0:
            return ()
        u = tol.digital_step(self.step) * math.sqrt(times)
        source = f"display step {self.step:g}: d/√12 (JCGM 100:2008, F.2.2.1)"
        if times > 1:
            source += f", {times} readings"
        return (Part(f"{name} step", 1.0, u, source),)

    def temperature(self) -> tuple[Part, ...]:
        """Offset and slope of the thermometer, and the display's rounding."""
        limit = self.thermometer()
        name = f"{limit.instrument} {limit.grade}".strip()
        away = self.value - SLOPE_ZERO_C
        parts = self.own(name, "temperature", away) or (
            Part(
                f"{name} offset",
                1.0,
                tol.rectangular(limit.halfwidth),
                f"±{limit.halfwidth:g} °C: {limit.source}",
                self.key(name, "offset", "temperature"),
            ),
            Part(
                f"{name} slope",
                away,
                tol.rectangular(limit.slope),
                f"±{100 * limit.slope:.2g} %: {limit.source}",
                self.key(name, "slope", "temperature"),
            ),
        )
        if self.column == "curve":
            return parts
        if self.column == "room_C":
            spread = "how well one reading stands for the air round the cup (common practice)"
            parts = (*parts, Part("room spread", 1.0, 0.5, spread))
        return (*parts, *self.reading_step(name))

    def thermometer(self) -> tol.Limit:
        """The limits of the thermometer in use."""
        wanted = self.setting.instrument
        if wanted == "glass thermometer" or (wanted is None and self.step > 0.15):
            return tol.glass_thermometer(max(self.step, 0.1))
        wanted = wanted or "thermistor"
        grade = self.setting.grade or ("B" if wanted == "Pt100" else "")
        return next(t for t in tol.THERMOMETERS if (t.instrument, t.grade) == (wanted, grade))

    def volume(self) -> tuple[Part, ...]:
        """The graduation's error, and how well the meniscus is read."""
        instrument = self.setting.instrument or "cylinder"
        own = self.own(instrument, "volume", self.value)
        if own is not None:
            return (*own, *self.reading_step(instrument))
        if instrument in ("beaker", "syringe"):
            share = {"beaker": 0.05, "syringe": 0.04}[instrument]
            source = {"beaker": tol.BEAKER_SOURCE, "syringe": tol.SYRINGE_SOURCE}[instrument]
            key = self.key(instrument, "marks", "volume")
            return (Part(f"{instrument} marks", self.value, tol.rectangular(share), source, key),)
        return self.glassware(instrument)

    def glassware(self, instrument: str) -> tuple[Part, ...]:
        """Volumetric glassware with a published tolerance."""
        grade = self.setting.grade or "B"
        limit, fills = tol.glassware_limit(instrument, grade, self.value, self.setting.capacity_mL)
        capacity = self.setting.capacity_mL or limit.capacity_mL
        name = f"{capacity:g} mL {instrument} class {grade}"
        parts = [
            Part(
                name,
                float(fills),
                tol.rectangular(limit.halfwidth),
                f"±{limit.halfwidth:g} mL: {limit.source}" + (f", {fills} fillings" * (fills > 1)),
                self.key(name, "graduation", "volume"),
            )
        ]
        division = self.setting.step if self.setting.step is not None else limit.division
        readings = fills
        if instrument == "buret":
            division, readings = division / 5.0, 2 * fills
        if division > 0.0:
            u = tol.digital_step(division) * math.sqrt(readings)
            source = f"read to within ± half of {division:g} mL (common practice, no source)"
            parts.append(Part(f"{instrument} meniscus", 1.0, u, source))
        return tuple(parts)

    def mass(self) -> tuple[Part, ...]:
        """The balance's linearity, and the display's rounding at tare and at load."""
        own = self.own("balance", "mass", self.value)
        linearity = Part(
            "balance linearity",
            1.0,
            tol.rectangular(2 * self.step),
            f"±{2 * self.step:g} g: {tol.BALANCE_SOURCE}",
            self.key(f"balance {self.step:g} g", "linearity", "mass"),
        )
        return (*(own or (linearity,)), *self.reading_step("balance", times=2))

    def stock_key(self) -> str:
        """The name of a stock solution's error, which all runs that use it share."""
        side = "in_cup" if self.column.startswith("in_cup") else "added"
        substance = getattr(self.run, side) or side
        return f"stock:{substance} {self.value:g} mol/L"

    def concentration(self) -> tuple[Part, ...]:
        """The stock solution's relative uncertainty."""
        key = self.stock_key()
        given = self.setting
        if given.u is not None or given.halfwidth is not None:
            u = given.u if given.u is not None else tol.rectangular(given.halfwidth or 0.0)
            return (Part("stock concentration", 1.0, u, "readings.toml", key),)
        if given.relative_u_percent is not None:
            share = given.relative_u_percent / 100.0
            return (Part("stock concentration", self.value, share, "readings.toml", key),)
        return (Part("stock concentration", self.value, 0.005, tol.STOCK_SOURCE, key),)

    def meter(self) -> tuple[Part, ...]:
        """A hand-held meter's scale, and the display's rounding."""
        volts = self.column == "heater_V"
        quantity = "voltage" if volts else "current"
        name = "voltmeter" if volts else "ammeter"
        own = self.own(name, quantity, self.value)
        if own is not None:
            return (*own, *self.reading_step(name))
        share, source = (0.005, tol.VOLTMETER_SOURCE) if volts else (0.01, tol.AMMETER_SOURCE)
        limit = share * abs(self.value) + 2 * self.step
        key = self.key(name, "scale", quantity)
        part = Part(f"{name} scale", 1.0, tol.rectangular(limit), source, key)
        return (part, *self.reading_step(name))

    def duration(self) -> tuple[Part, ...]:
        """How well a time is noted by hand."""
        own = self.own("stopwatch", "duration", self.value)
        if own is not None:
            return own
        halfwidth = {"heater_s": 0.5, "mixed_at_s": 2.0}.get(self.column, 5.0)
        source = {"heater_s": tol.STOPWATCH_SOURCE}.get(
            self.column, f"noted to within ±{halfwidth:g} s (common practice, no source)"
        )
        return (Part("time noted", 1.0, tol.rectangular(halfwidth), source),)

    def written(self) -> tuple[Part, ...]:
        """A number of which only its last digit is known, such as a group's own answer."""
        text = self.run.written.get(self.column, "")
        return (
            Part(
                "last digit written",
                1.0,
                tol.digital_step(last_place(text)),
                "rounded to the last digit written (JCGM 100:2008, F.2.2.1)",
            ),
        )
