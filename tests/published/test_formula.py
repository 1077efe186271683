"""Molar masses against periodictable, molmass and printed values."""

from __future__ import annotations

import periodictable
import pytest

from calib.substances import tables
from calib.substances.formula import elements, molar_mass

HYDRATES = [row["formula"] for row in tables.rows("substances")]


@pytest.mark.parametrize(
    ("formula", "printed"),
    [
        ("C4H11NO3", 121.135),  # M, used with NIST SRM 724a
        ("KCl", 74.5513),  # M, NIST SRM 1655
        ("(NH4)2S2O8", 228.20),  # F, a supplier's page: 228.20 g/mol
        ("H3C6H5O7", 192.12),  # F, Apelblat, Citric Acid (2014), p. 13
        ("CuSO4·5H2O", 249.68),  # M, label of the usual reagent
        ("Na2CO3·10H2O", 286.14),  # M
        ("NaOH", 39.997),  # M
    ],
)
def test_printed_molar_masses_lie_inside_the_stated_spread(formula, printed):
    ours = molar_mass(formula)
    assert abs(ours.value - printed) <= 2 * ours.u + 0.005


@pytest.mark.parametrize("formula", HYDRATES)
def test_every_listed_formula_against_two_parsers(formula):
    # L: periodictable, part by part, since a hydrate's dot is not its syntax
    parts = [p for p in formula.split("·") if p]
    total = 0.0
    for part in parts:
        digits = part[: len(part) - len(part.lstrip("0123456789."))]
        body = part[len(digits) :].replace("[", "(").replace("]", ")")
        total += float(digits or 1) * periodictable.formula(body).mass
    ours = molar_mass(formula)
    assert ours.value == pytest.approx(total, rel=1e-9)
    assert 0 < ours.u < 1.0


@pytest.mark.parametrize("formula", ["NaCl", "K4[Fe(CN)6]", "(NH4)2SO4", "C12H22O11", "KAl(SO4)2"])
def test_isotopic_sums_of_molmass_lie_inside_the_stated_spread(formula):
    import molmass

    ours = molar_mass(formula)
    assert abs(molmass.Formula(formula).mass - ours.value) <= 3 * ours.u + 1e-4


def test_uncertainty_is_that_of_natural_materials():
    # IUPAC: Pb 207.2 ± 1.1, S 32.06 ± 0.02 (half-widths, read from periodictable)
    assert molar_mass("Pb").u == pytest.approx(1.1 / 3**0.5)
    assert molar_mass("S8").u == pytest.approx(8 * 0.02 / 3**0.5)


def test_an_ion_lacks_its_electrons():
    # CODATA 2018, memory: electron 5.4858e-4 g/mol
    pair = molar_mass("Na+").value + molar_mass("Cl-").value
    assert pair == pytest.approx(molar_mass("NaCl").value, abs=1e-9)
    assert elements("SO4^2-") == elements("SO4")
