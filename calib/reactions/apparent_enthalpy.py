"""φ_L: how far a solute's enthalpy at molality m lies from that at infinite dilution.

Each solute has one way of its own, whatever its molality, so that neither value nor u jumps: the
published table (strong acids, NaOH, NaCl, acetic and formic acid); a published model evaluated;
Pitzer's model where the salt has parameters; nought for molecules, with an assumed u; for salts
without data what their kind shares, with the spread between its members as u.

Past the end m_e of what is known the last correction is held and its u grows:

    φ_L(m) = φ_L(m_e),    u² = u²(m_e) + [k x (1 + 0.3 x)]²,    x = ln(m / m_e)
    k = 1000 J/mol · s · (m_e / (1 mol/kg))^0.75,    s the ionic strength of a 1 mol/kg solution

Why: past about 0.1 mol/kg the course is nearly straight in m, so that over one factor of
concentration it moves by about its slope times m_e, more the farther one goes; in ln m no unit of
its own comes in. The powers are those of the rms of |φ_L(m) - φ_L(m_e)| / x over 21 solutes of
charges 1-1 whose tables were cut at m_e = 0.1 to 3 mol/kg, and over seven of charges 2-1; with
this k the cut courses of 23 solutes lie within 1.96 u in 96 of 100 cases up to five times m_e. The
growth starts flat, so that u has no kink at m_e.

At another temperature the Debye-Hückel part of the change is taken and the rest goes into u.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import hypot, log, sqrt
from statistics import fmean

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.reactions.apparent_enthalpy_tables import THOMSEN
from calib.reactions.ions import ACIDS, STRONG, WEAK_BASES, Salt, formula_of, salt_of, split_hydrate
from calib.reactions.pitzer import debye_hueckel_phi_L
from calib.reactions.pitzer_data import all_slopes
from calib.reactions.published_enthalpy import (
    Way,
    ammonia,
    by_pitzer,
    by_thomsen,
    charges_of,
    other_acids,
    published,
)

__all__ = ["SharedPart", "phi_L", "shared_part", "table_end"]

UNIT = "J/mol"
U_J_PER_MOL_K = 15.0
"""u [J/(mol K)] per √m of the temperature slope of φ_L beyond its Debye-Hückel part (1-1 salts)."""
MAX_M_ASSUMED = {(1, -1): 1.0}
MAX_M_OTHERS = 0.5
"""Up to where [mol/kg] a salt without data is taken like the others of its charges."""
GROWTH_J, GROWTH_POWER, GROWTH_BEND = 1000.0, 0.75, 0.3
"""k, its power of m_e and the bend of the law above."""
ENOUGH_MEMBERS = 10
_MOLECULES_U = 400.0
ANION_LIKE_HYDROXIDE = frozenset({"CH3COO", "HCOO"})
"""Anions that bind water as hydroxide and fluoride do (positive viscosity coefficients, common
practice): no table of their salts was to be had."""


@lru_cache(maxsize=4096)
def phi_L(formula: str, molality: float, t_C: float = 25.0) -> Estimate:
    """Relative apparent molar enthalpy [J per mol of formula unit] at ``molality`` [mol/kg].

    Continuous in ``molality``, value and u. Raises ``SubstanceError`` where the molality is no
    number, or nothing at all can be said of the solute.
    """
    if not molality >= 0.0:
        raise SubstanceError(
            f"the molality of {formula} is {molality:g} mol/kg; expected 0 or more"
        )
    name, _ = split_hydrate(formula)
    if molality == 0.0:
        return Estimate(0.0, 0.0, UNIT, "infinite dilution", "computed")
    way = _way(name)
    if way is None:
        raise SubstanceError(f"no relative apparent molar enthalpy of {name} is known here")
    value, u = way.course(min(molality, way.end))
    source, kind = way.source, way.kind
    if way.fitted_to is not None and molality > way.fitted_to:
        kind = "extrapolated"
    if molality > way.end:
        u = hypot(u, u_beyond(name, way.end, molality))
        source = f"{source}; held past its end at {way.end:g} mol/kg, u growing"
        kind = "extrapolated" if kind != "assumed" else kind
    return _at_temperature(Estimate(value, u, UNIT, source, kind), name, molality, t_C)


def u_beyond(name: str, end: float, molality: float) -> float:
    """What holding φ_L past ``end`` [mol/kg] costs [J/mol]; the law stands at the top."""
    x = log(molality / end)
    return float(GROWTH_J * _size(name) * end**GROWTH_POWER * x * (1.0 + GROWTH_BEND * x))


def table_end(formula: str) -> float | None:
    """Up to which molality [mol/kg] φ_L is known before it is held; ``None`` where unknown."""
    way = _way(split_hydrate(formula)[0])
    return way.end if way is not None else None


def _size(name: str) -> float:
    """Ionic strength of a 1 mol/kg solution: 1 for 1-1 salts and for molecules, 3 for 2-1 ..."""
    salt = salt_of(name) if name not in ACIDS else None
    if salt is None:
        return 1.0
    return sum(number * charge**2 for _, charge, number in salt.ions) / 2.0


@lru_cache(maxsize=512)
def _way(name: str) -> Way | None:
    for route in (published, other_acids, by_thomsen, by_pitzer, ammonia, _molecule,
                  _like_hydroxide, _by_cation, _like_its_kind, _by_charge):  # fmt: skip
        found = route(name)
        if found is not None:
            return found
    return None


# --- solutes without data of their own ------------------------------------------------------------


def _molecule(name: str) -> Way | None:
    weak = name in ACIDS and name not in STRONG
    if not weak and salt_of(name) is not None:
        return None
    if not weak and name not in WEAK_BASES and name in STRONG:
        return None
    source = f"{name} stays whole in water: taken as nought, u assumed"
    return Way(lambda m: (0.0, _MOLECULES_U * m + 20.0), float("inf"), source, "assumed")


@dataclass(frozen=True, slots=True)
class SharedPart:
    """The part of φ_L's u [J/mol] that all salts of one ``anion`` without data share."""

    anion: str
    u: float


def shared_part(formula: str, molality: float) -> SharedPart | None:
    """What of an estimated φ_L's u belongs to its anion, and so to every salt of it."""
    name, _ = split_hydrate(formula)
    salt = salt_of(name)
    if salt is None or name in ACIDS or name in all_slopes():
        return None
    anion = _anion_like_hydroxide(salt)
    if anion is None:
        return None
    m = min(molality, _END_LIKE_HYDROXIDE)
    return SharedPart(anion, hypot(_u_like_hydroxide(m), u_beyond(name, m, max(m, molality))))


_END_LIKE_HYDROXIDE = 1.0


def _u_like_hydroxide(m: float) -> float:
    """u [J/mol]: 550 at 1 mol/kg, what sodium salts scatter about the trend with water binding."""
    return 30.0 + 520.0 * m


def _anion_like_hydroxide(salt: Salt) -> str | None:
    if len(salt.ions) != 2 or [z for _, z, _ in salt.ions] != [1, -1]:
        return None
    anion = salt.anions[0][0]
    return anion if anion in ANION_LIKE_HYDROXIDE else None


def _like_hydroxide(name: str) -> Way | None:
    """An acetate or formate: the mean of the hydroxide's and the fluoride's φ_L, same cation.

    A cation without both: the sodium salt's, with the difference of the chlorides.
    """
    salt = salt_of(name)
    anion = _anion_like_hydroxide(salt) if salt is not None else None
    if salt is None or anion is None:
        return None
    cation = salt.cations[0][0]
    same = [formula_of(cation, 1, other, -1) for other in ("OH", "F")]
    if all(_known(one) for one in same):

        def course(m: float) -> tuple[float, float]:
            return fmean(_value(one, m) for one in same), _u_like_hydroxide(m)

        source = f"no data for {name}: mean of {' and '.join(same)}, whose anions bind water too"
        return Way(course, _END_LIKE_HYDROXIDE, f"{source}, u assumed", "assumed")
    return _swapped(name, cation, formula_of("Na", 1, anion, -1), 400.0)


def _by_cation(name: str) -> Way | None:
    """A 1-1 salt without data whose sodium salt and chloride have some."""
    salt = salt_of(name)
    if salt is None or len(salt.ions) != 2 or [z for _, z, _ in salt.ions] != [1, -1]:
        return None
    cation, anion = salt.cations[0][0], salt.anions[0][0]
    return _swapped(name, cation, formula_of("Na", 1, anion, -1), 730.0)


def _swapped(name: str, cation: str, sodium: str, u_per_m: float) -> Way | None:
    """φ_L(MX) = φ_L(NaX) + φ_L(MCl) - φ_L(NaCl). u: how far known potassium and lithium salts lie
    from it, 730 J/mol at 1 mol/kg (nitrates farthest)."""
    chloride = formula_of(cation, 1, "Cl", -1)
    base = _way(sodium) if cation != "Na" else None
    if (
        base is None
        or not _known(chloride)
        or (base.kind == "assumed" and _anion_like_hydroxide_of(sodium) is None)
    ):
        return None
    end = min(base.end, 1.0)

    def course(m: float) -> tuple[float, float]:
        value, u = base.course(m)
        value += _value(chloride, m) - _value("NaCl", m)
        return value, hypot(u, 30.0 + u_per_m * m)

    source = f"no data for {name}: {sodium} with the difference of {chloride} and NaCl"
    return Way(course, end, f"{source}, u assumed", "assumed")


def _anion_like_hydroxide_of(name: str) -> str | None:
    salt = salt_of(name)
    return _anion_like_hydroxide(salt) if salt is not None else None


def _known(name: str) -> bool:
    return any(route(name) is not None for route in (published, by_thomsen, by_pitzer))


def _value(name: str, m: float) -> float:
    way = _way(name)
    assert way is not None
    return way.course(min(m, max(way.end, 1.0)))[0]


def _like_its_kind(name: str) -> Way | None:
    """A salt without data: the mean of those of the same charges, their spread as u."""
    salt = salt_of(name) if name not in STRONG else None
    charges = charges_of(name)
    if salt is None or charges is None:
        return None
    members = _same_charges(charges[0], charges[1])
    if len(members) < 4:
        return None

    def course(m: float) -> tuple[float, float]:
        values = [_value(one, m) for one in members]
        return fmean(values), _spread(values) + 30.0

    source = f"no data for {name}: mean of {len(members)} salts of its charges, their spread as u"
    return Way(course, _limit(charges), source, "assumed")


def _spread(values: list[float]) -> float:
    """Sample standard deviation."""
    middle = fmean(values)
    return sqrt(sum((value - middle) ** 2 for value in values) / (len(values) - 1))


def _limit(charges: tuple[int, int, int, int]) -> float:
    return MAX_M_ASSUMED.get((charges[0], charges[1]), MAX_M_OTHERS)


@lru_cache(maxsize=8)
def _same_charges(z_cation: int, z_anion: int) -> tuple[str, ...]:
    """Salts of those charges: one fixed set at every molality.

    Those whose data reach the limit where there are enough; the others' fits are carried on to it.
    """
    found, far = [], []
    for name in {**all_slopes(), **THOMSEN}:
        charges = charges_of(name) if name not in ACIDS else None
        if charges is None or charges[:2] != (z_cation, z_anion):
            continue
        way = _way(name)
        if way is None:
            continue
        found.append(name)
        if way.end >= _limit(charges):
            far.append(name)
    return tuple(far if len(far) >= ENOUGH_MEMBERS else found)


def _by_charge(name: str) -> Way | None:
    """Any other electrolyte: the 1-1 salts' mean at its ionic strength, times its size."""
    salt = salt_of(name)
    if salt is None and name not in STRONG:
        return None
    size = _size(name)
    members = _same_charges(1, -1)

    def course(m: float) -> tuple[float, float]:
        values = [_value(one, m * size) for one in members]
        return size * fmean(values), size * (1.5 * _spread(values) + 60.0)

    source = f"no data for {name} nor for salts of its charges: scaled from 1-1 salts, u wide"
    return Way(course, 1.0 / size, source, "assumed")


def _at_temperature(found: Estimate, name: str, molality: float, t_C: float) -> Estimate:
    charges = charges_of(name)
    if t_C == 25.0 or name in WEAK_BASES or charges is None:
        return found
    if name in ACIDS and name not in STRONG:
        return found
    size = (charges[2] + charges[3]) * abs(charges[0] * charges[1])
    shift = debye_hueckel_phi_L(*charges, molality, t_C) - debye_hueckel_phi_L(*charges, molality)
    u = hypot(found.u, U_J_PER_MOL_K * sqrt(molality) * size / 2 * abs(t_C - 25.0))
    source = f"{found.source}; from 25 to {t_C:g} °C by the Debye-Hückel slope"
    return Estimate(found.value + shift, u, UNIT, source, found.kind)
