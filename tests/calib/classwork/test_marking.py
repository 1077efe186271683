"""Verdicts on answers: worked by hand, planted by simulated students, and at the edges.

Truth comes from hand calculation (written beside each number) and from the simulated students in
``tests/benchmarks/simulated_students.py``, whose arithmetic shares no code with the marker.
"""

from __future__ import annotations

import random

import pytest

from calib.classwork.marking.feedback import feedback
from calib.classwork.marking.marked import Marked, mark_row, mark_table
from calib.classwork.marking.readings import CannotBeMarkedError
from calib.classwork.marking.slips import KINDS
from calib.classwork.marking.typed import typed_answer
from calib.classwork.marking.ways import Taught
from calib.enthalpy import FixedConstants
from calib.run_model.refusal import RowRefusedError
from tests.benchmarks import marking, simulated_students
from tests.calib.made_tables import instruments, run, table

TOOLS = instruments()
CUPS = FixedConstants({"A": (12.0, 0.3)})

# 100 mL of 1 mol/L acid, 110 mL of 1.2 mol/L base, 21.1 to 27.9 °C, by hand:
# q = 210 · 4.18 · 6.8 = 5969.04 J; n = 0.1000 (acid) and 0.1320 mol; ΔH = −59.69 kJ/mol
ACID = {
    "in_cup": "HCl(aq)", "added": "NaOH(aq)", "in_cup_mL": 100.0, "added_mL": 110.0,
    "in_cup_mol_per_L": 1.0, "added_mol_per_L": 1.2, "in_cup_C": 21.1, "added_C": 21.5,
    "extreme_C": 27.9,
}  # fmt: skip
# 15 g of KNO3 (101.10 g/mol) in 100 mL of water, 21.0 to 11.5 °C, by hand:
# q = 115 · 4.18 · (−9.5) = −4566.65 J; n = 0.14837 mol; ΔH = +30.78 kJ/mol
SALT = {
    "in_cup": "water", "added": "KNO3(s)", "in_cup_mL": 100.0, "added_g": 15.0,
    "in_cup_C": 21.0, "added_C": 21.0, "extreme_C": 11.5,
}  # fmt: skip


def marked(typed, what=ACID, taught=None, **changed) -> Marked:
    row = run(
        "g", reported_kJ_per_mol=float(typed), written={"reported_kJ_per_mol": typed},
        **{**what, **changed},
    )  # fmt: skip
    one = mark_row(row, TOOLS, CUPS, taught or Taught())
    assert isinstance(one, Marked)
    return one


@pytest.mark.parametrize(
    "typed",
    [
        "-59.7", "-59.69", "-60",  # 4.18 J/(g K), to 3, 4 and 2 digits
        "-59.75",  # 4.184: 210 · 4.184 · 6.8/0.1
        "-60.0", "-59.98",  # 4.2: 59.98
        "-57.9",  # start at the mean of 21.1 and 21.5: ΔT = 6.6 K, 57.93
        "-61.6",  # densities 1.0154 and 1.0482 g/mL: 216.84 g, 61.64
        "-59.6",  # 59.69 with its last digits cut off
    ],
)  # fmt: skip
def test_honest_ways_are_right(typed):
    one = marked(typed)
    assert one.verdict in ("right", "right within rounding")
    assert one.fits == ()


def test_rounding_on_the_way_is_said_to_be_that():
    # heat kept to two digits: 4.6 kJ / 0.14837 mol = 31.0; with all digits 30.78 (30.93 with 4.2)
    assert marked("31.0", SALT).verdict == "right within rounding"


@pytest.mark.parametrize(
    ("typed", "what", "kinds"),
    [
        ("59.7", ACID, ("sign",)),
        ("-59690", ACID, ("J for kJ",)),
        ("-28.4", ACID, ("one mass only",)),  # 100 · 4.18 · 6.8/0.1 = 28424 J/mol
        ("-31.3", ACID, ("one mass only",)),  # 110 g: 31.27
        ("-5.97", ACID, ("not divided",)),
        ("-45.2", ACID, ("wrong moles",)),  # / 0.1320: 45.22
        ("-25.73", ACID, ("wrong moles",)),  # / 0.2320: 25.729
        ("-0.0597", ACID, ("wrong moles",)),  # / 100: mL for L
        ("-2457", ACID, ("kelvin added",)),  # 210 · 4.18 · 279.95/0.1 = 2457.4
        ("-14.3", ACID, ("calories",)),  # 210 · 1 · 6.8/0.1 = 14.28 kcal
        ("-244.9", ACID, ("final temperature",)),  # 210 · 4.18 · 27.9/0.1 = 244.9
        ("-30.8", SALT, ("sign",)),
        ("26.77", SALT, ("solute left out",)),  # 100 · 4.18 · 9.5/0.14837 = 26.765
        ("0.304", SALT, ("wrong moles",)),  # / 15 g
        ("4.57", SALT, ("not divided",)),
        ("28.4", ACID, ("one mass only", "sign")),
        ("-14280", ACID, ("calories", "J for kJ")),
    ],
)  # fmt: skip
def test_a_slip_is_named_by_the_number_it_makes(typed, what, kinds):
    one = marked(typed, what)
    assert (one.verdict, one.kinds) == ("slip", (kinds,))


def test_the_solid_may_be_taught_either_way():
    out = Taught(solute_mass="out")
    assert marked("26.77", SALT, out).verdict == "right"
    assert marked("30.78", SALT, out).kinds == (("solute counted",),)


def test_where_several_slips_fit_none_is_chosen():
    # equal masses and equal amounts: half the mass and twice the moles make the same number
    one = marked("-28.4", added_mL=100.0, added_mol_per_L=1.0)
    assert one.verdict == "several slips fit"
    assert set(one.kinds) == {("one mass only",), ("wrong moles",)}


def test_a_molar_mass_taken_as_a_whole_number_is_honest():
    # 8.80 g of NH4Cl with 53 g/mol in place of 53.49: (130 + 8.8) · 4.18 · 4.3 · 53/8.8 = 15.03
    what = {**SALT, "added": "NH4Cl(s)", "in_cup_mL": 130.0, "added_g": 8.8, "in_cup_C": 23.2,
            "added_C": 23.2, "extreme_C": 18.9}  # fmt: skip
    assert marked("15.03", what).verdict == "right"
    assert marked("14.7", what).fits == ()  # heat and amount to two digits: 2.5 kJ/0.17 mol


def test_a_sheet_points_at_the_step_and_guesses_nothing():
    one = feedback(marked("-28.4"))
    assert one.here == {
        0: "Here, on your sheet: only the 100 g of HCl(aq) in the cup were taken as the mass."
    }
    # as the group would have calculated: 100 g · 4.18 · 6.8 K/0.1 mol
    assert any("100.0 g × 4.18 J/(g K) × 6.80 K ÷ 0.1000 mol ÷ 1000 = −28.42" in s
               for s in one.sentences)  # fmt: skip
    twice = feedback(marked("28.4"))
    assert list(twice.here) == [0, len(twice.steps) - 1]
    alike = {"added_mL": 100.0, "added_mol_per_L": 1.2}  # either 100 g could be the one taken
    same = feedback(marked("-28.4", **alike))
    assert same.here == {0: "Here, on your sheet: the mass of one portion was taken for the whole."}
    unsure = feedback(marked("-28.4", added_mL=100.0, added_mol_per_L=1.0))
    assert unsure.here == {}
    for words in ("wrong", "mistake", "error", "fail"):
        assert words not in " ".join((*one.sentences, one.headline, *one.here.values()))


@pytest.mark.parametrize("typed", ["-123.4", "-71.3", "-66.6", "7.77", "0"])
def test_what_nothing_reproduces_is_not_explained(typed):
    one = marked(typed)
    assert (one.verdict, one.fits) == ("not explained", ())


def test_printed_digits_decide():
    assert marked("-28.42").verdict == "slip"
    assert marked("-29.6").verdict == "not explained"  # one mass gives 28.4
    assert typed_answer(run(reported_kJ_per_mol=-55.0, written={"reported_kJ_per_mol": "-55.0"}))
    loose, fine = (
        typed_answer(run(reported_kJ_per_mol=-55.0, written={"reported_kJ_per_mol": text}))
        for text in ("-55", "-55.0")
    )
    assert (loose.last_place, fine.last_place) == pytest.approx((1.0, 0.1))


def test_full_depth_uses_the_cup_and_says_what_a_simpler_way_leaves_out():
    full = Taught("full")
    assert marked("-58.2", taught=full).verdict == "right"  # what enthalpy gives: 58.16
    simple = marked("-59.69", taught=full)
    assert simple.verdict == "right, simpler than taught"
    assert simple.honest.way.left_out
    assert marked("58.2", taught=full).kinds == (("sign",),)
    no_cup = run(
        "g", apparatus="Z", reported_kJ_per_mol=-58.0, written={"reported_kJ_per_mol": "-58.0"},
        **ACID,
    )  # fmt: skip
    with pytest.raises(RowRefusedError, match="Z"):
        mark_row(no_cup, TOOLS, CUPS, full)
    assert isinstance(mark_row(no_cup, TOOLS, CUPS, Taught()), Marked)


def test_the_full_number_is_right_where_the_simple_one_was_taught():
    assert marked("-58.16").verdict.startswith("right")


def test_sulfuric_acid_counts_per_mole_of_what_runs_out_or_of_the_equation():
    # 100 mL 0.5 mol/L H2SO4, 110 mL 0.8 mol/L KOH: n(KOH) = 0.088; 210 · 4.18 · 5.8 = 5091.2 J
    what = {**ACID, "in_cup": "H2SO4(aq)", "added": "KOH(aq)", "in_cup_mol_per_L": 0.5,
            "added_mol_per_L": 0.8, "added_C": 21.1, "extreme_C": 26.9}  # fmt: skip
    assert marked("-57.9", what).verdict == "right"  # per mole of KOH: 57.86
    assert marked("-115.7", what).verdict == "right"  # per mole of the equation: 115.7
    assert marked("-101.8", what).kinds == (("wrong moles",),)  # per mole of acid brought: 101.8


def test_a_metal_and_ice_in_their_own_units():
    metal = {"in_cup": "water", "added": "Cu(s)", "in_cup_g": 100.0, "added_g": 60.0,
             "in_cup_C": 21.0, "added_C": 99.0, "extreme_C": 25.0}  # fmt: skip
    # 100 · 4.18 · 4.0/(60 · 74.0) = 0.37658 J/(g K)
    verdicts = {}
    for typed in ("0.377", "-0.377", "0.0901"):
        one = mark_row(run(extra={"reported J/(g K)": typed}, **metal), TOOLS, None, Taught())
        verdicts[typed] = (one.verdict, one.kinds)
    assert verdicts["0.377"] == ("right", ())
    assert verdicts["-0.377"] == ("slip", (("sign",),))
    assert verdicts["0.0901"] == ("slip", (("calories",),))  # 0.37658/4.18
    with pytest.raises(RowRefusedError, match="reported_J_per_gK"):
        marked("0.377", metal)
    ice = {"in_cup": "water", "added": "ice", "in_cup_g": 150.0, "added_g": 30.0, "in_cup_C": 30.0,
           "added_C": 0.0, "extreme_C": 12.4}  # fmt: skip
    # 150 · 4.18 · 17.6/30 − 4.18 · 12.4 = 367.84 − 51.83 = 316.0 J/g; · 18.015 = 5.693 kJ/mol
    assert marked("5.69", ice).verdict == "right"
    assert marked("6.63", ice).kinds == (("melt not warmed",),)  # 367.84 · 18.015/1000
    one = mark_row(run(extra={"reported_J_per_g": 316.0}, **ice), TOOLS, None, Taught())
    assert one.verdict == "right"
    with pytest.raises(RowRefusedError, match="no number"):
        mark_row(run(extra={"reported_J_per_g": "lots"}, **ice), TOOLS, None, Taught())


def test_a_metal_and_ice_at_the_full_depth():
    metal = {"in_cup": "water", "added": "Cu(s)", "in_cup_g": 100.0, "added_g": 60.0,
             "in_cup_C": 21.0, "added_C": 99.0, "extreme_C": 25.0}  # fmt: skip
    full = Taught("full")
    # (100 · 4.182 + 12) · 4.0/(60 · 74.0) = 0.3876 J/(g K); without the cup 0.3768
    verdicts = {
        typed: mark_row(run(extra={"reported_J_per_gK": typed}, **metal), TOOLS, CUPS, full).verdict
        for typed in ("0.388", "0.377", "-0.3876")
    }
    assert verdicts == {"0.388": "right", "0.377": "right, simpler than taught", "-0.3876": "slip"}
    ice = {"in_cup": "water", "added": "ice", "in_cup_g": 150.0, "added_g": 30.0, "in_cup_C": 30.0,
           "added_C": 0.0, "extreme_C": 12.4}  # fmt: skip
    # (150 · 4.184 + 12) · 17.6/30 − 4.19 · 12.4 = 375.2 − 52.0 = 323.3 J/g; 5.82 kJ/mol
    assert marked("5.82", ice, full).verdict == "right"


def test_displacement_counts_the_metal_or_not():
    # 50 mL of 0.5 mol/L copper sulfate, 4 g of zinc, 21.0 to 43.4 °C: n = 0.025 mol
    what = {"in_cup": "CuSO4(aq)", "added": "Zn(s)", "in_cup_mL": 50.0, "added_g": 4.0,
            "in_cup_mol_per_L": 0.5, "in_cup_C": 21.0, "added_C": 21.0,
            "extreme_C": 43.4}  # fmt: skip
    assert marked("-202.2", what).verdict == "right"  # 54 g: 202.2
    assert marked("-187.3", what).verdict == "right"  # 50 g: 187.26
    assert marked("187.3", what).kinds == (("sign",),)


def test_kinds_that_give_no_answer_say_so():
    hot = {"in_cup": "water", "added": "water", "in_cup_g": 100.0, "added_g": 100.0,
           "in_cup_C": 21.0, "added_C": 50.0, "extreme_C": 35.0}  # fmt: skip
    with pytest.raises(CannotBeMarkedError, match="cup's constant"):
        marked("-5.0", hot)
    whole = mark_table(
        table(run("hot", reported_kJ_per_mol=-5.0, **hot), run("none", **ACID)),
        CUPS, Taught(), instruments=TOOLS,
    )  # fmt: skip
    assert [row.verdict for row in whole.rows] == ["cannot be marked", "no answer"]
    (problem,) = whole.problems
    assert (problem.row, problem.remedy) == ("hot", "leave the answer empty in this row")


def planted_class():
    """Thirty groups: twelve with slips of every kind (two doubled), six with poor readings."""
    rng = random.Random(30)
    acid = simulated_students.EXPERIMENTS[1]
    salt = simulated_students.EXPERIMENTS[3]
    slips = [
        {"sign"}, {"J for kJ"}, {"one mass only"}, {"not divided"}, {"other moles"},
        {"sum of moles"}, {"kelvin added"}, {"calories"}, {"final temperature"},
        {"solute left out"}, {"sign", "one mass only"}, {"calories", "J for kJ"},
    ]  # fmt: skip
    for number in range(30):
        planted = slips[number] if number < 12 else set()
        what = salt if "solute left out" in planted or number >= 22 else acid
        bench = simulated_students.draw_bench(rng, f"group {number + 1}", what)
        fixed = {"in_mL": "80", "added_mL": "100" if what is acid else None}
        fixed |= {"in_C": "20.4", "added_C": "20.4", "extreme_C": f"{26.6 + number / 20:.1f}"}
        if what is salt:
            fixed |= {"added_g": "13.20", "extreme_C": f"{10.6 + number / 20:.1f}"}
        if 12 <= number < 18:  # the reading came late, or the liquid was not mixed
            fixed["extreme_C"] = f"{float(fixed['extreme_C']) - 1.5 - number / 10:.1f}"
        values = {**{f: getattr(bench, f) for f in bench.__dataclass_fields__}, **fixed}
        bench = simulated_students.Bench(**values)
        c = rng.choice(("4.18", "4.184"))
        habits = simulated_students.Habits(c, keep=rng.choice((None, 4)), final_digits=3)
        value = simulated_students.compute(bench, habits, frozenset(planted))
        yield bench, simulated_students.write_down(value, habits), planted


def test_a_class_of_thirty_with_twelve_slips_and_six_poor_results():
    named, accused = 0, []
    for bench, typed, planted in planted_class():
        one = mark_row(simulated_students.row(bench, typed), TOOLS, None, Taught())
        assert isinstance(one, Marked)
        if not planted:
            assert one.verdict.startswith("right"), (bench, typed)
            accused += one.kinds
            continue
        wanted = {marking.KIND.get(slip, slip) for slip in planted}
        assert [set(kinds) for kinds in one.kinds] == [wanted], (planted, typed, one.kinds)
        named += 1
    assert (named, accused) == (12, [])


def test_no_false_accusation_in_twenty_honest_classes():
    outcome = marking.honest_classes(20, seed=11)
    assert (outcome.students, outcome.accused) == (600, [])
    assert len(outcome.not_right) <= 2


def test_no_false_accusation_at_the_full_depth():
    outcome = marking.honest_full_depth(3, seed=12)
    assert (outcome.students, outcome.accused) == (90, [])
    assert len(outcome.not_right) <= 2


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_no_false_accusation_in_a_hundred_classes_at_the_full_depth():
    outcome = marking.honest_full_depth(100)
    assert (outcome.students, outcome.accused) == (3000, [])
    assert len(outcome.not_right) <= 15


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_no_false_accusation_in_a_thousand_honest_classes():
    outcome = marking.honest_classes(1000, seed=1)
    assert (outcome.students, outcome.accused) == (30000, [])
    assert len(outcome.not_right) <= 15


def test_planted_slips_are_named_or_explained_by_nothing_else():
    found = marking.planted(6, seed=5)
    named = sum(found.named.values()) + sum(found.among_several.values())
    assert named >= 0.85 * 6 * len(marking.SINGLE)
    assert len(found.wrong) <= 2


def test_every_kind_has_words():
    assert {"sign", "J for kJ", "one mass only", "not divided", "wrong moles"} <= set(KINDS)
