from __future__ import annotations

import json
import math

import pytest

from calib.errors import CupledgerError, InputError, ReactionError
from calib.reactions.basis import basis_of
from calib.reactions.catalogue import catalogue, entry_named
from calib.reactions.cautions import DEFER, cautions, cautions_for
from calib.reactions.deduce import PhysicalProcess, deduce
from calib.reactions.describe import describe_reaction, describe_solute, reaction_named, search
from calib.reactions.equation import Equation, parse_equation, parse_species
from calib.reactions.forecast import forecast
from calib.reactions.physical import dilution_enthalpy
from calib.reactions.portions import parse_portion

NAMES = [entry.name for entry in catalogue()]


def test_at_least_forty_with_names_of_their_own():
    assert len(NAMES) >= 40
    assert len(set(NAMES)) == len(NAMES)
    topics = {entry.topic for entry in catalogue()}
    assert {"neutralization", "dissolution", "displacement", "precipitation", "specific heat",
            "fusion", "mixing"} <= topics  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_every_entry_goes_to_a_rise_or_says_what_is_missing(name):
    found = entry_named(name).forecast()
    if found.rise_K is None:
        assert found.missing
        assert all(len(text) > 20 for text in found.missing)
        return
    assert math.isfinite(found.rise_K.value)
    assert found.rise_K.u > 0
    assert abs(found.rise_K.value) < 35
    if isinstance(found.process, Equation) and found.at_run is None:
        assert found.missing


def test_few_entries_lack_a_number():
    """Those known to: one crystal without a formation enthalpy. A new gap should be noticed."""
    lacking = [e.name for e in catalogue() if e.forecast().rise_K is None]
    assert set(lacking) <= {"oxalic acid dihydrate and sodium hydroxide"}


@pytest.mark.parametrize("name", NAMES)
def test_sign_of_the_rise_is_that_of_the_enthalpy(name):
    entry = entry_named(name)
    found = entry.forecast()
    if found.rise_K is None or not isinstance(entry.process, Equation):
        return
    dH = found.at_run or found.reference
    if abs(dH.value) > 3 * dH.u:
        assert found.rise_K.value * dH.value < 0


@pytest.mark.parametrize("name", NAMES)
def test_every_entry_is_described_and_ends_with_deferring(name):
    facts = describe_reaction(name)
    assert facts.cautions[-1] == DEFER
    assert facts.per
    json.dumps(facts.as_dict(), ensure_ascii=False)
    assert facts.facts or facts.missing or entry_named(name).topic in {"mixing", "dilution"}
    assert all(fact.source and fact.unit for fact in facts.facts)


def test_neutralization_forecast_by_hand():
    """50 mL + 50 mL of 1 mol/L: 6.95 K in a cup of no heat capacity (reference table, C)."""
    found = forecast(
        parse_portion("50 mL 1.0 mol/L HCl(aq) @ 25 °C"),
        parse_portion("50 mL 1.0 mol/L NaOH(aq) @ 25 °C"),
        cup_J_per_K=0.0,
    )
    assert found.at_run.value == pytest.approx(-57.62, abs=0.01)
    assert found.rise_K.value == pytest.approx(6.954, abs=0.03)
    assert found.limiting == "both"


def test_unequal_starting_temperatures_add_to_the_rise():
    cup = parse_portion("100 mL H2O(l) @ 20 °C")
    level = forecast(cup, parse_portion("6 g KNO3(s) @ 20 °C")).rise_K
    warm = forecast(cup, parse_portion("6 g KNO3(s) @ 30 °C")).rise_K
    # 6 g of the salt, 0.95 J/(g K), 10 K warmer, into about 455 J/K
    assert warm.value - level.value == pytest.approx(6 * 0.95 * 10 / 455, rel=0.1)


def test_water_mixing_against_the_plain_balance():
    found = entry_named("hot water into cold water").forecast(cup_J_per_K=0.0)
    assert found.rise_K.value == pytest.approx((60 - 22) / 2, abs=0.2)


def test_ice_that_does_not_all_melt_is_refused():
    with pytest.raises(ReactionError, match="ice is left over"):
        forecast(parse_portion("20 g H2O(l) @ 10 °C"), parse_portion("50 g H2O(s) @ 0 °C"))


def test_dilution_has_the_sign_of_the_published_column():
    """CRC: diluting HCl gives off heat (its column is the negative of the enthalpy)."""
    hcl = parse_species("HCl(aq)")
    assert dilution_enthalpy(hcl, 6.0, 1.0).value == pytest.approx((1695 - 6268) / 1e3, abs=0.001)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("50 mL HCl(aq)", "without a concentration"),
        ("50 mL 1 mol/L KNO3(s)", "give a solid or a gas in grams"),
        ("some salt", "is no amount of a substance"),
        ("5 g KNO3", None),
    ],
)
def test_portions(text, message):
    if message is None:
        assert parse_portion(text).grams > 0
        return
    with pytest.raises(InputError, match=message):
        parse_portion(text)


# --- names -------------------------------------------------------------------------------------


def test_reaction_column_takes_equations_and_names():
    assert isinstance(reaction_named("zinc and copper sulfate"), Equation)
    assert isinstance(reaction_named("Hot Copper  into water"), PhysicalProcess)
    assert str(reaction_named("SRM 1655")) == "KCl(s) -> KCl(aq)"
    with pytest.raises(ReactionError, match="near names: zinc and hydrochloric acid"):
        reaction_named("zink and acid")
    with pytest.raises(CupledgerError, match="does not balance"):
        reaction_named("HCl -> Cl2")


def test_search_needs_every_word():
    assert {name for _, name, _ in search("zinc copper")} == {"zinc and copper sulfate"}
    assert search("unobtainium") == ()
    assert len(search("")) >= len(NAMES)


def test_solute_facts():
    facts = describe_solute("potassium chloride")
    assert len(facts) >= 5
    assert all(fact.unit == "J/mol" and fact.u > 0 for fact in facts)


def test_description_is_per_the_asked_basis():
    whole = describe_reaction("sulfuric acid and sodium hydroxide", "reaction")
    water = describe_reaction("sulfuric acid and sodium hydroxide")
    assert whole.facts[0].value == pytest.approx(2 * water.facts[0].value)
    assert water.per == "per mole of water formed"


# --- cautions ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("species", "part"),
    [
        ("HCl(aq)", "acid"),
        ("HCl(aq)", "vapour"),
        ("NaOH(aq)", "strong base: blinds and burns"),
        ("NaOH(s)", "gets very hot"),
        ("NH3(aq)", "vapour that harms eyes and lungs"),
        ("KNO3(s)", "oxidiser"),
        ("(NH4)2S2O8(s)", "oxidiser"),
        ("H2O2(aq)", "oxidises"),
        ("AgNO3(aq)", "stain skin"),
        ("Pb(NO3)2(aq)", "toxic"),
        ("BaCl2(aq)", "toxic"),
        ("CuSO4(aq)", "water life"),
        ("Na(s)", "violently"),
        ("Mg(s)", "powder"),
        ("C2H5OH(l)", "burns easily"),
        ("H2SO4(l)", "acid into water"),
        ("H2O(l)", "Glass"),
    ],
)
def test_cautions_of_a_substance(species, part):
    lines = cautions([parse_species(species)])
    assert any(part in line for line in lines), lines
    assert lines[-1] == DEFER


def test_cautions_of_a_process():
    gas = cautions_for(parse_equation("Mg(s) + 2 HCl(aq) -> MgCl2(aq) + H2(g)"))
    assert "Hydrogen is given off" in gas[0]
    hot = cautions_for(deduce(parse_species("H2O(l)"), parse_species("Cu(s)")))
    assert "Hot metal" in hot[0]
    heater = cautions([parse_species("H2O(l)")], heater=True)
    assert any("low voltage" in line for line in heater)
    acid = cautions_for(deduce(parse_species("H2O(l)"), parse_species("HCl(aq)")))
    assert "never water into concentrated acid" in acid[0]
    assert len(set(gas)) == len(gas)


def test_basis_words_of_every_reaction():
    for entry in catalogue():
        if isinstance(entry.process, Equation):
            assert basis_of(entry.process).words.startswith("per mole of ")
