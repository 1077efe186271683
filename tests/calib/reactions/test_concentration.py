from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.errors import SubstanceError
from calib.reactions.apparent_enthalpy import phi_L
from calib.reactions.concentration import (
    expected_enthalpy,
    expected_in_run,
    ionic_strength_per_molal,
    molalities_in_run,
)
from calib.reactions.equation import Species, parse_equation
from calib.reactions.extent import react
from calib.reactions.pitzer import debye_hueckel_phi_L

HCL, NAOH, NACL = (Species(f, "aq") for f in ("HCl", "NaOH", "NaCl"))
NEUTRAL = parse_equation("HCl(aq) + NaOH(aq) -> NaCl(aq) + H2O(l)")
KNOWN = ("HCl", "NaOH", "NaCl", "KCl", "KOH", "NH4Cl", "KNO3", "HNO3", "CaCl2", "CuSO4", "H2SO4",
         "CH3COOH", "NH3", "NaCH3COO")  # fmt: skip


@pytest.mark.parametrize("formula", KNOWN)
def test_nothing_at_infinite_dilution_and_continuous_there(formula):
    assert phi_L(formula, 0.0).value == 0.0
    assert abs(phi_L(formula, 1e-6).value) < 100.0


@pytest.mark.parametrize("formula", [f for f in KNOWN if f not in {"NH3", "CH3COOH", "H2SO4"}])
def test_limiting_law(formula):
    """φ_L / √I tends to ν|z+z-| A_H / 2 at the lowest molalities (Debye-Hückel)."""
    charges = {"CaCl2": (2, -1, 1, 2), "CuSO4": (2, -2, 1, 1)}.get(formula, (1, -1, 1, 1))
    m = 1e-6 if formula == "CuSO4" else 1e-4  # ion pairing shows early in 2-2 salts
    limit = debye_hueckel_phi_L(*charges, m)
    assert phi_L(formula, m).value == pytest.approx(limit, rel=0.25)


@pytest.mark.parametrize("formula", ["HCl", "NaOH", "NaCl"])
def test_interpolation_hits_the_published_points_and_stays_smooth(formula):
    values = [phi_L(formula, 0.05 * k).value for k in range(1, 60)]
    seconds = [abs(a - 2 * b + c) for a, b, c in zip(values, values[1:], values[2:], strict=False)]
    assert max(seconds[3:]) < 40.0  # J/mol; a wrong digit in the table would show as a kink


def test_uncertainty_grows_outside_and_only_nonsense_is_refused():
    assert phi_L("NaCl", 5.0).u > phi_L("NaCl", 1.0).u
    assert phi_L("KCl", 9.0).u > 2 * phi_L("KCl", 4.0).u
    assert phi_L("NaOH", 30.0).value == phi_L("NaOH", 22.2024).value
    assert "held past its end at 22.2024 mol/kg" in phi_L("NaOH", 30.0).source
    with pytest.raises(SubstanceError, match="expected 0 or more"):
        phi_L("NaCl", -1.0)
    with pytest.raises(SubstanceError, match="expected 0 or more"):
        phi_L("NaCl", math.nan)


def test_what_is_assumed_says_so_and_has_the_spread_as_u():
    nitrite = phi_L("NaNO2", 0.5)
    assert nitrite.kind == "assumed"
    assert nitrite.u > 500.0
    acetate = phi_L("NaCH3COO", 1.5)
    assert acetate.kind == "assumed"
    assert acetate.value == phi_L("NaCH3COO", 1.0).value
    assert acetate.u > phi_L("NaCH3COO", 1.0).u
    assert phi_L("(NH4)3PO4", 0.2).u > 5000.0


def test_assumed_uncertainty_covers_salts_that_are_known():
    """The 1-1 estimate against the salts with parameters: inside 2 u (own check of the spread)."""
    guess = phi_L("NaNO2", 0.5)
    published = [phi_L(s, 0.5).value for s in ("NaOH", "NaCl", "HCl", "HNO3", "HBr", "HClO4")]
    assert all(abs(value - guess.value) <= 2 * guess.u for value in published)
    assert phi_L("ZnCl2", 0.2).u > 1000.0


def test_other_temperatures_follow_the_debye_hueckel_slope_and_cost_uncertainty():
    cold, reference = phi_L("NaCl", 1.0, 20.0), phi_L("NaCl", 1.0)
    shift = debye_hueckel_phi_L(1, -1, 1, 1, 1.0, 20.0) - debye_hueckel_phi_L(1, -1, 1, 1, 1.0)
    assert cold.value - reference.value == pytest.approx(shift)
    assert shift < 0
    assert cold.u > reference.u


def test_expected_enthalpy_is_the_sum_of_its_lines():
    m = {HCL: 1.0225, NAOH: 1.0008, NACL: 0.5012}
    found = expected_enthalpy(NEUTRAL, m, 20.0)
    assert found.at_run.value == pytest.approx(sum(line.value for line in found.lines))
    by_hand = -55.815 + 0.2152 * -5.0
    by_hand += phi_L("NaCl", 0.5012, 20).value / 1e3
    by_hand -= (phi_L("HCl", 1.0225, 20).value + phi_L("NaOH", 1.0008, 20).value) / 1e3
    assert found.at_run.value == pytest.approx(by_hand)
    assert found.at_run.u == pytest.approx(sum(line.u**2 for line in found.lines) ** 0.5)


def test_infinite_dilution_limit():
    m = dict.fromkeys((HCL, NAOH, NACL), 0.0)
    assert expected_enthalpy(NEUTRAL, m).at_run.value == pytest.approx(-55.815)


def test_where_only_the_first_line_can_be_given_it_says_why():
    ionic = expected_enthalpy(parse_equation("H+(aq) + OH-(aq) -> H2O(l)"), {})
    assert ionic.at_run is None
    assert "single ion" in ionic.why
    assert "give the molecular equation" in ionic.why
    ammonium = expected_enthalpy(
        parse_equation("(NH4)2SO4(s) -> (NH4)2SO4(aq)"), {Species("(NH4)2SO4", "aq"): 0.8}
    )
    assert ammonium.at_run is not None
    forgot = expected_enthalpy(NEUTRAL, {HCL: 1.0, NAOH: 1.0})
    assert forgot.at_run is None
    assert "molality of NaCl(aq) was not given" in forgot.why


def test_integral_enthalpy_of_solution_is_standard_plus_phi_L():
    equation = parse_equation("NaNO3(s) -> NaNO3(aq)")
    found = expected_enthalpy(equation, {Species("NaNO3", "aq"): 0.5})
    assert found.at_run.value == pytest.approx(20.50 + phi_L("NaNO3", 0.5).value / 1e3)


def test_molalities_of_a_run_by_hand():
    # 0.05 mol HCl in 48 g water, 0.06 mol NaOH in 50 g: 0.05 mol NaCl and 0.01 mol NaOH remain
    amounts, water = {HCL: 0.05, NAOH: 0.06}, {HCL: 48.0, NAOH: 50.0}
    extent = react(NEUTRAL, amounts)
    m, left = molalities_in_run(NEUTRAL, extent, amounts, water)
    total = (98.0 + 0.05 * 18.015) / 1e3
    assert m[HCL] == pytest.approx(0.05 / 0.048)
    assert m[NAOH] == pytest.approx(1.2)
    assert m[NACL] == pytest.approx(0.06 / total)  # the mixture's ionic strength
    assert left[0].species == NAOH
    assert left[0].moles_per_reaction == pytest.approx(0.2)
    assert left[0].molality_mixed == pytest.approx(0.06 / total)


def test_leftover_reagent_is_diluted_and_that_counts():
    water = {HCL: 48.0, NAOH: 50.0}
    even = expected_in_run(NEUTRAL, {HCL: 0.1, NAOH: 0.1}, water)
    excess = expected_in_run(NEUTRAL, {HCL: 0.2, NAOH: 0.1}, water)
    assert len(excess.lines) == len(even.lines) + 1
    assert "left over" in excess.lines[-1].what
    assert excess.lines[-1].value < 0  # HCl gives heat on dilution


@pytest.mark.parametrize(
    ("formula", "strength"),
    [
        ("NaCl", 1),
        ("CaCl2", 3),
        ("Na2SO4", 3),
        ("CuSO4", 4),
        ("AlCl3", 6),
        ("CH3COOH", 0),
        ("HCl", 1),
    ],
)
def test_ionic_strength_of_one_molal(formula, strength):
    assert ionic_strength_per_molal(Species(formula, "aq")) == strength


@settings(deadline=None, max_examples=60)
@given(st.floats(0.02, 2.5), st.floats(0.02, 2.5), st.floats(15, 35))
def test_closed_cycle_mixing_then_reacting_or_reacting_then_mixing(a, b, t):
    """Enthalpy is a state function: diluting both solutions first changes the path, not the sum."""
    direct = expected_enthalpy(NEUTRAL, {HCL: a, NAOH: b, NACL: 0.3}, t).at_run.value
    diluted = expected_enthalpy(NEUTRAL, {HCL: 0.1, NAOH: 0.1, NACL: 0.3}, t).at_run.value
    steps = sum(
        (phi_L(f, 0.1, t).value - phi_L(f, m, t).value) / 1e3 for f, m in (("HCl", a), ("NaOH", b))
    )
    assert direct == pytest.approx(diluted + steps, abs=1e-9)


def test_certified_reactions_carry_their_own_value():
    tris = parse_equation("C4H11NO3(s) + HCl(aq) -> C4H12NO3Cl(aq)")
    found = expected_enthalpy(tris, {HCL: 0.1}, 20.0)
    assert found.at_run.value == pytest.approx(-29.770 + 5 * -0.1738, abs=2e-3)
    strong = expected_enthalpy(tris, {HCL: 1.0}, 20.0)
    assert strong.at_run.u > 10 * found.at_run.u
    assert "instead of 0.1" in strong.why
    kcl = expected_enthalpy(parse_equation("KCl(s) -> KCl(aq)"), {Species("KCl", "aq"): 0.111})
    assert kcl.at_run.value == pytest.approx(17.584, abs=1e-3)
