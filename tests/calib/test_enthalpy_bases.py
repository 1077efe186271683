"""Per mole of what, and the two values that each result is held against."""

from __future__ import annotations

import pytest

from calib.enthalpy import FixedConstants, evaluate
from calib.errors import ReactionError
from tests.calib.made_tables import fine_instruments, run, table

pytestmark = pytest.mark.usefixtures("settled_readings")

CUP = FixedConstants({"A": (14.0, 0.4)}, {"A": (1e-6, 1e-6)})


def diprotic(label="s"):
    """H2SO4 0.5 mol/L into NaOH 1 mol/L in excess: two moles of water per mole as written."""
    return run(label, in_cup="NaOH(aq)", in_cup_mL=105.0, in_cup_mol_per_L=1.0,
               added="H2SO4(aq)", added_mL=100.0, added_mol_per_L=0.5, in_cup_C=21.0,
               added_C=21.0, extreme_C=27.9, extreme_after_s=5.0, room_C=21.0)  # fmt: skip


def salt(label="k", solute="KNO3(s)", grams=10.0):
    return run(label, in_cup="water", in_cup_g=200.0, added=solute, added_g=grams, in_cup_C=21.0,
               added_C=21.0, extreme_C=17.6, extreme_after_s=30.0, room_C=21.0)  # fmt: skip


def evaluated(*rows, **options):
    return evaluate(table(*rows), CUP, instruments=fine_instruments(), **options)


def row(*rows, **options):
    return evaluated(*rows, **options).to_json()["runs"][0]


def test_as_written_is_the_default_in_the_usual_words_where_they_mean_the_same():
    assert row(salt())["per"] == "per mole of KNO3(s) dissolved"
    written = row(diprotic())
    assert written["per"].startswith("per mole of reaction as written, ")
    assert written["moles_per_reaction"] == 1.0
    assert written["dH_kJ_per_mol"] == pytest.approx(
        -written["heat_J"] / written["extent_mol"] / 1000
    )


@pytest.mark.parametrize("wish", ["water", "NaOH(aq)", "Water formed"])
def test_two_moles_of_water_halve_every_value(wish):
    written, halved = row(diprotic()), row(diprotic(), per=wish)
    for key in (
        *("dH_kJ_per_mol", "u_dH_kJ_per_mol", "reference_kJ_per_mol", "u_reference_kJ_per_mol"),
        *("expected_at_run_kJ_per_mol", "u_expected_at_run_kJ_per_mol", "to_25_C_kJ_per_mol"),
    ):
        assert halved[key] == pytest.approx(written[key] / 2), key
    for one, other in zip(halved["without"], written["without"], strict=True):
        assert one["result_kJ_per_mol"] == pytest.approx(other["result_kJ_per_mol"] / 2)
        assert one["shift_percent"] == pytest.approx(other["shift_percent"])
    lines = [line["kJ_per_mol"] for line in halved["expected_lines"]]
    assert sum(lines) == pytest.approx(halved["expected_at_run_kJ_per_mol"])
    assert halved["extent_mol"] == written["extent_mol"]  # the extent stays that of the reaction
    # H+ + OH- -> H2O, infinite dilution, 25 °C: -55.815 kJ/mol (C from F, CODATA 1989)
    assert halved["reference_kJ_per_mol"] == pytest.approx(-55.815, abs=0.001)


def test_at_25_degrees_on_another_basis():
    plain, at_25 = row(diprotic(), per="water"), row(diprotic(), per="water", at_25=True)
    assert at_25["dH_kJ_per_mol"] - plain["dH_kJ_per_mol"] == pytest.approx(
        plain["to_25_C_kJ_per_mol"]
    )
    # ΔCp of ionization -215.2 ± 4 J/(mol K): Singh et al. 1976, abstract (F)
    assert plain["dCp_kJ_per_mol_K"] == pytest.approx(0.2152)
    assert plain["u_dCp_kJ_per_mol_K"] == pytest.approx(0.004)
    assert plain["to_25_C_kJ_per_mol"] == pytest.approx(0.2152 * 4.0)
    assert at_25["to_25_C_kJ_per_mol"] == 0.0


def test_a_wish_that_a_reaction_cannot_meet_is_said_once():
    report = evaluated(salt("a"), salt("b"), diprotic("c"), per="water").to_json()
    assert [one["per"] for one in report["runs"]] == [
        *("per mole of KNO3(s) dissolved",) * 2,
        "per mole of water formed",
    ]
    assert "forms no water" in report["summary"][0]["per_remark"]
    assert report["summary"][1]["per_remark"] is None
    assert not any("water formed" in w for one in report["runs"] for w in one["warnings"])


@pytest.mark.parametrize("wish", ["blorp", "->", "per mole", "HCl(aq", "💧"])
def test_a_wish_that_is_no_substance_is_refused(wish):
    with pytest.raises(ReactionError, match="choose reaction, water, salt"):
        evaluated(salt(), per=wish)


def test_two_values_or_why_only_the_first():
    both = row(salt())
    # CRC Handbook after Parker (1965): +34.89 at infinite dilution (F); 33.3 to 33.7 at 0.5 mol/kg
    # (C from the model's parameters)
    assert both["reference_kJ_per_mol"] == pytest.approx(34.89, abs=0.01)
    assert 33.0 < both["expected_at_run_kJ_per_mol"] < 34.6
    assert both["why_no_expected"] is None
    assert "Parker" in both["reference_source"]
    single = row(salt(solute="(NH4)2SO4(s)", grams=30.0))  # 1.1 mol/kg
    # +6.6 from the formation enthalpies of the CRC tables (C from L)
    assert single["reference_kJ_per_mol"] == pytest.approx(6.6, abs=0.05)
    # φ_L 1.7 kJ/mol at 25 °C (Thomsen 1997, C from F), ΔCp -0.32 kJ/(mol K) (CRC ions, L)
    assert 8.0 < single["expected_at_run_kJ_per_mol"] < 9.8
    assert single["why_no_expected"] is None
    none = row(run("z", in_cup="water", in_cup_g=200.0, added="Cu(s)", added_g=50.0, in_cup_C=21.0,
                   added_C=99.0, extreme_C=22.7, extreme_after_s=30.0, room_C=21.0))  # fmt: skip
    assert none["why_no_expected"] is None
    assert none["per"] == "per gram of Cu"


def test_summary_holds_both_values_on_the_runs_own_basis():
    (line,) = evaluated(diprotic("a"), diprotic("b"), per="water").to_json()["summary"]
    assert line["per"] == "per mole of water formed"
    assert line["reference"] == pytest.approx(-55.815, abs=0.001)
    low, high = line["expected_range"]
    assert low <= line["expected_at_runs"] <= high < line["reference"]
    assert line["why_no_expected"] is None
    assert "mol/kg" in line["expected_why"]


def acid_and_base(label, reaction=None):
    return run(label, reaction=reaction, in_cup="HCl(aq)", in_cup_mL=100.0, in_cup_mol_per_L=1.0,
               added="NaOH(aq)", added_mL=105.0, added_mol_per_L=1.0, in_cup_C=25.0, added_C=25.0,
               extreme_C=31.4, extreme_after_s=5.0, room_C=25.0)  # fmt: skip


@pytest.mark.parametrize(
    ("written", "times"),
    [
        ("H+ + OH- -> H2O", 1),
        ("H3O+ + OH- -> 2 H2O", 1),
        ("2 H3O+ + 2 OH- -> 4 H2O", 2),
        ("H+ + Cl- + Na+ + OH- -> Na+ + Cl- + H2O", 1),
    ],
)
def test_ionic_equations_give_what_the_molecular_one_gives(written, times):
    """-57.6 at 1 mol/L (C from F, Parker) whether molecules or ions are written."""
    plain, ionic = row(acid_and_base("m")), row(acid_and_base("i", written))
    for key in ("dH_kJ_per_mol", "reference_kJ_per_mol", "expected_at_run_kJ_per_mol"):
        assert ionic[key] == pytest.approx(times * plain[key], rel=1e-6), key
    assert plain["expected_at_run_kJ_per_mol"] == pytest.approx(-57.62, abs=0.06)
    assert ionic["heat_J"] == pytest.approx(plain["heat_J"], rel=1e-9)


def test_a_displacement_in_ions():
    cell = {"in_cup": "CuSO4(aq)", "in_cup_mL": 100.0, "in_cup_mol_per_L": 0.2, "added": "Zn(s)",
            "added_g": 3.0, "in_cup_C": 25.0, "added_C": 25.0, "extreme_C": 34.0,
            "extreme_after_s": 60.0, "room_C": 25.0}  # fmt: skip
    plain = row(run("m", **cell))
    ionic = row(run("i", reaction="Zn(s) + Cu+2 -> Zn+2 + Cu(s)", **cell))
    for key in ("dH_kJ_per_mol", "reference_kJ_per_mol", "expected_at_run_kJ_per_mol"):
        assert ionic[key] == pytest.approx(plain[key], rel=1e-6), key


def test_an_ionic_equation_that_is_not_what_was_put_together_has_no_expected_value():
    odd = row(acid_and_base("o", "Na+ + Cl- -> NaCl(s)"))
    assert odd["expected_at_run_kJ_per_mol"] is None
    assert "molecular equation" in odd["why_no_expected"]
