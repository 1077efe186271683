"""Nothing jumps with concentration: φ_L, c_p and density of 36 solutes from 0.01 mol/kg to saturation.

A step is a factor 1.01 in molality. Molalities at saturation are the CRC Handbook's at 25 °C,
rounded (from memory); liquids that mix with water are taken to 15 or 20 mol/kg.
"""

from __future__ import annotations

from itertools import pairwise
from math import hypot, log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.reactions.apparent_enthalpy import phi_L, table_end, u_beyond
from calib.substances.composition import Composition
from calib.substances.formula import molar_mass
from calib.substances.solutions import density, heat_capacity

SATURATED = {
    "NaCl": 6.15, "KCl": 4.77, "NaOH": 25.0, "KOH": 21.0, "HCl": 15.0, "HNO3": 20.0,
    "H2SO4": 20.0, "NH4Cl": 7.4, "NH4NO3": 26.5, "KNO3": 3.8, "NaNO3": 10.8, "NaCH3COO": 6.1,
    "KCH3COO": 20.0, "NH4CH3COO": 15.0, "CH3COOH": 20.0, "HCOOH": 20.0, "NH3": 20.0,
    "(NH4)2SO4": 5.8, "(NH4)2S2O8": 3.7, "Na2SO4": 1.9, "K2SO4": 0.69, "CaCl2": 7.3, "MgCl2": 5.8,
    "MgSO4": 2.9, "CuSO4": 1.4, "ZnSO4": 3.5, "Na2CO3": 2.9, "K2CO3": 8.0, "NaHCO3": 1.2,
    "Na2S2O3": 4.8, "KI": 8.9, "LiCl": 19.8, "AgNO3": 13.8, "CO(NH2)2": 17.0, "BaCl2": 1.8,
    "C12H22O11": 5.8,
}  # fmt: skip
FACTOR = 1.01
LARGEST_VALUE, LARGEST_U = 420.0, 170.0
"""J/mol per step: calcium chloride at 6 mol/kg, where φ_L itself climbs so, and past its end."""
LARGEST_SHARE = 0.02
"""Largest step of φ_L as a share of the salt's own course, |φ_L| + u."""


def molalities(top):
    m = 0.01
    while m <= top:
        yield m
        m *= FACTOR


@pytest.mark.parametrize("solute", SATURATED)
@pytest.mark.parametrize("t_C", [25.0, 18.0])
def test_relative_enthalpy_and_its_u(solute, t_C):
    found = [phi_L(solute, m, t_C) for m in molalities(SATURATED[solute])]
    largest = max(abs(one.value) + one.u for one in found)
    for before, after in pairwise(found):
        assert abs(after.value - before.value) < min(LARGEST_VALUE, LARGEST_SHARE * largest + 5)
        assert abs(after.u - before.u) < LARGEST_U


MOLECULES = {"C12H22O11", "CH3COOH", "HCOOH", "CO(NH2)2"}  # one law for every molality, no end


@pytest.mark.parametrize("solute", [s for s in SATURATED if s not in MOLECULES])
def test_at_the_end_of_the_data_neither_value_nor_u_jumps(solute):
    end = table_end(solute)
    assert end is not None
    assert end < float("inf")
    below, above = phi_L(solute, end * (1 - 1e-9)), phi_L(solute, end * (1 + 1e-9))
    assert above.value == pytest.approx(below.value, abs=0.01)
    assert above.u == pytest.approx(below.u, abs=0.01)


@pytest.mark.parametrize("solute", SATURATED)
def test_heat_capacity_and_density(solute):
    """Largest steps: 0.5 % of c_p (potassium iodide) and 0.6 % (silver nitrate's u); density 0.6 %."""
    M = molar_mass(solute).value
    liquids = [Composition(1000.0, {solute: m * M}) for m in molalities(SATURATED[solute])]
    for quantity, most in ((heat_capacity, 0.006), (density, 0.007)):
        found = [quantity(liquid, 21.0) for liquid in liquids]
        for before, after in pairwise(found):
            assert abs(after.value - before.value) < most * after.value
            assert abs(after.u - before.u) < most * after.value


@settings(deadline=None, max_examples=100)
@given(
    st.sampled_from(sorted(SATURATED)), st.floats(0.01, 25.0), st.floats(1.0001, 1.01),
    st.floats(10.0, 40.0),
)  # fmt: skip
def test_any_small_step_is_small(solute, m, factor, t_C):
    one, two = phi_L(solute, m, t_C), phi_L(solute, m * factor, t_C)
    room = 40.0 + 3.0 * (abs(one.value) + one.u + 3000.0) * log(factor)
    assert abs(two.value - one.value) <= room
    assert abs(two.u - one.u) <= room


CUT = ["NaCl", "NaOH", "KCl", "KOH", "NH4Cl", "HCl", "HNO3", "HBr", "HI", "HClO4", "LiCl", "LiBr",
       "NaBr", "NaI", "KBr", "KI", "KF", "NH4NO3", "KNO3", "NaNO3", "MgCl2", "(NH4)2SO4",
       "Na2SO4"]  # fmt: skip


def test_the_law_of_growth_holds_solutes_whose_table_is_cut():
    """Cut at 0.1 to 2 mol/kg and held, the known course lies in the 95 % interval about 19 times in 20."""
    held = []
    for solute in CUT:
        for end in (0.1, 0.5, 1.0, 2.0):
            known = phi_L(solute, end)
            for times in (1.2, 1.5, 2.0, 3.0, 5.0):
                m = end * times
                if m > min(table_end(solute) or 0.0, 8.0):
                    continue
                true = phi_L(solute, m)
                u = hypot(known.u, u_beyond(solute, end, m))
                held.append(abs(true.value - known.value) <= 1.96 * u)
    assert len(held) > 250
    assert 0.92 <= sum(held) / len(held) <= 0.98
