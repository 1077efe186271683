from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.errors import EquationError
from calib.reactions.equation import (
    Equation,
    Species,
    balanced,
    parse_equation,
    parse_species,
    whole_numbers,
)
from calib.reactions.ionic import net_ionic
from calib.reactions.linear import nullspace

READ_AS = [
    ("HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)", "HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)"),
    ("HCl+NaOH->NaCl+H2O", "HCl(aq) + NaOH(aq) -> NaCl(aq) + H2O(l)"),
    ("2HCl(aq)+Mg(s) = MgCl2(aq)+H2(g)", "2 HCl(aq) + Mg(s) -> MgCl2(aq) + H2(g)"),
    ("Zn + 2H+ -> Zn+2 + H2", "Zn(s) + 2 H+(aq) -> Zn^2+(aq) + H2(g)"),
    ("Zn+2H+->Zn+2 + H2", "Zn(s) + 2 H+(aq) -> Zn^2+(aq) + H2(g)"),
    ("Zn + Cu2+ ⇌ Zn2+ + Cu", "Zn(s) + Cu^2+(aq) -> Zn^2+(aq) + Cu(s)"),
    ("Ba²⁺ + SO₄²⁻ → BaSO₄", "Ba^2+(aq) + SO4^2-(aq) -> BaSO4(s)"),
    ("SO42- + Ba2+ -> BaSO4", "SO4^2-(aq) + Ba^2+(aq) -> BaSO4(s)"),
    ("SO4-2+Ba+2->BaSO4", "SO4^2-(aq) + Ba^2+(aq) -> BaSO4(s)"),
    ("Ag+(aq)+Cl-(aq)->AgCl(s)", "Ag+(aq) + Cl-(aq) -> AgCl(s)"),
    ("H+ + OH- -> H2O", "H+(aq) + OH-(aq) -> H2O(l)"),
    ("NO3-(aq) + K+(aq) -> KNO3(s)", "NO3-(aq) + K+(aq) -> KNO3(s)"),
    ("KNO3 -> K+ + NO3-", "KNO3(s) -> K+(aq) + NO3-(aq)"),
    (
        "CuSO4·5H2O(s) -> CuSO4(aq) + 5H2O(l)",
        "CuSO4·5H2O(s) -> CuSO4(aq) + 5 H2O(l)",
    ),
    ("CuSO4*5H2O(s) -> Cu+2 + SO4-2 + 5 H2O", "CuSO4·5H2O(s) -> Cu^2+(aq) + SO4^2-(aq) + 5 H2O(l)"),
    ("H2O2(aq) -> H2O(l) + ½ O2(g)", "H2O2(aq) -> H2O(l) + 1/2 O2(g)"),
    ("H2O2(aq) -> H2O(l) + 0.5 O2(g)", "H2O2(aq) -> H2O(l) + 1/2 O2(g)"),
    ("I2(s) + I-(aq) -> I3-(aq)", "I2(s) + I-(aq) -> I3^-(aq)"),
    (
        "CaSO4·0.5H2O(s) + 3/2 H2O -> CaSO4·2H2O(s)",
        "CaSO4·0.5H2O(s) + 3/2 H2O(l) -> CaSO4·2H2O(s)",
    ),
]


@pytest.mark.parametrize(("text", "expected"), READ_AS)
def test_what_people_write_is_read(text, expected):
    assert str(parse_equation(text)) == expected


@pytest.mark.parametrize("text", [expected for _, expected in READ_AS])
def test_printed_equation_reads_back_the_same(text):
    equation = parse_equation(text)
    assert parse_equation(str(equation)) == equation


def test_assumed_states_are_said_and_given_ones_are_not():
    assumed = parse_equation("HCl + NaOH(aq) -> NaCl(aq) + H2O(l)").assumed
    assert assumed == ("HCl(aq): state assumed",)
    assert parse_equation("HCl(aq) + NaOH(aq) -> NaCl(aq) + H2O(l)").assumed == ()


REFUSED = [
    (
        "HCl + Mg -> MgCl2 + H2",
        r"1 Cl too many on the right; 1 H too many on the right\. Balanced it would read "
        r"2 HCl\(aq\) \+ Mg\(s\) -> MgCl2\(aq\) \+ H2\(g\)$",
    ),
    (
        "Zn(s) + Ag+(aq) -> Zn+2(aq) + Ag(s)",
        r"the charge is \+1 on the right against the left\. Balanced it would read "
        r"Zn\(s\) \+ 2 Ag\+\(aq\) -> Zn\^2\+\(aq\) \+ 2 Ag\(s\)$",
    ),
    ("H2SO4 + NaOH -> Na2SO4 + H2O", r"1 H too few on the right; 1 Na too many on the right"),
    ("Cl2 -> Br2", r"2 Cl too few on the right; 2 Br too many on the right$"),
    ("KNO3 -> KNO3", r"same on both sides; give the states, e\.g\. KNO3\(s\) -> KNO3\(aq\)$"),
    ("HCl(aq) + NaOH(aq)", r"has no arrow; expected e\.g\. HCl\(aq\) \+ KOH\(aq\) -> .*$"),
    ("A -> B -> C", r"more than one arrow"),
    ("HCl + -> H2", r"a substance is missing beside a '\+' or the arrow$"),
    ("", r"has no arrow"),
    ("->", r"a substance is missing"),
    ("CuSO4 5H2O -> CuSO4 + 5 H2O", r"blank inside; .* hydrate as CuSO4·5H2O$"),
    ("HCL + NaOH -> NaCl + H2O", r"no element 'L'"),
    ("Xx + H2 -> XxH2", r"no element 'Xx'"),
    ("0 HCl -> H2", r"'0 HCl' has the coefficient 0$"),
    ("1/0 HCl -> H2", r"divides by nothing$"),
    ("((H2) -> H2", r"cannot be read as a chemical formula"),
]


@pytest.mark.parametrize(("text", "message"), REFUSED)
def test_bad_equations_say_what_is_wrong(text, message):
    with pytest.raises(EquationError, match=message):
        parse_equation(text)


@settings(deadline=None)
@given(st.text(max_size=40))
def test_no_text_ends_in_anything_but_an_equation_or_its_error(text):
    try:
        equation = parse_equation(text)
    except EquationError:
        return
    assert not equation.imbalance()


SPECIES = st.sampled_from(
    [Species(f, s, q) for f, s, q in (
        ("HCl", "aq", 0), ("NaOH", "aq", 0), ("SO4", "aq", -2), ("NO3", "aq", -1), ("Cu", "aq", 2),
        ("Cu", "s", 0), ("CuSO4·5H2O", "s", 0), ("H2O", "l", 0), ("NH4", "aq", 1), ("I3", "aq", -1),
        ("(NH4)2SO4", "s", 0), ("CO2", "g", 0), ("Hg2", "aq", 2), ("C4H11NO3", "s", 0),
    )]
)  # fmt: skip
COEFFICIENT = st.one_of(st.integers(1, 12), st.fractions(Fraction(1, 6), 4, max_denominator=6))
SIDE = st.lists(st.tuples(COEFFICIENT, SPECIES), min_size=1, max_size=4)


@settings(deadline=None)
@given(SIDE, SIDE)
def test_any_equation_round_trips(left, right):
    tidy = [(int(c) if c == int(c) else c, s) for c, s in left + right]
    equation = Equation(tuple(tidy[: len(left)]), tuple(tidy[len(left) :]))
    if equation.net():
        assert parse_equation(str(equation), check=False) == equation


@settings(deadline=None)
@given(SIDE, SIDE, st.integers(1, 5))
def test_imbalance_is_the_atoms_difference_and_scales(left, right, factor):
    equation = Equation(tuple(left), tuple(right))
    off = equation.imbalance()
    count = sum(c * s.atoms.get("H", 0) for c, s in right)
    count -= sum(c * s.atoms.get("H", 0) for c, s in left)
    assert off.get("H", 0) == count
    assert equation.scaled(factor).imbalance() == {k: factor * v for k, v in off.items()}


def test_balancing_finds_the_textbook_redox():
    # permanganate and iron(II) in acid: 1, 5, 8 -> 1, 5, 4 (common practice, no source)
    unbalanced = parse_equation("MnO4- + Fe+2 + H+ -> Mn+2 + Fe+3 + H2O", check=False)
    assert str(balanced(unbalanced)) == (
        "MnO4-(aq) + 5 Fe^2+(aq) + 8 H+(aq) -> Mn^2+(aq) + 5 Fe^3+(aq) + 4 H2O(l)"
    )


def test_balancing_gives_up_where_there_is_no_one_way():
    assert balanced(parse_equation("Cl2 -> Br2", check=False)) is None
    # two independent reactions in one line
    two = parse_equation("C(s) + O2(g) + H2(g) -> CO2(g) + H2O(l)", check=False)
    assert balanced(two) is None


def test_reversed_and_scaled():
    equation = parse_equation("H2O2(aq) -> H2O(l) + 1/2 O2(g)")
    assert str(equation.scaled(-2)) == "2 H2O(l) + O2(g) -> 2 H2O2(aq)"
    assert str(whole_numbers(equation)) == "2 H2O2(aq) -> 2 H2O(l) + O2(g)"
    with pytest.raises(EquationError, match="multiplied by nothing"):
        equation.scaled(0)


@pytest.mark.parametrize(
    ("text", "formula", "charge"),
    [("Cu2+", "Cu", 2), ("Cu+2", "Cu", 2), ("Cu^2+", "Cu", 2), ("Hg2^2+", "Hg2", 2), ("I3-", "I3", -1),
     ("CO32-", "CO3", -2), ("HCO3-", "HCO3", -1), ("PO4^3-", "PO4", -3), ("NH4+", "NH4", 1),
     ("Fe+++", "Fe", 3), ("CH3COO-", "CH3COO", -1), ("S2O3-2", "S2O3", -2), ("O^2-", "O", -2)],
)  # fmt: skip
def test_charges_in_every_usual_form(text, formula, charge):
    species = parse_species(text)
    assert (species.formula, species.charge) == (formula, charge)


def test_other_spellings_mean_the_same_substance():
    assert parse_species("HC2H3O2(aq)").same_as(parse_species("CH3COOH(aq)"))
    assert parse_species("NH4OH(aq)").key == ("NH3", "aq", 0)
    assert not parse_species("KNO3(s)").same_as(parse_species("KNO3(aq)"))
    equation = parse_equation("HC2H3O2(aq) + NaOH(aq) -> NaC2H3O2(aq) + H2O(l)")
    assert equation.find(Species("CH3COOH", "aq")) == Species("HC2H3O2", "aq")
    assert equation.coefficient(Species("CH3COOH", "aq")) == -1


@pytest.mark.parametrize(
    ("molecular", "expected"),
    [
        ("HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)", "H+(aq) + OH-(aq) -> H2O(l)"),
        (
            "CH3COOH(aq) + NaOH(aq) -> NaCH3COO(aq) + H2O(l)",
            "CH3COOH(aq) + OH-(aq) -> CH3COO-(aq) + H2O(l)",
        ),
        ("HCl(aq) + NH3(aq) -> NH4Cl(aq)", "H+(aq) + NH3(aq) -> NH4+(aq)"),
        ("AgNO3(aq) + NaCl(aq) -> AgCl(s) + NaNO3(aq)", "Ag+(aq) + Cl-(aq) -> AgCl(s)"),
        ("Zn(s) + CuSO4(aq) -> ZnSO4(aq) + Cu(s)", "Zn(s) + Cu^2+(aq) -> Zn^2+(aq) + Cu(s)"),
        ("H2SO4(aq) + 2 KOH(aq) -> K2SO4(aq) + 2 H2O(l)", "2 H+(aq) + 2 OH-(aq) -> 2 H2O(l)"),
        ("H3O+(aq) + OH-(aq) -> 2 H2O(l)", "OH-(aq) + H+(aq) -> H2O(l)"),
        ("2 HCl(aq) + MgO(s) -> MgCl2(aq) + H2O(l)", "2 H+(aq) + MgO(s) -> Mg^2+(aq) + H2O(l)"),
    ],
)
def test_net_ionic_equation(molecular, expected):
    found = net_ionic(parse_equation(molecular))
    assert set(found.net().items()) == set(parse_equation(expected).net().items())
    assert not found.imbalance()


@settings(deadline=None)
@given(st.lists(st.lists(st.integers(-4, 4), min_size=5, max_size=5), min_size=1, max_size=4))
def test_nullspace_is_exact_and_complete(rows):
    basis = nullspace(rows)
    assert len(basis) == 5 - np.linalg.matrix_rank(np.array(rows, dtype=float))
    for vector in basis:
        assert all(sum(a * x for a, x in zip(row, vector, strict=True)) == 0 for row in rows)
