"""Certified reference materials as known-reaction calibrations, and published student mixing trials.

SRM 724a (TRIS): E. J. Prosen & M. V. Kilday, J. Res. NBS 77A (1973) 581, abstract (F): in 0.1 mol/L
HCl at 25 °C −245.76 ± 0.26 J/g with slope +1.435 J/(g K); in 0.0500 mol/L NaOH +141.80 ± 0.19 J/g.
SRM 1655 (KCl): 235.86 ± 0.42 J/g at 1 mol in 500 mol of water (M: Kilday, J. Res. NBS 85 (1980) 467).
The cups are invented; the truth conserves energy with heat capacities of the library thermo (L) or,
for TRIS, halfway between the water's share and all water (assumed; it enters at the per-mille level).
"""

from __future__ import annotations

import numpy as np
import pytest

from calib.calibration import calibrate
from calib.run_model.rise import Loss
from tests.calib.energy import settled_C, solution_J_per_K
from tests.calib.made_tables import fine_instruments, run, table

pytestmark = pytest.mark.usefixtures("settled_readings")

CUP = 21.3


class Tight:
    def loss_of(self, apparatus):
        return Loss(1e-6, 1e-6)


def tris_runs(solvent, J_per_g, slope, molar_mass):
    rng = np.random.default_rng(4)
    rows = []
    for i in range(4):
        tris, T1 = 1.0 + 0.05 * rng.normal(), 24.0 + 0.3 * rng.normal()
        grams = {
            "H2O": 200.0,
            solvent: 200.0 * (0.1 if solvent == "HCl" else 0.05) * molar_mass / 1000,
        }
        liquid = solution_J_per_K(grams, 25.0)
        after = liquid + 0.5 * 4.18 * tris
        heat = -tris * (J_per_g + slope * (T1 - 25.0))
        final = settled_C(heat, T1, after, CUP)
        rows.append(
            run(f"tris {i}", in_cup=f"{solvent}(aq)", in_cup_g=round(sum(grams.values()), 3),
                in_cup_mol_per_L=0.0995 if solvent == "HCl" else 0.0498,
                added="C4H11NO3(s)", added_g=round(tris, 4), in_cup_C=round(T1, 4), added_C=round(T1, 4),
                reaction="TRIS in acid" if solvent == "HCl" else "TRIS in base",
                extreme_C=round(final, 4), extreme_after_s=20.0, room_C=24.0)
        )  # fmt: skip
    return rows


def tools():
    from tests.calib.made_tables import instruments

    return instruments(
        temperature={"u": 0.0001, "step": 0.0001, "slope_percent": 0.0},
        mass={"step": 0.0001},
        concentration={"relative_u_percent": 0.1},
    )


def within(report, factor=2.0):
    constant = report.constants[0]
    assert abs(constant.constant_J_per_K - CUP) <= factor * constant.u_constant_J_per_K
    low, high = constant.combined.interval95
    assert low < CUP < high
    return constant


def test_srm_724a_tris_in_acid_recovers_the_cup():
    report = calibrate(
        table(*tris_runs("HCl", -245.76, 1.435, 36.46)), instruments=tools(), known_loss=Tight()
    )
    assert report.problems == ()
    constant = within(report)
    assert constant.method == "known reaction"
    # the certificate's ±0.26 of 245.76 J/g alone is 0.1 % of the heat capacity: 0.9 J/K of 860
    assert 0.8 < constant.u_constant_J_per_K < 5.0
    assert any("known reaction" in line[0] for line in constant.budget)


def test_srm_724a_tris_in_base_recovers_the_cup():
    report = calibrate(
        table(*tris_runs("NaOH", 141.80, 1.025, 40.0)), instruments=tools(), known_loss=Tight()
    )
    assert report.problems == ()
    within(report)


def test_srm_1655_potassium_chloride_recovers_the_cup():
    rows = []
    for i in range(4):
        salt, T1 = 1.65 + 0.01 * i, 25.0
        water = salt / 74.551 * 500 * 18.0153
        after = solution_J_per_K({"H2O": water, "KCl": salt}, 25.0)
        final = settled_C(-salt * 235.86, T1, after, CUP)
        rows.append(
            run(f"KCl {i}", in_cup="water", in_cup_g=round(water, 3), added="KCl(s)", added_g=salt,
                in_cup_C=T1, added_C=T1, extreme_C=round(final, 4), extreme_after_s=20.0, room_C=25.0)
        )  # fmt: skip
    report = calibrate(table(*rows), instruments=tools(), known_loss=Tight())
    assert report.problems == ()
    constant = within(report)
    assert constant.method == "known reaction"


def test_strong_acid_and_base_with_the_concentration_matched_value():
    """2 mol/L: −58.63 kJ/mol, not −55.8 (section 5.3 of the project's reference table, C from F)."""
    acid, base = 51.57, 53.93  # g of 50 mL
    after = solution_J_per_K({"NaCl": 0.1 * 58.443, "H2O": acid + base - 0.1 * 58.443}, 32.0)
    heat = 0.1 * (58_630.0 - 215.0 * (21.0 - 25.0))  # more exothermic below 25 °C
    final = settled_C(heat, 21.0, after, CUP)
    row = run("n", in_cup="HCl(aq)", in_cup_mol_per_L=2.0, in_cup_mL=50.0, added="NaOH(aq)",
              added_mol_per_L=2.0, added_mL=50.0, in_cup_C=21.0, added_C=21.0,
              extreme_C=round(final, 4), extreme_after_s=5.0, room_C=21.0)  # fmt: skip
    report = calibrate(table(row), instruments=fine_instruments(), known_loss=Tight())
    assert report.problems == ()
    within(report)


TRIALS = (
    (47.711, 23.2, 41.131, 29.5, 25.4, 120.98),
    (46.805, 22.9, 40.325, 31.0, 26.0, 76.22),
    (39.821, 22.8, 46.075, 30.0, 25.8, 103.18),
    (50.958, 23.5, 47.999, 29.9, 25.6, 197.82),
    (50.444, 23.5, 47.192, 32.4, 27.0, 93.49),
)


def student_trials():
    limit = dict.fromkeys(("in_cup_C", "added_C", "extreme_C"), 0.1 / 3**0.5)
    return [
        run(f"trial {i}", in_cup="water", added="water", in_cup_g=cold, in_cup_C=t1, added_g=hot,
            added_C=t2, extreme_C=tf, u={**limit, "in_cup_g": 0.001, "added_g": 0.001})
        for i, (cold, t1, hot, t2, tf, _) in enumerate(TRIALS, start=1)
    ]  # fmt: skip


def test_five_published_student_mixing_trials():
    """A student page's five trials (F): 120.98, 76.22, 103.18, 197.82, 93.49 J/°C recomputed with
    c = 4.18 (C; the page prints 199.96 for the fourth, and 4.184 in its text). With ±0.1 °C limits
    each has u of 10 to 21 J/K."""
    report = calibrate(table(*student_trials()), instruments=fine_instruments())
    for finding, trial in zip(report.runs, TRIALS, strict=True):
        one = finding.calibration.constant
        assert one.value == pytest.approx(trial[-1], abs=0.12)  # IAPWS-95 water against 4.18
        assert 10.0 < one.u < 22.0
    constant = report.constants[0]
    low, high = constant.combined.interval95
    assert high - low > 70.0
    assert constant.combined.p_value < 1e-3
    assert any("differ by more than their budgets explain" in w for w in constant.warnings)
    assert any("outlying" in w for w in constant.warnings)
    assert "trial 4" in " ".join(constant.warnings)
