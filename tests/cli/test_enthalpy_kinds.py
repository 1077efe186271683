"""Every kind of run from a table typed by a teacher to its own quantity, through the command.

Truth: final temperatures from conservation of energy, with published enthalpies put in and heat
capacities of the libraries ``chemicals`` and ``thermo`` (tests/calib/energy.py), not cupledger's.
"""

from __future__ import annotations

import csv

import pytest

from tests.calib.energy import mixed_water_C, settled_C, solution_J_per_K, water_J_per_g

CUP = 14.2  # J/K
CU, ICE_C, WATER_C = 0.385, 2.093, 4.184  # J/(g K): OpenStax Chemistry 2e, table 5.1 and app. E (F)
COLUMNS = (
    *("run", "apparatus", "date", "reaction", "in_cup", "in_cup_mol_per_L", "in_cup_g"),
    *("added", "added_mol_per_L", "added_g", "in_cup_C", "added_C", "extreme_C"),
    *("extreme_after_s", "room_C"),
)


def write(path, *rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, COLUMNS)
        table.writeheader()
        for row in rows:
            day = {"apparatus": "P1", "date": "2026-09-08", "extreme_after_s": 5}
            table.writerow({**day, **row, "room_C": row["in_cup_C"]})
    return path


@pytest.fixture
def calibrated(cups, tmp_path):
    """Cup P1 with its constant, from three mixing runs of the true cup."""
    rows = [
        {"run": f"m{hot}", "in_cup": "water", "added": "water", "in_cup_g": 100.0, "added_g": 100.0,
         "in_cup_C": 21.0, "added_C": hot, "date": "2026-09-01",
         "extreme_C": round(mixed_water_C(CUP, 100.0, 21.0, 100.0, hot), 2)}
        for hot in (50.0, 55.0, 60.0)
    ]  # fmt: skip
    done = cups("calibrate", write(tmp_path / "calibrations.csv", *rows), "--approve")
    assert done.code == 0, done.err
    return cups


def dissolved(grams, dH):
    """Ammonium nitrate in 100 g of water at 25 °C."""
    after = solution_J_per_K({"NH4NO3": grams, "H2O": 100.0}, 23.0)
    return settled_C(-1000 * dH * grams / 80.043, 25.0, after, CUP)


def neutralized(dH):
    """50 mL + 55 mL of 1 mol/L HCl and NaOH at 25 °C; densities 1.0144, 1.0392 g/mL (thermo, L)."""
    acid, base = 50.0 * 1.01442, 55.0 * 1.03922
    salts = {"NaCl": 0.05 * 58.443, "NaOH": 0.005 * 39.997}
    after = solution_J_per_K({**salts, "H2O": acid + base - sum(salts.values())}, 28.0)
    return acid, base, settled_C(-1000 * dH * 0.05, 25.0, after, CUP)


def displaced(dH):
    """1.5 g Zn into 50 mL of 0.2 mol/L CuSO4 (1.0296 g/mL, thermo, L); 0.847 g Zn left, 0.635 g Cu.

    The product's heat capacity is taken as that of the CuSO4 solution (0.01 mol, under 0.1 %).
    """
    solution, moles = 50.0 * 1.0296, 0.010
    after = solution_J_per_K({"CuSO4": moles * 159.609, "H2O": solution - moles * 159.609}, 18.0)
    after += (1.5 - moles * 65.38) * 0.388 + moles * 63.546 * CU
    return solution, settled_C(-1000 * dH * moles, 25.0, after, CUP)


def precipitated(dH):
    """50 mL + 50 mL of 0.2 mol/L AgNO3 (1.0262 g/mL by mass, 3.4 %; M) and NaCl (1.0051, L)."""
    silver, salt, moles = 50.0 * 1.0262, 50.0 * 1.0051, 0.010
    water = silver + salt - moles * (169.873 + 58.443)
    after = solution_J_per_K({"NaNO3": moles * 84.995, "H2O": water}, 25.0)
    after += moles * 50.8  # AgCl(s), 50.8 J/(mol K): CRC tables (L)
    return silver, salt, settled_C(-1000 * dH * moles, 25.0, after, CUP)


def hot_metal(grams):
    """Copper at 98 °C into 100 g of water at 21 °C."""
    from scipy.optimize import brentq

    def left(t):
        gained = 100.0 * (water_J_per_g(t) - water_J_per_g(21.0)) + CUP * (t - 21.0)
        return gained + grams * CU * (t - 98.0)

    return brentq(left, 21.0, 98.0)


def melted(grams, per_gram):
    """Ice at 0 °C into 120 g of water at 35 °C."""
    from scipy.optimize import brentq

    def left(t):
        warm = 120.0 * (water_J_per_g(t) - water_J_per_g(35.0)) + CUP * (t - 35.0)
        melt = water_J_per_g(max(t, 0.5)) - water_J_per_g(0.5) + 0.5 * 4.21
        return warm + grams * (per_gram + melt)

    return brentq(left, 0.5, 35.0)


def kinds():
    """Name, row, published truth, tolerance [%] for what the truth itself leaves open."""
    acid, base, t_n = neutralized(-57.62)
    blue, t_d = displaced(-218.3)
    silver, salt, t_p = precipitated(-65.72)
    warm = {"in_cup_C": 25.0, "added_C": 25.0}
    return {
        # -57.62 at 1 mol/L (C from F, Parker's φ_L)
        "neutralization": ({
            "in_cup": "HCl(aq)", "in_cup_g": f"{acid:.3f}", "in_cup_mol_per_L": 1.0,
            "added": "NaOH(aq)", "added_g": f"{base:.3f}", "added_mol_per_L": 1.0,
            "extreme_C": f"{t_n:.2f}", **warm}, -57.62),
        # +25.69: CRC Handbook after Parker (1965), infinite dilution (F), put in as the truth
        "dissolution": ({
            "in_cup": "water", "in_cup_g": 100, "added": "NH4NO3(s)", "added_g": 8.0,
            "extreme_C": f"{dissolved(8.0, 25.69):.2f}", **warm}, 25.69),
        # -218.3 ± 1.0: CODATA Zn+2 and Cu+2 (M)
        "displacement": ({
            "in_cup": "CuSO4(aq)", "in_cup_g": f"{blue:.3f}", "in_cup_mol_per_L": 0.2,
            "added": "Zn(s)", "added_g": 1.5, "extreme_C": f"{t_d:.2f}", **warm}, -218.3),
        # -65.72: CODATA Ag+, Cl-, AgCl (F)
        "precipitation": ({
            "in_cup": "AgNO3(aq)", "in_cup_g": f"{silver:.3f}", "in_cup_mol_per_L": 0.2,
            "added": "NaCl(aq)", "added_g": f"{salt:.3f}", "added_mol_per_L": 0.2,
            "extreme_C": f"{t_p:.2f}", **warm}, -65.72),
        # 0.385 J/(g K): OpenStax Chemistry 2e, table of specific heats (F)
        "specific heat": ({
            "in_cup": "water", "in_cup_g": 100, "added": "Cu(s)", "added_g": 90.0, "in_cup_C": 21.0,
            "added_C": 98.0, "extreme_C": f"{hot_metal(90.0):.2f}"}, CU),
        # 333.55 J/g (M; 6.01 kJ/mol)
        "fusion": ({
            "in_cup": "water", "in_cup_g": 120, "added": "ice", "added_g": 25.0, "in_cup_C": 35.0,
            "added_C": 0.0, "extreme_C": f"{melted(25.0, 333.55):.2f}"}, 333.55),
    }  # fmt: skip


@pytest.mark.parametrize("kind", list(kinds()))
def test_each_kind_gives_the_truth_put_in(calibrated, tmp_path, kind):
    row, truth = kinds()[kind]
    done = calibrated("enthalpy", write(tmp_path / "t.csv", {"run": kind, **row}), "--json")
    assert done.code == 0, done.err
    (one,) = done.json["runs"]
    molar = one["dH_kJ_per_mol"] is not None
    value = one["dH_kJ_per_mol"] if molar else one["value"]
    low, high = one["interval95_kJ_per_mol"] if molar else one["interval95"]
    assert low < truth < high
    assert value == pytest.approx(truth, rel=0.02)
    assert one["per"].startswith("per ")
    if molar:
        assert one["reference_kJ_per_mol"] == pytest.approx(truth, rel=0.04)
        assert (one["expected_at_run_kJ_per_mol"] is None) == (one["why_no_expected"] is not None)


def test_people_see_both_values_and_per_mole_of_what(calibrated, tmp_path):
    row, _ = kinds()["neutralization"]
    done = calibrated("enthalpy", write(tmp_path / "t.csv", {"run": "n", **row}))
    assert "mole of water formed" in done.out
    assert "accepted at infinite dilution, 25 °C: -55.815 ± 0.028" in done.out
    expected = next(line for line in done.out.splitlines() if "at these concentrations" in line)
    assert "-57.6" in expected


def test_per_is_chosen_and_a_nonsense_wish_is_refused(calibrated, tmp_path):
    row, _ = kinds()["precipitation"]
    table = write(tmp_path / "t.csv", {"run": "p", **row})
    done = calibrated("enthalpy", table, "--per", "NaCl(aq)", "--json")
    assert done.json["runs"][0]["per"] == "per mole of NaCl(aq) reacting"
    done = calibrated("enthalpy", table, "--per", "water", "--json")
    assert "forms no water" in done.json["summary"][0]["per_remark"]
    for nonsense in ("blorp", "", "->", "H2O(l", "-1"):
        done = calibrated("enthalpy", table, f"--per={nonsense}")
        assert done.code == (0 if nonsense == "" else 2), nonsense
    assert "choose reaction, water, salt" in calibrated("enthalpy", table, "--per", "blorp").err


def test_reactions_by_name_and_near_names_for_unknown_ones(calibrated, tmp_path):
    rows = kinds()
    table = write(
        tmp_path / "t.csv",
        {"run": "a", "reaction": "Hydrochloric acid and  sodium hydroxide"}
        | rows["neutralization"][0],
        {"run": "b", "reaction": "zinc and copper sulphate"} | rows["displacement"][0],
        {"run": "c", "reaction": "hot copper into water"} | rows["specific heat"][0],
        {"run": "d", "reaction": "hot iron into water"} | rows["specific heat"][0],
        {"run": "e", "reaction": "silver nitrate and sodium chloride"} | rows["dissolution"][0],
    )
    done = calibrated("enthalpy", table, "--json")
    assert done.code == 1
    assert [one["run"] for one in done.json["runs"]] == ["a", "c"]
    problems = {one["row"]: one for one in done.json["errors"]}
    assert "zinc and copper sulfate" in problems["b"]["message"]
    assert "not what was put together" in problems["d"]["message"]
    assert problems["e"]["column"] == "reaction"


def test_a_dilution_whichever_liquid_is_in_the_cup(calibrated, tmp_path):
    """HCl from 5.55 (1.0795 g/mL: Perry, F) to 1 mol/kg, per mole of acid, not of water."""
    acid, water = 0.12 * (36.461 + 1000 / 5.5506), 98.38  # g: 21.62 g of water, then 120 g
    one = {"in_cup": "water", "in_cup_g": water, "added": "HCl(aq)", "added_g": acid,
           "added_mol_per_L": 4.985}  # fmt: skip
    other = {"in_cup": "HCl(aq)", "in_cup_g": acid, "in_cup_mol_per_L": 4.985, "added": "water",
             "added_g": water}  # fmt: skip
    more = {"in_cup_C": 25.0, "added_C": 25.0, "extreme_C": 26.5}
    table = write(tmp_path / "t.csv", {"run": "a", **one, **more}, {"run": "b", **other, **more})
    first, second = calibrated("enthalpy", table, "--json").json["runs"]
    assert first["dH_kJ_per_mol"] == pytest.approx(second["dH_kJ_per_mol"], rel=2e-3)
    assert first["extent_mol"] == pytest.approx(0.12, rel=5e-3)
    assert first["per"] == "per mole of HCl(aq) diluted"
    # φ_L of HCl: 5.841 at 5.5506 and 1.695 at 1 mol/kg (CRC Handbook, enthalpy of dilution, F)
    assert first["reference_kJ_per_mol"] == pytest.approx(-5.841, abs=0.03)
    assert first["expected_at_run_kJ_per_mol"] == pytest.approx(1.695 - 5.841, abs=0.03)
