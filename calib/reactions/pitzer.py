"""Pitzer's model for the relative apparent molar enthalpy of one electrolyte in water.

    φ_L = ν |z+ z-| (A_H / 2b) ln(1 + b √I) - 2 ν+ ν- R T² [ m B' + m² ν+ z+ C' ]
    B'  = dβ0/dT + dβ1/dT g(α1 √I) + dβ2/dT g(α2 √I),   g(x) = 2 [1 - (1 + x) e^-x] / x²
    C'  = (dCφ/dT) / (2 |z+ z-|^½),   b = 1.2,   α1 = 2 (2-2 salts: 1.4), α2 = 12

with A_H = 4 R T² (dA_φ/dT)_P (Pitzer, in Activity Coefficients in Electrolyte Solutions, 2nd ed.,
1991; the formula from memory, checked by its reproducing the published φ_L of HCl, NaOH and NaCl).
"""

from __future__ import annotations

from itertools import pairwise
from math import exp, log, sqrt

from calib.reactions.pitzer_data import Slopes

R = 8.314462618
"""Gas constant [J/(mol K)], CODATA 2018 (exact)."""
B = 1.2
T_REFERENCE_K = 298.15

_A_H = ((15.0, 1673.7), (20.0, 1818.0), (25.0, 1972.2), (30.0, 2135.5), (40.0, 2488.7))
"""A_H [J kg^½ mol^-3/2] from the IAPWS density and permittivity of water (L: chemicals)."""


def debye_hueckel_slope(t_C: float = 25.0) -> float:
    """A_H [J kg^½ mol^-3/2] at t_C, linear between tabulated temperatures (15 to 40 °C)."""
    points = _A_H
    for (t1, a1), (t2, a2) in pairwise(points):
        if t_C <= t2 or (t2, a2) == points[-1]:
            return a1 + (a2 - a1) * (t_C - t1) / (t2 - t1)
    return points[-1][1]


def debye_hueckel_phi_L(
    z_cation: int, z_anion: int, n_cation: int, n_anion: int, molality: float, t_C: float = 25.0
) -> float:
    """The first term of φ_L [J/mol]: what every salt of that charge type shares."""
    ionic_strength = 0.5 * molality * (n_cation * z_cation**2 + n_anion * z_anion**2)
    charge = (n_cation + n_anion) * abs(z_cation * z_anion)
    a_H = debye_hueckel_slope(t_C)
    return charge * a_H / (2 * B) * log(1 + B * sqrt(ionic_strength))


def pitzer_phi_L(
    slopes: Slopes, z_cation: int, z_anion: int, n_cation: int, n_anion: int, molality: float
) -> float:
    """φ_L [J/mol] at 25 °C of one salt at ``molality`` [mol/kg]."""
    ionic_strength = 0.5 * molality * (n_cation * z_cation**2 + n_anion * z_anion**2)
    root = sqrt(ionic_strength)
    two_two = z_cation == 2 and z_anion == -2
    b_slope = slopes.b0 + slopes.b1 * _g((1.4 if two_two else 2.0) * root)
    b_slope += slopes.b2 * _g(12.0 * root)
    c_slope = slopes.cphi / (2 * sqrt(abs(z_cation * z_anion)))
    short = molality * b_slope + molality**2 * n_cation * z_cation * c_slope
    first = debye_hueckel_phi_L(z_cation, z_anion, n_cation, n_anion, molality)
    return first - 2 * n_cation * n_anion * R * T_REFERENCE_K**2 * short


def _g(x: float) -> float:
    if x < 1e-4:
        return 1.0 - 2.0 * x / 3.0
    return 2.0 * (1.0 - (1.0 + x) * exp(-x)) / x**2
