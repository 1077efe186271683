"""Tolerances and GUM conversions against the standards they are taken from.

Letters: F found in a public page or repository file (named), M from memory (not looked up),
C computed from stated inputs, "practice" common practice without a source.
"""

from __future__ import annotations

import math

import pytest

from calib.runs import Instruments, Run, u_of_difference
from calib.runs import tolerances as tol

# ASTM E1272-02(2012) Table 1, as shown on two standards-shop pages (F): tolerance of class A in
# mL; class B is twice class A (F).
CYLINDERS = {5: 0.05, 10: 0.10, 25: 0.17, 50: 0.25, 100: 0.50, 250: 1.00, 500: 2.00}


@pytest.mark.parametrize(("capacity", "class_a"), CYLINDERS.items())
def test_cylinders_astm_e1272(capacity, class_a):
    for grade, expected in (("A", class_a), ("B", 2 * class_a)):
        limit, fills = tol.glassware_limit("cylinder", grade, float(capacity))
        assert limit.halfwidth == expected
        assert limit.capacity_mL == capacity
        assert fills == 1
        assert limit.origin == "found"


# ASTM E969-02(2012) Table 1, page excerpt (F): volume, class A, class B in mL.
@pytest.mark.parametrize(
    ("volume", "class_a", "class_b"),
    [(0.5, 0.006, 0.012), (1, 0.006, 0.012), (2, 0.006, 0.012), (3, 0.01, 0.02), (4, 0.01, 0.02),
     (5, 0.01, 0.02), (6, 0.01, 0.03), (7, 0.01, 0.03)],
)  # fmt: skip
def test_pipets_astm_e969(volume, class_a, class_b):
    assert tol.glassware_limit("pipet", "A", volume)[0].halfwidth == class_a
    assert tol.glassware_limit("pipet", "B", volume)[0].halfwidth == class_b


# M, from memory: larger pipets (ASTM E969), burets (E287) and flasks (E288), class A; the code
# must own up to that.
@pytest.mark.parametrize(
    ("instrument", "values"),
    [
        ("pipet", {10: 0.02, 25: 0.03, 50: 0.05, 100: 0.08}),
        ("buret", {10: 0.02, 25: 0.03, 50: 0.05, 100: 0.10}),
        ("flask", {25: 0.03, 50: 0.05, 100: 0.08, 250: 0.12, 500: 0.20, 1000: 0.30}),
    ],
)
def test_other_glassware_from_memory(instrument, values):
    for capacity, class_a in values.items():
        limit, _ = tol.glassware_limit(instrument, "A", float(capacity))
        assert limit.halfwidth == class_a
        assert limit.origin == "memory"
        # class B is twice class A: found for E287 and E288
        if instrument != "pipet":
            other, _ = tol.glassware_limit(instrument, "B", float(capacity))
            assert other.halfwidth == pytest.approx(2 * class_a)


def test_more_than_the_largest_piece_takes_several_fillings():
    assert tol.glassware_limit("buret", "A", 150.0)[1] == 2
    assert tol.glassware_limit("pipet", "A", 50.0, capacity_mL=25.0)[1] == 2
    assert tol.glassware_limit("pipet", "A", 25.0, capacity_mL=25.0)[1] == 1
    with pytest.raises(KeyError):
        tol.glassware_limit("cylinder", "AA", 10.0)


# IEC 60751 tolerance classes, from two makers' pages (F): ±(a + b·|t|) °C.
IEC_60751 = {"AA": (0.1, 0.0017), "A": (0.15, 0.002), "B": (0.3, 0.005), "C": (0.6, 0.01)}


@pytest.mark.parametrize(("grade", "a", "b"), [(g, *v) for g, v in IEC_60751.items()])
def test_pt100_iec_60751(grade, a, b):
    (limit,) = (t for t in tol.THERMOMETERS if (t.instrument, t.grade) == ("Pt100", grade))
    assert (limit.halfwidth, limit.slope) == (a, b)


def test_thermistor_and_thermocouple():
    # Interchangeable thermistor, common grade ±0.1 °C over 0 to 70 °C: a maker's page (F).
    # The steepest straight line within ±0.1 over 70 °C has a slope of 0.2/70 (C).
    (thermistor,) = (t for t in tol.THERMOMETERS if t.instrument == "thermistor")
    assert thermistor.halfwidth == 0.1
    assert thermistor.slope == pytest.approx(0.2 / 70)
    # Type K, standard limits: greater of ±2.2 °C or 0.75 %: a maker's page (F).
    (couple,) = (t for t in tol.THERMOMETERS if "type K" in t.instrument)
    assert (couple.halfwidth, couple.slope) == (2.2, 0.0075)


# JCGM 100:2008 (GUM). 4.3.7 rectangular: M, the same in the type B functions of GTC (F).
def test_conversions_of_the_gum():
    assert tol.rectangular(1.0) == pytest.approx(1 / math.sqrt(3))
    assert tol.triangular(1.0) == pytest.approx(1 / math.sqrt(6))
    assert tol.arcsine(1.0) == pytest.approx(1 / math.sqrt(2))
    assert tol.digital_step(1.0) == pytest.approx(0.29, abs=0.002)  # "0.29 δx", F.2.2.1 (M)
    assert tol.from_expanded(0.24, 3.0) == pytest.approx(0.08)


def test_gum_h1_thermal_swing():
    # GUM H.1 end gauge (F, GTC documentation): a cyclic temperature of amplitude 0.5 °C has
    # u = 0.35 °C; the expansion difference ±1e-6 rectangular has u = 0.58e-6.
    assert tol.arcsine(0.5) == pytest.approx(0.35, abs=0.005)
    assert tol.rectangular(1e-6) == pytest.approx(0.58e-6, abs=0.005e-6)


def test_gum_4_3_7_copper():
    # GUM 4.3.7, example 2 (M): expansion coefficient of copper 16.52e-6 ± 0.40e-6 /°C,
    # rectangular, so that u² = 53.3e-15, u = 0.23e-6 /°C.
    u = tol.rectangular(0.40e-6)
    assert u**2 == pytest.approx(53.3e-15, rel=1e-3)
    assert u == pytest.approx(0.23e-6, abs=0.005e-6)


def test_eurachem_a1_flask():
    # Eurachem/CITAC QUAM, example A1 (F, two pages): a 100 mL flask, ±0.1 mL taken as triangular,
    # repeatability 0.02 mL, ±4 °C at 2.1e-4 /°C rectangular, together u(V) = 0.066473 mL (C).
    parts = (tol.triangular(0.1), 0.02, tol.rectangular(100 * 4 * 2.1e-4))
    assert math.hypot(*parts) == pytest.approx(0.066473, abs=5e-7)
    assert tol.triangular(0.1) == pytest.approx(0.04, abs=0.001)  # printed 0.04


def test_gtc_agrees_with_the_conversions():
    # GTC, a general-purpose uncertainty library (L): its type B functions are the oracle.
    type_b = pytest.importorskip("GTC").type_b
    assert tol.rectangular(0.7) == pytest.approx(type_b.uniform(0.7))
    assert tol.triangular(0.7) == pytest.approx(type_b.triangular(0.7))
    assert tol.arcsine(0.7) == pytest.approx(type_b.arcsine(0.7))


def test_difference_with_one_sensor_agrees_with_gtc():
    # The offset and the slope of one Pt100 class B, and two display steps, through GTC (L).
    GTC = pytest.importorskip("GTC")
    offset = GTC.ureal(0, 0.3 / math.sqrt(3), independent=False)
    slope = GTC.ureal(0, 0.005 / math.sqrt(3), independent=False)
    first, last = (GTC.ureal(t, 0.1 / math.sqrt(12)) for t in (21.3, 27.9))
    rise = (last + offset + slope * (27.9 - 20)) - (first + offset + slope * (21.3 - 20))
    from calib.runs.readings_file import Setting, Settings

    setting = Setting(instrument="Pt100", grade="B", step=0.1)
    ours = Instruments(Settings(sections={"temperature": setting}, columns={}))
    run = Run(run="G1", apparatus="H1")
    one, two = ours.u("in_cup_C", 21.3, run), ours.u("extreme_C", 27.9, run)
    assert u_of_difference(two, one) == pytest.approx(GTC.uncertainty(rise), rel=1e-12)


def test_balance_resolution():
    # 0.01 g readability gives u = 0.0029 g from resolution (C from GUM F.2.2.1).
    assert tol.digital_step(0.01) == pytest.approx(0.0029, abs=0.00005)
