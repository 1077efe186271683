"""Where a solution freezes and boils: lower and higher than water, by its osmotic coefficient.

    ln a_w  = - M_w Σ ν_i m_i φ_i                                       (definition of φ)
    freezing:  ln a_w = (H_f/R)(1/T_0 - 1/T) + (ΔC/R)[ln(T/T_0) + T_0/T - 1]
    boiling:   ln a_w = - (H_v/R)(1/T_b - 1/T),      T_b = 373.12 K at 101.325 kPa

H_f = 6009 J/mol and ΔC = 38.1 J/(mol K) of ice and water at T_0 = 273.15 K, H_v = 40 660 J/mol (CRC
Handbook, from memory). φ of one electrolyte at 25 °C by Pitzer's equation,

    φ - 1 = |z+ z-| f + m (2 ν+ ν-/ν) B + m² (2 (ν+ ν-)^1.5/ν) Cφ,   f = - A √I / (1 + 1.2 √I)
    B = β0 + β1 e^(-2 √I)       (2-2 salts: β1 with 1.4, and β2 with 12),      A = 0.3915

with the parameters of K. S. Pitzer, G. Mayorga, J. Phys. Chem. 77 (1973) 2300 and J. Solution Chem.
3 (1974) 539 (from memory; φ of all 33 solutes lies within 0.05, mostly 0.01, of that by P. M. May,
D. Rowland, G. Hefter, E. Königsberger, J. Chem. Eng. Data 56 (2011) 5066, at 0.1 mol/kg, 1 mol/kg
and the largest molality). A solute without parameters takes what its
kind usually has, with its scatter as u: van 't Hoff's factor is then ν φ.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, hypot, log, sqrt

from calib.estimate import Estimate
from calib.reactions.equation import Species
from calib.reactions.ions import in_water
from calib.substances.composition import Composition

__all__ = ["boiling_point", "freezing_point", "osmotic_coefficient"]

M_WATER, R = 0.0180153, 8.314462618
T_0, H_FUSION, DELTA_C = 273.15, 6009.0, 38.1
T_BOIL, H_VAPORIZATION = 373.12, 40_660.0
DEBYE_HUECKEL = 0.3915
U_COLD_SHARE = 0.04
"""u of φ as a share: what it changes between 25 °C and 0 or 100 °C, and the parameters."""
KINDS = {0: (1.0, 0.06), 1: (0.9, 0.12), 3: (0.75, 0.15), 4: (0.6, 0.15)}
"""φ and u of a solute without parameters by ionic strength per molal; others 0.8 ± 0.3."""

# fmt: off
_PARAMETERS: dict[str, tuple[float, float, float, float, float]] = {  # β0, β1, β2, Cφ, largest m
    "HCl": (0.1775, 0.2945, 0, 0.0008, 6), "HNO3": (0.1119, 0.3206, 0, 0.0010, 3),
    "HClO4": (0.1747, 0.2931, 0, 0.00819, 5.5), "HBr": (0.1960, 0.3564, 0, 0.00827, 3),
    "LiCl": (0.1494, 0.3074, 0, 0.00359, 6), "NaF": (0.0215, 0.2107, 0, 0, 1),
    "NaCl": (0.0765, 0.2664, 0, 0.00127, 6), "NaBr": (0.0973, 0.2791, 0, 0.00116, 4),
    "NaI": (0.1195, 0.3439, 0, 0.0018, 3.5), "NaOH": (0.0864, 0.2530, 0, 0.0044, 6),
    "NaNO3": (0.0068, 0.1783, 0, -0.00072, 6), "NaCH3COO": (0.1426, 0.3237, 0, -0.00629, 3.5),
    "NaHCOO": (0.0820, 0.2872, 0, -0.00523, 3.5), "NaSCN": (0.1005, 0.3582, 0, -0.00303, 4),
    "KCl": (0.04835, 0.2122, 0, -0.00084, 4.8), "KBr": (0.0569, 0.2212, 0, -0.0018, 5.5),
    "KI": (0.0746, 0.2517, 0, -0.00414, 4.5), "KOH": (0.1298, 0.3200, 0, 0.0041, 5.5),
    "KNO3": (-0.0816, 0.0494, 0, 0.0066, 3.8), "KCH3COO": (0.1587, 0.3251, 0, -0.0066, 3.5),
    "KSCN": (0.0416, 0.2302, 0, -0.00252, 5), "NH4Cl": (0.0522, 0.1918, 0, -0.00301, 6),
    "NH4NO3": (-0.0154, 0.1120, 0, -0.00003, 6), "AgNO3": (-0.0856, 0.0025, 0, 0.00591, 6),
    "MgCl2": (0.3524, 1.6815, 0, 0.00519, 4.5), "CaCl2": (0.3159, 1.6140, 0, -0.00034, 2.5),
    "BaCl2": (0.2628, 1.4963, 0, -0.01938, 1.8), "Na2SO4": (0.0196, 1.1130, 0, 0.00497, 4),
    "K2SO4": (0.0500, 0.7793, 0, 0, 0.7), "(NH4)2SO4": (0.0409, 0.6585, 0, -0.00116, 5.5),
    "MgSO4": (0.2210, 3.3430, -37.23, 0.0250, 3), "CuSO4": (0.2340, 2.5270, -48.33, 0.0044, 1.4),
    "ZnSO4": (0.1949, 2.8830, -32.81, 0.0290, 3.5),
}
# fmt: on


@dataclass(frozen=True, slots=True)
class _Ions:
    z_c: int
    z_a: int
    n_c: int
    n_a: int

    @property
    def count(self) -> int:
        return self.n_c + self.n_a

    @property
    def strength(self) -> float:
        return 0.5 * (self.n_c * self.z_c**2 + self.n_a * self.z_a**2)


@lru_cache(maxsize=256)
def _ions(formula: str) -> tuple[int, float]:
    """Number of ions and ionic strength per molal; (1, 0) for molecules and weak acids."""
    parts = in_water(Species(formula, "aq"))
    count = float(sum(n for n, _ in parts))
    strength = float(sum(n * part.charge**2 for n, part in parts)) / 2.0
    return max(1, round(count)), strength


def osmotic_coefficient(formula: str, molality: float) -> Estimate:
    """φ of one solute in water at 25 °C, and its u; held past the end of its parameters."""
    count, strength = _ions(formula)
    known = _PARAMETERS.get(formula)
    if known is None:
        value, u = KINDS.get(round(strength), (0.8, 0.3))
        share = molality / (molality + 0.1)
        return Estimate(
            1.0 + share * (value - 1.0), share * u, "1", "usual for its kind, no source", "assumed"
        )
    ions = _charges(formula, count)
    m = min(molality, known[4])
    value = _pitzer_phi(known, ions, m)
    u = hypot(U_COLD_SHARE * value, 0.15 * log(molality / m) if molality > m else 0.0)
    return Estimate(value, u, "1", "Pitzer & Mayorga (1973, 1974)", "correlation")


def _charges(formula: str, count: int) -> _Ions:
    if count == 2:
        two = formula in ("MgSO4", "CuSO4", "ZnSO4")
        return _Ions(2, -2, 1, 1) if two else _Ions(1, -1, 1, 1)
    return _Ions(1, -2, 2, 1) if formula.endswith("SO4") else _Ions(2, -1, 1, 2)


def _pitzer_phi(known: tuple[float, float, float, float, float], ions: _Ions, m: float) -> float:
    b0, b1, b2, c, _ = known
    root = sqrt(m * ions.strength)
    first = -DEBYE_HUECKEL * root / (1.0 + 1.2 * root)
    alpha = 1.4 if ions.z_c == 2 and ions.z_a == -2 else 2.0
    B = b0 + b1 * exp(-alpha * root) + b2 * exp(-12.0 * root)
    pair = ions.n_c * ions.n_a
    return float(
        1.0
        + abs(ions.z_c * ions.z_a) * first
        + m * (2.0 * pair / ions.count) * B
        + m**2 * (2.0 * pair**1.5 / ions.count) * c
    )


def _ln_activity(liquid: Composition) -> tuple[float, float]:
    """ln a_w of a solution and its u; solutes as if each were alone."""
    total, variance = 0.0, 0.0
    for formula, m in liquid.molalities.items():
        count, _ = _ions(formula)
        phi = osmotic_coefficient(formula, m)
        total += count * m * max(phi.value, 0.05)
        variance += (count * m * phi.u) ** 2
    return -M_WATER * total, M_WATER * sqrt(variance)


def freezing_point(liquid: Composition) -> Estimate:
    """Where ice begins to form in a solution. [°C]"""
    ln_a, u = _ln_activity(liquid)
    at, lower = _freezes(ln_a), _freezes(ln_a - u)
    source = "freezing point of the solution, by its osmotic coefficient"
    return Estimate(at, at - lower + 1e-3, "°C", source, "computed")


def _freezes(ln_a: float) -> float:
    low, high = 150.0, T_0
    for _ in range(60):
        T = 0.5 * (low + high)
        here = (H_FUSION / R) * (1.0 / T_0 - 1.0 / T)
        here += (DELTA_C / R) * (log(T / T_0) + T_0 / T - 1.0)
        low, high = (T, high) if here < ln_a else (low, T)
    return high - T_0


def boiling_point(liquid: Composition) -> Estimate:
    """Where a solution boils at 101.325 kPa. [°C]"""
    ln_a, u = _ln_activity(liquid)

    def boils(ln_a: float) -> float:
        return 1.0 / (1.0 / T_BOIL + R * ln_a / H_VAPORIZATION) - 273.15

    at = boils(ln_a)
    source = "boiling point of the solution, by its osmotic coefficient"
    return Estimate(at, boils(ln_a - u) - at + 1e-3, "°C", source, "computed")
