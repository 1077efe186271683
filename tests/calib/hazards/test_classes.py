"""Hazard statements: every substance of the list has a row; they agree with the UN list's classes."""

from __future__ import annotations

import pytest

from calib.hazards.classes import WORDS, classified, dust_warning, more_names
from calib.planning.plan import PlanRequest, make_plan
from calib.planning.request import parse_portion
from calib.substances import tables

# UN number, class and formula: UN list of dangerous goods, as in a public copy (found, 2026); the class
# is another body's judgement of the same substance and shares no row with the CLP list.
UN_LIST = """
1049 2.1 H2|1016 2.3 CO|1017 2.3 Cl2|1053 2.3 H2S|1079 2.3 SO2|1090 3 CH3COCH3|1160 3 (CH3)2NH
1170 3 C2H5OH|1219 3 C3H7OH|1230 3 CH3OH|1235 3 CH3NH2|1282 3 C5H5N|1296 3 (C2H5)3N|2270 3 C2H5NH2
1338 4.1 P|1384 4.2 Na2S2O4|2009 4.2 Zr|1360 4.3 Ca3P2|1397 4.3 AlP|1400 4.3 Ba|1401 4.3 Ca
1402 4.3 CaC2|1404 4.3 CaH2|1407 4.3 Cs|1410 4.3 LiAlH4|1414 4.3 LiH|1415 4.3 Li|1418 4.3 Mg
1423 4.3 Rb|1426 4.3 NaBH4|1427 4.3 NaH|1428 4.3 Na|1436 4.3 Zn|1714 4.3 Zn3P2|2257 4.3 K
1438 5.1 Al(NO3)3|1439 5.1 (NH4)2Cr2O7|1442 5.1 NH4ClO4|1444 5.1 (NH4)2S2O8|1446 5.1 Ba(NO3)2
1449 5.1 BaO2|1454 5.1 Ca(NO3)2|1463 5.1 CrO3|1466 5.1 Fe(NO3)3|1469 5.1 Pb(NO3)2|1474 5.1 Mg(NO3)2
1484 5.1 KBrO3|1485 5.1 KClO3|1486 5.1 KNO3|1488 5.1 KNO2|1489 5.1 KClO4|1490 5.1 KMnO4
1492 5.1 K2S2O8|1493 5.1 AgNO3|1495 5.1 NaClO3|1496 5.1 NaClO2|1498 5.1 NaNO3|1500 5.1 NaNO2
1502 5.1 NaClO4|1503 5.1 NaMnO4|1504 5.1 Na2O2|1505 5.1 Na2S2O8|1507 5.1 Sr(NO3)2|1514 5.1 Zn(NO3)2
1748 5.1 Ca(ClO)2|1872 5.1 PbO2|1873 5.1 HClO4|1942 5.1 NH4NO3|2014 5.1 H2O2|2466 5.1 KO2
2468 5.1 C3Cl3N3O3|2722 5.1 LiNO3|2725 5.1 Ni(NO3)2|1051 6.1 HCN|1553 6.1 H3AsO4|1567 6.1 Be
1575 6.1 Ca(CN)2|1680 6.1 KCN|1687 6.1 NaN3|1689 6.1 NaCN|1690 6.1 NaF|1750 6.1 CH2ClCOOH
1809 6.1 PCl3|1849 6.1 Na2S|1884 6.1 BaO|2505 6.1 NH4F|3293 6.1 N2H4|3422 6.1 KF|1052 8 HF
1726 8 AlCl3|1744 8 Br2|1773 8 FeCl3|1779 8 HCOOH|1787 8 HI|1788 8 HBr|1789 8 HCl|1802 8 HClO4
1805 8 H3PO4|1806 8 PCl5|1807 8 P4O10|1813 8 KOH|1819 8 NaAl(OH)4|1823 8 NaOH|1829 8 SO3
1830 8 H2SO4|1836 8 SOCl2|1840 8 ZnCl2|1847 8 K2S|1848 8 C2H5COOH|1910 8 CaO|2029 8 N2H4
2509 8 KHSO4|2672 8 NH3|2677 8 RbOH|2679 8 LiOH|2681 8 CsOH|2683 8 (NH4)2S|2789 8 CH3COOH
2802 8 CuCl2|2834 8 H3PO3
"""
STATEMENTS = {
    "2.1": {"H220"}, "2.3": {"H330", "H331"}, "3": {"H224", "H225", "H226"}, "4.1": {"H228"},
    "4.2": {"H250", "H251", "H252"}, "4.3": {"H260", "H261"}, "5.1": {"H271", "H272"},
    "6.1": {"H300", "H301", "H302", "H310", "H311", "H330", "H331", "H332"}, "8": {"H290", "H314", "H318"},
}  # fmt: skip
KNOWN_APART = {"1350 4.1 S", "1616 6.1 Pb(CH3COO)2", "1812 8 KF", "2809 8 Hg", "2967 8 NH2SO3H", "3495 8 I2",
               "1385 4.2 Na2S", "1382 4.2 K2S"}  # fmt: skip
"""Where the two lists judge apart, to our knowledge: transport weighs other things than labelling."""


def test_every_substance_of_the_list_has_a_row():
    missing = [
        row["formula"] for row in tables.rows("substances") if classified(row["formula"]) is None
    ]
    assert not missing
    assert all(
        classified(formula)
        for formula, _ in more_names().values()
        if formula not in {"NH4NO2", "NH4ClO3"}
    )


def test_every_statement_has_its_words_and_every_row_says_how_it_is_known():
    for row in tables.rows("substances"):
        found = classified(row["formula"])
        assert set(found.statements) <= set(WORDS), row["formula"]
        assert "from memory" in found.source or "found" in found.source


@pytest.mark.parametrize("entry", [e for line in UN_LIST.split("\n") for e in line.split("|") if e])
def test_the_statements_agree_with_the_class_of_the_un_list(entry):
    _, division, formula = entry.split()
    assert STATEMENTS[division] & set(classified(formula).statements), entry


def test_where_the_two_lists_part_is_known():
    """Few of what was compared; each is a substance that carries another statement."""
    compared = [e for line in UN_LIST.split("\n") for e in line.split("|") if e]
    assert len(compared) >= 100
    assert len(KNOWN_APART) <= 0.08 * len(compared)
    for entry in KNOWN_APART:
        _, division, formula = entry.split()
        found = classified(formula)
        assert found.statements
        assert not STATEMENTS[division] & set(found.statements)


@pytest.mark.parametrize(
    ("formula", "why"),
    [("(NH4)2S2O8", "asthma"), ("K2S2O8", "asthma"), ("Na2S2O8", "asthma"), ("NH4NO3", "explode"),
     ("KClO4", "explode"), ("KNO3", "oxidiser"), ("KMnO4", "oxidiser"), ("NiSO4·6H2O", "asthma"),
     ("Pb(NO3)2", "toxic"), ("BaCl2·2H2O", "toxic")],
)  # fmt: skip
def test_oxidisers_sensitisers_and_explosive_salts_are_not_ground(formula, why):
    text = dust_warning(formula)
    assert text.startswith("do NOT grind")
    assert why in text
    assert "weigh it in a hood" in text
    if "KCl" in formula:
        return
    plan = make_plan(PlanRequest(in_cup=parse_portion("100 mL water"), added=parse_portion(f"2 g {formula}(s)"),
                                 dH=(20.0, 1.0)))  # fmt: skip
    steps = " ".join(step for one in plan.preparations for step in one.steps)
    assert "finely ground" not in steps
    assert "do NOT grind" in steps
    said = " ".join(line for _, lines in plan.cautions for line in lines)
    assert "no dust" in said


def test_harmless_salts_are_still_ground():
    assert not dust_warning("NaCl")
    assert not dust_warning("KCl")
    assert not dust_warning("NH4Cl")


def test_what_only_forms_is_not_weighed_and_so_not_said_to_be_ground():
    plan = make_plan(PlanRequest(in_cup=parse_portion("50 mL 0.2 mol/L Pb(NO3)2(aq)"),
                                 added=parse_portion("50 mL 0.4 mol/L KI(aq)")))  # fmt: skip
    said = [line for _, lines in plan.cautions for line in lines]
    assert not [line for line in said if "grind PbI2" in line]
