"""Heat and temperature problems of an open textbook, from their statements, with our heat balance.

OpenStax *Chemistry 2e*, chapter 5 (modules m68724, m68726, m68727): printed answers F, exact C.
Water 4.184 J/(g °C) and 1.0 g/mL there. Misprints are noted beside the check.
"""

from __future__ import annotations

import pytest

from calib import balance

CP = 4.184


@pytest.mark.parametrize(
    ("grams", "heat_kJ", "cool_C", "hot_C", "printed", "exact", "metal"),
    [
        (348.0, 6.64, 22.4, 43.6, 0.900, 0.9000, "Al"),
        (217.0, 1.43, 24.5, 39.1, 0.451, 0.4514, "Fe"),
    ],
)
def test_which_metal(grams, heat_kJ, cool_C, hot_C, printed, exact, metal):
    """A metal takes up a measured heat: its specific heat names it."""
    from calib.substances.solids import solid_cp

    c = balance.cup_constant_from_heater(1e3 * heat_kJ, hot_C - cool_C, 0.0) / grams
    assert c == pytest.approx(exact, abs=5e-5)
    assert float(f"{c:.3g}") == printed
    assert min(("Al", "Fe", "Cu", "Pb"), key=lambda m: abs(solid_cp(m).value - c)) == metal


def test_heat_into_water():
    """14.5 kJ into 485 g of water: 7.15 °C printed, 7.146 exact."""
    rise = balance.expected_rise_K(14_500.0, 20.0, 20.0, 485.0 * CP, 0.0, 0.0)
    assert rise == pytest.approx(7.146, abs=5e-4)
    assert round(rise, 2) == 7.15


def test_final_temperature_of_a_little_water():
    """1.506 kJ into 30.0 g at 26.5 °C: 38.5 °C printed, 38.50 exact."""
    rise = balance.expected_rise_K(1506.0, 26.5, 26.5, 30.0 * CP, 0.0, 0.0)
    assert 26.5 + rise == pytest.approx(38.50, abs=0.005)


def test_a_silver_spoon_in_coffee():
    """180 g of coffee at 95 °C and 45 g of silver (0.24 J/(g °C)) at 25 °C: "drops 1 degree"."""
    coffee, spoon = 180.0 * CP, 45.0 * 0.24
    rise = balance.expected_rise_K(0.0, 95.0, 25.0, coffee + spoon, spoon, 0.0)
    assert rise == pytest.approx(-0.99, abs=0.005)
    assert round(rise) == -1


@pytest.mark.parametrize(
    ("water_g", "shell_J_per_K", "start_C", "final_C", "printed_kJ", "exact_kJ"),
    [
        # 3.12 g of glucose; the print rounds midway
        (775.0, 893.0, 23.8, 35.6, 48.7, 48.80),
        # 0.740 g of trinitrotoluene
        (675.0, 534.0, 23.4, 26.9, 11.7, 11.75),
    ],
)
def test_a_closed_vessel_in_water(water_g, shell_J_per_K, start_C, final_C, printed_kJ, exact_kJ):
    """Its own heat capacity counts beside the water's, as a cup's constant does."""
    heat = balance.heat_released_J(
        final_C, start_C, start_C, start_C, water_g * CP, water_g * CP, 0.0, shell_J_per_K
    )
    assert heat / 1e3 == pytest.approx(exact_kJ, abs=0.006)
    assert heat / 1e3 == pytest.approx(printed_kJ, rel=0.005)


def test_appendix_values_are_of_mixed_vintages():
    """Appendix G spot values (F): most agree with the set in use, two do not and are not used:
    Ca+2 -542.96 (-542.8 in the CRC tables, -543.0 CODATA) and Cu+ 51.9 (71.7)."""
    from calib.reactions.equation import parse_species
    from calib.reactions.formation import sets

    nbs = next(one for one in sets() if one.name == "NBS")

    def formation(text):
        return nbs.hess({parse_species(text): 1})[0]

    for text, printed in (
        ("OH-(aq)", -230.0), ("Na+(aq)", -240.1), ("Cl-(aq)", -167.2), ("NH4NO3(s)", -365.56),
        ("NH4Cl(s)", -314.43), ("Cu+2(aq)", 64.77), ("NO3-(aq)", -207.4),
    ):  # fmt: skip
        assert formation(text) == pytest.approx(printed, abs=0.06), text
    assert formation("Ca+2(aq)") == pytest.approx(-542.96, abs=0.2)
