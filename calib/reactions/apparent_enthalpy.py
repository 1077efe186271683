"""φ_L: how far a solute's enthalpy at molality m lies from that at infinite dilution.

Order of choice: the published table (HCl, NaOH, NaCl, H2SO4, other strong acids, acetic and formic
acid); Pitzer's model where the salt has parameters; nought for molecules, with an assumed u; for
1-1 salts without data up to 1 mol/kg what such salts share, with the spread between them as u.

At another temperature the Debye-Hückel part of the change is taken and the rest goes into u.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import hypot, sqrt
from statistics import mean, stdev

from calib.errors import SubstanceError
from calib.estimate import Estimate, Kind
from calib.reactions.apparent_enthalpy_tables import (
    ACIDS_KJ,
    H2SO4_KJ,
    HCL_KJ,
    J_PER_CAL,
    NACL_CAL,
    NAOH_CAL,
    Points,
)
from calib.reactions.ions import ACIDS, STRONG, WEAK_BASES, Salt, salt_of, split_hydrate
from calib.reactions.pitzer import debye_hueckel_phi_L, pitzer_phi_L
from calib.reactions.pitzer_data import SOURCES, Slopes, all_slopes, slopes

UNIT = "J/mol"
PARKER = "Parker, NSRDS-NBS 2 (1965), relative apparent molar enthalpies (found in a public page)"
CRC_ACIDS = "CRC Handbook, enthalpy of dilution of acids, after Parker (1965) (public page)"
H2SO4_SOURCE = "enthalpies of formation of H2SO4 in n H2O, as a textbook quotes them (public page)"

U_TABLE = 20.0
"""u [J/mol] of the tables of HCl, NaOH, NaCl up to 3 mol/kg; their agreement with fitted models."""
U_J_PER_MOL_K = 15.0
"""u [J/(mol K)] per √m of the temperature slope of φ_L beyond its Debye-Hückel part (1-1 salts)."""
MAX_M_ASSUMED = {(1, -1): 1.0}
MAX_M_OTHERS = 0.5
"""Up to where [mol/kg] a salt without data is taken like the others of its charges."""
_MOLECULES_U = 400.0


def phi_L(formula: str, molality: float, t_C: float = 25.0) -> Estimate:
    """Relative apparent molar enthalpy [J per mol of formula unit] at ``molality`` [mol/kg].

    Raises ``SubstanceError`` where neither data nor an honest estimate is to be had, saying why.
    """
    if not molality >= 0.0:
        raise SubstanceError(
            f"the molality of {formula} is {molality:g} mol/kg; expected 0 or more"
        )
    name, _ = split_hydrate(formula)
    if molality == 0.0:
        return Estimate(0.0, 0.0, UNIT, "infinite dilution", "computed")
    for route in _ROUTES:
        found = route(name, molality)
        if found is not None:
            return _at_temperature(found, name, molality, t_C)
    raise SubstanceError(_why_not(name, molality))


def _why_not(name: str, molality: float) -> str:
    text = f"no relative apparent molar enthalpy of {name} is known here"
    salt = salt_of(name)
    if salt is not None and len(salt.ions) == 2 and molality > _limit(salt):
        text += (
            f", and at {molality:.3g} mol/kg (above {_limit(salt):g}) salts of its charges differ "
            "too much to take their mean"
        )
    return text


def _published(name: str, molality: float) -> Estimate | None:
    if name not in ("HCl", "NaOH", "NaCl", "H2SO4"):
        return None
    top = _points(name)[-1][0]
    if molality > top:
        raise SubstanceError(f"the table of {name} ends at {top:g} mol/kg; asked {molality:.3g}")
    value = _interpolant(name)(sqrt(molality))
    if name == "H2SO4":
        return Estimate(value, 700.0, UNIT, H2SO4_SOURCE)
    u = U_TABLE if molality <= 3.0 else U_TABLE * molality / 3.0
    return Estimate(value, u, UNIT, CRC_ACIDS if name == "HCl" else PARKER)


def _points(name: str) -> Points:
    tables = {"HCl": (HCL_KJ, 1e3), "H2SO4": (H2SO4_KJ, 1e3),
              "NaOH": (NAOH_CAL, J_PER_CAL), "NaCl": (NACL_CAL, J_PER_CAL)}  # fmt: skip
    points, factor = tables[name]
    return tuple((m, value * factor) for m, value in points)


@lru_cache(maxsize=8)
def _interpolant(name: str) -> Callable[[float], float]:
    """Shape-keeping cubic in √m through nought and the published points."""
    from scipy.interpolate import PchipInterpolator

    points = ((0.0, 0.0), *_points(name))
    curve = PchipInterpolator([sqrt(m) for m, _ in points], [value for _, value in points])
    return lambda root: float(curve(root))


def _other_acids(name: str, molality: float) -> Estimate | None:
    if name not in ACIDS_KJ or molality > ACIDS_KJ[name][-1][0]:
        return None
    first, at_first = ACIDS_KJ[name][0]
    if molality >= first:
        value = _acid_table(name)(molality)
        return Estimate(value, U_TABLE, UNIT, CRC_ACIDS)
    fit = _acid_fit(name)
    value = fit(molality) + (1e3 * at_first - fit(first)) * molality / first
    source = f"{CRC_ACIDS}; below {first:g} mol/kg by a fit through infinite dilution"
    return Estimate(value, 60.0, UNIT, source, "extrapolated")


@lru_cache(maxsize=16)
def _acid_table(name: str) -> Callable[[float], float]:
    """Shape-keeping cubic in m through the published points."""
    from scipy.interpolate import PchipInterpolator

    points = ACIDS_KJ[name]
    curve = PchipInterpolator([m for m, _ in points], [1e3 * value for _, value in points])
    return lambda molality: float(curve(molality))


@lru_cache(maxsize=16)
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


def _pitzer(name: str, molality: float) -> Estimate | None:
    salt, own = salt_of(name), slopes(name)
    if name in STRONG and own is not None:
        charges = (1, -1, 1, 1)
    elif salt is not None and own is not None:
        (_, z_c, n_c), (_, z_a, n_a) = salt.cations[0], salt.anions[0]
        charges = (z_c, z_a, n_c, n_a)
    else:
        return None
    if molality > 1.2 * max(own.max_m, 1.0):
        return None
    value = pitzer_phi_L(own, *charges, molality)
    u = _u_pitzer(name, own, charges, molality)
    kind: Kind = "correlation" if molality <= own.max_m else "extrapolated"
    source = SOURCES[own.source]
    if kind == "extrapolated":
        source += f"; above the {own.max_m:g} mol/kg of its fit"
    return Estimate(value, u, UNIT, source, kind)


_U_PITZER = {  # J/mol at infinite dilution, and per mol/kg: differences between parameter sets
    "KCl": (20.0, 40.0), "KOH": (30.0, 60.0), "NH4Cl": (30.0, 60.0),
    "KNO3": (50.0, 450.0), "NaNO3": (30.0, 150.0),
}  # fmt: skip


def _u_pitzer(name: str, own: Slopes, charges: tuple[int, int, int, int], m: float) -> float:
    base, slope = _U_PITZER.get(name, (30.0, 100.0))
    size = abs(charges[0] * charges[1]) * (charges[2] + charges[3]) / 2
    beyond = max(0.0, m - own.max_m)
    return size * (base + slope * min(m, 3.0)) + size * 400.0 * beyond


def _molecule(name: str, molality: float) -> Estimate | None:
    weak = name in ACIDS and name not in STRONG
    if not weak and salt_of(name) is not None:
        return None
    if not weak and name not in WEAK_BASES and name in STRONG:
        return None
    source = f"{name} stays whole in water: taken as nought, u assumed"
    return Estimate(0.0, _MOLECULES_U * molality + 20.0, UNIT, source, "assumed")


def _like_its_kind(name: str, molality: float) -> Estimate | None:
    """A salt without data: the mean of those of the same charges, their spread as u."""
    salt = salt_of(name)
    if salt is None or len(salt.ions) != 2 or molality > _limit(salt):
        return None
    (_, z_c, n_c), (_, z_a, n_a) = salt.ions
    others = [pitzer_phi_L(own, z_c, z_a, n_c, n_a, molality) for own in _same_charges(z_c, z_a)]
    if len(others) < 4:
        return None
    source = f"no data for {name}: mean of {len(others)} salts of its charges, their spread as u"
    return Estimate(mean(others), stdev(others) + 30.0, UNIT, source, "assumed")


def _limit(salt: Salt) -> float:
    (_, z_c, _), (_, z_a, _) = salt.ions
    return MAX_M_ASSUMED.get((z_c, z_a), MAX_M_OTHERS)


@lru_cache(maxsize=8)
def _same_charges(z_cation: int, z_anion: int) -> tuple[Slopes, ...]:
    found = []
    for name, own in all_slopes().items():
        salt = salt_of(name)
        if salt is not None and [q for _, q, _ in salt.ions] == [z_cation, z_anion]:
            found.append(own)
    return tuple(found)


_ROUTES = (_published, _other_acids, _pitzer, _molecule, _like_its_kind)


def _at_temperature(found: Estimate, name: str, molality: float, t_C: float) -> Estimate:
    if t_C == 25.0 or name in WEAK_BASES:
        return found
    salt = salt_of(name)
    if name in STRONG and name != "H2SO4":
        charges = (1, -1, 1, 1)
    elif salt is not None and len(salt.ions) == 2:
        (_, z_c, n_c), (_, z_a, n_a) = salt.ions
        charges = (z_c, z_a, n_c, n_a)
    else:
        return found
    size = (charges[2] + charges[3]) * abs(charges[0] * charges[1])
    shift = debye_hueckel_phi_L(*charges, molality, t_C) - debye_hueckel_phi_L(*charges, molality)
    u = hypot(found.u, U_J_PER_MOL_K * sqrt(molality) * size / 2 * abs(t_C - 25.0))
    source = f"{found.source}; from 25 to {t_C:g} °C by the Debye-Hückel slope"
    return Estimate(found.value + shift, u, UNIT, source, found.kind)
