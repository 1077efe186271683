"""φ_L of the solutes for which it is published: tables, and published models evaluated.

Each function takes a solute's name and gives its `Way`, or ``None``; which one is asked first
stands in :mod:`calib.reactions.apparent_enthalpy`, with what is done past a way's end.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, log, sqrt

from calib.estimate import Kind
from calib.reactions.apparent_enthalpy_tables import (
    ACIDS_KJ,
    FURTHER,
    H2SO4_KJ,
    HCL_KJ,
    J_PER_CAL,
    NACL_CAL,
    NAOH_CAL,
    NH3_KJ,
    PURE_LIQUID_KJ,
    THOMSEN,
    Points,
)
from calib.reactions.ions import STRONG, salt_of
from calib.reactions.pitzer import debye_hueckel_phi_L, pitzer_phi_L
from calib.reactions.pitzer_data import SOURCES, slopes

__all__ = [
    "Course",
    "Way",
    "ammonia",
    "by_pitzer",
    "by_thomsen",
    "charges_of",
    "other_acids",
    "published",
]

PARKER = "Parker, NSRDS-NBS 2 (1965), relative apparent molar enthalpies (public domain)"
CRC_ACIDS = "CRC Handbook, enthalpy of dilution of acids, after Parker (1965) (public page)"
H2SO4_SOURCE = "enthalpies of formation of H2SO4 in n H2O, as textbooks quote them"
NH3_SOURCE = "integral heats of solution of NH3 in n H2O, as textbooks print them (from memory)"
THOMSEN_SOURCE = "extended UNIQUAC model, K. Thomsen, thesis (1997), evaluated at 25 °C (computed)"

U_TABLE = 20.0
"""u [J/mol] of the tables of HCl, NaOH, NaCl up to 3 mol/kg; their agreement with fitted models."""
FURTHER_SHARE = 0.6
"""u of a change past a fit as a share of it: the model finds 40 to 65 % of NaOH's and HCl's."""
TOWARD_PURE, U_TOWARD_PURE = 20.0, 80.0
"""Molality [mol/kg] past its table at which half of the way to the pure liquid acid is gone, and u
[J/mol] per factor e of molality there (judgement)."""

Course = Callable[[float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Way:
    """How one solute's φ_L and u [J/mol] run up to ``end`` [mol/kg], and where that stands."""

    course: Course
    end: float
    source: str
    kind: Kind = "published"
    fitted_to: float | None = None


def _smooth(points: Points) -> Callable[[float], float]:
    """Shape-keeping cubic in √m through nought and the points."""
    from scipy.interpolate import PchipInterpolator

    whole = ((0.0, 0.0), *points)
    curve = PchipInterpolator([sqrt(m) for m, _ in whole], [value for _, value in whole])
    return lambda m: float(curve(sqrt(m)))


# --- published tables -----------------------------------------------------------------------------


def published(name: str) -> Way | None:
    """HCl, NaOH, NaCl and H2SO4 by their tables."""
    tables = {"HCl": (HCL_KJ, 1e3), "H2SO4": (H2SO4_KJ, 1e3),
              "NaOH": (NAOH_CAL, J_PER_CAL), "NaCl": (NACL_CAL, J_PER_CAL)}  # fmt: skip
    if name not in tables:
        return None
    points, factor = tables[name]
    value = _smooth(tuple((m, y * factor) for m, y in points))
    if name == "H2SO4":
        return Way(lambda m: (value(m), 700.0 + 15.0 * min(m, 100.0)), points[-1][0], H2SO4_SOURCE)
    source = CRC_ACIDS if name == "HCl" else PARKER
    return Way(lambda m: (value(m), U_TABLE * max(1.0, m / 3.0)), points[-1][0], source)


def other_acids(name: str) -> Way | None:
    """Columns that begin at 1 or 1.5 mol/kg; below, a fit through infinite dilution joins them."""
    if name not in ACIDS_KJ:
        return None
    from scipy.interpolate import PchipInterpolator

    points = ACIDS_KJ[name]
    first, at_first = points[0]
    table = PchipInterpolator([m for m, _ in points], [1e3 * value for _, value in points])
    fit = _acid_fit(name)
    gap = 1e3 * at_first - fit(first)

    last, at_last = points[-1]
    pure = PURE_LIQUID_KJ.get(name)

    def course(m: float) -> tuple[float, float]:
        if pure is not None and m > last:
            toward = (m - last) / (m - last + TOWARD_PURE)
            value = 1e3 * (at_last + (pure - at_last) * toward)
            return value, hypot(U_TABLE, U_TOWARD_PURE * log(m / last))
        if m >= first:
            return float(table(m)), U_TABLE
        share = m / first
        return fit(m) + gap * share, U_TABLE + 160.0 * share * (1.0 - share)

    source = f"{CRC_ACIDS}; below {first:g} mol/kg by a fit through infinite dilution"
    if pure is None:
        return Way(course, last, source)
    return Way(course, float("inf"), f"{source}; above {last:g} toward the pure liquid")


def _acid_fit(name: str) -> Callable[[float], float]:
    """φ_L = Debye-Hückel + a m + b m^1.5 + c m² by least squares; no first term for weak acids."""
    import numpy as np

    m = np.array([point[0] for point in ACIDS_KJ[name]])
    y = np.array([point[1] for point in ACIDS_KJ[name]]) * 1e3
    strong = name in STRONG

    def first(x: float) -> float:
        return debye_hueckel_phi_L(1, -1, 1, 1, x) if strong else 0.0

    powers = (1.0, 1.5, 2.0)
    rest = y - np.array([first(float(x)) for x in m])
    columns = np.stack([m**power for power in powers], axis=1)
    terms = np.linalg.lstsq(columns, rest, rcond=None)[0]

    def fitted(x: float) -> float:
        return first(x) + float(sum(t * x**p for t, p in zip(terms, powers, strict=True)))

    return fitted


# --- published models -----------------------------------------------------------------------------

_U_THOMSEN = {  # J/mol: at infinite dilution, per mol/kg up to 6, and share of φ_L past 4 mol/kg
    "NH4NO3": (60.0, 150.0, 0.0), "(NH4)2SO4": (200.0, 300.0, 0.0), "K2SO4": (150.0, 500.0, 0.0),
    "NaNO3": (60.0, 130.0, 0.0), "KNO3": (80.0, 350.0, 0.0), "KOH": (30.0, 120.0, FURTHER_SHARE),
}  # fmt: skip
"""The model beside Parker's NaCl, NaOH and HCl is off by 20 to 100 J/mol up to 3 mol/kg; beside the
Pitzer fits of NaNO3, KNO3 and KOH by 200, 600 and 70 J/mol at 1 mol/kg. Of NaOH's steep rise past
4 mol/kg it finds 40 to 50 %."""


def by_thomsen(name: str) -> Way | None:
    """Salts tabulated here by Thomsen's extended UNIQUAC model."""
    if name not in THOMSEN:
        return None
    value = _smooth(THOMSEN[name])
    base, slope, share = _U_THOMSEN[name]
    at_4 = value(4.0) if share else 0.0

    def course(m: float) -> tuple[float, float]:
        past = share * (value(m) - at_4) if m > 4.0 else 0.0
        return value(m), hypot(base + slope * min(m, 6.0), past)

    return Way(course, THOMSEN[name][-1][0], THOMSEN_SOURCE, "correlation")


_U_PITZER = {  # J/mol at infinite dilution, and per mol/kg: differences between parameter sets
    "KCl": (20.0, 40.0), "NH4Cl": (30.0, 60.0),
    "Na2CO3": (60.0, 600.0), "K2CO3": (60.0, 600.0),
}  # fmt: skip


def by_pitzer(name: str) -> Way | None:
    """Pitzer's model up to the largest molality of its fit; past it a published change if any."""
    own, charges = slopes(name), charges_of(name)
    if own is None or charges is None:
        return None
    base, slope = _U_PITZER.get(name, (30.0, 100.0))
    size = abs(charges[0] * charges[1]) * (charges[2] + charges[3]) / 2

    def fitted(m: float) -> tuple[float, float]:
        return pitzer_phi_L(own, *charges, m), size * (base + slope * min(m, 3.0))

    source = SOURCES[own.source]
    if name not in FURTHER:
        return Way(fitted, own.max_m, source, "correlation")
    more = _change_past(own.max_m, FURTHER[name])

    def course(m: float) -> tuple[float, float]:
        value, u = fitted(min(m, own.max_m))
        change = more(m)
        return value + change, hypot(u, FURTHER_SHARE * change)

    return Way(course, FURTHER[name][-1][0],
                f"{source}; above {own.max_m:g} mol/kg its change by the {THOMSEN_SOURCE}",
                "correlation", own.max_m)  # fmt: skip


def _change_past(start: float, points: Points) -> Callable[[float], float]:
    from scipy.interpolate import PchipInterpolator

    whole = ((start, 0.0), *points)
    curve = PchipInterpolator([m for m, _ in whole], [value for _, value in whole])
    return lambda m: float(curve(m)) if m > start else 0.0


def charges_of(name: str) -> tuple[int, int, int, int] | None:
    """z+, z-, ν+, ν- of a strong acid or a salt of two kinds of ions."""
    if name in STRONG:
        return None if name == "H2SO4" else (1, -1, 1, 1)
    salt = salt_of(name)
    if salt is None or len(salt.ions) != 2:
        return None
    (_, z_c, n_c), (_, z_a, n_a) = salt.ions
    return z_c, z_a, n_c, n_a


def ammonia(name: str) -> Way | None:
    """Ammonia by integral heats of solution."""
    if name != "NH3":
        return None
    value = _smooth(tuple((m, 1e3 * y) for m, y in NH3_KJ))
    return Way(lambda m: (value(m), 20.0 + 80.0 * m), NH3_KJ[-1][0], NH3_SOURCE)
