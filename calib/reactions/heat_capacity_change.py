"""ΔCp of a reaction, to carry its enthalpy from 25 °C to the run's temperature.

    ΔCp° = Σ ν_i Cp°_i,       ΔH(T) = ΔH(25 °C) + ΔCp° (T - 25 °C)          (Kirchhoff)

Cp of ions and pure substances from the CRC Handbook's tables (L: chemicals library); what they lack
(Cu+2, Mg+2, Ca+2, S2O3-2, ...) from the table of aqueous species in ``substances/data`` (F), all
dissolved species of the reaction then from there. Both take H+ as nought; where both hold an ion,
half their difference is its u at least. H+ + OH- has a direct value: Singh, Woolley, McCurdy,
Hepler, Can. J. Chem. 54 (1976) 3315 (F).
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from math import sqrt

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.reactions.data_rows import data_rows
from calib.reactions.equation import Equation, Species
from calib.reactions.ionic import net_numbers
from calib.reactions.ionization import SOURCE, members
from calib.reactions.ions import split_hydrate
from calib.reactions.notation import canonical
from calib.substances.formula import molar_mass
from calib.substances.solids import solid_cp
from calib.substances.species import species_cp

UNIT = "kJ/(mol K)"
CRC = "Cp of ions and substances from the CRC Handbook (read from the chemicals library)"
SPECIES = (
    "Cp of aqueous species, Shock, Helgeson and others 1988 to 2014 (the papers named in its file)"
)
SINGH = "Singh, Woolley, McCurdy & Hepler (1976), from its abstract"
NEUTRALIZATION_DCP = 0.2152
"""ΔCp° of H+ + OH- -> H2O [kJ/(mol K)], ± 0.004 as printed."""
WATER_CP = 75.3
HYDROXIDE_CP = WATER_CP - 1e3 * NEUTRALIZATION_DCP
U_ION, U_SPECIES, U_PURE, U_CRYSTAL_WATER, U_MOLECULE = 5.0, 8.0, 1.0, 4.0, 15.0
"""u [J/(mol K)]: our judgement; the ion tables disagree by 9 on OH-, our only cross-check."""
CRYSTAL_WATER_CP = 41.0
"""Cp of one H2O in a hydrate [J/(mol K)] (Kopp's rule with ice-like water; common practice)."""

_EXTRA: dict[tuple[str, str, int], float] = {
    ("H2", "g", 0): 28.8, ("O2", "g", 0): 29.4, ("N2", "g", 0): 29.1, ("CO2", "g", 0): 37.1,
    ("Sn", "s", 0): 27.0, ("NH3", "aq", 0): 75.0, ("CH3COOH", "aq", 0): 170.0,
}  # fmt: skip
"""From memory [J/(mol K)]: elements and CO2 to 0.1, the aqueous molecules to about 15."""

_NEUTRALIZATION = {("H", "aq", 1): -1, ("OH", "aq", -1): -1, ("H2O", "l", 0): 1}


def delta_cp(equation: Equation) -> Estimate | None:
    """ΔCp° [kJ/(mol K)] per mole of reaction as written; ``None`` where a species has no Cp."""
    numbers = net_numbers(equation)
    factor = _times_neutralization(numbers)
    if factor is not None:
        times = float(factor)
        return Estimate(times * NEUTRALIZATION_DCP, abs(times) * 0.004, UNIT, SINGH, "published")
    weak = _of_weak_acids(numbers)
    if weak is not None:
        return weak
    return _summed(numbers, molar_cp, CRC) or _summed(numbers, _by_species_table, SPECIES)


Cp = Callable[[Species], tuple[float, float] | None]


def _summed(numbers: dict[Species, Fraction], cp: Cp, source: str) -> Estimate | None:
    """Σ ν Cp with every Cp from one place; ``None`` where it lacks one."""
    total, variance = 0.0, 0.0
    for species, number in numbers.items():
        found = cp(species)
        if found is None:
            return None
        total += float(number) * found[0]
        variance += (float(number) * found[1]) ** 2
    return Estimate(total / 1e3, sqrt(variance) / 1e3, UNIT, source, "computed")


def lacking_cp(equation: Equation) -> tuple[Species, ...]:
    """The species that keep ``delta_cp`` from being known."""
    numbers = net_numbers(equation)
    return tuple(s for s in numbers if molar_cp(s) is None and _by_species_table(s) is None)


def molar_cp(species: Species) -> tuple[float, float] | None:
    """Cp° [J/(mol K)] at 25 °C and its u, or ``None``."""
    if species.key == ("H", "aq", 1):
        return 0.0, 0.0
    body, water = split_hydrate(species.formula)
    value = _table().get((body, species.state, species.charge))
    if value is None:
        return _of_solid(species)
    if species.state == "aq":
        other = species_cp(_in_the_table(species))
        apart = abs(value - other) / 2.0 if other is not None else 0.0
        return value, max(U_ION if species.charge else U_MOLECULE, apart)
    crystal = float(water)
    return value + crystal * CRYSTAL_WATER_CP, U_PURE + crystal * U_CRYSTAL_WATER


def _in_the_table(species: Species) -> str:
    """How the table of aqueous species names one."""
    if not species.charge:
        return canonical(species.formula)
    size = abs(species.charge)
    return f"{species.formula}{'+' if species.charge > 0 else '-'}{size if size > 1 else ''}"


def _by_species_table(species: Species) -> tuple[float, float] | None:
    if species.state != "aq":
        return molar_cp(species)
    value = species_cp(_in_the_table(species))
    if value is None:
        return None
    return value, U_SPECIES * max(1, abs(species.charge)) if species.charge else U_MOLECULE


def _of_solid(species: Species) -> tuple[float, float] | None:
    """A solid that the table lacks: published or estimated specific heat times molar mass."""
    if species.state != "s":
        return None
    try:
        cp, M = solid_cp(species.formula), molar_mass(species.formula).value
    except SubstanceError:
        return None
    return cp.value * M, cp.u * M


def _times_neutralization(numbers: dict[Species, Fraction]) -> Fraction | None:
    keyed = {species.key: number for species, number in numbers.items()}
    if set(keyed) != set(_NEUTRALIZATION):
        return None
    factor = keyed["H2O", "l", 0]
    return factor if all(keyed[k] == factor * n for k, n in _NEUTRALIZATION.items()) else None


def _of_weak_acids(numbers: dict[Species, Fraction]) -> Estimate | None:
    """Reactions among one family's members, H+, OH- and water; ``None`` for others."""
    family = members()
    simple = {("H", "aq", 1): 0.0, ("H2O", "l", 0): WATER_CP, ("OH", "aq", -1): HYDROXIDE_CP}
    total, variance = 0.0, 0.0
    net: dict[str, Fraction] = {}
    for species, number in numbers.items():
        own = family.get(species.key)
        if own is None and species.key not in simple:
            return None
        value, u = (own.dCp, own.u_dCp) if own else (simple[species.key], 0.0)
        total += float(number) * value
        variance += (float(number) * u) ** 2
        if own:
            net[own.family] = net.get(own.family, Fraction(0)) + number
    if not net or any(net.values()):
        return None
    return Estimate(
        total / 1e3, sqrt(variance + 16.0) / 1e3, UNIT, f"{SOURCE}; {SINGH}", "computed"
    )


@lru_cache(maxsize=1)
def _table() -> dict[tuple[str, str, int], float]:
    values = dict(_EXTRA)
    for formula, state, charge, _, cp, _ in data_rows("formation_nbs"):
        if cp:
            values[canonical(formula), state, int(charge)] = float(cp)
    return values
