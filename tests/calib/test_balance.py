"""The heat balance: exact limits, round trips, and the numbers of the design page."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib import balance

capacity = st.floats(20.0, 900.0)
temperature = st.floats(5.0, 60.0)


@given(
    capacity,
    capacity,
    st.floats(0.0, 60.0),
    temperature,
    temperature,
    st.floats(-9e3, 9e3),
    temperature,
)
def test_round_trip_through_the_final_temperature(C_1, C_2, C_app, T1, T2, heat, Tr):
    """Put a known heat in at Tr, find Tf by energy conservation, get the heat back."""
    C_mix = C_1 + C_2 + 7.0  # products take up a little more than what was brought
    Tf = Tr + (heat + (C_1 + C_app) * (T1 - Tr) + C_2 * (T2 - Tr)) / (C_mix + C_app)
    back = balance.heat_released_J(Tf, T1, T2, Tr, C_mix, C_1, C_2, C_app)
    assert back == pytest.approx(heat, abs=1e-6)
    if abs(Tf - T1) > 0.5:
        again = balance.cup_constant_from_reaction(heat, Tf, T1, T2, Tr, C_mix, C_1, C_2)
        assert again == pytest.approx(C_app, abs=1e-6)


@given(capacity, capacity, st.floats(0.0, 60.0), temperature, st.floats(5.0, 40.0), st.booleans())
def test_mixing_gives_the_constant_with_either_liquid_in_the_cup(
    C_1, C_2, C_app, T1, apart, hot_in_cup
):
    T2 = T1 + (-apart if hot_in_cup else apart)
    Tf = ((C_1 + C_app) * T1 + C_2 * T2) / (C_1 + C_2 + C_app)
    assert balance.cup_constant_from_mixing(Tf, T1, T2, C_1, C_2) == pytest.approx(C_app, abs=1e-6)


def test_the_reference_temperature_follows_kirchhoff():
    """Q(Tr) − Q(Tr') = (C_1 + C_2 − C_mix)(Tr − Tr'): −ξ ΔCp times the difference."""

    def at(Tr):
        return balance.heat_released_J(28.0, 21.0, 22.5, Tr, 820.0, 400.0, 410.0, 12.0)

    assert at(25.0) - at(21.0) == pytest.approx((400.0 + 410.0 - 820.0) * (25.0 - 21.0))


def test_heater_is_the_exact_solution():
    """Closed form: V I t = (C_1 + C_app) ΔT."""
    heat = balance.heater_heat_J(11.8, 2.05, 240.0, 0.0)
    assert heat == pytest.approx(11.8 * 2.05 * 240.0)
    rise = heat / (418.0 + 23.5)
    assert balance.cup_constant_from_heater(heat, rise, 418.0) == pytest.approx(23.5)
    with_leads = balance.heater_heat_J(11.8, 2.05, 240.0, 0.1)
    assert with_leads == pytest.approx((11.8 - 0.205) * 2.05 * 240.0)


def test_arrays_go_through_like_numbers():
    Tf = np.array([27.0, 28.0])
    q = balance.heat_released_J(Tf, 21.0, 21.0, 21.0, 800.0, 400.0, 400.0, 15.0)
    assert q == pytest.approx([815.0 * 6.0, 815.0 * 7.0])


def test_conductance_and_rate_are_inverse():
    G = balance.conductance_W_per_K(4.2e-5, 800.0, 15.0)
    assert balance.cooling_rate_per_s(G, 800.0, 15.0) == pytest.approx(4.2e-5)
    # the same cup half full cools nearly twice as fast: G travels, k does not
    assert balance.cooling_rate_per_s(G, 400.0, 15.0) / 4.2e-5 == pytest.approx(815.0 / 415.0)


def test_a_cup_of_20_J_per_K_left_out_costs_2_4_percent():
    """Design page: 200 mL run, cup of 20 J/K left out, 2.4 %."""
    full = balance.heat_released_J(27.0, 21.0, 21.0, 21.0, 834.0, 417.0, 417.0, 20.0)
    bare = balance.heat_released_J(27.0, 21.0, 21.0, 21.0, 834.0, 417.0, 417.0, 0.0)
    assert 100 * (full - bare) / full == pytest.approx(2.4, abs=0.1)


def test_half_a_kelvin_between_the_liquids_costs_about_3_to_4_percent_of_a_7_K_rise():
    """An unnoticed 0.5 K: C_2 · 0.5 K against Q. In 200 mL with a 14 K rise it is about 2 %."""
    Q = 0.1 * 58_600.0
    rise = balance.expected_rise_K(Q, 21.0, 21.5, 820.0, 410.0, 12.0)
    unnoticed = balance.heat_released_J(21.0 + rise, 21.0, 21.0, 21.0, 820.0, 410.0, 410.0, 12.0)
    assert 100 * (unnoticed - Q) / Q == pytest.approx(100 * 205.0 / Q)
    Q = 0.2 * 58_600.0
    rise = balance.expected_rise_K(Q, 21.0, 21.5, 770.0, 410.0, 12.0)
    unnoticed = balance.heat_released_J(21.0 + rise, 21.0, 21.0, 21.0, 770.0, 410.0, 410.0, 12.0)
    assert 100 * (unnoticed - Q) / Q == pytest.approx(2.0, abs=0.4)


def test_specific_heat_and_fusion_close_their_balances():
    C_1, C_app, m, c = 420.0, 15.0, 80.0, 0.39
    Tf = ((C_1 + C_app) * 21.0 + m * c * 98.0) / (C_1 + C_app + m * c)
    assert balance.specific_heat_from_mixing(Tf, 21.0, 98.0, C_1, C_app, m) == pytest.approx(c)
    L, ice = 333.5, 12.0
    Tf = ((C_1 + C_app) * 24.0 - ice * L - ice * 2.1 * 5.0) / (C_1 + C_app + ice * 4.19)
    found = balance.heat_of_fusion_J_per_g(Tf, 24.0, -5.0, 0.0, C_1, C_app, ice, 2.1, 4.19)
    assert found == pytest.approx(L)
