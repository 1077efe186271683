from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import SubstanceError
from calib.substances.formula import (
    elements,
    molar_mass,
    normalise,
    split_charge,
    split_hydrate,
)


@pytest.mark.parametrize(
    ("written", "ours"),
    [
        ("CuSO4.5H2O", "CuSO4·5H2O"),
        ("CuSO4*5H2O", "CuSO4·5H2O"),
        ("CuSO4•5H2O", "CuSO4·5H2O"),
        ("CuSO₄·5H₂O", "CuSO4·5H2O"),
        ("CaSO4.0.5H2O", "CaSO4·0.5H2O"),
        ("CaSO4·1/2H2O", "CaSO4·0.5H2O"),
        ("K2CO3·1.5H2O", "K2CO3·1.5H2O"),
        ("NaC2H3O2", "NaCH3COO"),
        ("CH3COONa", "NaCH3COO"),
        ("NaC2H3O2.3H2O", "NaCH3COO·3H2O"),
        ("HC2H3O2", "CH3COOH"),
        ("(NH2)2CO", "CO(NH2)2"),
        ("K4[Fe(CN)6]", "K4Fe(CN)6"),
        (" KNO3 ", "KNO3"),
        ("SO4^2-", "SO4-2"),
        ("SO4²⁻", "SO4-2"),
        ("SO4-2", "SO4-2"),
        ("Cu2+", "Cu+2"),
        ("Cu+2", "Cu+2"),
        ("NH4+", "NH4+"),
        ("I3-", "I3-"),
        ("NO3⁻", "NO3-"),
    ],
)
def test_spellings_become_one(written, ours):
    assert normalise(written) == ours
    assert normalise(ours) == ours


@pytest.mark.parametrize(
    ("written", "reason"),
    [
        ("CuSO4 5H2O", "it has a blank inside; write a hydrate as CuSO4·5H2O, "),
        ("HCL", "there is no element 'L'; HCl was meant\\?$"),
        ("2H2O", "it begins with a number; give the amount apart from H2O$"),
        ("", "it is empty$"),
        ("   ", "it is empty$"),
        ("SO42-", r"write the charge apart, as in SO4\^2-$"),
        ("S2-", r"write S\^2- if the digit is the charge$"),
        ("NaCl)", "missing opening parenthesis"),
        ("Xx", "there is no element 'Xx'$"),
        ("Na_Cl", "'_' has no place in it$"),
        ("=1+1", "'=' has no place|is no formula"),
    ],
)
def test_what_cannot_be_a_formula_is_refused_with_the_reason(written, reason):
    with pytest.raises(SubstanceError, match=reason):
        normalise(written)


@given(st.text(max_size=12))
def test_no_text_gives_anything_but_a_mass_or_a_reason(text):
    try:
        mass = molar_mass(text).value
    except SubstanceError:
        return
    assert mass > 0


def test_abbreviations_are_no_actinium():
    assert molar_mass("NaOAc").value == molar_mass("NaCH3COO").value
    assert elements("HOAc") == elements("CH3COOH")


def test_elements_of_hydrates_and_brackets():
    assert elements("KAl(SO4)2·12H2O") == {"K": 1, "Al": 1, "S": 2, "O": 20, "H": 24}
    assert elements("CaSO4·0.5H2O")["O"] == Fraction(9, 2)


def test_charges():
    assert split_charge("Fe(CN)6^4-") == ("Fe(CN)6", -4)
    assert split_charge("Hg2+2") == ("Hg2", 2)
    assert split_charge("NaCl") == ("NaCl", 0)


def test_water_of_crystallisation_is_taken_off():
    assert split_hydrate("Na2CO3*10H2O") == ("Na2CO3", Fraction(10))
    assert split_hydrate("NaCl") == ("NaCl", 0)


def test_molar_mass_adds_over_a_hydrate():
    whole = molar_mass("MgSO4·7H2O").value
    assert whole == pytest.approx(molar_mass("MgSO4").value + 7 * molar_mass("H2O").value)
