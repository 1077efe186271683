"""ΔCp of a reaction, to carry its enthalpy from 25 °C to the run's temperature.

    ΔCp° = Σ ν_i Cp°_i,       ΔH(T) = ΔH(25 °C) + ΔCp° (T - 25 °C)          (Kirchhoff)

Cp of ions and pure substances from the CRC Handbook's tables (L: chemicals library). H+ + OH- has
a direct value: Singh, Woolley, McCurdy, Hepler, Can. J. Chem. 54 (1976) 3315 (F).
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import sqrt

from calib.estimate import Estimate
from calib.reactions.data_rows import data_rows
from calib.reactions.equation import Equation, Species
from calib.reactions.ionic import net_numbers
from calib.reactions.ionization import SOURCE, members
from calib.reactions.ions import split_hydrate
from calib.reactions.notation import canonical

UNIT = "kJ/(mol K)"
CRC = "Cp of ions and substances from the CRC Handbook (read from the chemicals library)"
SINGH = "Singh, Woolley, McCurdy & Hepler (1976), from its abstract"
NEUTRALIZATION_DCP = 0.2152
"""ΔCp° of H+ + OH- -> H2O [kJ/(mol K)], ± 0.004 as printed."""
WATER_CP = 75.3
HYDROXIDE_CP = WATER_CP - 1e3 * NEUTRALIZATION_DCP
U_ION, U_PURE, U_CRYSTAL_WATER, U_MOLECULE = 5.0, 1.0, 4.0, 15.0
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
    total, variance = 0.0, 0.0
    for species, number in numbers.items():
        found = molar_cp(species)
        if found is None:
            return None
        total += float(number) * found[0]
        variance += (float(number) * found[1]) ** 2
    return Estimate(total / 1e3, sqrt(variance) / 1e3, UNIT, CRC, "computed")


def lacking_cp(equation: Equation) -> tuple[Species, ...]:
    """The species that keep ``delta_cp`` from being known."""
    return tuple(s for s in net_numbers(equation) if molar_cp(s) is None)


def molar_cp(species: Species) -> tuple[float, float] | None:
    """Cp° [J/(mol K)] at 25 °C and its u, or ``None``."""
    if species.key == ("H", "aq", 1):
        return 0.0, 0.0
    body, water = split_hydrate(species.formula)
    value = _table().get((body, species.state, species.charge))
    if value is None:
        return None
    if species.state == "aq":
        return value, U_ION if species.charge else U_MOLECULE
    crystal = float(water)
    return value + crystal * CRYSTAL_WATER_CP, U_PURE + crystal * U_CRYSTAL_WATER


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
