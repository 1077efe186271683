"""Molar enthalpies: the balance on real rows, the numbers of the design page, flags, summaries."""

from __future__ import annotations

import dataclasses
import json
import math
from datetime import date

import pytest

from calib.enthalpy import FixedConstants, evaluate
from calib.errors import RegistryError
from calib.runs.instruments import Instruments
from calib.substances.solutions import Composition, heat_capacity
from tests.calib.energy import settled_C, solution_J_per_K, water_J_per_g
from tests.calib.made_tables import fine_instruments, run, table

pytestmark = pytest.mark.usefixtures("settled_readings")

CUP = 14.2
TIGHT = FixedConstants({"A": (CUP, 0.4), "B": (CUP, 0.4)}, {"A": (1e-6, 1e-6), "B": (1e-6, 1e-6)})


def neutralization(label="n", dH=-58.0, c=1.0, T2=21.0, base_mL=50.0, **more):
    """HNO3 + KOH, c mol/L each, 50 mL of acid; truth with thermo's heat capacities."""
    c_a, c_b = c, c
    rho_a, rho_b = {1.0: (1.0311, 1.0450), 2.0: (1.0635, 1.0893)}[c]  # g/mL (thermo's, L)
    acid, base = 50.0 * rho_a, base_mL * rho_b
    n_a, n_b = 0.05 * c_a, base_mL / 1000 * c_b
    n = min(n_a, n_b)
    salt = {"KNO3": n * 101.103}
    if n_b > n:
        salt["KOH"] = (n_b - n) * 56.105
    after = solution_J_per_K({**salt, "H2O": acid + base - sum(salt.values())}, 24.0)
    added = solution_J_per_K({"KOH": n_b * 56.105, "H2O": base - n_b * 56.105}, 21.0)
    final = settled_C(-1000 * dH * n, 21.0, after, CUP, added, T2)
    given = {
        "in_cup": "HNO3(aq)", "in_cup_g": round(acid, 3), "in_cup_mol_per_L": c,
        "added": "KOH(aq)", "added_g": round(base, 3), "added_mol_per_L": c, "in_cup_C": 21.0,
        "added_C": T2, "extreme_C": round(final, 4), "extreme_after_s": 10.0, "room_C": 21.0,
    }  # fmt: skip
    return run(label, **{**given, **more})


def dissolved(label="d", dH=34.5, grams=5.0, **more):
    """KNO3 into 100 g of water."""
    n = grams / 101.103
    after = solution_J_per_K({"KNO3": grams, "H2O": 100.0}, 20.0)
    final = settled_C(-1000 * dH * n, 22.0, after, CUP)
    given = {
        "in_cup": "water", "in_cup_g": 100.0, "added": "KNO3(s)", "added_g": grams,
        "in_cup_C": 22.0, "added_C": 22.0, "extreme_C": round(final, 4), "extreme_after_s": 30.0,
        "room_C": 22.0,
    }  # fmt: skip
    return run(label, **{**given, **more})


def evaluated(*rows, constants=TIGHT, tools=None, **options):
    return evaluate(table(*rows), constants, instruments=tools or fine_instruments(), **options)


@pytest.mark.parametrize("T2", [19.0, 21.0, 23.5])
def test_neutralization_with_unequal_starting_temperatures(T2):
    report = evaluated(neutralization(T2=T2, base_mL=53.0))
    result = report.results[0]
    assert result.molar.value == pytest.approx(-58.0, abs=2 * result.molar.u)
    assert result.molar.value == pytest.approx(-58.0, rel=0.005)
    assert result.measured.prepared.process.limiting_text == "HNO3(aq)"
    assert result.heat_J > 0


def test_dissolution_is_endothermic():
    result = evaluated(dissolved()).results[0]
    assert result.molar.value == pytest.approx(34.5, abs=2 * result.molar.u)
    assert result.heat_J < 0
    reference = result.expected
    assert reference.at_infinite_dilution.value == pytest.approx(34.89, abs=0.15)
    # integral enthalpy at 0.49 mol/kg: 33.3 to 33.7 kJ/mol (reference table 1.4, C)
    assert 33.0 < reference.at_run.value < 34.6


def test_budget_adds_up_and_names_its_sources():
    result = evaluated(neutralization()).results[0]
    lines = result.molar.all_lines
    assert sum(line.share_percent for line in lines) == pytest.approx(100.0)
    total = math.sqrt(
        sum(math.copysign(line.contribution**2, line.share_percent) for line in lines)
    )
    assert total == pytest.approx(result.molar.u)
    sources = " ".join(line.source for line in lines)
    for part in ("the cup's constant", "specific heat of the mixture", "concentration of HNO3"):
        assert part in sources


def test_the_price_of_not_reading_the_second_liquid():
    report = evaluated(neutralization(added_C=None))
    top = report.results[0].molar.all_lines[0]
    assert "not read, taken equal" in top.source
    assert top.u == pytest.approx(0.3 / math.sqrt(3.0))
    # C_2 · 0.173 K of 2900 J
    assert top.contribution == pytest.approx(0.173 * 208 / 2900 * 58, rel=0.08)


def test_design_numbers_of_a_2_mol_per_L_neutralization():
    """Design page: weighing and keeping 4.184 is +7 % in heat capacity, 100 mL for 100 g +1.4 %,
    and 2 mol/L HCl + NaOH is 5 % more exothermic than at infinite dilution."""
    row = run("s", in_cup="HCl(aq)", in_cup_mL=100.0, in_cup_mol_per_L=2.0, added="NaOH(aq)",
              added_mL=100.0, added_mol_per_L=2.0, in_cup_C=25.0, added_C=25.0, extreme_C=38.8,
              extreme_after_s=5.0, room_C=25.0)  # fmt: skip
    result = evaluated(row).results[0]
    x = {i.name: i.value for i in result.measured.quantities.inputs_used()}
    C_mix, mass = float(result.measured.C_mix(x)), float(result.measured.mass_g(x))
    assert 100 * (4.184 * mass / C_mix - 1) == pytest.approx(7.0, abs=0.5)
    assert 100 * (4.184 * 200.0 / C_mix - 1) == pytest.approx(1.4, abs=0.4)
    shifts = {t.left_out: t.shift_percent for t in result.treatments}
    weighed = next(v for k, v in shifts.items() if "mass weighed" in k)
    volumes = next(v for k, v in shifts.items() if k.startswith("heat capacity altogether"))
    assert weighed > 3 * volumes > 0
    expected = result.expected
    assert expected.at_infinite_dilution.value == pytest.approx(-55.815, abs=0.01)
    assert expected.at_run.value == pytest.approx(-58.63, abs=0.1)
    assert 100 * (expected.at_run.value / -55.815 - 1) == pytest.approx(5.0, abs=0.2)


def test_5_molal_potassium_hydroxide_taken_for_water():
    """Design page: 23 %."""
    cp = heat_capacity(Composition(1000.0, {"KOH": 5 * 56.105}), 25.0)
    assert 100 * (1 - cp.value / 4.1813) == pytest.approx(23.0, abs=1.0)


def test_at_25_degrees_where_the_change_of_heat_capacity_is_known():
    plain = evaluated(neutralization()).results[0]
    at_25 = evaluated(neutralization(), at_25=True).results[0]
    assert at_25.at_C == 25.0
    assert at_25.molar.value - plain.molar.value == pytest.approx(0.2152 * 4.0, abs=1e-6)
    assert any("ΔC" in line.source for line in at_25.molar.lines)


def test_volumes_and_masses_of_one_run_agree():
    by_mass = evaluated(neutralization(base_mL=53.0)).results[0]
    row = dataclasses.replace(
        neutralization(base_mL=53.0), in_cup_g=None, added_g=None, in_cup_mL=50.0, added_mL=53.0
    )
    by_volume = evaluated(row).results[0]
    assert by_volume.molar.value == pytest.approx(by_mass.molar.value, rel=2e-3)
    row = dataclasses.replace(row, added_mL=None, added_g=neutralization(base_mL=53.0).added_g)
    assert evaluated(row).results[0].molar.value == pytest.approx(by_mass.molar.value, rel=2e-3)


def test_a_net_ionic_equation_gives_the_same():
    whole = evaluated(neutralization(base_mL=53.0)).results[0]
    ionic = evaluated(neutralization(base_mL=53.0, reaction="H+(aq) + OH-(aq) -> H2O(l)")).results[
        0
    ]
    assert ionic.molar.value == pytest.approx(whole.molar.value, rel=1e-3)


def test_equal_amounts_make_the_extent_uncertain():
    """min(n1, n2) of two equal uncertain amounts: the mean-square deviation from n is u² (C)."""
    equal = evaluated(neutralization(), check_monte_carlo=True).results[0]
    assert any("which reactant runs out" in line.source for line in equal.molar.lines)
    assert equal.monte_carlo is not None
    limiting = equal.measured.limiting
    assert limiting.uncertain
    excess = evaluated(neutralization(base_mL=56.0), check_monte_carlo=True).results[0]
    assert not excess.measured.limiting.uncertain
    assert excess.monte_carlo.agrees


def test_metal_and_ice_have_their_own_quantities():
    c, m = 0.385, 60.0
    C_1 = 100.0 * 4.18 + CUP
    final = (C_1 * 21.0 + m * c * 98.0) / (C_1 + m * c)
    copper = run("Cu", in_cup="water", in_cup_g=100.0, in_cup_C=21.0, added="Cu(s)", added_g=m,
                 added_C=98.0, extreme_C=round(final, 4), extreme_after_s=10.0, room_C=21.0)  # fmt: skip
    ice_g = 12.0
    from scipy.optimize import brentq

    final = brentq(
        lambda t: 150.0 * (water_J_per_g(t) - water_J_per_g(24.0)) + CUP * (t - 24.0)
        + ice_g * (333.55 + water_J_per_g(t) - water_J_per_g(0.5) + 0.5 * 4.21),
        1.0, 24.0,
    )  # fmt: skip
    ice = run("ice", in_cup="water", in_cup_g=150.0, in_cup_C=24.0, added="ice", added_g=ice_g,
              added_C=0.0, extreme_C=round(final, 4), extreme_after_s=60.0, room_C=24.0)  # fmt: skip
    report = evaluated(copper, ice)
    assert report.problems == ()
    metal, melted = report.results
    assert metal.physical.result.value == pytest.approx(c, rel=0.01)
    assert metal.physical.unit == "J/(g K)"
    assert metal.physical.reference == pytest.approx(0.385, abs=0.005)
    assert melted.physical.result.value == pytest.approx(333.55, rel=0.01)
    assert melted.physical.per_mole == pytest.approx(6.01, rel=0.01)
    facts = report.to_json()
    json.dumps(facts, allow_nan=False)
    assert facts["runs"][0]["dH_kJ_per_mol"] is None
    assert facts["runs"][0]["unit"] == "J/(g K)"
    assert {s["unit"] for s in facts["summary"]} == {"J/(g K)", "J/g"}


def test_rows_that_cannot_be_used_are_named():
    rows = (
        neutralization("good"),
        neutralization("no cup", apparatus="Z9"),
        neutralization("unnamed", apparatus=None),
        run("mix", in_cup="water", in_cup_g=100.0, added="water", added_g=100.0, in_cup_C=20.0,
            added_C=40.0, extreme_C=30.0),
        run("cold metal", in_cup="water", in_cup_g=100.0, added="Cu(s)", added_g=60.0,
            in_cup_C=20.0, extreme_C=24.0),
        run("odd", in_cup="KNO3(aq)", in_cup_g=100.0, in_cup_mol_per_L=1.0, added="NaCl(aq)",
            added_g=100.0, added_mol_per_L=1.0, in_cup_C=20.0, extreme_C=24.0),
        run("solid conc", in_cup="water", in_cup_g=100.0, added="KNO3(s)", added_mol_per_L=1.0,
            added_g=5.0, in_cup_C=20.0, extreme_C=18.0),
    )  # fmt: skip
    report = evaluated(*rows)
    assert [r.run.run for r in report.results] == ["good"]
    assert {(p.row, p.column) for p in report.problems} == {
        ("no cup", "apparatus"), ("unnamed", "apparatus"), ("mix", "added"),
        ("cold metal", "added_C"), ("odd", "reaction"), ("solid conc", "added_mol_per_L"),
    }  # fmt: skip
    text = {p.row: str(p) for p in report.problems}
    assert "cupledger calibrate" in text["mix"]
    assert "A, B" in text["no cup"]


@dataclasses.dataclass
class Stored:
    """What a registry gives, reduced to what is read of it."""

    id: int = 7
    method: str = "hot/cold mixing"
    constant_J_per_K: float = CUP
    u_constant_J_per_K: float = 0.4
    heat_loss_W_per_K: float | None = 1e-6
    u_heat_loss_W_per_K: float | None = 1e-6
    fill_mL: tuple[float, float] | None = (150.0, 200.0)
    temperature_C: tuple[float, float] | None = (40.0, 55.0)
    due: str = ""
    why: str = "pooled value of the kind 'foam'"

    def at_fill(self, fill_mL):
        return self.constant_J_per_K, self.u_constant_J_per_K

    def recheck(self, day):
        return self.due


class Store:
    def __init__(self, own=None, kind=None):
        self.own, self.kind, self.asked = own, kind, []

    def constant_for(self, apparatus, on):
        self.asked.append((apparatus, on))
        if self.own is None:
            raise RegistryError(f"no constant of {apparatus}: calibrate it")
        return self.own

    def kind_pooled(self, apparatus, on):
        if self.kind is None:
            raise RegistryError("too few cups of the kind")
        return self.kind


def test_flags_of_a_stored_constant():
    store = Store(Stored(due="constant 7 of A was due for a recheck"))
    result = evaluated(neutralization(), constants=store).results[0]
    text = " | ".join(result.warnings)
    assert "fill of" in text
    assert "mean temperature" in text
    assert "due for a recheck" in text
    assert result.constant.id == 7
    assert store.asked == [("A", date(2026, 9, 7))]
    assert any(line.key == "constant:A:7" for line in result.molar.lines)
    inside = Store(Stored(fill_mL=(95.0, 105.0), temperature_C=(20.0, 30.0)))
    assert evaluated(neutralization(base_mL=53), constants=inside).results[0].warnings == ()


def test_a_cup_without_a_constant_takes_its_kinds():
    result = evaluated(neutralization(), constants=Store(None, Stored())).results[0]
    assert result.constant.pooled
    assert result.constant.id is None
    assert any("no constant of its own in force: pooled value" in w for w in result.warnings)
    report = evaluated(neutralization(), constants=Store())
    (problem,) = report.problems
    assert problem.column == "apparatus"
    assert "calibrate it; nor is there a pooled value: too few cups" in problem.message


def test_class_mean_keeps_shared_and_own_apart():
    rows = [neutralization(f"g{i}", dH=-58.0 + 0.2 * (i - 3), base_mL=53.0) for i in range(7)]
    report = evaluated(*rows, tools=Instruments.default())
    (summary,) = report.summary
    assert summary.runs == 7
    assert summary.mean == pytest.approx(-58.0, abs=0.4)
    assert summary.u_mean == pytest.approx(math.hypot(summary.u_independent, summary.u_shared))
    names = " ".join(name for name, _ in summary.shared)
    assert "concentration of HNO3" in names
    assert "the cup's constant" in names
    one = report.results[0].molar
    assert summary.u_shared < one.u
    assert summary.u_shared > one.u / math.sqrt(7)


def test_two_cups_share_the_stock_but_not_the_constant():
    rows = [neutralization("a", base_mL=53.0), neutralization("b", base_mL=53.0, apparatus="B")]
    (summary,) = evaluated(*rows).summary
    names = " ".join(name for name, _ in summary.shared)
    assert "concentration of HNO3" in names
    assert "the cup's constant" not in names


def test_an_outlying_group_is_named_and_the_robust_mean_hardly_moves():
    values = [-58.1, -57.9, -58.0, -58.2, -57.8, -58.05, -51.0]
    rows = [neutralization(f"g{i}", dH=v, base_mL=53.0) for i, v in enumerate(values)]
    (summary,) = evaluated(*rows).summary
    assert summary.outlying == ("g6",)
    assert abs(summary.robust_mean + 58.0) < 0.3
    assert abs(summary.mean + 57.0) < 0.2


def test_mixed_reactions_are_summarised_one_by_one():
    report = evaluated(neutralization("a"), dissolved("b"), dissolved("c", grams=6.0))
    assert [s.runs for s in report.summary] == [1, 2]
    facts = report.to_json()
    json.dumps(facts, allow_nan=False)
    assert set(facts["runs"][0]) >= {
        "run", "apparatus", "constant_id", "constant_J_per_K", "rise_K", "u_rise_K", "method",
        "heat_J", "extent_mol", "limiting", "dH_kJ_per_mol", "u_dH_kJ_per_mol",
        "interval95_kJ_per_mol", "reference_kJ_per_mol", "warnings", "budget",
    }  # fmt: skip
    assert set(facts["runs"][0]["budget"][0]) >= {"source", "u_kJ_per_mol", "share_percent"}
    assert set(facts["summary"][0]) >= {
        "reaction",
        "runs",
        "mean_kJ_per_mol",
        "u_mean_kJ_per_mol",
        "sd_kJ_per_mol",
    }
    assert list(report.to_frame()["run"]) == ["a", "b", "c"]
