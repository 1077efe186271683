from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.errors import ReactionError
from calib.reactions.equation import Species, parse_equation
from calib.reactions.extent import react

MG = parse_equation("2 HCl(aq) + Mg(s) -> MgCl2(aq) + H2(g)")
HCL, MAGNESIUM = Species("HCl", "aq"), Species("Mg", "s")


def test_limiting_reactant_by_hand():
    found = react(MG, {HCL: 0.060, MAGNESIUM: 0.025})
    assert found.extent_mol == pytest.approx(0.025)
    assert found.limiting == MAGNESIUM
    assert found.limiting_text == "Mg(s)"
    assert found.left[HCL] == pytest.approx(0.010)
    assert found.left[MAGNESIUM] == 0.0
    assert found.formed == {Species("MgCl2", "aq"): 0.025, Species("H2", "g"): 0.025}
    assert MAGNESIUM not in found.contents


def test_equal_amounts_are_said_to_limit_both():
    found = react(MG, {HCL: 0.05 * (1 + 1e-12), MAGNESIUM: 0.025})
    assert found.both
    assert found.limiting_text == "both"
    assert set(found.left.values()) == {0.0}


def test_just_outside_equality_one_limits():
    found = react(MG, {HCL: 0.05 * (1 + 1e-8), MAGNESIUM: 0.025})
    assert found.limiting_text == "Mg(s)"


def test_water_is_never_limiting_but_must_suffice():
    slake = parse_equation("CaO(s) + H2O(l) -> Ca(OH)2(s)")
    lime, water = Species("CaO", "s"), Species("H2O", "l")
    found = react(slake, {lime: 0.1, water: 5.0})
    assert found.limiting == lime
    assert found.left[water] == pytest.approx(4.9)
    assert react(slake, {lime: 0.1}).extent_mol == pytest.approx(0.1)
    with pytest.raises(ReactionError, match=r"would use 0\.1 mol of water but only 0\.05 mol"):
        react(slake, {lime: 0.1, water: 0.05})


def test_other_spellings_and_left_out_states_are_matched():
    equation = parse_equation("HC2H3O2(aq) + NaOH(aq) -> NaC2H3O2(aq) + H2O(l)")
    found = react(equation, {Species("CH3COOH", "aq"): 0.02, Species("NaOH", ""): 0.03})
    assert found.limiting == Species("HC2H3O2", "aq")
    assert found.left[Species("NaOH", "aq")] == pytest.approx(0.01)


def test_spectators_stay():
    found = react(MG, {HCL: 0.1, MAGNESIUM: 0.01, Species("NaCl", "aq"): 0.5})
    assert found.left[Species("NaCl", "aq")] == 0.5


def test_missing_and_negative_amounts():
    with pytest.raises(ReactionError, match=r"needs the amount of Mg\(s\); given were HCl\(aq\)$"):
        react(MG, {HCL: 0.1})
    with pytest.raises(ReactionError, match=r"amount of Mg\(s\) is -0\.1 mol; expected 0 or more$"):
        react(MG, {HCL: 0.1, MAGNESIUM: -0.1})
    with pytest.raises(ReactionError, match="is nan mol"):
        react(MG, {HCL: float("nan"), MAGNESIUM: 0.1})


@settings(deadline=None)
@given(st.floats(0, 10), st.floats(0, 10), st.floats(0, 1))
def test_atoms_are_kept(hcl, mg, fraction):
    found = react(MG, {HCL: hcl, MAGNESIUM: mg}, fraction=fraction)
    for element in ("H", "Cl", "Mg"):
        before = hcl * float(HCL.atoms.get(element, 0)) + mg * float(
            MAGNESIUM.atoms.get(element, 0)
        )
        after = sum(n * float(s.atoms.get(element, 0)) for s, n in found.contents.items())
        assert after == pytest.approx(before, rel=1e-9, abs=1e-9)
    assert all(n >= 0 for n in found.left.values())
