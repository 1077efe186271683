"""Constants from tables: every way, combined honestly, with bad rows named and good rows kept."""

from __future__ import annotations

import dataclasses
import json
import math

import pytest

from calib.calibration import calibrate
from calib.errors import RowProblem
from calib.run_model.rise import Loss
from calib.runs.instruments import Instruments
from tests.calib.energy import mixed_water_C, settled_C, water_J_per_g
from tests.calib.made_tables import fine_instruments, run, table

pytestmark = pytest.mark.usefixtures("settled_readings")


class Tight:
    """A cup that loses next to nothing, so that readings need no correction."""

    def loss_of(self, apparatus):
        return Loss(1e-6, 1e-6)


def mixing(
    label, C=18.0, cold_g=100.0, hot_g=100.0, cold_C=21.0, hot_C=48.0, hot_in_cup=False, **more
):
    """Readings of a mixing run in a cup of C J/K, energy conserved."""
    first, second = (
        ((hot_g, hot_C), (cold_g, cold_C)) if hot_in_cup else ((cold_g, cold_C), (hot_g, hot_C))
    )
    final = mixed_water_C(C, *first, *second)
    return run(
        label, in_cup="water", added="water", in_cup_g=first[0], in_cup_C=first[1],
        added_g=second[0], added_C=second[1], extreme_C=round(final, 4), extreme_after_s=20.0,
        room_C=21.0, **more,
    )  # fmt: skip


def calibrated(*rows, tools=None, **options):
    return calibrate(
        table(*rows), instruments=tools or fine_instruments(), known_loss=Tight(), **options
    )


@pytest.mark.parametrize("hot_in_cup", [False, True])
@pytest.mark.parametrize("C", [0.0, 18.0, 60.0])
def test_mixing_gives_the_cup_back_with_either_liquid_in_it(C, hot_in_cup):
    report = calibrated(mixing("a", C, hot_in_cup=hot_in_cup))
    constant = report.constants[0]
    assert constant.constant_J_per_K == pytest.approx(C, abs=0.08)
    low, high = constant.combined.interval95
    assert low < C < high
    assert constant.method == "hot/cold mixing"


def test_volumes_and_masses_say_the_same():
    """100.0 mL of water at 21 °C weigh 99.799 g, 100.0 mL at 48 °C 98.898 g (IAPWS-95, L)."""
    by_mass = calibrated(mixing("a", cold_g=99.799, hot_g=98.898))
    row = mixing("a", cold_g=99.799, hot_g=98.898)
    volumes = dataclasses.replace(row, in_cup_g=None, added_g=None, in_cup_mL=100.0, added_mL=100.0)
    by_volume = calibrated(volumes)
    mixed = calibrated(dataclasses.replace(row, added_g=None, added_mL=100.0))
    for other in (by_volume, mixed):
        assert other.constants[0].constant_J_per_K == pytest.approx(
            by_mass.constants[0].constant_J_per_K, abs=0.05
        )
    assert by_volume.constants[0].u_constant_J_per_K > by_mass.constants[0].u_constant_J_per_K
    budget = {line.source for line in by_volume.runs[0].calibration.constant.lines}
    assert any("cylinder" in source for source in budget)


def test_a_temperature_that_was_not_read_shows_its_price():
    row = mixing("a")
    report = calibrated(run("a", in_cup="water", added="water", in_cup_g=100.0, in_cup_C=21.0,
                            added_g=100.0, extreme_C=row.extreme_C, extreme_after_s=20.0))  # fmt: skip
    one = report.runs[0].calibration
    top = one.constant.all_lines[0]
    assert "not read, taken equal to the other's ± 0.3 K" in top.source
    assert top.u == pytest.approx(0.3 / math.sqrt(3))
    assert top.share_percent > 90
    assert any("added_C was not read" in warning for warning in report.runs[0].warnings)


def test_heater_route_is_the_exact_closed_form():
    """V I t = (C_1 + C_app) ΔT with water from IAPWS-95 (chemicals)."""
    heat = 12.0 * 1.5 * 400.0
    from scipy.optimize import brentq

    final = brentq(
        lambda t: 200.0 * (water_J_per_g(t) - water_J_per_g(20.0)) + 25.0 * (t - 20.0) - heat,
        20,
        60,
    )
    row = run("h", in_cup="water", in_cup_g=200.0, in_cup_C=20.0, extreme_C=round(final, 4),
              extreme_after_s=20.0, room_C=20.0, heater_V=12.0, heater_A=1.5, heater_s=400.0)  # fmt: skip
    report = calibrated(row)
    assert report.problems == ()
    assert report.constants[0].method == "electrical heater"
    assert report.constants[0].constant_J_per_K == pytest.approx(25.0, abs=0.1)
    sources = {line.source for line in report.runs[0].calibration.constant.lines}
    assert {
        "variation of the power while heating",
        "resistance of the leads beyond the voltmeter",
    } <= sources


def test_shared_errors_do_not_average_away():
    """One cylinder for all runs: its error stays, however many runs there are."""
    coarse = Instruments.default()

    def by_volume(i):
        row = mixing(str(i), cold_g=99.799, hot_g=98.898)
        return dataclasses.replace(
            row, in_cup_g=None, added_g=None, in_cup_mL=100.0, added_mL=100.0
        )

    one = calibrated(by_volume(0), tools=coarse).runs[0].calibration.constant
    many = calibrated(*(by_volume(i) for i in range(12)), tools=coarse).constants[0]
    glass = [line for line in one.lines if "cylinder" in line.source and line.key]
    assert many.combined.u_shared >= 0.9 * abs(sum(line.contribution for line in glass)) > 0.0
    assert many.u_constant_J_per_K >= many.combined.u_shared


def test_two_ways_that_agree_are_combined():
    heat = 12.0 * 1.5 * 400.0
    final = settled_C(heat, 20.0, 200.0 * 4.18, 18.0)
    heater = run("h", in_cup="water", in_cup_g=200.0, in_cup_C=20.0, extreme_C=round(final, 3),
                 extreme_after_s=20.0, room_C=20.0, heater_V=12.0, heater_A=1.5, heater_s=400.0)  # fmt: skip
    report = calibrated(mixing("m1"), mixing("m2", hot_C=52.0), heater)
    (constant,) = report.constants
    assert constant.method == "hot/cold mixing and electrical heater"
    assert constant.agreements[0].consistent
    assert "agree" in constant.agreements[0].sentence


def test_two_ways_that_disagree_are_never_averaged():
    tools = fine_instruments()
    low = [mixing(f"m{i}", C=10.0) for i in range(3)]
    final = settled_C(12.0 * 1.5 * 400.0, 20.0, 200.0 * 4.18, 120.0)
    heaters = [
        run(f"h{i}", in_cup="water", in_cup_g=200.0, in_cup_C=20.0, extreme_C=round(final, 3),
            extreme_after_s=20.0, room_C=20.0, heater_V=12.0, heater_A=1.5, heater_s=400.0)
        for i in range(3)
    ]  # fmt: skip
    report = calibrated(*low, *heaters, tools=tools)
    assert [c.method for c in report.constants] == ["hot/cold mixing", "electrical heater"]
    for constant in report.constants:
        assert constant.failed_quality == "the ways to the constant disagree"
        assert any("DISAGREE" in warning for warning in constant.warnings)


def test_a_negative_constant_is_reported_as_it_is():
    report = calibrated(mixing("a", C=-9.0), mixing("b", C=-9.0))
    constant = report.constants[0]
    assert constant.constant_J_per_K == pytest.approx(-9.0, abs=0.1)
    assert "negative beyond its uncertainty" in constant.failed_quality
    (warning,) = (w for w in constant.warnings if "negative" in w)
    assert "further from the cup's temperature than read" in warning
    assert "0.1 K in it shifts the constant by" in warning


def test_an_insignificant_constant_says_what_limits_it():
    report = calibrated(mixing("a", C=3.0), tools=Instruments.default())
    (warning,) = (w for w in report.constants[0].warnings if "not distinguishable from zero" in w)
    assert "the largest part of it is" in warning


def test_an_outlying_run_is_named_and_kept():
    rows = [mixing(str(i), C=18.0) for i in range(5)] + [mixing("odd", C=31.0)]
    report = calibrated(*rows)
    odd = next(r for r in report.runs if r.calibration.run.run == "odd")
    assert odd.outlying
    assert "kept, not dropped" in odd.warnings[-1]
    assert len(report.runs) == 6
    assert sum(r.weight for r in report.runs) == pytest.approx(1.0)
    assert report.constants[0].constant_J_per_K > 18.5  # it still pulls


def test_bad_rows_are_named_and_good_rows_computed():
    rows = (
        mixing("good"),
        run("no cup", apparatus=None, in_cup="water", added="water", in_cup_g=100.0, in_cup_C=21.0,
            added_g=100.0, added_C=50.0, extreme_C=34.0),
        run("unknown", in_cup="unobtainium", added="water", in_cup_g=100.0, in_cup_C=21.0,
            added_g=100.0, added_C=50.0, extreme_C=34.0),
        run("no amount", in_cup="water", added="water", in_cup_g=100.0, in_cup_C=21.0,
            added_C=50.0, extreme_C=34.0),
        run("no conc", in_cup="HCl(aq)", added="KOH(aq)", in_cup_mL=50.0, added_mL=50.0,
            added_mol_per_L=1.0, in_cup_C=21.0, added_C=21.0, extreme_C=27.0),
        run("flat", in_cup="water", added="water", in_cup_g=100.0, in_cup_C=21.0, added_g=100.0,
            added_C=21.0, extreme_C=21.0),
        run("metal", in_cup="water", added="Cu(s)", in_cup_g=100.0, in_cup_C=21.0, added_g=50.0,
            added_C=98.0, extreme_C=24.0),
        run("contradiction", in_cup="water", added="water", in_cup_g=100.0, in_cup_mL=150.0,
            in_cup_C=21.0, added_g=100.0, added_C=50.0, extreme_C=34.0),
        run("imbalance", reaction="HCl(aq) + KOH(aq) -> KCl(aq)", in_cup="HCl(aq)", in_cup_mL=50.0,
            in_cup_mol_per_L=1.0, added="KOH(aq)", added_mL=50.0, added_mol_per_L=1.0, in_cup_C=21.0,
            added_C=21.0, extreme_C=27.0),
    )  # fmt: skip
    known = RowProblem("earlier", "added_g", "from the reader")
    report = calibrate(
        table(*rows, problems=(known,)), instruments=fine_instruments(), known_loss=Tight()
    )
    assert [r.calibration.run.run for r in report.runs] == ["good"]
    assert {(p.row, p.column) for p in report.problems} == {
        ("earlier", "added_g"), ("no cup", "apparatus"), ("unknown", "in_cup"),
        ("no amount", "added_g"), ("no conc", "in_cup_mol_per_L"), ("flat", "extreme_C"),
        ("metal", "added"), ("contradiction", "in_cup_mL"), ("imbalance", "reaction"),
    }  # fmt: skip
    assert all(p.message for p in report.problems)


def test_a_missing_curve_is_named(tmp_path):
    row = run("c", in_cup="water", added="water", in_cup_g=100.0, added_g=100.0, added_C=50.0,
              curve="gone.csv", curve_path=tmp_path / "gone.csv")  # fmt: skip
    report = calibrated(row)
    (problem,) = report.problems
    assert (problem.row, problem.column) == ("c", "curve")
    assert report.constants == ()


def test_json_has_the_agreed_keys():
    facts = calibrated(mixing("a"), mixing("b")).to_json()
    json.dumps(facts, allow_nan=False)
    assert set(facts) >= {"constants", "runs", "errors"}
    assert set(facts["constants"][0]) >= {
        "id", "apparatus", "method", "constant_J_per_K", "u_constant_J_per_K",
        "interval95_J_per_K", "heat_loss_W_per_K", "u_heat_loss_W_per_K", "runs",
        "between_run_sd_J_per_K", "status", "warnings",
    }  # fmt: skip
    shares = [line["share_percent"] for line in facts["constants"][0]["budget"]]
    assert sum(shares) == pytest.approx(100.0, abs=1.0)


def test_a_table_of_runs_becomes_a_frame():
    frame = calibrated(mixing("a"), mixing("b")).to_frame()
    assert list(frame["run"]) == ["a", "b"]


def test_uncorrected_readings_are_flagged_and_dearer():
    bare = calibrate(table(mixing("a")), instruments=fine_instruments())
    assert "extreme reading, not corrected" in bare.runs[0].calibration.rise.method
    good = calibrated(mixing("a"))
    assert bare.constants[0].u_constant_J_per_K > 3 * good.constants[0].u_constant_J_per_K
