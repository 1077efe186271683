"""Materials and films of the foam judge: one equation one function, every value with its source.

Where a source says "from memory", the value is a handbook's as remembered and was not looked up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

STEFAN_BOLTZMANN_W_PER_M2_K4 = 5.670374e-8  # CODATA 2018
ZERO_C_K = 273.15


@dataclass(frozen=True, slots=True)
class Layer:
    """One sheet of a wall: thickness, conductivity, density, specific heat capacity."""

    thickness_m: float
    conductivity_W_per_m_K: float
    density_kg_per_m3: float
    specific_J_per_kg_K: float

    @property
    def capacity_J_per_m2_K(self) -> float:
        """Heat capacity of a square metre."""
        return self.thickness_m * self.density_kg_per_m3 * self.specific_J_per_kg_K


def foam(thickness_m: float, conductivity_W_per_m_K: float, density_kg_per_m3: float) -> Layer:
    """Expanded polystyrene: 15-40 kg/m³, 0.032-0.040 W/(m K) (ISO 10456 and makers' tables, from
    memory); 1300 J/(kg K), that of solid polystyrene (handbooks, from memory)."""
    return Layer(thickness_m, conductivity_W_per_m_K, density_kg_per_m3, 1300.0)


def polypropylene(thickness_m: float) -> Layer:
    """0.20 W/(m K), 905 kg/m³, 1800 J/(kg K) (polymer handbooks, from memory)."""
    return Layer(thickness_m, 0.20, 905.0, 1800.0)


def borosilicate_glass(thickness_m: float) -> Layer:
    """1.1 W/(m K), 2230 kg/m³, 830 J/(kg K) (ISO 3585 for the first two, from memory)."""
    return Layer(thickness_m, 1.1, 2230.0, 830.0)


def paperboard(thickness_m: float) -> Layer:
    """0.07-0.18 W/(m K) for board, here 0.12; 800 kg/m³; 1400 J/(kg K) (handbooks, from memory)."""
    return Layer(thickness_m, 0.12, 800.0, 1400.0)


def air_gap_W_per_m2_K(gap_m: float) -> float:
    """Still air, 0.026 W/(m K), and radiation between two dull faces, 5 W/(m² K) (from memory)."""
    return 0.026 / gap_m + 5.0


def convection_W_per_m2_K(excess_K: float, height_m: float) -> float:
    """Natural convection at a vertical plate in air, laminar: h = 1.42 (ΔT/L)^(1/4).

    The simplified textbook equation for air (J. P. Holman, *Heat Transfer*, table of simplified
    equations; from memory).
    """
    return 1.42 * math.sqrt(math.sqrt(abs(excess_K) / height_m))


def radiation_W_per_m2_K(surface_C: float, room_C: float, emissivity: float) -> float:
    """ε σ (T_s⁴ − T_r⁴)/(T_s − T_r): the coefficient of radiation to walls at room temperature."""
    s, r = surface_C + ZERO_C_K, room_C + ZERO_C_K
    return emissivity * STEFAN_BOLTZMANN_W_PER_M2_K4 * (s * s + r * r) * (s + r)


def vapour_kPa(celsius: float) -> float:
    """Vapour pressure of water, Antoine: log10(p/mmHg) = 8.07131 − 1730.63/(233.426 + t), 1-100 °C.

    Constants as in handbooks, from memory; 4.24 kPa at 30 °C.
    """
    return 0.1333224 * math.pow(10.0, 8.07131 - 1730.63 / (233.426 + celsius))


def latent_J_per_g(celsius: float) -> float:
    """Heat of evaporation of water, 2500.8 − 2.36 t (meteorology textbooks, from memory)."""
    return 2500.8 - 2.36 * celsius


OPEN_CUP_G_PER_S_KPA_M2 = 6e-5 / 40e-4
"""Evaporation of an open surface per kPa and m²: about 6e-5 g/(s kPa) from 40 cm² of still room.

It agrees with a mass-transfer coefficient of 2-3 mm/s, from the film's 4-5 W/(m² K) by the analogy
of heat and mass transfer: 0.0025 m/s x 40 cm² / (461.5 J/(kg K) x 305 K) = 7e-5 g/(s kPa).
"""
