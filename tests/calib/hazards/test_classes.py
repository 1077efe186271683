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
1442 5.1 NH4ClO4|1444 5.1 (NH4)2S2O8|1484 5.1 KBrO3|1485 5.1 KClO3|1489 5.1 KClO4|1490 5.1 KMnO4|1492 5.1 K2S2O8
1493 5.1 AgNO3|1495 5.1 NaClO3|1500 5.1 NaNO2|1502 5.1 NaClO4|1503 5.1 NaMnO4|1505 5.1 Na2S2O8|1439 5.1 (NH4)2Cr2O7
1402 4.3 CaC2|1415 4.3 Li|1428 4.3 Na|2257 4.3 K|1680 6.1 KCN|1687 6.1 NaN3|1689 6.1 NaCN|1690 6.1 NaF
"""
STATEMENTS = {
    "5.1": {"H271", "H272"},
    "4.3": {"H260", "H261"},
    "6.1": {"H300", "H301", "H310", "H311"},
}


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
