"""``cupledger reference`` as the three users type it, and as somebody in a hurry does.

Published numbers: letters as in tests/published (F found, L read from a library, C computed).
"""

from __future__ import annotations

import pytest

from calib.reactions.catalogue import catalogue


def lines(done, kind=None):
    return [
        line
        for section in done.json["sections"]
        if kind in (None, section["kind"])
        for line in section["lines"]
    ]


def number(done, what):
    return next(line for line in lines(done) if line["what"] == what)


# --- the lab manager: what is an instrument good for? -----------------------------------------


@pytest.mark.parametrize(
    ("words", "instrument", "u"),
    [
        # ASTM E1272 class A, 100 mL ±0.50 mL, rectangular (F)
        ("measuring cylinder class A", "100 mL cylinder class A", 0.50 / 3**0.5),
        # ASTM E969, 5 mL ±0.01 mL (F)
        ("pipette", "5 mL pipet class A", 0.01 / 3**0.5),
        # IEC 60751, class B ±(0.3 + 0.005 t) °C (F)
        ("probe", "Pt100 B", 0.3 / 3**0.5),
        ("Balance", "balance with 0.01 g display", 0.02 / 3**0.5),
    ],
)
def test_instruments_by_the_words_people_use(cupledger, words, instrument, u):
    done = cupledger("reference", *words.split(), "--json")
    assert done.code == 0
    one = number(done, instrument)
    assert one["u"] == pytest.approx(u, rel=1e-6)
    assert one["unit"]
    assert one["source"]
    assert "class B" not in str(lines(done)) or "class A" not in words


# --- the student: solutes and reactions with range, uncertainty, source -------------------------


def test_a_solute_with_ranges_and_sources(cupledger):
    done = cupledger("reference", "potassium", "nitrate", "--json")
    assert done.code == 0
    # CRC Handbook after Parker (1965): +34.89 kJ/mol (F)
    solution = number(done, "enthalpy of solution")
    assert solution["number"] == pytest.approx(34.89)
    assert "infinite dilution" in solution["holds"]
    # CRC Handbook as transcribed in a public repository: 24.2 % by mass at 20 °C (F)
    assert number(done, "solubility")["number"] == pytest.approx(31.9, abs=0.1)
    cp = number(done, "c_p of a solution")
    assert "5 % by mass, 25 °C" in cp["holds"]
    assert "5 to 120 °C" in cp["holds"]
    assert 0 < cp["u"] < 0.02
    assert all(line["source"] for line in lines(done))


def test_water_and_metals_have_no_solution_facts(cupledger):
    water = cupledger("reference", "water", "--json")
    # IAPWS-95 at 25 °C: 4.18131 J/(g K), 0.997048 g/mL (L)
    assert number(water, "c_p of the liquid")["number"] == pytest.approx(4.18131, abs=2e-5)
    copper = cupledger("reference", "Cu", "--json")
    for done in (water, copper):
        assert not any("apparent" in line["what"] for line in lines(done))
    assert number(copper, "c_p of the solid")["number"] == pytest.approx(0.385, abs=0.002)


def test_an_equation(cupledger):
    done = cupledger("reference", "H+ + OH- -> H2O", "--json")
    # CODATA (1989): -285.830 + 230.015 (F)
    assert number(done, "enthalpy")["number"] == pytest.approx(-55.815)
    # Singh et al. (1976), abstract: 215.2 ± 4 J/(mol K) (F)
    assert number(done, "change of heat capacity")["number"] == pytest.approx(0.2152)
    unbalanced = cupledger("reference", "HCl -> Cl2")
    assert unbalanced.code == 2
    assert "1 Cl too many on the right" in unbalanced.err


# --- the teacher: what can be run, what will it show? -------------------------------------------


def test_forty_reactions_and_more_go_to_a_rise_or_say_what_is_missing(cupledger):
    done = cupledger("reference", "reactions", "--json")
    found = lines(done, "list")
    assert len(found) == len(catalogue())
    whole = [x for x in found if x["number"] is not None and x["rise_K"] is not None]
    assert len(whole) >= 40
    for line in found:
        assert line["equation"]
        assert line["amounts"]
        assert line["rise_K"] is not None or line["missing"], line["name"]
        assert line["number"] is not None or line["missing"] or line["what"] == "mixing"
        if line["rise_K"] is not None:
            assert line["u_rise_K"] > 0
    text = cupledger("reference", "reactions").out
    assert all(x["name"] in text for x in found)


def test_one_topic_and_one_name(cupledger):
    metals = lines(cupledger("reference", "specific", "heat", "--json"), "list")
    assert {x["what"] for x in metals} == {"specific heat"}
    named = cupledger("reference", "zinc and copper sulfate", "--json")
    rise = number(named, "expected rise")
    # 0.010 mol at -218 kJ/mol (C from L) into about 206 + 15 J/K: 9.9 K
    assert rise["number"] == pytest.approx(0.010 * 218.5e3 / 221, rel=0.02)
    assert named.json["cautions"]
    acid = cupledger("reference", "oxalic acid dihydrate and sodium hydroxide")
    assert acid.code == 0
    assert "lacks H2C2O4·2H2O(s)" in acid.out


def test_sulfuric_acid_is_listed_per_mole_as_written(cupledger):
    found = lines(cupledger("reference", "neutralization", "--json"), "list")
    line = next(x for x in found if x["name"] == "sulfuric acid and sodium hydroxide")
    assert line["number"] == pytest.approx(-2 * 55.815, abs=0.01)
    assert line["per"].startswith("per mole of reaction as written")


# --- in a hurry ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "near"),
    [
        ("zinc and coper sulfate", "zinc and copper sulfate"),
        ("pipete", "pipette"),
        ("neutralisation", "neutralization"),
        ("potasium nitrate", "potassium nitrate"),
    ],
)
def test_a_slip_of_the_pen_is_answered_with_near_names(cupledger, words, near):
    done = cupledger("reference", words)
    assert done.code == 2
    assert near in done.err


@pytest.mark.parametrize(
    "words", ["nosuch", "💧", "((", "KNO3)(", "?", "-> ", "x" * 500, "=", "\t"]
)
def test_nonsense_is_refused_in_words(cupledger, words):
    done = cupledger("reference", "--", words)
    assert done.code == (0 if not words.strip() else 2)
    assert "went wrong inside" not in done.err


def test_overview(cupledger):
    done = cupledger("reference", "--json")
    kinds = {section["kind"] for section in done.json["sections"]}
    assert kinds == {"search", "instrument"}
    assert "hydrochloric acid and sodium hydroxide" in cupledger("reference").out
