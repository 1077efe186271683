from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.errors import SubstanceError
from calib.substances import laliberte, measure_spreads, published, spreads, tables, water
from calib.substances.composition import Composition
from calib.substances.formula import molar_mass
from calib.substances.names import usual_state
from calib.substances.solutions import density, from_molarity, heat_capacity, mix

SOLUTES = [
    row["formula"]
    for row in tables.rows("substances")
    if row["class"] in {"acid", "base", "salt", "molecular"}
    and row["formula"] not in {"H2O"}
    and "·" not in row["formula"]
]


# --- against the libraries that the coefficients were read from ------------------------------


@pytest.mark.parametrize("formula", laliberte.solutes("cp"))
def test_heat_capacity_correlation_equals_thermo(formula):
    from thermo.electrochem import Laliberte_heat_capacity_i

    known = laliberte.heat_capacity_coefficients(formula)
    for w in (0.2 * known.range.w_max, known.range.w_max):
        theirs = Laliberte_heat_capacity_i(298.15, 1 - w, *known.values) / 1000
        assert laliberte.apparent_cp_J_per_gK(known, w, 25.0) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize(("formula", "cas"), [("NaCl", "7647-14-5"), ("KNO3", "7757-79-1")])
def test_whole_solution_equals_thermo_but_for_its_water(formula, cas):
    from thermo.electrochem import Laliberte_density, Laliberte_heat_capacity

    ours = Composition(0.92, {formula: 0.08})
    for t_C in (15.0, 25.0, 60.0):
        theirs = Laliberte_heat_capacity(t_C + 273.15, [0.08], [cas]) / 1000
        assert heat_capacity(ours, t_C).value == pytest.approx(theirs, rel=6e-4)
        theirs = Laliberte_density(t_C + 273.15, [0.08], [cas]) / 1000
        assert density(ours, t_C).value == pytest.approx(theirs, rel=1e-5)


def test_library_tables_are_what_their_script_makes(tmp_path, monkeypatch):
    from calib.substances import make_library_tables as script

    shipped = {name: (script.DATA / f"{name}.tsv").read_text(encoding="utf-8")
               for name in ("laliberte", "ion_cp", "atomic_weights")}  # fmt: skip
    monkeypatch.setattr(script, "DATA", tmp_path)
    script.main()
    for name, text in shipped.items():
        made = (tmp_path / f"{name}.tsv").read_text(encoding="utf-8")
        assert made.splitlines()[3:] == text.splitlines()[3:], name


def test_no_heavy_library_is_loaded():
    code = (
        "from calib.substances.facts import describe; describe('KNO3'); import sys;"
        "bad = {'thermo', 'chemicals', 'scipy', 'pandas', 'CoolProp'} & set(sys.modules);"
        "sys.exit(', '.join(bad) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


# --- the spreads are those measured --------------------------------------------------------


def test_growth_parameters_are_those_fitted():
    for kind, used in (("cp", spreads.HEAT_GROWTH), ("rho", spreads.VOLUME_GROWTH)):
        fitted = measure_spreads.fit_growth(kind)
        for Z, strength in ((1, 0.5), (1, 3.0), (3, 2.0), (4, 4.0)):
            one = spreads.growth(used, Z, strength)
            two = spreads.growth(fitted, Z, strength)
            assert one == pytest.approx(two, rel=0.01, abs=0.1)


@pytest.mark.parametrize("kind", ["cp", "rho"])
def test_ions_hold_known_solutions_within_two_standard_uncertainties(kind):
    assert measure_spreads.ion_additive_coverage(kind) >= 0.95


@pytest.mark.parametrize("w", [0.02, 0.05, 0.1, 0.2, 0.3])
def test_water_share_spread_is_the_one_measured(w):
    _, rms, n = measure_spreads.water_share_spread(w)
    assert n >= 15
    assert spreads.u_share_heat(w) == pytest.approx(rms, rel=0.12)


@pytest.mark.parametrize("pair", [(0.03, 0.1), (0.065, 0.1), (0.065, 0.2), (0.1, 0.25)])
def test_carrying_a_correlation_on_is_worth_what_is_stated(pair):
    _, rms, n = measure_spreads.beyond_range_spread(*pair)
    assert n >= 12
    assert rms <= 1.2 * spreads.u_beyond_range(pair[1] - pair[0])


# --- the order of choice ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("solutes", "t_C", "kind", "words"),
    [
        ({}, 25.0, "correlation", "IAPWS-95"),
        ({"NaCl": 5.0}, 25.0, "correlation", "in its range"),
        ({"NaCH3COO": 8.0}, 25.0, "extrapolated", "carried on beyond its range"),
        ({"NH4NO3": 8.0}, 15.0, "extrapolated", "25 °C only"),
        ({"HCl": 30.0}, 25.0, "published", "Perry"),
        ({"NH3": 2.0}, 25.0, "published", "Allred & Woolley"),
        ({"NH3": 8.0}, 25.0, "published", "Perry"),
        ({"NH4CH3COO": 8.0}, 25.0, "ion-additive", "ions at infinite dilution"),
        ({"C4H11NO3": 1.0, "HCl": 0.3}, 25.0, "ion-additive", "molecule at infinite dilution"),
        ({"KHC8H4O4": 2.0}, 25.0, "water-share", "water share"),
        ({"C6H8O6": 2.0}, 25.0, "water-share", "mean of known molecules"),
        ({"(NH4)2S2O8": 10.0}, 25.0, "ion-additive", "which contradicts it"),
        ({"FeCl2": 10.0}, 25.0, "extrapolated", "few or doubted data"),
    ],
)
def test_order_of_choice_is_said(solutes, t_C, kind, words):
    ours = heat_capacity(Composition(100.0 - sum(solutes.values()), solutes), t_C)
    assert ours.kind == kind
    assert words in ours.source


def test_water_share_is_the_water_share():
    ours = heat_capacity(Composition(96.0, {"KHC8H4O4": 4.0}), 25.0)
    assert ours.value == pytest.approx(0.96 * water.cp_J_per_gK(25.0))


def test_uncertainty_grows_beyond_the_range():
    inside, edge, far = (
        heat_capacity(Composition(1 - w, {"KNO3": w}), 25.0).u for w in (0.19, 0.22, 0.30)
    )
    assert inside < edge < far
    warm = heat_capacity(Composition(0.9, {"NH4NO3": 0.1}), 25.0).u
    assert warm < heat_capacity(Composition(0.9, {"NH4NO3": 0.1}), 10.0).u


@pytest.mark.parametrize("formula", ["HCl", "HNO3", "NaCH3COO", "KNO3", "CH3COOH", "CaCl2", "LiCl"])
def test_no_step_where_the_method_changes(formula):
    w_max = laliberte.heat_capacity_coefficients(formula).range.w_max
    below, above = (
        heat_capacity(Composition(1 - w, {formula: w}), 25.0).value
        for w in (w_max - 1e-6, w_max + 1e-6)
    )
    assert below == pytest.approx(above, abs=1e-4)


@pytest.mark.parametrize("formula", ["NH3", "CuSO4", "KHCOO", "C2H5OH", "HCl", "HNO3"])
def test_published_points_are_met(formula):
    for row in tables.rows("published_solutions"):
        if row["formula"] == formula and row["trust"] == "1":
            w, t_C = float(row["w"]), float(row["t_C"])
            ours = heat_capacity(Composition(1 - w, {formula: w}), t_C)
            assert ours.value == pytest.approx(float(row["cp_J_per_gK"]), abs=1e-6)
            assert ours.u >= 0.99 * float(row["u"])


def test_points_are_in_order_and_name_their_source():
    for row in tables.rows("published_solutions"):
        assert row["source"]
        assert 0 < float(row["w"]) < 1
    assert [p.w for p in published.points("HNO3")] == sorted(p.w for p in published.points("HNO3"))


# --- every solute, every strength: sensible numbers, never a traceback --------------------------


@pytest.mark.parametrize("formula", SOLUTES)
def test_every_solute_has_a_sensible_heat_capacity_and_density(formula):
    for w in (0.001, 0.05, 0.15):
        liquid = Composition(1 - w, {formula: w})
        for t_C in (5.0, 25.0, 60.0):
            c, rho = heat_capacity(liquid, t_C), density(liquid, t_C)
            share = (1 - w) * water.cp_J_per_gK(t_C)
            assert -4.0 * w - 0.01 <= c.value - share <= 8.5 * w + 0.01
            assert 0 < c.u < 0.004 + 3.5 * w
            assert 0.9 < rho.value < 1.5
            assert 0 < rho.u < 0.0005 + 0.25 * w


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(st.sampled_from(SOLUTES), st.floats(0.0, 8.0), max_size=4),
    st.floats(0.0, 99.0),
)
def test_any_mixture_gives_finite_numbers(solutes, t_C):
    liquid = Composition(60.0, solutes)
    for ours in (heat_capacity(liquid, t_C), density(liquid, t_C)):
        assert ours.value > 0.5
        assert 0 < ours.u < ours.value


def test_mixture_of_acid_and_salt_shares_each_solutes_part():
    # common practice: product liquid of 50 mL + 50 mL of 2 mol/L HCl and NaOH, reaction complete
    acid = from_molarity("HCl", 2.0, volume_mL=50.0, t_C=25.0)
    base = from_molarity("NaOH", 2.0, volume_mL=50.0, t_C=25.0)
    assert acid.total_g + base.total_g == pytest.approx(105.50, abs=0.02)
    # C: 105.50 g of product, 412.7 J/K; weighing but keeping 4.184 gives 441.4 J/K, 7 % too much
    moles = acid.solutes_g["HCl"] / molar_mass("HCl").value
    salt = moles * molar_mass("NaCl").value
    product = Composition(acid.total_g + base.total_g - salt, {"NaCl": salt})
    capacity = heat_capacity(product, 25.0)
    assert capacity.value * product.total_g == pytest.approx(412.7, rel=0.002)
    assert capacity.u / capacity.value < 0.005
    both = mix(Composition(90.0, {"NaCl": 5.0}), Composition(10.0, {"HCl": 0.5}))
    assert heat_capacity(both, 25.0).kind == "correlation"


@pytest.mark.parametrize("formula", laliberte.solutes("cp"))
def test_correlations_in_use_do_not_run_away_towards_water(formula):
    for w in (1e-5, 1e-4, 1e-3):
        gap = heat_capacity(Composition(1 - w, {formula: w}), 25.0).value - 4.18131
        assert abs(gap) < 12 * w + 1e-6


# --- from a concentration ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("formula", "mol_per_L", "w", "rho"),
    # L: Laliberté as coded in thermo, 25 °C
    [
        ("HCl", 2.0, 0.07072, 1.03137),
        ("NaOH", 2.0, 0.07419, 1.07855),
        ("HCl", 1.0, 0.03595, 1.01442),
        ("NaOH", 1.0, 0.03850, 1.03922),
        ("NaCl", 1.0, 0.05637, 1.03695),
        ("CH3COOH", 1.0, 0.05976, 1.00481),
        ("NH3", 1.0, 0.01721, 0.98991),
        ("HNO3", 1.0, 0.06112, 1.03108),
        ("H2SO4", 1.0, 0.09255, 1.05980),
    ],
)
def test_molarity_to_composition(formula, mol_per_L, w, rho):
    liquid = from_molarity(formula, mol_per_L, volume_mL=100.0, t_C=25.0)
    assert liquid.mass_fractions[formula] == pytest.approx(w, rel=1e-3)
    assert liquid.total_g == pytest.approx(100 * rho, rel=2e-5)


@given(st.sampled_from(["NaCl", "HCl", "KNO3", "C12H22O11", "MgSO4", "TRIS"]), st.floats(0.001, 2))
def test_molarity_comes_back(name, mol_per_L):
    formula = "C4H11NO3" if name == "TRIS" else name
    liquid = from_molarity(formula, mol_per_L, volume_mL=250.0, t_C=20.0)
    moles = liquid.solutes_g[formula] / molar_mass(formula).value
    assert moles == pytest.approx(0.25 * mol_per_L, rel=1e-8)
    by_mass = from_molarity(formula, mol_per_L, mass_g=liquid.total_g, t_C=20.0)
    assert by_mass.water_g == pytest.approx(liquid.water_g, rel=1e-8)


@pytest.mark.parametrize(
    ("formula", "mol_per_L", "rho"),
    # M: densities on the labels of concentrated reagents, 20 °C
    [("H2SO4", 18.0, 1.84), ("HCl", 12.1, 1.18), ("HNO3", 15.8, 1.41), ("NH3", 14.8, 0.90),
     ("CH3COOH", 17.4, 1.05), ("H3PO4", 14.7, 1.69)],
)  # fmt: skip
def test_concentrated_reagents(formula, mol_per_L, rho):
    liquid = from_molarity(formula, mol_per_L, volume_mL=1.0, t_C=20.0)
    assert liquid.total_g == pytest.approx(rho, rel=0.008)


@pytest.mark.parametrize(
    ("kwargs", "message"),
    [
        ({"mol_per_L": 1.0}, "give either the volume or the mass of the solution, not both$"),
        ({"mol_per_L": 1.0, "volume_mL": 1.0, "mass_g": 1.0}, "not both$"),
        ({"mol_per_L": -1.0, "volume_mL": 1.0}, "cannot be$"),
        ({"mol_per_L": 1.0, "volume_mL": -1.0}, "cannot be$"),
        ({"mol_per_L": float("nan"), "volume_mL": 1.0}, "cannot be$"),
        ({"mol_per_L": 40.0, "volume_mL": 1.0}, "check the concentration and its unit$"),
    ],
)
def test_impossible_solutions_are_refused(kwargs, message):
    with pytest.raises(SubstanceError, match=message):
        from_molarity("NaCl", t_C=25.0, **kwargs)


def test_no_water_is_refused():
    with pytest.raises(SubstanceError, match="no aqueous solution"):
        heat_capacity(Composition(0.0, {"NaCl": 1.0}), 25.0)
    with pytest.raises(SubstanceError):
        heat_capacity(Composition(0.0, {}), 25.0)


def test_states_of_the_listed_solutes_are_known():
    assert all(usual_state(formula) for formula in SOLUTES)
