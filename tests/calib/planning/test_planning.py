"""Plans: rises against published numbers, limits, solubility, what a wanted u takes, stock."""

from __future__ import annotations

import math

import pytest

from calib.enthalpies.sources import AppliedConstant
from calib.errors import InputError
from calib.planning.plan import PlanRequest, make_plan
from calib.planning.report import plan_json
from calib.planning.request import Planned, parse_portion
from calib.planning.stock import make_volume
from calib.run_model.known import room_guessed
from calib.run_model.rise import Loss

NO_CUP = AppliedConstant("none", 0.0, 0.0, None, "constant:none")


def plan(in_cup, added, cup=None, **more):
    request = PlanRequest(in_cup=parse_portion(in_cup), added=parse_portion(added), **more)
    source = None if cup is None else (lambda run, prepared: cup)
    return make_plan(request, source)


# --- what a person writes ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("50 mL 1.0 mol/L HCl(aq)", Planned("HCl(aq)", mL=50.0, mol_per_L=1.0)),
        ("50 mL of 1 M HCl(aq)", Planned("HCl(aq)", mL=50.0, mol_per_L=1.0)),
        ("0.05 L 500 mmol/L nitric acid", Planned("nitric acid", mL=50.0, mol_per_L=0.5)),
        ("60 g Cu(s) at 99 °C", Planned("Cu(s)", g=60.0, C=99.0)),
        ("100 g water, 60 C", Planned("water", g=100.0, C=60.0)),
        ("5,04 g KNO3(s)", Planned("KNO3(s)", g=5.04)),
        ("4 g CuSO4·5H2O(s)", Planned("CuSO4·5H2O(s)", g=4.0)),
        ("potassium nitrate 12 g", Planned("potassium nitrate", g=12.0)),
    ],
)
def test_portions_as_people_write_them(text, expected):
    found = parse_portion(text)
    assert found.substance == expected.substance
    for name in ("mL", "g", "mol_per_L", "C"):
        left, right = getattr(found, name), getattr(expected, name)
        assert (left is None) == (right is None)
        if left is not None:
            assert math.isclose(left, right)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("some water", "no amount"),
        ("50 furlong water", "furlong"),
        ("50 mL", "no substance"),
        ("50 mL 60 mL water", "twice"),
        ("0 g KNO3(s)", "cannot be meant"),
        ("50 mL 400 mol/L HCl(aq)", "cannot be meant"),
        ("10 V water", "10 V"),
    ],
)
def test_portions_that_cannot_be_meant(text, says):
    with pytest.raises(InputError, match=says):
        parse_portion(text)


# --- the rise ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("c", "rise"), [(0.5, 3.437), (1.0, 6.954), (1.5, 10.54), (2.0, 14.21)])
def test_a_neutralization_without_a_cup(c, rise):
    """50 mL each at 25 °C (C from F: CODATA and Parker's tables, heat capacity by Laliberte)."""
    found = plan(f"50 mL {c} mol/L HCl(aq)", f"50 mL {c} mol/L NaOH(aq)", NO_CUP, room_C=25.0)
    assert found.rise.rise.value == pytest.approx(rise, rel=4e-3)


def test_an_open_textbooks_example():
    """50.0 mL of 1.00 mol/L each from 22.0 to 28.9 °C: OpenStax Chemistry 2e, chapter 5 (F)."""
    found = plan("50 mL 1 mol/L HCl(aq)", "50 mL 1 mol/L NaOH(aq)", NO_CUP, room_C=22.0)
    assert found.rise.rise.value == pytest.approx(28.9 - 22.0, abs=0.15)


def test_hot_metal_and_hot_water_by_hand():
    """Closed forms with 4.18 J/(g K) and copper's 0.385 J/(g K), CRC Handbook (F)."""
    copper = plan("100 g water", "60 g Cu(s) at 99 C", NO_CUP)
    by_hand = 60 * 0.385 * (99 - 21) / (100 * 4.18 + 60 * 0.385)
    assert copper.rise.rise.value == pytest.approx(by_hand, rel=0.01)
    water = plan("100 g water", "50 g water at 60 C", NO_CUP)
    assert water.rise.rise.value == pytest.approx(39.0 / 3, rel=2e-3)
    cup = AppliedConstant("P1", 20.0, 1.0, None, "constant:P1")
    smaller = plan("100 g water", "50 g water at 60 C", cup)
    assert smaller.rise.rise.value == pytest.approx(50 * 4.18 * 39 / (150 * 4.18 + 20), rel=2e-3)


def test_ice_by_hand():
    """333.5 J/g (CRC Handbook, M) and 4.18 J/(g K)."""
    found = plan("150 g water at 40 C", "30 g ice", NO_CUP)
    by_hand = (150 * 4.18 * 40 - 30 * 333.5) / (180 * 4.18)
    assert found.rise.rise.value + 40.0 == pytest.approx(by_hand, abs=0.1)


def test_the_loss_lowers_what_the_thermometer_shows():
    cup = AppliedConstant("P1", 12.0, 0.3, None, "k", Loss(0.05, 0.01))
    found = plan("50 mL 2 mol/L HCl(aq)", "50 mL 2 mol/L NaOH(aq)", cup, after_s=60.0)
    assert 0 < found.rise.loss_K < 0.5
    shown = found.rise.shown.value
    assert shown == pytest.approx(21.0 + found.rise.rise.value - found.rise.loss_K, abs=1e-6)
    assert found.rise.shown.u > found.rise.rise.u


def test_a_flask_is_planned_as_one():
    """Its glass is still cold when the extreme is read: the thermometer shows too much."""
    cup = AppliedConstant("F1", 70.0, 3.0, None, "k", Loss(0.02, 0.003))
    request = PlanRequest(
        in_cup=parse_portion("100 mL 1 mol/L HCl(aq)"),
        added=parse_portion("100 mL 1 mol/L NaOH(aq)"),
    )
    flask, foam = (
        make_plan(request, lambda run, prepared: cup, kind=kind)
        for kind in ("vacuum flask, stopper", "double foam cup, lid with a hole")
    )
    assert (flask.prepared.run.vessel, flask.prepared.run.lid) == ("flask", "closed")
    assert (foam.prepared.run.vessel, foam.prepared.run.lid) == ("cup", "hole")
    assert flask.rise.rise.value == pytest.approx(foam.rise.rise.value)
    assert flask.rise.shown.value > foam.rise.shown.value + 0.1
    assert flask.rise.shown.u > 1.2 * foam.rise.shown.u


def test_hot_water_in_the_cup_does_not_stand_for_the_room():
    """60 °C before the mixing: a room that nobody noted is a usual one, and the loss is seen."""
    assert [room_guessed(t) for t in (18.4, 60.0, 2.0, None)] == [18.4, 21.0, 21.0, 21.0]


def test_the_spread_is_the_budget_of_the_enthalpies():
    """The same inputs, so that the same error stands in both lists with the same relative size."""
    cup = AppliedConstant("P1", 15.0, 3.0, None, "constant:P1")
    facts = plan_json(plan("200 g water", "12 g KNO3(s)", cup))
    spread = {line["source"]: line["u_K"] / abs(facts["rise_K"]) for line in facts["spread"]}
    result = {line["source"]: line["u"] / abs(facts["result"]) for line in facts["result_budget"]}
    for source in ("the cup's constant", "specific heat of the mixture"):
        assert spread[source] == pytest.approx(result[source], rel=0.02)
    assert sum(line["share_percent"] for line in facts["spread"]) == pytest.approx(100, abs=0.1)


def test_limiting_reagent_and_what_is_left():
    facts = plan_json(plan("100 mL 0.5 mol/L CuSO4(aq)", "2 g Zn(s)"))
    assert facts["limiting"] == "Zn(s)"
    left = {one["substance"]: one["left_mol"] for one in facts["reaches"]}
    assert left["CuSO4(aq)"] == pytest.approx(0.05 - 2 / 65.38, rel=1e-3)
    both = plan_json(plan("50 mL 1 mol/L HCl(aq)", "50 mL 1 mol/L NaOH(aq)"))
    assert both["limiting_uncertain"]


# --- limits --------------------------------------------------------------------------------------


def test_a_solid_that_does_not_dissolve():
    """KNO3 at 20 °C: 31.9 g per 100 g of water, CRC Handbook (F)."""
    found = plan("50 g water", "30 g KNO3(s)").dissolving[0]
    assert found.dissolves is False
    assert found.holds_g < 31.9 / 2
    assert "NOT ALL" in found.sentence
    fine = plan("200 g water", "12 g KNO3(s)").dissolving[0]
    assert fine.dissolves is True


def test_pellets_in_little_water_and_what_foam_stands():
    wild = plan("60 g water", "30 g NaOH(s)").heat
    assert wild.verdict == "over"
    assert any("boil" in text for text in wild.sentences)
    some = plan("100 g water", "10 g NaOH(s)").heat
    assert some.verdict in ("within", "near")
    assert any("quarter of the water" in text for text in some.sentences)
    assert plan("200 g water", "4 g NaOH(s)").heat.verdict == "within"


def test_a_plan_that_would_freeze_says_so():
    assert any("freez" in text for text in plan("50 g water", "30 g KNO3(s)").heat.sentences)


def test_it_is_the_solution_that_freezes_and_boils():
    """2 mol/kg of a 2:1 salt freezes some 8 K lower than water (van 't Hoff's 3 ions, φ 0.7)."""
    cold = plan("100 g water", "45 g (NH4)2S2O8(s)")
    assert -11.0 < cold.heat.freezes.value < -6.0
    assert not any("would fall to the freezing" in text for text in cold.heat.sentences)
    hot = plan("100 g water", "28 g KOH(s)").heat
    assert 105.0 < hot.boils.value < 112.0
    assert plan("100 g water", "100 g water at 60 °C").heat.freezes.value == pytest.approx(0.0)


def test_solubility_ends_with_its_table():
    found = plan("100 g water", "100 g NH4NO3(s)").dissolving[0]
    assert found.dissolves is None
    assert "the solubility table ends at 0 °C, where the water holds 117 g" in found.sentence
    warm = plan("100 g water", "28 g KOH(s)").dissolving[0]
    assert warm.dissolves is True
    assert "ends at 60 °C" in warm.sentence


def test_an_estimated_enthalpy_is_said_as_a_band():
    band = plan("100 mL 2 mol/L CH3COOH", "100 mL 2 mol/L NaOH").rise.band
    assert "lies between -58." in band
    assert "NaCH3COO" in band
    assert plan("100 mL 1 mol/L HCl", "100 mL 1 mol/L NaOH").rise.band == ""


# --- what a wanted uncertainty takes -------------------------------------------------------------


def test_a_wanted_uncertainty():
    cup = AppliedConstant("P1", 12.0, 0.2, None, "k", Loss(0.04, 0.004))
    coarse = plan("200 g water", "6 g KNO3(s)", cup, step_K=0.5, wanted_percent=4.0).wanted
    assert coarse.planned_percent > 4.0
    assert coarse.step_K is not None
    assert coarse.step_K < 0.5
    assert coarse.amount_factor > 1.0
    again = plan("200 g water", "6 g KNO3(s)", cup, step_K=coarse.step_K, wanted_percent=4.0)
    assert again.wanted.planned_percent <= 4.0
    more = f"{6 * coarse.amount_factor} g KNO3(s)"
    enough = plan("200 g water", more, cup, step_K=0.5, wanted_percent=4.0).wanted
    assert enough.planned_percent <= 4.02


def test_amounts_that_would_not_dissolve_are_no_advice():
    vague = AppliedConstant("P1", 12.0, 0.2, None, "k")
    found = plan("50 g water", "10 g KNO3(s)", vague, step_K=1.0, wanted_percent=0.5).wanted
    assert found.amount_factor is None
    assert any("largest error" in text for text in found.sentences)


# --- preparation ---------------------------------------------------------------------------------


def test_stock_by_hand():
    """1 L of 1 mol/L: 56.11 g KOH; 1000/12.1 mL of hydrochloric acid (12.1 mol/L at 37 %, M)."""
    found = plan("50 mL 1 mol/L HCl(aq)", "50 mL 1 mol/L KOH(aq)", benches=12)
    acid, base = found.preparations
    assert acid.make_mL == base.make_mL == 1000.0
    assert acid.measure_mL == pytest.approx(1000 / 12.1, rel=1e-6)
    assert base.weigh_g == pytest.approx(56.106, rel=1e-3)
    steps = " ".join(acid.steps)
    assert steps.index("water into the vessel FIRST") < steps.index("ACID INTO THE WATER")
    assert "never water onto the solid" in " ".join(base.steps)


def test_a_hydrate_is_weighed_as_it_is_kept():
    """0.25 L of 0.5 mol/L: 0.125 mol of CuSO4·5H2O, 249.69 g/mol."""
    found = plan("100 mL 0.5 mol/L CuSO4(aq)", "2 g Zn(s)").preparations[0]
    assert found.weigh == "CuSO4·5H2O"
    assert found.weigh_g == pytest.approx(0.125 * 249.69, rel=1e-3)


def test_a_label_replaces_the_usual_strength():
    found = plan("50 mL 1 mol/L HCl(aq)", "50 mL 1 mol/L KOH(aq)", concentrated={"HCl": 6.0})
    assert found.preparations[0].measure_mL == pytest.approx(100 / 6, rel=1e-6)
    with pytest.raises(InputError, match="not weaker"):
        plan("50 mL 6.5 mol/L HCl(aq)", "5 g NaOH(s)", concentrated={"HCl": 6.0})


@pytest.mark.parametrize(("needed", "made"), [(50, 100), (90, 250), (600, 1000), (5200, 6000)])
def test_volumes_to_make(needed, made):
    assert make_volume(needed) == made


# --- cautions ------------------------------------------------------------------------------------


def test_cautions_by_substance_and_those_who_decide():
    found = plan("50 mL 1 mol/L HNO3(aq)", "50 mL 1 mol/L NH3(aq)")
    by_name = dict(found.cautions)
    assert any("acid" in line for line in by_name["HNO3(aq)"])
    assert any("vapour" in line for line in by_name["NH3(aq)"])
    assert any("oxidiser" in line for line in by_name["NH4NO3(aq)"])
    everybody = " ".join(by_name["everybody"])
    for word in ("safety data sheet", "local rules", "qualified staff"):
        assert word in everybody
    hot = dict(plan("100 g water", "60 g Cu(s) at 99 C").cautions)["everybody"]
    assert any("Hot metal" in line for line in hot)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"benches": 0}, "benches"),
        ({"step_K": 0.0}, "step"),
        ({"wanted_percent": -1.0}, "wanted"),
        ({"room_C": 500.0}, "room"),
    ],
)
def test_plans_that_cannot_be(more, says):
    with pytest.raises(InputError, match=says):
        plan("200 g water", "12 g KNO3(s)", **more)
