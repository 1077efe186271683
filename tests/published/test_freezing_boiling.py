"""Freezing and boiling of solutions against handbooks and textbooks; letters as in test_phi_L.py."""

from __future__ import annotations

from itertools import pairwise

import pytest

from calib.reactions.osmotic import boiling_point, freezing_point, osmotic_coefficient
from calib.substances.composition import Composition
from calib.substances.formula import molar_mass

# R. A. Robinson, R. H. Stokes, Electrolyte Solutions (1959), osmotic coefficients at 25 °C (M)
PHI = [
    ("NaCl", 1.0, 0.936), ("NaCl", 2.0, 0.983), ("KCl", 1.0, 0.897), ("KCl", 2.0, 0.912),
    ("HCl", 1.0, 1.039), ("NaOH", 1.0, 0.948), ("KOH", 1.0, 1.002), ("NH4Cl", 1.0, 0.897),
    ("KNO3", 1.0, 0.756), ("NaNO3", 1.0, 0.851), ("LiCl", 1.0, 1.018), ("CaCl2", 1.0, 1.046),
    ("Na2SO4", 1.0, 0.642), ("MgCl2", 1.0, 1.108), ("CuSO4", 1.0, 0.469), ("NaCH3COO", 1.0, 1.002),
]  # fmt: skip
# CRC Handbook, concentrative properties of aqueous solutions (M): freezing depression in K
FREEZING = [
    ("NaCl", 0.856, 2.99), ("NaCl", 1.901, 6.56), ("KCl", 0.706, 2.32), ("NH4Cl", 1.0, 3.4),
    ("CaCl2", 1.0, 5.9), ("CO(NH2)2", 1.0, 1.80), ("KNO3", 0.5, 1.5), ("C12H22O11", 0.5, 0.97),
]  # fmt: skip


def solution(formula, molality):
    return Composition(1000.0, {formula: molality * molar_mass(formula).value})


@pytest.mark.parametrize(("formula", "m", "published"), PHI)
def test_osmotic_coefficient(formula, m, published):
    assert osmotic_coefficient(formula, m).value == pytest.approx(published, abs=0.012)


@pytest.mark.parametrize(("formula", "m", "published"), FREEZING)
def test_freezing_depression(formula, m, published):
    found = freezing_point(solution(formula, m))
    assert abs(-found.value - published) <= max(2 * found.u, 0.12)


def test_the_cryoscopic_and_the_ebullioscopic_constant():
    """1.86 K kg/mol and 0.512 K kg/mol of water (textbooks; common practice)."""
    dilute = solution("CO(NH2)2", 0.01)
    assert -freezing_point(dilute).value == pytest.approx(0.0186, rel=0.02)
    raised = boiling_point(dilute).value - boiling_point(Composition(100.0, {})).value
    assert raised == pytest.approx(0.00512, rel=0.02)


def test_water_itself():
    assert freezing_point(Composition(100.0, {})).value == pytest.approx(0.0, abs=1e-6)
    assert boiling_point(Composition(100.0, {})).value == pytest.approx(99.97, abs=0.01)


@pytest.mark.parametrize("formula", ["NaCl", "CaCl2", "(NH4)2S2O8", "CuSO4", "NH3", "KCH3COO"])
def test_more_of_a_solute_freezes_lower_without_jumps(formula):
    course = [freezing_point(solution(formula, 0.01 * 1.01**k)) for k in range(550)]
    for before, after in pairwise(course):
        assert after.value < before.value
        assert before.value - after.value < 0.03 * abs(before.value) + 0.01
        assert abs(after.u - before.u) < 0.05 * abs(after.value) + 0.01
