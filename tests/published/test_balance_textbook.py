"""The heat balance against problems of open textbooks and pages, numbers only.

OpenStax *Chemistry 2e*, chapter 5 (modules m68724, m68726, m68727): printed answers F, exact C.
Water 4.184 J/(g °C) and 1.0 g/mL there. Other pages are student or tutoring sites (F, excerpts):
the statement is the value.
"""

from __future__ import annotations

import pytest

from calib import balance

CP = 4.184


def mixed(added_g, added_c, added_C, water_g, water_C, cp=CP):
    """Final temperature of something dropped into water, no cup."""
    C_2, C_1 = added_g * added_c, water_g * cp
    rise = balance.expected_rise_K(0.0, water_C, added_C, C_1 + C_2, C_2, 0.0)
    return water_C + rise


def test_neutralization_50_mL_1_mol_per_L():
    """50.0 mL 1.00 M acid + 50.0 mL 1.00 M base, 22.0 -> 28.9 °C: 2.9 kJ, −58 kJ/mol (F)."""
    heat = balance.heat_released_J(28.9, 22.0, 22.0, 22.0, 100 * CP, 50 * CP, 50 * CP, 0.0)
    assert heat == pytest.approx(2887, abs=0.5)
    assert balance.molar_enthalpy_kJ_per_mol(heat, 0.0500) == pytest.approx(-57.7, abs=0.05)


def test_precipitation_of_silver_chloride():
    """100 mL 0.200 M NaCl + 100 mL 0.200 M AgNO3, 21.9 -> 23.5 °C: 1.34 kJ (F; −66.9 C)."""
    heat = balance.heat_released_J(23.5, 21.9, 21.9, 21.9, 200 * CP, 100 * CP, 100 * CP, 0.0)
    assert heat == pytest.approx(1338.9, abs=0.1)
    assert balance.molar_enthalpy_kJ_per_mol(heat, 0.0200) == pytest.approx(-66.9, abs=0.05)


def test_dissolving_ammonium_nitrate():
    """3.21 g NH4NO3 in 50.0 g water, 24.9 -> 20.3 °C: +1.0 kJ; 25 kJ/mol (F; 1024 J, 25.5 C)."""
    C = 53.21 * CP
    heat = balance.heat_released_J(20.3, 24.9, 24.9, 24.9, C, 50 * CP, 3.21 * CP, 0.0)
    assert heat == pytest.approx(-1024, abs=0.5)
    assert balance.molar_enthalpy_kJ_per_mol(heat, 3.21 / 80.043) == pytest.approx(25.5, abs=0.05)


@pytest.mark.parametrize(
    ("water_mL", "cool_C", "grams", "hot_C", "final_C", "printed", "exact"),
    [
        (60.0, 22.0, 59.7, 100.0, 28.5, 0.38, 0.3823),  # copper
        (75.0, 24.0, 92.9, 178.0, 29.7, 0.13, 0.1298),  # lead
    ],
)
def test_specific_heat_of_a_metal(water_mL, cool_C, grams, hot_C, final_C, printed, exact):
    c = balance.specific_heat_from_mixing(final_C, cool_C, hot_C, water_mL * CP, 0.0, grams)
    assert round(c, 2) == printed
    assert c == pytest.approx(exact, abs=5e-5)


@pytest.mark.parametrize(
    ("grams", "c", "water_mL", "cool_C", "final_C", "printed"),
    [(360.0, 0.449, 425.0, 24.0, 42.7, 248.4), (248.0, 0.385, 390.0, 22.6, 39.9, 335.6)],
)
def test_how_hot_the_metal_was(grams, c, water_mL, cool_C, final_C, printed):
    """Printed 248 °C (rebar) and 335.6 °C (copper): the hot piece's temperature, run backwards."""
    assert mixed(grams, c, printed, water_mL, cool_C) == pytest.approx(final_C, abs=0.05)


def test_final_temperature_of_hot_copper_in_water():
    """248 g Cu at 314 °C into 390 mL at 22.6 °C: 38.7 °C (F; 38.71 C)."""
    assert mixed(248.0, 0.385, 314.0, 390.0, 22.6) == pytest.approx(38.71, abs=0.005)


def test_calcium_chloride_hand_warmer():
    """3.0 g CaCl2 in 150.0 g water, 22.4 -> 25.8 °C, c 4.18: −2.2 kJ; −80.4 kJ/mol (C)."""
    C = 153.0 * 4.18
    heat = balance.heat_released_J(25.8, 22.4, 22.4, 22.4, C, 150 * 4.18, 3 * 4.18, 0.0)
    assert heat == pytest.approx(2174, abs=0.5)
    assert balance.molar_enthalpy_kJ_per_mol(heat, 3.0 / 110.98) == pytest.approx(-80.4, abs=0.05)


def test_expected_rise_of_a_dilute_neutralization():
    """100 mL 0.250 M HCl + 200 mL 0.150 M NaOH, −58 kJ/mol, c 4.19: 1.450 kJ, 1.15 K (C)."""
    heat = 58_000.0 * min(0.0250, 0.0300)
    assert heat == pytest.approx(1450.0)
    rise = balance.expected_rise_K(heat, 20.0, 20.0, 300 * 4.19, 200 * 4.19, 0.0)
    assert rise == pytest.approx(1.15, abs=0.005)


def test_mixing_100_mL_at_100_with_100_mL_at_25():
    """Cup constant 34.83 J/°C, c 4.18 (F)."""
    C = balance.cup_constant_from_mixing(61.0, 25.0, 100.0, 418.0, 418.0)
    assert pytest.approx(34.83, abs=0.005) == C


def test_mixing_from_two_temperature_changes():
    """100 g warm falls 31 °C, 125 g cool rises 22.8 °C: 45.9 J/°C (F); needs c 4.184."""
    T1, Tf, T2 = 20.0, 42.8, 73.8
    C = balance.cup_constant_from_mixing(Tf, T1, T2, 125 * CP, 100 * CP)
    assert pytest.approx(45.9, abs=0.05) == C


def test_known_heat_gives_the_cup_back():
    """606.80 g acid (0.30015 mol, c 4.031) + 612.93 g base (c 4.046) + 77.99 J/°C, 16.222 ->
    19.624 °C: C 5003.9 J/K, 17 023 J, −56.72 kJ/mol (C); and its inverse gives 77.99 J/°C."""
    C_1, C_2 = 606.80 * 4.031, 612.93 * 4.046
    heat = balance.heat_released_J(19.624, 16.222, 16.222, 16.222, C_1 + C_2, C_1, C_2, 77.99)
    assert pytest.approx(5003.9, abs=0.05) == C_1 + C_2 + 77.99
    assert heat == pytest.approx(17_023, abs=1)
    assert balance.molar_enthalpy_kJ_per_mol(heat, 0.30015) == pytest.approx(-56.72, abs=0.005)
    back = balance.cup_constant_from_reaction(
        heat, 19.624, 16.222, 16.222, 16.222, C_1 + C_2, C_1, C_2
    )
    assert back == pytest.approx(77.99, abs=1e-6)


def test_a_slip_of_ten_is_not_followed():
    """15.00 mL + 13.90 mL 3.00 M, 22.00 -> 30.40 °C, −55.84 kJ/mol, 28.90 g · 3.74 J/(g K): the
    page prints 2882 J/°C; the balance gives 169 J/°C (C)."""
    heat = 55_840.0 * 3.00 * 0.01390
    C = 28.90 * 3.74
    found = balance.cup_constant_from_reaction(heat, 30.40, 22.0, 22.0, 22.0, C, C / 2, C / 2)
    assert found == pytest.approx(169, abs=1)
