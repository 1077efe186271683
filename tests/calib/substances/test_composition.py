from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import SubstanceError
from calib.substances.composition import Composition, mix

GRAMS = st.floats(min_value=0.0, max_value=1000.0)


def test_a_hydrate_gives_its_salt_and_water():
    liquid = Composition(100.0, {"CuSO4·5H2O": 24.968})
    assert liquid.total_g == pytest.approx(124.968)
    assert liquid.solutes_g["CuSO4"] == pytest.approx(15.96, abs=0.01)
    assert liquid.molalities["CuSO4"] == pytest.approx(100 / 109.008, abs=1e-3)


def test_ammonium_hydroxide_is_ammonia_and_water():
    liquid = Composition(100.0, {"NH4OH": 35.046})
    assert liquid.solutes_g == {"NH3": pytest.approx(17.031, abs=1e-3)}
    assert liquid.total_g == pytest.approx(135.046)


def test_spellings_and_water_as_a_solute_are_gathered():
    liquid = Composition(50.0, {"NaC2H3O2": 1.0, "CH3COONa": 2.0, "H2O": 5.0})
    assert dict(liquid.solutes_g) == {"NaCH3COO": 3.0}
    assert liquid.water_g == 55.0


@given(GRAMS, GRAMS, GRAMS, GRAMS)
def test_mixing_loses_nothing_and_has_no_order(a, b, c, d):
    one, two = Composition(a, {"NaCl": b}), Composition(c, {"NaCl": d, "KCl": 1.0})
    both = mix(one, two)
    assert both.total_g == pytest.approx(one.total_g + two.total_g)
    assert dict(both.solutes_g) == pytest.approx(dict(mix(two, one).solutes_g))


@pytest.mark.parametrize("bad", [-1.0, float("nan"), float("inf")])
def test_impossible_masses_are_refused(bad):
    with pytest.raises(SubstanceError, match="is not possible; give 0 g or more"):
        Composition(bad, {})
    with pytest.raises(SubstanceError, match="of NaCl is not possible"):
        Composition(10.0, {"NaCl": bad})


def test_it_is_frozen_and_can_be_a_key():
    liquid = Composition(10.0, {"NaCl": 1.0})
    with pytest.raises(TypeError):
        liquid.solutes_g["KCl"] = 1.0  # type: ignore[index]
    assert {liquid: 1}[Composition(10.0, {"NaCl": 1.0})] == 1


def test_scaling_keeps_the_make_up():
    liquid = Composition(90.0, {"NaCl": 10.0}).scaled_to(5.0)
    assert liquid.total_g == pytest.approx(5.0)
    assert liquid.mass_fractions["NaCl"] == pytest.approx(0.1)
