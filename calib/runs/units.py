"""Units as people write them in headings and cells, and their factors to the unit of a column.

A small closed table on purpose: a general unit parser takes ``C`` for coulomb and a temperature
difference for a temperature.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from calib.runs.columns import Quantity


@dataclass(frozen=True, slots=True)
class Unit:
    """value in the column's unit = ``factor`` · value + ``offset``."""

    symbol: str
    quantity: Quantity
    factor: float
    offset: float = 0.0

    def convert(self, value: float) -> float:
        """A value, in the unit of the column."""
        if self.factor == 1.0 and self.offset == 0.0:
            return value
        return _tidy(value * self.factor + self.offset)

    def convert_step(self, value: float) -> float:
        """A difference or an uncertainty, in the unit of the column."""
        return value if self.factor == 1.0 else _tidy(value * self.factor)

    @property
    def is_column_unit(self) -> bool:
        """Whether nothing has to be converted."""
        return self.factor == 1.0 and self.offset == 0.0


def _tidy(value: float) -> float:
    """Drop the binary dust that a conversion leaves: 0.5 L is 500 mL, 69.8 °F is 21 °C."""
    return float(f"{value:.13g}")


_F = 5.0 / 9.0

# symbol: quantity, factor, offset, spellings. Factors are exact (SI Brochure, 9th ed., tables 4-8).
_TABLE: tuple[tuple[str, Quantity, float, float, str], ...] = (
    ("mL", "volume", 1.0, 0.0, "ml cm3 cm^3 ccm cc milliliter milliliters millilitre millilitres"),
    ("cL", "volume", 10.0, 0.0, "cl centiliter centilitre"),
    ("dL", "volume", 100.0, 0.0, "dl deciliter decilitre"),
    ("L", "volume", 1000.0, 0.0, "l liter liters litre litres dm3 dm^3"),
    ("µL", "volume", 1e-3, 0.0, "µl μl μL ul uL mm3 mm^3"),
    ("m³", "volume", 1e6, 0.0, "m3 m^3"),
    ("g", "mass", 1.0, 0.0, "gram grams gramme grammes gr"),
    ("mg", "mass", 1e-3, 0.0, "milligram milligrams"),
    ("µg", "mass", 1e-6, 0.0, "μg ug microgram micrograms"),
    ("kg", "mass", 1000.0, 0.0, "kilogram kilograms kilo"),
    ("oz", "mass", 28.349523125, 0.0, "ounce ounces"),
    ("lb", "mass", 453.59237, 0.0, "lbs pound pounds"),
    (
        "mol/L",
        "concentration",
        1.0,
        0.0,
        "M molar mol/l molL moll-1 moll^-1 mol/liter mol/litre mol/dm3 mol/dm^3 moldm-3 moldm^-3 "
        "kmol/m3 kmol/m^3 mmol/mL mmol/ml",
    ),
    ("mmol/L", "concentration", 1e-3, 0.0, "mM mmol/l mmol/dm3 mmoll-1 mmoldm-3 mol/m3 mol/m^3"),
    ("°C", "temperature", 1.0, 0.0, "C degC deg.C celsius degreesC degreeC degreescelsius °"),
    ("°F", "temperature", _F, -32.0 * _F, "F degF deg.F fahrenheit degreesF degreesfahrenheit"),
    ("K", "temperature", 1.0, -273.15, "kelvin kelvins degK °K"),
    ("s", "duration", 1.0, 0.0, "sec secs second seconds"),
    ("min", "duration", 60.0, 0.0, "mins minute minutes"),
    ("h", "duration", 3600.0, 0.0, "hr hrs hour hours"),
    ("ms", "duration", 1e-3, 0.0, "millisecond milliseconds"),
    ("V", "voltage", 1.0, 0.0, "volt volts"),
    ("mV", "voltage", 1e-3, 0.0, "millivolt millivolts"),
    ("kV", "voltage", 1000.0, 0.0, "kilovolt kilovolts"),
    ("A", "current", 1.0, 0.0, "amp amps ampere amperes"),
    ("mA", "current", 1e-3, 0.0, "milliamp milliamps milliampere milliamperes"),
    (
        "kJ/mol",
        "molar enthalpy",
        1.0,
        0.0,
        "kJmol-1 kJmol^-1 kilojoule/mol kilojoules/mol kilojoulepermole kJ/mole J/mmol",
    ),
    ("J/mol", "molar enthalpy", 1e-3, 0.0, "Jmol-1 Jmol^-1 joule/mol joules/mol J/mole"),
    ("MJ/mol", "molar enthalpy", 1e3, 0.0, "MJmol-1 MJmol^-1"),
    ("kcal/mol", "molar enthalpy", 4.184, 0.0, "kcalmol-1 kcalmol^-1 kcal/mole"),
    ("cal/mol", "molar enthalpy", 4.184e-3, 0.0, "calmol-1 calmol^-1 cal/mole"),
)

# Spellings whose case carries the meaning: molar is not molal, millimolar not millimetre.
_CASE_MATTERS = {"M", "mM", "MJ/mol", "MJmol-1", "MJmol^-1"}
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")


def plain_unit(text: str) -> str:
    """A unit's text without blanks, dots and superscripts: ``mol · L⁻¹`` is ``molL-1``."""
    text = unicodedata.normalize("NFKC", text.translate(_SUPERSCRIPTS)).strip()
    text = text.replace("−", "-").replace("–", "-")
    text = re.sub(r"(?i)(?<![a-z])per(?![a-z])|_per_", "/", text)
    text = re.sub(r"(?i)\s+per\s+", "/", text)
    return re.sub(r"[\s·⋅•∙*_]+", "", text)


@cache
def _spellings() -> tuple[dict[str, Unit], dict[str, Unit]]:
    exact: dict[str, Unit] = {}
    folded: dict[str, Unit] = {}
    for symbol, quantity, factor, offset, others in _TABLE:
        unit = Unit(symbol, quantity, factor, offset)
        for spelling in (symbol, *others.split()):
            plain = plain_unit(spelling)
            exact.setdefault(plain, unit)
            if plain not in _CASE_MATTERS:
                folded.setdefault(plain.casefold(), unit)
    return exact, folded


@cache
def find_unit(text: str) -> Unit | None:
    """The unit that a text names, or None."""
    plain = plain_unit(text)
    exact, folded = _spellings()
    return exact.get(plain) or folded.get(plain.casefold())


def column_unit(quantity: Quantity) -> Unit:
    """The unit that the columns of a quantity are in."""
    return next(
        Unit(symbol, q, factor, offset)
        for symbol, q, factor, offset, _ in _TABLE
        if q == quantity and factor == 1.0 and offset == 0.0
    )
