"""The four pairings of a class: closure, adjusted values, the run that disagrees, ionization.

Truth: enthalpies that add up to nothing, turned into final temperatures by conservation of energy
with the heat capacities of ``thermo``; ammonium acetate, which it lacks, by the ions' molar heat
capacities of the CRC Handbook (79.9 - 6.3 J/(mol K), read from the library ``chemicals``).
"""

from __future__ import annotations

import numpy as np
import pytest

from calib.enthalpies.consistency import agreement
from calib.enthalpy import FixedConstants, evaluate
from calib.errors import InputError
from tests.calib.energy import settled_C, solution_J_per_K
from tests.calib.made_tables import fine_instruments, run, table

pytestmark = pytest.mark.usefixtures("settled_readings")

CUP = 14.2
CONSTANT = FixedConstants({"A": (CUP, 0.8)}, {"A": (1e-6, 1e-6)})
MOL = 0.05
RHO = {"HCl": 1.0068, "CH3COOH": 1.0012, "NaOH": 1.0186, "NH3": 0.9933}  # 0.5 mol/L (thermo, L)
SALT = {
    ("HCl", "NaOH"): {"NaCl": 58.443},
    ("HCl", "NH3"): {"NH4Cl": 53.491},
    ("CH3COOH", "NaOH"): {"NaCH3CO2": 82.034},
    ("CH3COOH", "NH3"): {},
}
TRUE = {
    ("HCl", "NaOH"): -57.12,  # 0.5 mol/L each, C from F: Parker's φ_L
    ("HCl", "NH3"): -52.90,
    ("CH3COOH", "NaOH"): -56.60,
    ("CH3COOH", "NH3"): -52.90 - 56.60 + 57.12,
}


def pairing(label, acid, base, off=0.0):
    """100 mL of acid, 105 mL of base, 0.5 mol/L each, starting at 25 °C."""
    acid_g, base_g = 100.0 * RHO[acid], 105.0 * RHO[base]
    salts = {name: MOL * mass for name, mass in SALT[acid, base].items()}
    water = acid_g + base_g - (sum(salts.values()) or MOL * 77.083)
    after = solution_J_per_K({**salts, "H2O": water}, 27.0) + (0.0 if salts else MOL * 73.6)
    final = settled_C(-1000 * (TRUE[acid, base] + off) * MOL, 25.0, after, CUP)
    return run(label, in_cup=f"{acid}(aq)", in_cup_g=round(acid_g, 3), in_cup_mol_per_L=0.5,
               added=f"{base}(aq)", added_g=round(base_g, 3), added_mol_per_L=0.5, in_cup_C=25.0,
               added_C=25.0, extreme_C=round(final, 3), extreme_after_s=5.0,
               room_C=25.0)  # fmt: skip


def class_of(each=3, **off):
    """So many runs of each pairing; ``off`` adds to the enthalpy of runs by label."""
    labels = "abcd"
    return [
        pairing(f"{letter}{n}", *pair, off.get(f"{letter}{n}", 0.0))
        for letter, pair in zip(labels, TRUE, strict=True)
        for n in range(1, each + 1)
    ]


def compared(rows, **options):
    report = evaluate(table(*rows), CONSTANT, instruments=fine_instruments(), per="reaction")
    assert not report.problems
    return agreement(report.results, **options)


def test_a_class_without_mishap_closes_and_is_adjusted():
    found = compared(class_of(2), as_run=True)
    (closure,) = found.found.closures
    assert str(closure.cycle) == "R1 - R2 - R3 + R4 = nothing"
    assert closure.ratio < 2.0
    assert found.words == "every cycle closes within twice its u"
    adjusted = {one.name: one for one in found.found.values}
    for mean, truth in zip(found.means, TRUE.values(), strict=True):
        one = adjusted[mean.name]
        assert one.adjusted.value == pytest.approx(truth, abs=2 * one.adjusted.u)
        assert one.adjusted.u <= one.measured.u
    x = [one.adjusted.value for one in found.found.values]
    assert x[0] - x[1] - x[2] + x[3] == pytest.approx(0.0, abs=1e-9)


def test_the_cup_they_share_leaves_the_closure_be():
    """All runs in one cup whose constant is in error: every enthalpy moves, the closure little."""
    wrong = FixedConstants({"A": (CUP + 8.0, 8.0)}, {"A": (1e-6, 1e-6)})
    rows = class_of(1)
    report = evaluate(table(*rows), wrong, instruments=fine_instruments(), per="reaction")
    found = agreement(report.results, as_run=True)
    (closure,) = found.found.closures
    moved = found.means[0].result.value - TRUE["HCl", "NaOH"]
    assert abs(moved) > 0.4
    assert abs(closure.value) < 0.25
    apart = sum(one.result.u**2 for one in found.means) ** 0.5
    assert closure.u < 0.6 * apart  # as independent values the four would make it far wider
    assert closure.ratio < 2.0


def test_the_run_that_disagrees_is_named():
    found = compared(class_of(3, c2=6.0), as_run=True)
    named = [one.run for one in found.runs if one.ratio > 3.0 or one.closes_without]
    assert named == ["c2"]
    assert "c2" in found.words
    assert max(found.runs, key=lambda one: one.ratio).run == "c2"


def test_a_reaction_that_disagrees_as_a_whole_leaves_the_cycle_open():
    """Every run of one pairing off alike: one cycle cannot tell which, and says so."""
    found = compared(class_of(2, b1=5.0, b2=5.0), as_run=True)
    (closure,) = found.found.closures
    assert closure.value == pytest.approx(-5.0, abs=2 * closure.u)
    assert closure.ratio > 2.0
    assert "one cycle alone cannot tell" in found.words
    assert not any(one.closes_without for one in found.runs)


def test_carried_to_infinite_dilution_the_strong_pair_gives_codata():
    """-57.12 at 0.5 mol/L is -55.815 at infinite dilution (CODATA 1989 and Parker's φ_L, F)."""
    found = compared(class_of(1))
    strong = found.means[0]
    assert strong.shift == pytest.approx(57.12 - 55.815, abs=0.05)
    assert strong.result.value == pytest.approx(-55.815, abs=2 * strong.result.u)
    assert found.state == "infinite dilution, 25 °C"
    assert found.found.closures[0].ratio < 2.0


def test_ionization_is_a_difference_that_keeps_the_correlation():
    """NH3 + H2O -> NH4+ + OH-: +3.6; acetic acid: -0.3 to -0.4 (formation enthalpies, C from L)."""
    found = compared(class_of(2))
    by_equation = {str(one.equation): one.dH for one in found.ionizations}
    ammonia = by_equation["H2O(l) + NH3(aq) -> OH-(aq) + NH4+(aq)"]
    acetic = by_equation["CH3COOH(aq) -> H+(aq) + CH3COO-(aq)"]
    strong, weak = found.means[0].result, found.means[1].result
    assert ammonia.value == pytest.approx(weak.value - strong.value)
    assert ammonia.value == pytest.approx(3.6, abs=2 * ammonia.u)
    assert acetic.value == pytest.approx(-0.3, abs=2 * acetic.u)
    found = compared(class_of(2), as_run=True)
    strong, weak = (one.result for one in found.means[:2])
    assert found.ionizations[0].dH.u < 0.9 * np.hypot(strong.u, weak.u)


def test_a_salt_at_high_concentration_is_carried_by_its_table():
    """30 g (NH4)2SO4 in 200 g water, 1.1 mol/kg: φ_L 1.7 kJ/mol (Thomsen's model), u 0.5."""
    rows = [
        run("s", in_cup="water", in_cup_g=200.0, added="(NH4)2SO4(s)", added_g=30.0, in_cup_C=25.0,
            added_C=25.0, extreme_C=23.2, extreme_after_s=30.0, room_C=25.0)
    ]  # fmt: skip
    as_run, carried = compared(rows, as_run=True), compared(rows)
    assert as_run.means[0].why_not == ""
    assert carried.means[0].why_not == ""
    assert carried.means[0].shift == pytest.approx(-1.7, abs=0.2)
    assert as_run.means[0].result.u < carried.means[0].result.u < as_run.means[0].result.u + 0.5
    assert "no cycle" in carried.words


def test_two_ways_of_writing_one_reaction_are_a_cycle_of_two():
    rows = [pairing("a", "HCl", "NaOH")]
    rows.append(
        run("k", in_cup="HNO3(aq)", in_cup_mL=100.0, in_cup_mol_per_L=0.5, added="KOH(aq)",
            added_mL=105.0, added_mol_per_L=0.5, in_cup_C=25.0, added_C=25.0, extreme_C=28.2,
            extreme_after_s=5.0, room_C=25.0)
    )  # fmt: skip
    found = compared(rows)
    assert str(found.found.closures[0].cycle) == "R1 - R2 = nothing"


def test_a_table_without_reactions_is_refused():
    copper = run("z", in_cup="water", in_cup_g=200.0, added="Cu(s)", added_g=50.0, in_cup_C=21.0,
                 added_C=99.0, extreme_C=22.7, extreme_after_s=30.0, room_C=21.0)  # fmt: skip
    with pytest.raises(InputError, match="nothing to compare"):
        compared([copper])
