"""Published tolerances of glassware and instruments; from a limit to a standard uncertainty.

Each limit says where it comes from and how it was come by: "found" (seen in the public page
named), "memory" (believed, not looked up), "practice" (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Origin = Literal["found", "memory", "practice"]


# --- from limits to standard uncertainties ------------------------------------------------------


def rectangular(halfwidth: float) -> float:
    """Standard uncertainty of a value known to lie within ± halfwidth: u = a/√3.

    Source: JCGM 100:2008, 4.3.7. Same unit as the argument.
    """
    return halfwidth / math.sqrt(3.0)


def triangular(halfwidth: float) -> float:
    """Standard uncertainty where values near the middle are likelier: u = a/√6.

    Source: JCGM 100:2008, 4.3.9.
    """
    return halfwidth / math.sqrt(6.0)


def arcsine(halfwidth: float) -> float:
    """Standard uncertainty of a value that swings between ± halfwidth: u = a/√2.

    Source: JCGM 100:2008, H.1.3.4 (cyclic temperature).
    """
    return halfwidth / math.sqrt(2.0)


def digital_step(step: float) -> float:
    """Standard uncertainty from a display that moves in steps: u = d/√12.

    Source: JCGM 100:2008, F.2.2.1.
    """
    return step / math.sqrt(12.0)


def from_expanded(expanded: float, k: float = 2.0) -> float:
    """Standard uncertainty from a certificate's expanded one: u = U/k. Source: JCGM 100, 4.3.3."""
    return expanded / k


# --- glassware ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Limit:
    """How far an instrument may be off: ± ``halfwidth`` plus ``slope`` times the value read.

    For glassware ``capacity_mL`` is the nominal capacity and ``division`` its graduation (0: one
    mark only). ``unit`` is that of the halfwidth; ``slope`` has none.
    """

    instrument: str
    grade: str
    unit: str
    halfwidth: float
    source: str
    origin: Origin
    slope: float = 0.0
    capacity_mL: float = 0.0
    division: float = 0.0


_E1272 = "ASTM E1272-02(2012) Table 1, measuring cylinders"
_E969 = "ASTM E969-02(2012) Table 1, transfer pipets"
_E287 = "ASTM E287, burets"
_E288 = "ASTM E288, volumetric flasks"

_Row = tuple[float, float, float, float, Origin]  # capacity, class A, class B, division, origin

_CYLINDERS: tuple[_Row, ...] = (
    (5.0, 0.05, 0.10, 0.1, "found"),
    (10.0, 0.10, 0.20, 0.2, "found"),
    (25.0, 0.17, 0.34, 0.5, "found"),
    (50.0, 0.25, 0.50, 1.0, "found"),
    (100.0, 0.50, 1.00, 1.0, "found"),
    (250.0, 1.00, 2.00, 2.0, "found"),
    (500.0, 2.00, 4.00, 5.0, "found"),
    (1000.0, 3.00, 6.00, 10.0, "memory"),
)
_PIPETS: tuple[_Row, ...] = (
    (2.0, 0.006, 0.012, 0.0, "found"),
    (5.0, 0.01, 0.02, 0.0, "found"),
    (7.0, 0.01, 0.03, 0.0, "found"),
    (10.0, 0.02, 0.04, 0.0, "memory"),
    (25.0, 0.03, 0.06, 0.0, "memory"),
    (50.0, 0.05, 0.10, 0.0, "memory"),
    (100.0, 0.08, 0.16, 0.0, "memory"),
)
_BURETS: tuple[_Row, ...] = (
    (10.0, 0.02, 0.04, 0.05, "memory"),
    (25.0, 0.03, 0.06, 0.1, "memory"),
    (50.0, 0.05, 0.10, 0.1, "memory"),
    (100.0, 0.10, 0.20, 0.2, "memory"),
)
_FLASKS: tuple[_Row, ...] = (
    (25.0, 0.03, 0.06, 0.0, "memory"),
    (50.0, 0.05, 0.10, 0.0, "memory"),
    (100.0, 0.08, 0.16, 0.0, "memory"),
    (250.0, 0.12, 0.24, 0.0, "memory"),
    (500.0, 0.20, 0.40, 0.0, "memory"),
    (1000.0, 0.30, 0.60, 0.0, "memory"),
)


def _glass(name: str, source: str, rows: tuple[_Row, ...]) -> tuple[Limit, ...]:
    return tuple(
        Limit(name, grade, "mL", limit, source, origin, 0.0, capacity, division)
        for capacity, class_a, class_b, division, origin in rows
        for grade, limit in (("A", class_a), ("B", class_b))
    )


GLASSWARE: tuple[Limit, ...] = (
    *_glass("cylinder", _E1272, _CYLINDERS),
    *_glass("pipet", _E969, _PIPETS),
    *_glass("buret", _E287, _BURETS),
    *_glass("flask", _E288, _FLASKS),
)


def glassware_limit(
    instrument: str, grade: str, volume_mL: float, capacity_mL: float | None = None
) -> tuple[Limit, int]:
    """The limit for a volume, and how many fillings it takes.

    Without ``capacity_mL`` the smallest listed piece that holds the volume is taken, or the
    largest one as often as needed. A capacity between two listed ones gets the larger one's limit.

    Raises:
        KeyError: no such instrument or class.
    """
    known = [g for g in GLASSWARE if (g.instrument, g.grade) == (instrument, grade)]
    if not known:
        raise KeyError(f"{instrument} class {grade}")
    wanted = volume_mL if capacity_mL is None else capacity_mL
    limit = next((g for g in known if g.capacity_mL >= wanted * (1 - 1e-9)), known[-1])
    holds = limit.capacity_mL if capacity_mL is None else capacity_mL
    return limit, max(1, math.ceil(volume_mL / holds * (1 - 1e-9)))


# --- thermometers, balances, meters -------------------------------------------------------------

_IEC_60751 = "IEC 60751, Pt100 tolerance classes (two makers' pages)"

THERMOMETERS: tuple[Limit, ...] = (
    Limit("Pt100", "AA", "°C", 0.1, _IEC_60751, "found", slope=0.0017),
    Limit("Pt100", "A", "°C", 0.15, _IEC_60751, "found", slope=0.002),
    Limit("Pt100", "B", "°C", 0.3, _IEC_60751, "found", slope=0.005),
    Limit("Pt100", "C", "°C", 0.6, _IEC_60751, "found", slope=0.01),
    # A straight line that stays within ± a over a span S has a slope of at most 2a/S.
    Limit(
        "thermistor",
        "",
        "°C",
        0.1,
        "interchangeable thermistor, common grade, ±0.1 °C over 0 to 70 °C (a maker's page); "
        "slope: the steepest line inside that band",
        "found",
        slope=2 * 0.1 / 70.0,
    ),
    Limit(
        "type K thermocouple",
        "",
        "°C",
        2.2,
        "type K, standard limits of error, greater of ±2.2 °C or 0.75 % (a maker's page); "
        "slope: the proportional limit",
        "found",
        slope=0.0075,
    ),
)

GLASS_THERMOMETER_SOURCE = (
    "liquid-in-glass thermometer, about one division (common practice, no source); "
    "slope: the steepest line inside that band over 100 °C"
)
BALANCE_SOURCE = "balance, linearity about two display steps (common practice, no source)"
VOLTMETER_SOURCE = "hand-held meter, ±(0.5 % + 2 steps) (common practice, no source)"
AMMETER_SOURCE = "hand-held meter, ±(1 % + 2 steps) (common practice, no source)"
STOPWATCH_SOURCE = "hand-held stopwatch, ±0.5 s for start and stop (common practice, no source)"
STOCK_SOURCE = "stock solution's concentration, 0.5 % (assumed, no source)"
BEAKER_SOURCE = "marks on a beaker, ±5 % (common practice, no source)"
SYRINGE_SOURCE = "graduated syringe, ±4 % (common practice, no source)"


def glass_thermometer(division: float) -> Limit:
    """A liquid-in-glass thermometer with that division, in °C."""
    return Limit(
        "glass thermometer",
        "",
        "°C",
        division,
        GLASS_THERMOMETER_SOURCE,
        "practice",
        slope=2 * division / 100.0,
        division=division,
    )
