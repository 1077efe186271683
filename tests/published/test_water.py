"""Water against IAPWS-95 as coded elsewhere, against IAPWS's own check value and a printed table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import SubstanceError
from calib.substances import water

INSIDE = st.floats(min_value=0.0, max_value=99.0)


# L: IAPWS-95 at 101.325 kPa; density from chemicals, heat capacity from CoolProp
IAPWS = [
    (5, 0.9999666, 4.20504),
    (10, 0.9997025, 4.19516),
    (15, 0.9991026, 4.18846),
    (20, 0.9982072, 4.18405),
    (25, 0.9970476, 4.18131),
    (30, 0.9956495, 4.17982),
    (40, 0.9922164, 4.17941),
    (60, 0.9831958, 4.18495),
    (80, 0.9717904, 4.19675),
]


@pytest.mark.parametrize(("t_C", "density", "cp"), IAPWS)
def test_iapws_95_values(t_C, density, cp):
    assert water.density_g_per_mL(float(t_C)) == pytest.approx(density, abs=2e-7)
    assert water.cp_J_per_gK(float(t_C)) == pytest.approx(cp, abs=1e-5)


@pytest.mark.parametrize(
    ("t1", "t2", "mean"),
    # L/C: mean heat capacities from enthalpy differences of IAPWS-95
    [(15, 25, 4.18433), (20, 40, 4.18045), (20, 60, 4.18103), (25, 80, 4.18428), (5, 95, 4.18869)],
)
def test_mean_heat_capacity_is_the_enthalpy_difference(t1, t2, mean):
    assert water.mean_cp_J_per_gK(float(t1), float(t2)) == pytest.approx(mean, abs=1.5e-5)


@pytest.mark.parametrize(
    ("t_C", "printed"),
    # F: OpenStax Chemistry 2e, appendix E, density of water in g/mL
    [(10, 0.9997026), (15, 0.9991026), (20, 0.9982071), (25, 0.9970479), (30, 0.9956502),
     (40, 0.9922), (60, 0.9832), (80, 0.9718)],
)  # fmt: skip
def test_density_against_a_textbook_table(t_C, printed):
    tolerance = 1e-6 if printed > 0.993 else 1e-4
    assert water.density_g_per_mL(float(t_C)) == pytest.approx(printed, abs=tolerance)


def test_against_the_libraries_between_the_nodes():
    PropsSI = pytest.importorskip("CoolProp.CoolProp").PropsSI
    from chemicals.iapws import iapws95_rho

    t = np.linspace(0.25, 98.75, 198)
    h0 = PropsSI("H", "T", 293.15, "P", 101325, "Water")
    for name, key, scale in (("density_g_per_mL", "D", 1000.0), ("cp_J_per_gK", "C", 1000.0)):
        theirs = np.array([PropsSI(key, "T", x + 273.15, "P", 101325, "Water") for x in t]) / scale
        assert np.max(np.abs(getattr(water, name)(t) / theirs - 1)) < 8e-6
    theirs = np.array([iapws95_rho(x + 273.15, 101325.0) for x in t]) / 1000.0
    assert np.max(np.abs(water.density_g_per_mL(t) / theirs - 1)) < 3e-6
    ours = water.enthalpy_J_per_g(t) - water.enthalpy_J_per_g(20.0)
    theirs = np.array([PropsSI("H", "T", x + 273.15, "P", 101325, "Water") - h0 for x in t]) / 1e3
    assert np.max(np.abs(ours - theirs)) < 2e-5


def test_shipped_table_is_what_its_script_makes(tmp_path, monkeypatch):
    pytest.importorskip("CoolProp")
    from calib.substances import make_water_table

    shipped = make_water_table.TABLE.read_text(encoding="utf-8")
    monkeypatch.setattr(make_water_table, "TABLE", tmp_path / "water.tsv")
    make_water_table.main()
    made = (tmp_path / "water.tsv").read_text(encoding="utf-8")
    for old, new in zip(shipped.splitlines()[2:], made.splitlines()[2:], strict=True):
        assert [float(x) for x in old.split()] == pytest.approx(
            [float(x) for x in new.split()], abs=2e-6
        )


@given(INSIDE, INSIDE)
def test_mean_lies_between_the_extremes_and_is_symmetric(t1, t2):
    mean = water.mean_cp_J_per_gK(t1, t2)
    assert 4.1790 < mean < 4.2196
    assert mean == pytest.approx(water.mean_cp_J_per_gK(t2, t1), rel=1e-9)


@given(INSIDE)
def test_scalar_and_array_agree(t_C):
    for f in (water.density_g_per_mL, water.cp_J_per_gK, water.enthalpy_J_per_g):
        assert isinstance(f(t_C), float)
        assert f(np.array([t_C, t_C]))[1] == f(t_C)


@pytest.mark.parametrize("t_C", [-0.001, 99.001, float("nan"), 1e9])
def test_outside_the_table_is_refused(t_C):
    with pytest.raises(SubstanceError, match=r"tabulated from 0 to 99 °C, not at .*its unit$"):
        water.cp_J_per_gK(t_C)
    with pytest.raises(SubstanceError):
        water.mean_cp_J_per_gK(20.0, t_C)


def test_a_measured_volume_times_4_184_is_0_36_per_cent_too_much():
    # L/C: IAPWS-95, volumetric heat capacity of water at 25 °C 4.1690 J/(mL K)
    volumetric = water.cp_J_per_gK(25.0) * water.density_g_per_mL(25.0)
    assert volumetric == pytest.approx(4.1690, abs=5e-5)
    assert 4.184 / volumetric - 1 == pytest.approx(0.0036, abs=1e-4)
