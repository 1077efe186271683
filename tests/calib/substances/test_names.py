from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import SubstanceError
from calib.substances import tables
from calib.substances.formula import elements, split_charge
from calib.substances.names import class_of, ions_of, is_saltlike, names_of, resolve, usual_state


@pytest.mark.parametrize(
    ("cell", "formula", "state"),
    [
        ("water", "H2O", "l"),
        ("Water", "H2O", "l"),
        ("distilled water", "H2O", "l"),
        ("H2O(aq)", "H2O", "l"),
        ("ice", "H2O", "s"),
        ("H2O(s)", "H2O", "s"),
        ("KNO3(s)", "KNO3", "s"),
        ("KNO3 (aq)", "KNO3", "aq"),
        ("KNO3(cr)", "KNO3", "s"),
        ("potassium nitrate", "KNO3", "s"),
        ("Potassium  Nitrate solution", "KNO3", "aq"),
        ("hydrochloric acid", "HCl", "aq"),
        ("Hydrogen chloride", "HCl", "g"),
        ("dilute sulphuric acid", "H2SO4", "aq"),
        ("sulfuric acid (conc.)", "H2SO4", "aq"),
        ("anhydrous calcium chloride", "CaCl2", "s"),
        ("NaCl solution", "NaCl", "aq"),
        ("hcl", "HCl", "aq"),
        ("NACL", "NaCl", "s"),
        ("TRIS", "C4H11NO3", "s"),
        ("tris", "C4H11NO3", "s"),
        ("KHP", "KHC8H4O4", "s"),
        ("APS", "(NH4)2S2O8", "s"),
        ("Epsom salt", "MgSO4·7H2O", "s"),
        ("copper sulphate pentahydrate", "CuSO4·5H2O", "s"),
        ("Copper (II) sulfate", "CuSO4", "s"),
        ("aluminum", "Al", "s"),
        ("Aluminium chloride", "AlCl3", "s"),
        ("Iron", "Fe", "s"),
        ("sodium hydroxide pellets", "NaOH", "s"),
        ("ammonia", "NH3", "aq"),
        ("ammonium hydroxide", "NH3", "aq"),
        ("glacial acetic acid", "CH3COOH", "l"),
        ("vinegar", "CH3COOH", "aq"),
        ("citric acid", "H3C6H5O7", "s"),
        ("baking soda", "NaHCO3", "s"),
        ("urea", "CO(NH2)2", "s"),
        ("limewater", "Ca(OH)2", "aq"),
        ("Co", "Co", "s"),
        ("CO", "CO", "g"),
        ("Cu2+", "Cu+2", "aq"),
        ("CsBr(s)", "CsBr", "s"),
    ],
)
def test_what_a_cell_means(cell, formula, state):
    assert resolve(cell) == (formula, state)


def test_a_concentration_beside_it_makes_it_a_solution():
    assert resolve("NaOH", dissolved=True) == ("NaOH", "aq")
    assert resolve("NaOH(s)", dissolved=True) == ("NaOH", "s")
    assert resolve("water", dissolved=True) == ("H2O", "l")
    assert resolve("ice", dissolved=True) == ("H2O", "s")


@pytest.mark.parametrize(
    ("cell", "message"),
    [
        ("potasium nitrate", "'potasium nitrate' is not known .*nearest known: potassium nitrate"),
        ("KNO4", "is not known .*KNO3"),
        ("unobtainium", "is not known"),
        ("CuSO4 5H2O", "blank inside; write a hydrate as CuSO4·5H2O.*nearest known: CuSO4·5H2O"),
        ("CsBr", r"write its state behind it: \(s\), \(l\), \(g\) or \(aq\)"),
        ("", "it is empty"),
        ("(s)", "it is empty"),
        ("2HCl", "begins with a number"),
    ],
)
def test_the_unknown_is_refused_with_the_nearest_names(cell, message):
    with pytest.raises(SubstanceError, match=message):
        resolve(cell)


@given(st.text(max_size=16))
def test_no_cell_gives_anything_but_a_substance_or_a_reason(text):
    try:
        formula, state = resolve(text)
    except SubstanceError:
        return
    assert elements(formula)
    assert state in {"s", "l", "g", "aq"}


ROWS = tables.rows("substances")


@pytest.mark.parametrize("row", ROWS, ids=[r["formula"] for r in ROWS])
def test_every_listed_substance_is_consistent(row):
    formula = row["formula"]
    for spelling in [s for s in row["spellings"].split(";") if s]:
        assert elements(spelling) == elements(formula), spelling
    for name in names_of(formula):
        if name not in {"glacial acetic acid", "hydrogen chloride", "limewater"}:
            assert resolve(name) == (formula, row["state"]), name
        assert resolve(name.upper()).formula == formula
    assert usual_state(formula) in {"s", "l", "g", "aq"}
    assert class_of(formula)


@pytest.mark.parametrize("row", [r for r in ROWS if r["ions"]], ids=lambda r: r["formula"])
def test_ions_make_up_the_formula_and_carry_no_charge_together(row):
    ions = ions_of(row["formula"])
    total: dict[str, int] = {}
    for ion, n in ions:
        for symbol, count in elements(split_charge(ion)[0]).items():
            total[symbol] = total.get(symbol, 0) + n * count
    assert total == elements(row["formula"])
    assert sum(n * split_charge(ion)[1] for ion, n in ions) == 0


def test_an_unlisted_salt_is_taken_apart():
    assert ions_of("CsBr") == (("Cs+", 1), ("Br-", 1))
    assert ions_of("Ba(ClO4)2") == (("Ba+2", 1), ("ClO4-", 2))
    assert ions_of("C2H6O") is None
    assert is_saltlike("RbNO3")
    assert not is_saltlike("C4H8O2")


COURSE = """
hydrochloric acid, nitric acid, sulfuric acid, acetic acid, phosphoric acid, citric acid, sodium
hydroxide, potassium hydroxide, ammonia, calcium hydroxide, barium hydroxide octahydrate, sodium
chloride, potassium chloride, ammonium chloride, ammonium nitrate, potassium nitrate, sodium nitrate,
lithium chloride, calcium chloride, calcium chloride dihydrate, magnesium sulfate, magnesium sulfate
heptahydrate, copper(II) sulfate, copper(II) sulfate pentahydrate, sodium acetate, sodium acetate
trihydrate, sodium carbonate, sodium hydrogencarbonate, sodium thiosulfate, sodium hypochlorite,
hydrogen peroxide, ammonium thiocyanate, silver nitrate, potassium iodide, zinc, magnesium, iron,
copper, aluminium, lead, tin, nickel, magnesium oxide, calcium oxide, urea, sucrose, ice, water, TRIS
"""


@pytest.mark.parametrize("name", [" ".join(n.split()) for n in COURSE.split(",")])
def test_enough_for_a_general_chemistry_course(name):
    # common practice, no source: what a course pours, weighs or drops into a foam cup
    assert resolve(name).formula
