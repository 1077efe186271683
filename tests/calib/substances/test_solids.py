from __future__ import annotations

import numpy as np
import pytest

from calib.errors import SubstanceError
from calib.substances import tables
from calib.substances.facts import describe
from calib.substances.formula import elements, molar_mass, split_hydrate
from calib.substances.solids import KOPP_J_PER_MOLK, U_WATER, WATER_J_PER_MOLK, solid_cp
from calib.substances.solubility import dissolves, known_solubilities, solubility


@pytest.mark.parametrize(
    ("formula", "printed"),
    # F: OpenStax Chemistry 2e, chapter 5, specific heats in J/(g °C) as used in its problems
    [("Al", 0.897), ("Fe", 0.449), ("Cu", 0.385), ("Ag", 0.24), ("Pb", 0.13)],
)
def test_metals_against_a_textbook(formula, printed):
    ours = solid_cp(formula)
    assert ours.value == pytest.approx(printed, abs=0.005)
    assert ours.u / ours.value <= 0.01


def test_ice():
    # F: OpenStax Chemistry 2e, appendix E: ice 2.093 J/(g °C); M: IAPWS-06 at 0 °C 2.097
    assert solid_cp("H2O").value == pytest.approx(2.095, abs=0.005)
    assert solid_cp("H2O", -10.0).value < solid_cp("H2O", 0.0).value
    assert solid_cp("H2O", 25.0).value == solid_cp("H2O", 0.0).value


@pytest.mark.parametrize(
    ("formula", "molar"),
    # F: Carling, J. Chem. Thermodyn. (abstract): heat capacities at 298.15 K, J/(K mol)
    [("NaNO3", 91.94), ("KNO3", 95.39)],
)
def test_nitrates_against_a_paper(formula, molar):
    assert solid_cp(formula).value * molar_mass(formula).value == pytest.approx(molar, rel=0.015)


def test_hot_metal_holds_more():
    assert solid_cp("Al", 62.5).value / solid_cp("Al").value == pytest.approx(1.025, abs=0.008)
    assert solid_cp("Al", 100.0).u > solid_cp("Al").u


def test_perry_and_crc_differ_as_stated():
    both = [
        float(r["perry"]) / float(r["crc"]) - 1
        for r in tables.rows("solid_cp")
        if r["crc"] and r["perry"]
    ]
    assert len(both) >= 90
    assert np.std(both) == pytest.approx(0.07, abs=0.01)


def test_kopps_rule_is_worth_what_is_stated():
    off = []
    for row in tables.rows("solid_cp"):
        counts = elements(row["formula"])
        if len(counts) > 1:
            rule = sum(float(n) * KOPP_J_PER_MOLK.get(s, 25.9) for s, n in counts.items())
            off.append(rule / float(row["crc"] or row["perry"]) - 1)
    assert len(off) >= 150
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(0.11, abs=0.01)


def test_water_of_crystallisation_is_worth_what_is_stated():
    known = {r["formula"]: float(r["crc"] or r["perry"]) for r in tables.rows("solid_cp")}
    each = []
    for formula, value in known.items():
        dry, n = split_hydrate(formula)
        if n and dry in known:
            each.append((value - known[dry]) / float(n))
    assert len(each) >= 18
    assert np.mean(each) == pytest.approx(WATER_J_PER_MOLK, abs=1.0)
    assert np.std(each) == pytest.approx(U_WATER, abs=1.0)


@pytest.mark.parametrize("row", tables.rows("substances"), ids=lambda r: r["formula"])
def test_every_solid_has_a_heat_capacity_with_a_source(row):
    if row["state"] != "s":
        return
    ours = solid_cp(row["formula"])
    assert 0.1 < ours.value < 4.0
    assert 0 < ours.u < 0.15 * ours.value
    assert ours.source


def test_a_gas_is_no_solid():
    with pytest.raises(SubstanceError, match="is a gas at room temperature"):
        solid_cp("O2")


@pytest.mark.parametrize(
    ("formula", "t_C", "grams"),
    # F: CRC Handbook as transcribed, g/100 g of water
    [("NaCl", 20, 35.9), ("KNO3", 25, 38.3), ("KNO3", 60, 109.2), ("NH4Cl", 0, 29.7),
     ("(NH4)2S2O8", 20, 78.1), ("CuSO4·5H2O", 25, 22.0), ("NaOH", 25, 100.0)],
)  # fmt: skip
def test_solubility_at_its_nodes(formula, t_C, grams):
    assert solubility(formula, float(t_C)).value == pytest.approx(grams, abs=0.15)


def test_solubility_between_nodes():
    # M: KNO3 at 40 °C, 64 g/100 g of water
    ours = solubility("KNO3", 40.0)
    assert abs(ours.value - 64.0) <= 2 * ours.u
    for formula in known_solubilities():
        values = [solubility(formula, float(t)).value for t in range(0, 61, 5)]
        assert values == sorted(values)


def test_what_is_not_known_is_said():
    with pytest.raises(SubstanceError, match="no solubility is tabulated for KIO3"):
        solubility("KIO3", 20.0)
    with pytest.raises(SubstanceError, match="from 0 to 60 °C, not at 80 °C"):
        solubility("NaCl", 80.0)
    assert dissolves("KIO3", 1.0, 100.0, 20.0) is None
    assert dissolves("KNO3", 30.0, 100.0, 20.0) is True
    assert dissolves("KNO3", 33.0, 100.0, 20.0) is False
    # 40 g of the pentahydrate bring 14.4 g of water along
    assert dissolves("CuSO4·5H2O", 35.0, 100.0, 25.0) is True


@pytest.mark.parametrize("row", tables.rows("substances"), ids=lambda r: r["formula"])
def test_every_substance_can_be_described(row):
    facts = describe(row["formula"])
    assert facts.formula in {row["formula"], "NH4OH"}
    assert facts.molar_mass.value > 0
    if row["ions"]:
        assert facts.ions
        assert facts.solution_cp is not None


def test_facts_by_name():
    facts = describe("potassium nitrate")
    assert facts.formula == "KNO3"
    assert "up to 20 % by mass" in facts.solution_cp_range
    assert facts.solubility.value == pytest.approx(31.9, abs=0.1)
    with pytest.raises(SubstanceError, match="nearest known: potassium nitrate"):
        describe("potasium nitrate")
