"""The heat balance of a simple cup, as plain formulas on floats or arrays.

Symbols (common to all functions)::

    T1       temperature of the cup and of the liquid in it before mixing          [°C]
    T2       temperature of what is added, at the moment it goes in                [°C]
    Tf       temperature a perfectly insulated cup would have settled at           [°C]
    Tr       reference temperature at which the enthalpy is stated                 [°C]
    C_1      heat capacity of the liquid in the cup before mixing                  [J/K]
    C_2      heat capacity of what is added                                        [J/K]
    C_mix    heat capacity of the cup's whole content after mixing                 [J/K]
    C_app    heat capacity of the apparatus: cup, lid, probe, stirrer ("constant") [J/K]
    Q        heat released at Tr, −ξ ΔH(Tr); positive when exothermic              [J]

Enthalpy is a function of state, so the real path (mix at different temperatures, react, warm up)
is replaced by one through Tr: bring everything to Tr, react there, warm the products to Tf. With
no heat exchanged with the room the changes add up to nothing::

    (C_mix + C_app)(Tf − Tr) − (C_1 + C_app)(T1 − Tr) − C_2 (T2 − Tr) = Q

(enthalpy balance of a constant-pressure calorimeter; any physical chemistry text, and the design
page of this project.) The heat capacities are means over the temperature range that each one is
multiplied with; for water take them from differences of its enthalpy.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
import numpy.typing as npt

T = TypeVar("T", float, npt.NDArray[np.float64])

__all__ = [
    "capacity_ratio",
    "conductance_W_per_K",
    "cooling_rate_per_s",
    "cup_constant_from_heater",
    "cup_constant_from_mixing",
    "cup_constant_from_reaction",
    "enthalpy_at_other_temperature",
    "expected_rise_K",
    "heat_of_fusion_J_per_g",
    "heat_released_J",
    "heater_heat_J",
    "molar_enthalpy_kJ_per_mol",
    "specific_heat_from_mixing",
]


def heat_released_J(
    final_C: T, cup_C: T, added_C: T, reference_C: T, C_mix: T, C_1: T, C_2: T, C_app: T
) -> T:
    """Heat released by the process at ``reference_C``. [J]

        Q = (C_mix + C_app)(Tf − Tr) − (C_1 + C_app)(T1 − Tr) − C_2 (T2 − Tr)

    Positive when exothermic. With ``reference_C = cup_C`` the middle term drops out.

    >>> round(heat_released_J(28.9, 22.0, 22.0, 22.0, 418.4, 209.2, 209.2, 0.0))
    2887
    """
    return (
        (C_mix + C_app) * (final_C - reference_C)
        - (C_1 + C_app) * (cup_C - reference_C)
        - C_2 * (added_C - reference_C)
    )


def cup_constant_from_reaction(
    heat_J: T, final_C: T, cup_C: T, added_C: T, reference_C: T, C_mix: T, C_1: T, C_2: T
) -> T:
    """C_app from a process whose heat at ``reference_C`` is known. [J/K]

        C_app = [Q − C_mix (Tf − Tr) + C_1 (T1 − Tr) + C_2 (T2 − Tr)] / (Tf − T1)

    The exact solution of the same balance; grows without limit as Tf approaches T1.

    >>> round(cup_constant_from_reaction(5000.0, 30.0, 20.0, 20.0, 20.0, 480.0, 240.0, 240.0), 6)
    20.0
    """
    return (
        heat_J
        - C_mix * (final_C - reference_C)
        + C_1 * (cup_C - reference_C)
        + C_2 * (added_C - reference_C)
    ) / (final_C - cup_C)


def cup_constant_from_mixing(final_C: T, cup_C: T, added_C: T, C_1: T, C_2: T) -> T:
    """C_app from mixing a warm and a cool portion of one liquid, either of them in the cup. [J/K]

        C_app = C_2 (T2 − Tf) / (Tf − T1) − C_1

    The balance with Q = 0 and Tr = Tf. For water C_1 and C_2 are mass times the mean specific heat
    between T1 (T2) and Tf.

    >>> round(cup_constant_from_mixing(61.0, 25.0, 100.0, 418.0, 418.0), 2)
    34.83
    """
    return C_2 * (added_C - final_C) / (final_C - cup_C) - C_1


def heater_heat_J(voltage_V: T, current_A: T, duration_s: T, lead_ohm: T) -> T:
    """Electrical energy that reaches the liquid. [J]

        Q = (V − I R_leads) I t

    V is read at the supply; ``lead_ohm`` is the resistance of the leads between the points where V
    is read and the heater, zero where V is read at the heater itself.

    >>> heater_heat_J(12.0, 2.0, 300.0, 0.0)
    7200.0
    """
    return (voltage_V - current_A * lead_ohm) * current_A * duration_s


def cup_constant_from_heater(heat_J: T, rise_K: T, C_1: T) -> T:
    """C_app from a known heat put into the liquid in the cup. [J/K]

        C_app = Q / (Tf − T1) − C_1

    >>> cup_constant_from_heater(4400.0, 10.0, 420.0)
    20.0
    """
    return heat_J / rise_K - C_1


def expected_rise_K(heat_J: T, cup_C: T, added_C: T, C_mix: T, C_2: T, C_app: T) -> T:
    """Rise Tf − T1 of an insulated cup for heat Q released at T1. [K]

    Tf − T1 = [Q + C_2 (T2 − T1)] / (C_mix + C_app)
    """
    return (heat_J + C_2 * (added_C - cup_C)) / (C_mix + C_app)


def molar_enthalpy_kJ_per_mol(heat_J: T, extent_mol: T) -> T:
    """ΔH = −Q/(1000 ξ), negative when exothermic. [kJ/mol]"""
    return -heat_J / (1000.0 * extent_mol)


def enthalpy_at_other_temperature(dH_kJ_per_mol: T, dCp_kJ_per_mol_K: T, from_C: T, to_C: T) -> T:
    """Kirchhoff's relation with constant ΔCp: ΔH(T') = ΔH(T) + ΔCp (T' − T). [kJ/mol]"""
    return dH_kJ_per_mol + dCp_kJ_per_mol_K * (to_C - from_C)


def capacity_ratio(C_1: T, C_mix: T, C_app: T) -> T:
    """Heat capacity of cup and content before mixing over that after it. [1]

    (C_1 + C_app)/(C_mix + C_app). The conductance G to the room is the cup's own, so the cooling
    rates before and after mixing stand in the inverse ratio.
    """
    return (C_1 + C_app) / (C_mix + C_app)


def conductance_W_per_K(rate_per_s: T, C_content: T, C_app: T) -> T:
    """Heat-loss conductance G = k (C_content + C_app), which travels between fills. [W/K]"""
    return rate_per_s * (C_content + C_app)


def cooling_rate_per_s(conductance_W_per_K: T, C_content: T, C_app: T) -> T:
    """Newton's cooling rate k = G/(C_content + C_app) of a given fill. [1/s]"""
    return conductance_W_per_K / (C_content + C_app)


def u_cooling_rate_per_s(G_W_per_K: float, u_G: float, C_J_per_K: float, u_C: float) -> float:
    """Standard uncertainty of k = G/C, G and C apart: u² = (u_G/C)² + (G u_C/C²)². [1/s]

    C is the heat capacity of content and cup together (JCGM 100:2008, eq. 10).

    >>> round(u_cooling_rate_per_s(0.04, 0.002, 400.0, 20.0) / (0.04 / 400.0), 6)  # √2 · 5 %
    0.070711
    """
    return math.hypot(u_G / C_J_per_K, G_W_per_K * u_C / C_J_per_K**2)


def specific_heat_from_mixing(final_C: T, cup_C: T, added_C: T, C_1: T, C_app: T, added_g: T) -> T:
    """Specific heat of an inert solid dropped into the liquid in the cup. [J/(g K)]

        c_2 = (C_1 + C_app)(Tf − T1) / [m_2 (T2 − Tf)]

    The balance with Q = 0, Tr = Tf, solved for C_2/m_2: the mean value between Tf and T2.
    """
    return (C_1 + C_app) * (final_C - cup_C) / (added_g * (added_C - final_C))


def heat_of_fusion_J_per_g(
    final_C: T,
    cup_C: T,
    added_C: T,
    melting_C: T,
    C_1: T,
    C_app: T,
    added_g: T,
    c_solid: T,
    c_liquid: T,
) -> T:
    """Heat of fusion from a solid that melts in the liquid in the cup. [J/g]

        L = (C_1 + C_app)(T1 − Tf)/m_2 − c_solid (T_m − T2) − c_liquid (Tf − T_m)

    ``added_C`` is the temperature of the solid (at most the melting point), ``c_liquid`` the mean
    specific heat of the melt between the melting point and Tf. [J/(g K)]
    """
    return (
        (C_1 + C_app) * (cup_C - final_C) / added_g
        - c_solid * (melting_C - added_C)
        - c_liquid * (final_C - melting_C)
    )
