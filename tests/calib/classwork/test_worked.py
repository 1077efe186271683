"""Worked answers: by hand at the simple depth, against the heat balance at the full one."""

from __future__ import annotations

import pytest

from calib.classwork.marking.readings import CannotBeMarkedError
from calib.classwork.marking.ways import Taught
from calib.classwork.worked.answer import worked_answer
from calib.classwork.worked.markdown import answer_markdown, plain_markdown
from calib.enthalpy import FixedConstants
from calib.pages.worked_answer import answer_page
from tests.calib.classwork.test_marking import ACID, SALT
from tests.calib.made_tables import instruments, run

TOOLS = instruments()
CUPS = FixedConstants({"A": (12.0, 0.3)}, {"A": (0.05, 0.01)})
METAL = {"in_cup": "water", "added": "Cu(s)", "in_cup_mL": 100.0, "added_g": 60.0,
         "in_cup_C": 21.0, "added_C": 99.0, "extreme_C": 25.0}  # fmt: skip
ICE = {"in_cup": "water", "added": "ice", "in_cup_mL": 150.0, "added_g": 30.0, "in_cup_C": 30.0,
       "added_C": -2.0, "extreme_C": 12.4}  # fmt: skip
WEIGHED = {**ACID, "in_cup": "H2SO4(aq)", "added": "KOH(aq)", "in_cup_mL": None, "added_mL": None,
           "in_cup_g": 100.0, "added_g": 110.0, "in_cup_mol_per_L": 0.5,
           "added_mol_per_L": 0.8}  # fmt: skip
ALL = {"acid": ACID, "salt": SALT, "metal": METAL, "ice": ICE, "weighed": WEIGHED}


def answer(what, taught=None, cups=CUPS, **more):
    return worked_answer(run("g", **{**what, **more}), TOOLS, cups, taught or Taught())


@pytest.mark.parametrize(
    ("what", "values"),
    [
        (ACID, [210.0, 6.8, 5969.04, 5.96904, 0.1, 0.132, 59.6904, -59.6904]),
        (SALT, [115.0, -9.5, -4566.65, -4.56665, 0.148364, 30.780, 30.780]),
        (METAL, [100.0, 4.0, 1672.0, 74.0, 0.376577]),
        (ICE, [150.0, -17.6, -11035.2, 367.84, 51.832, 316.008]),
    ],
    ids=["acid", "salt", "metal", "ice"],
)
def test_the_simple_steps_are_those_of_a_calculator(what, values):
    assert [step.value for step in answer(what).simple] == pytest.approx(values, rel=2e-5)


@pytest.mark.parametrize("what", ALL.values(), ids=ALL)
def test_differences_add_up_to_the_number_of_enthalpy(what):
    one = answer(what)
    total = one.simple_value + sum(d.change for d in one.differences)
    assert total == pytest.approx(one.full_value, rel=1e-9)
    assert one.differences[-1].after == pytest.approx(one.full_value, rel=1e-9)
    assert one.full[-1].value == one.full_value


@pytest.mark.parametrize("what", ALL.values(), ids=ALL)
def test_every_number_of_the_full_depth_has_an_uncertainty_and_its_making(what):
    for step in answer(what).full:
        assert step.u is not None
        assert step.u > 0.0
        assert step.made_of
        assert "±" in step.result


def test_the_full_heat_balance_by_hand():
    """Q = (C_mix + C_cup) ΔT − Q₂ and ΔH = −Q/ξ from the steps' own numbers (design of the balance)."""
    mass, mix, cup, rise, brought, heat, extent, molar = (step.value for step in answer(ACID).full)
    assert heat == pytest.approx((mix + cup) * rise - brought, rel=1e-9)
    assert molar == pytest.approx(-heat / extent / 1000.0, rel=1e-9)
    assert cup == 12.0
    assert mass == pytest.approx(100 * 1.0154 + 110 * 1.0482, rel=1e-3)  # densities: CRC, memory


def test_the_cups_part_is_its_heat_per_mole():
    one = answer(ACID)
    (cup,) = (d for d in one.differences if d.name == "the cup's constant")
    rise = next(step.value for step in one.full if step.title.startswith("Rise"))
    assert cup.change == pytest.approx(-12.0 * rise / 0.1 / 1000.0, rel=1e-9)


def test_without_a_constant_the_simple_depth_stands_alone():
    one = answer(ACID, apparatus="Z")
    assert one.full == ()
    assert one.full_value is None
    assert "Z" in one.no_full
    assert "Not computed" in answer_markdown(one)
    assert "Not computed" in answer_page(one)


def test_the_solute_mass_follows_what_was_taught():
    assert answer(SALT, Taught(solute_mass="out")).simple[0].value == 100.0


def test_cautions_fit_the_substances_and_end_with_the_data_sheets():
    salt, acid, metal = (" ".join(answer(what).cautions) for what in (SALT, ACID, METAL))
    assert "oxidiser" in salt
    assert "strong base" in acid
    assert "Hot metal" in metal
    for what in ALL.values():
        assert "safety data sheet" in answer(what).cautions[-1]


def test_mixing_is_no_answer():
    with pytest.raises(CannotBeMarkedError):
        answer({**SALT, "added": "water", "added_g": None, "added_mL": 50.0, "added_C": 60.0})


def test_markup_in_a_label_stays_text():
    label = "<script>alert(1)</script> *x* [a](b)"
    one = worked_answer(run(label, **ACID), TOOLS, CUPS, Taught())
    page, text = answer_page(one), answer_markdown(one)
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page
    assert "<script>" not in text
    assert plain_markdown("[a](b)") == r"\[a\](b)"


def test_the_page_asks_for_nothing_and_reads_aloud():
    page = answer_page(answer(ACID))
    assert "http://" not in page
    assert "https://" not in page
    assert "Content-Security-Policy" in page
    assert "<script" not in page
    for heading in ("Simple", "Full", "Why they differ", "Cautions"):
        assert f">{heading}</h2>" in page
    assert '<html lang="en">' in page
