"""How apparent properties of solutes change with concentration, and how far an estimate can be off.

Measured on the solutes that are known (Laliberté's correlations inside their range, 12 points or
more, 25 °C) by ``calib/substances/measure_spreads.py``; a test repeats the measurement. For an
electrolyte

    φ(I) = φ° + s Z^p √I/(1 + b √I) + k I

φ: apparent molar heat capacity [J/(mol K)] or volume [cm³/mol]; φ° at infinite dilution; Z, I as in
:mod:`calib.substances.species`. The form is that of the limiting law with one more term.
"""

from __future__ import annotations

from math import exp, sqrt

HEAT_GROWTH = (48.7, 0.179, 3.06, 0.650)
VOLUME_GROWTH = (3.13, 2.04, 0.694, 1.50)
"""s, b, k, p of the equation above."""

STRENGTH_MAX = 15.0
"""Ionic strength up to which the growth was seen [mol/kg]; held beyond."""

HEAT_SLOPE = 1.07
"""dφ/dt of the heat capacity at 25 °C per unit of Z [J/(mol K²)]; falls as exp(-0.04 (t - 25 °C)).
Between solutes it scatters by half its size."""

MOLECULE_SLOPE = 0.010
"""The same for molecules, per gram [J/(g K²)], ± its own size."""


def growth(parameters: tuple[float, float, float, float], Z: float, strength: float) -> float:
    """φ(I) - φ°, in the unit of φ; zero for molecules (Z = 0)."""
    if Z == 0.0:
        return 0.0
    s, b, k, p = parameters
    strength = min(strength, STRENGTH_MAX)
    root = sqrt(strength)
    return float(s * Z**p * root / (1.0 + b * root) + k * strength)


def heat_shift_with_temperature(Z: float, M: float, from_C: float, to_C: float) -> float:
    """Change of an apparent specific heat capacity between two temperatures. [J/(g K)]"""
    if Z == 0.0:
        return MOLECULE_SLOPE * (to_C - from_C)
    rate = 0.04
    span = exp(-rate * (from_C - 25.0)) - exp(-rate * (to_C - 25.0))
    return HEAT_SLOPE * Z * span / rate / M


def u_heat_shift(Z: float, shift: float) -> float:
    """Standard uncertainty of that change. [J/(g K)]"""
    return abs(shift) * (0.6 if Z else 1.0)


def u_ion_additive_heat(Z: float, strength: float) -> float:
    """Standard uncertainty of φ from infinite dilution and growth. [J/(mol K)]

    rms on known solutes for Z = 1: 11 up to 1 mol/kg, 19 at 2, 25 at 4; for Z = 3: 21 to 77. Half
    as much again is taken, for solutes that come here for having no correlation.
    """
    if Z == 0.0:
        return 18.0
    return 17.0 * Z * sqrt(1.0 + (strength / Z / 1.5) ** 2)


def u_ion_additive_volume(Z: float) -> float:
    """Standard uncertainty of the apparent molar volume from ions. [cm³/mol]

    rms on known solutes: 2.4 for Z = 1, 5 for Z = 3, 7 for Z = 4.
    """
    return float(2.5 * max(Z, 1.0) ** 0.8)


def u_share_heat(w: float) -> float:
    """rms apparent specific heat capacity of the known salts, which water share takes for zero.
    [J/(g K)]: 1.2 at 2 %, 0.9 at 10 %, 0.8 at 20 % by mass."""
    return 0.85 + 0.5 * exp(-w / 0.04)


MOLECULE_SHARE = (1.8, 0.8)
"""Mean and spread of the apparent specific heat capacity of molecules. [J/(g K)]"""

SALT_VOLUME, MOLECULE_VOLUME = (0.31, 0.10), (0.66, 0.08)
"""Mean and spread of apparent specific volumes where no ion volume is known. [mL/g]"""


def u_beyond_range(excess_w: float) -> float:
    """Standard uncertainty of c when a correlation is carried on past its largest mass fraction:
    0.4 J/(g K) per unit of mass fraction, found by shortening the ranges of known solutes.
    """
    return 0.4 * max(excess_w, 0.0)
