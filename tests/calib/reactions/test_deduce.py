"""What goes into a cup together, and the equation that every general-chemistry text gives for it.

Expected equations: common practice, no source.
"""

from __future__ import annotations

import itertools

import pytest

from calib.errors import ReactionError
from calib.reactions.deduce import PhysicalProcess, deduce
from calib.reactions.equation import Equation, parse_equation, parse_species
from calib.reactions.ions import is_soluble, salt_of

CASES = [
    ("HCl(aq)", "NaOH(aq)", "HCl(aq) + NaOH(aq) -> NaCl(aq) + H2O(l)"),
    ("NaOH(aq)", "CH3COOH(aq)", "CH3COOH(aq) + NaOH(aq) -> NaCH3COO(aq) + H2O(l)"),
    ("H2SO4(aq)", "KOH(aq)", "H2SO4(aq) + 2 KOH(aq) -> K2SO4(aq) + 2 H2O(l)"),
    ("H3PO4(aq)", "NaOH(aq)", "H3PO4(aq) + 3 NaOH(aq) -> Na3PO4(aq) + 3 H2O(l)"),
    ("HNO3(aq)", "Ba(OH)2(aq)", "2 HNO3(aq) + Ba(OH)2(aq) -> Ba(NO3)2(aq) + 2 H2O(l)"),
    ("Ba(OH)2(aq)", "H2SO4(aq)", "H2SO4(aq) + Ba(OH)2(aq) -> BaSO4(s) + 2 H2O(l)"),
    ("HCl(aq)", "NH3(aq)", "HCl(aq) + NH3(aq) -> NH4Cl(aq)"),
    ("H2SO4(aq)", "NH3(aq)", "H2SO4(aq) + 2 NH3(aq) -> (NH4)2SO4(aq)"),
    ("HCl(aq)", "C4H11NO3(s)", "HCl(aq) + C4H11NO3(s) -> C4H12NO3Cl(aq)"),
    ("KHC8H4O4(aq)", "NaOH(aq)", "KHC8H4O4(aq) + NaOH(aq) -> KNaC8H4O4(aq) + H2O(l)"),
    ("NaHSO4(aq)", "NaOH(aq)", "NaHSO4(aq) + NaOH(aq) -> Na2SO4(aq) + H2O(l)"),
    ("NaHCO3(aq)", "NaOH(aq)", "NaHCO3(aq) + NaOH(aq) -> Na2CO3(aq) + H2O(l)"),
    ("NaOH(aq)", "H2C2O4·2H2O(s)", "H2C2O4·2H2O(s) + 2 NaOH(aq) -> Na2C2O4(aq) + 4 H2O(l)"),
    ("HCl(aq)", "NaOH(s)", "HCl(aq) + NaOH(s) -> NaCl(aq) + H2O(l)"),
    ("HCl(aq)", "MgO(s)", "2 HCl(aq) + MgO(s) -> MgCl2(aq) + H2O(l)"),
    ("HCl(aq)", "Ca(OH)2(s)", "2 HCl(aq) + Ca(OH)2(s) -> CaCl2(aq) + 2 H2O(l)"),
    ("HCl(aq)", "NaHCO3(s)", "HCl(aq) + NaHCO3(s) -> NaCl(aq) + CO2(g) + H2O(l)"),
    ("HCl(aq)", "CaCO3(s)", "2 HCl(aq) + CaCO3(s) -> CaCl2(aq) + CO2(g) + H2O(l)"),
    (
        "H3C6H5O7(aq)",
        "NaHCO3(s)",
        "H3C6H5O7(aq) + 3 NaHCO3(s) -> Na3C6H5O7(aq) + 3 CO2(g) + 3 H2O(l)",
    ),
    ("H2O(l)", "KNO3(s)", "KNO3(s) -> KNO3(aq)"),
    ("H2O(l)", "CuSO4·5H2O(s)", "CuSO4·5H2O(s) -> CuSO4(aq) + 5 H2O(l)"),
    ("H2O(l)", "(NH4)2S2O8(s)", "(NH4)2S2O8(s) -> (NH4)2S2O8(aq)"),
    ("H2O(l)", "KAl(SO4)2·12H2O(s)", "KAl(SO4)2·12H2O(s) -> KAl(SO4)2(aq) + 12 H2O(l)"),
    ("H2O(l)", "CO(NH2)2(s)", "CO(NH2)2(s) -> CO(NH2)2(aq)"),
    ("H2O(l)", "NaOH(s)", "NaOH(s) -> NaOH(aq)"),
    ("H2O(l)", "H2SO4(l)", "H2SO4(l) -> H2SO4(aq)"),
    ("H2O(l)", "CaO(s)", "CaO(s) + H2O(l) -> Ca(OH)2(s)"),
    ("H2O(l)", "Na(s)", "2 Na(s) + 2 H2O(l) -> 2 NaOH(aq) + H2(g)"),
    ("HCl(aq)", "Mg(s)", "Mg(s) + 2 HCl(aq) -> MgCl2(aq) + H2(g)"),
    ("H2SO4(aq)", "Al(s)", "2 Al(s) + 3 H2SO4(aq) -> Al2(SO4)3(aq) + 3 H2(g)"),
    ("CuSO4(aq)", "Zn(s)", "Zn(s) + CuSO4(aq) -> ZnSO4(aq) + Cu(s)"),
    ("AgNO3(aq)", "Cu(s)", "Cu(s) + 2 AgNO3(aq) -> Cu(NO3)2(aq) + 2 Ag(s)"),
    ("CuCl2(aq)", "Al(s)", "2 Al(s) + 3 CuCl2(aq) -> 2 AlCl3(aq) + 3 Cu(s)"),
    ("AgNO3(aq)", "NaCl(aq)", "AgNO3(aq) + NaCl(aq) -> AgCl(s) + NaNO3(aq)"),
    ("Pb(NO3)2(aq)", "KI(aq)", "Pb(NO3)2(aq) + 2 KI(aq) -> PbI2(s) + 2 KNO3(aq)"),
    ("BaCl2(aq)", "Na2SO4(aq)", "BaCl2(aq) + Na2SO4(aq) -> BaSO4(s) + 2 NaCl(aq)"),
    ("NH4Cl(aq)", "NaOH(aq)", "NH4Cl(aq) + NaOH(aq) -> NaCl(aq) + NH3(aq) + H2O(l)"),
    ("HCl(aq)", "NaCH3COO(aq)", "HCl(aq) + NaCH3COO(aq) -> NaCl(aq) + CH3COOH(aq)"),
    ("HCl(aq)", "AgNO3(aq)", "HCl(aq) + AgNO3(aq) -> AgCl(s) + HNO3(aq)"),
]


@pytest.mark.parametrize(("in_cup", "added", "expected"), CASES)
def test_reaction_is_deduced(in_cup, added, expected):
    found = deduce(parse_species(in_cup), parse_species(added))
    wanted = parse_equation(expected)
    assert isinstance(found, Equation)
    assert (set(found.reactants), set(found.products)) == (
        set(wanted.reactants),
        set(wanted.products),
    )


@pytest.mark.parametrize(("in_cup", "added", "expected"), CASES)
def test_the_order_does_not_matter(in_cup, added, expected):
    one = deduce(parse_species(in_cup), parse_species(added))
    other = deduce(parse_species(added), parse_species(in_cup))
    assert set(one.reactants) == set(other.reactants)
    assert set(one.products) == set(other.products)


@pytest.mark.parametrize(
    ("in_cup", "added", "kind"),
    [
        ("H2O(l)", "H2O(l)", "mixing"),
        ("H2O(l)", "H2O(s)", "fusion"),
        ("H2O(l)", "Cu(s)", "specific heat"),
        ("H2O(l)", "Al", "specific heat"),
        ("H2O(l)", "HCl(aq)", "dilution"),
        ("NaOH(aq)", "H2O(l)", "dilution"),
    ],
)
def test_physical_processes(in_cup, added, kind):
    found = deduce(parse_species(in_cup), parse_species(added))
    assert isinstance(found, PhysicalProcess)
    assert found.kind == kind
    assert (found.in_cup.formula, found.added.formula) == (
        parse_species(in_cup).formula,
        parse_species(added).formula,
    )


@pytest.mark.parametrize(
    ("in_cup", "added", "message"),
    [
        ("NaCl(aq)", "KNO3(aq)", r"no precipitate \(NaNO3 and KCl stay dissolved\).*e\.g\. AgNO3"),
        ("HCl(aq)", "Cu(s)", r"below hydrogen .* For its specific heat, put it into water"),
        ("ZnSO4(aq)", "Cu(s)", r"Cu does not displace Zn \(activity series\)"),
        ("HNO3(aq)", "Cu(s)", r"cannot be told by rule; give the equation in the column reaction"),
        ("H2O2(aq)", "KI(aq)", r"give the equation in the column reaction, e\.g\. H2O2"),
        ("H2O(l)", "CaCO3(s)", r"cannot be told by rule"),
        ("NaHCO3(aq)", "NH3(aq)", r"cannot be told by rule"),
    ],
)
def test_where_rules_do_not_decide_the_equation_is_asked_for(in_cup, added, message):
    with pytest.raises(ReactionError, match=message):
        deduce(parse_species(in_cup), parse_species(added))


SHELF = [
    "HCl(aq)",
    "HNO3(aq)",
    "H2SO4(aq)",
    "CH3COOH(aq)",
    "H3PO4(aq)",
    "NaOH(aq)",
    "KOH(s)",
    "Ba(OH)2(aq)",
    "NH3(aq)",
    "Mg(s)",
    "Zn(s)",
    "Cu(s)",
    "Al(s)",
    "Fe(s)",
    "CuSO4(aq)",
    "AgNO3(aq)",
    "NaCl(aq)",
    "Na2CO3(s)",
    "NaHCO3(s)",
    "CaCO3(s)",
    "MgO(s)",
    "H2O(l)",
    "H2O(s)",
    "KNO3(s)",
    "CuSO4·5H2O(s)",
    "NH4Cl(aq)",
    "KHC8H4O4(aq)",
    "NaCH3COO(aq)",
    "FeCl3(aq)",
    "KI(aq)",
    "Pb(NO3)2(aq)",
    "C4H11NO3(s)",
]


def test_whatever_is_deduced_balances():
    deduced = 0
    for first, second in itertools.product(SHELF, repeat=2):
        try:
            found = deduce(parse_species(first), parse_species(second))
        except ReactionError:
            continue
        if isinstance(found, Equation):
            deduced += 1
            assert not found.imbalance(), (first, second, str(found))
            assert all(c > 0 for c, _ in found.reactants + found.products)
    assert deduced > 150


@pytest.mark.parametrize(
    ("formula", "ions"),
    [
        ("(NH4)2SO4", {("NH4", 1, 2), ("SO4", -2, 1)}),
        ("FeCl3", {("Fe", 3, 1), ("Cl", -1, 3)}),
        ("FeCl2", {("Fe", 2, 1), ("Cl", -1, 2)}),
        ("NaHCO3", {("Na", 1, 1), ("HCO3", -1, 1)}),
        ("KAl(SO4)2·12H2O", {("K", 1, 1), ("Al", 3, 1), ("SO4", -2, 2)}),
        ("(NH4)2Fe(SO4)2·6H2O", {("NH4", 1, 2), ("Fe", 2, 1), ("SO4", -2, 2)}),
        ("KNaC4H4O6·4H2O", {("K", 1, 1), ("Na", 1, 1), ("C4H4O6", -2, 1)}),
        ("Mg(C2H3O2)2", {("Mg", 2, 1), ("CH3COO", -1, 2)}),
        ("Ca3(PO4)2", {("Ca", 2, 3), ("PO4", -3, 2)}),
    ],
)
def test_salts_come_apart(formula, ions):
    assert set(salt_of(formula).ions) == ions


@pytest.mark.parametrize("formula", ["CO(NH2)2", "H2O", "C12H22O11", "CH3COOH", "NH3", "C2H5OH"])
def test_molecules_are_no_salts(formula):
    assert salt_of(formula) is None


@pytest.mark.parametrize(
    ("cation", "charge", "anion", "soluble"),
    [("Na", 1, "PO4", True), ("Ag", 1, "Cl", False), ("Pb", 2, "NO3", True), ("Ba", 2, "SO4", False),
     ("Ca", 2, "CO3", False), ("Mg", 2, "OH", False), ("NH4", 1, "CO3", True), ("Cu", 2, "Cl", True),
     ("Cu", 1, "Cl", False), ("Ca", 2, "F", False), ("Zn", 2, "SO4", True)],
)  # fmt: skip
def test_solubility_rules(cation, charge, anion, soluble):
    assert is_soluble(cation, charge, anion) is soluble
