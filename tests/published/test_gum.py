"""The budget engine against the worked examples of the GUM, its Supplement 1 and a Eurachem guide.

Letters: F found in a public page, M from memory, C computed from stated inputs.
"""

from __future__ import annotations

import math

import pytest

from calib.uncertainty import (
    Input,
    covariance_between,
    monte_carlo,
    propagate,
    rectangular,
)


def gauge_block(x):
    theta = x["theta"] + x["cycle"]
    d = x["d"] + x["d_random"] + x["d_systematic"]
    return x["ls"] + d - x["ls"] * (x["dalpha"] * theta + x["alpha"] * x["dtheta"])


GAUGE_BLOCK = (
    Input("ls", 50_000_623.0, 25.0, dof=18),
    Input("d", 215.0, 5.8, dof=24),
    Input("d_random", 0.0, 3.9, dof=5),
    Input("d_systematic", 0.0, 6.7, dof=8),
    rectangular("dalpha", 0.0, 1e-6, dof=50),
    rectangular("dtheta", 0.0, 0.05, dof=2),
    rectangular("alpha", 11.5e-6, 2e-6),
    Input("theta", -0.1, 0.2),
    Input("cycle", 0.0, 0.5 / math.sqrt(2.0), shape="arcsine"),
)


def test_gum_h1_gauge_block():
    """JCGM 100:2008 H.1: l = 50 000 838 nm, u_c = 32 nm, ν_eff = 16, U_99 = 93 nm.

    Values F (GTC documentation; CRAN propagate manual); degrees of freedom C (16.75).
    """
    budget = propagate(gauge_block, GAUGE_BLOCK)
    assert round(budget.value) == 50_000_838
    assert budget.u == pytest.approx(31.66, abs=0.05)
    assert budget.effective_dof == pytest.approx(16.75, abs=0.05)
    truncated = math.floor(budget.effective_dof)  # G.4.1: truncate to the next lower integer
    assert truncated == 16
    from calib.uncertainty import coverage_factor

    assert coverage_factor(16, 0.99) * 32 == pytest.approx(93, abs=0.8)
    assert sum(line.share_percent for line in budget.all_lines) == pytest.approx(100.0)


def test_gum_h1_second_order_shows_in_monte_carlo():
    """H.1.7: with second-order terms u_c = 34 nm (F); the linear budget cannot see them.

    The degrees of freedom are left out of the draws, as H.1.7 does.
    """
    check = monte_carlo(gauge_block, GAUGE_BLOCK, draws=400_000)
    assert check.u == pytest.approx(34.0, abs=0.5)


H2_INPUTS = (
    Input("V", 4.9990, 0.0032, key="V"),
    Input("I", 19.6610e-3, 0.0095e-3, key="I"),
    Input("phi", 1.04446, 0.00075, key="phi"),
)
H2_CORRELATIONS = {("V", "I"): -0.355, ("V", "phi"): 0.858, ("I", "phi"): -0.645}


def test_gum_h2_resistance_and_reactance():
    """JCGM 100 H.2: R, X, Z with u and their correlations (F, GTC source; second digits C)."""
    R = propagate(lambda x: x["V"] / x["I"] * _cos(x["phi"]), H2_INPUTS, H2_CORRELATIONS)
    X = propagate(lambda x: x["V"] / x["I"] * _sin(x["phi"]), H2_INPUTS, H2_CORRELATIONS)
    Z = propagate(lambda x: x["V"] / x["I"], H2_INPUTS, H2_CORRELATIONS)
    assert (R.value, X.value, Z.value) == pytest.approx((127.732, 219.847, 254.260), abs=0.002)
    assert (R.u, X.u, Z.u) == pytest.approx((0.071, 0.296, 0.236), abs=0.002)
    assert _r(R, X) == pytest.approx(-0.588, abs=0.02)
    assert _r(R, Z) == pytest.approx(-0.485, abs=0.02)
    assert _r(X, Z) == pytest.approx(0.993, abs=0.002)
    assert R.correlation_line is not None
    assert sum(line.share_percent for line in R.all_lines) == pytest.approx(100.0)


def _cos(x):
    import numpy as np

    return np.cos(x)


def _sin(x):
    import numpy as np

    return np.sin(x)


def _r(a, b):
    return covariance_between(a, b) / (a.u * b.u)


def four_rectangular(*sds):
    return tuple(
        rectangular(f"x{i}", 0.0, sd * math.sqrt(3.0)) for i, sd in enumerate(sds, start=1)
    )


def total(x):
    return x["x1"] + x["x2"] + x["x3"] + x["x4"]


def test_jcgm101_9_2_3_four_rectangular():
    """JCGM 101:2008 9.2.3: u = 2.00, 95 % interval ±3.88 against ±3.92 (M; C by Monte Carlo)."""
    check = monte_carlo(total, four_rectangular(1, 1, 1, 1), draws=1_000_000)
    assert check.u == pytest.approx(2.00, abs=0.005)
    assert check.interval95 == pytest.approx((-3.88, 3.88), abs=0.015)
    assert check.linear_u == pytest.approx(2.0)
    assert check.agrees


def test_jcgm101_9_2_4_one_dominant_rectangular():
    """JCGM 101 9.2.4: u = 10.1, ±17.0 where the linear budget says ±19.9 (M; C 17.02)."""
    check = monte_carlo(total, four_rectangular(1, 1, 1, 10), draws=1_000_000)
    assert check.u == pytest.approx(10.1, abs=0.06)  # √103 = 10.149, printed as 10.1
    assert check.interval95 == pytest.approx((-17.0, 17.0), abs=0.1)
    assert check.linear_u * 1.96 == pytest.approx(19.9, abs=0.05)
    assert not check.agrees
    assert "more than the tolerance" in check.why


def test_jcgm101_9_3_mass_calibration():
    """JCGM 101 9.3: 1.234 mg, u 0.0754 (first order 0.0539), [1.0834, 1.3825] (F inputs, M, C)."""

    def deviation(x):
        air = (x["air"] - 1.2) * (1.0 / x["rho_w"] - 1.0 / x["rho_r"])
        return (x["m_r"] + x["dm"]) * (1.0 + air) - 100_000.0

    inputs = (
        Input("m_r", 100_000.0, 0.050),
        Input("dm", 1.234, 0.020),
        rectangular("air", 1.20, 0.10),
        rectangular("rho_w", 8000.0, 1000.0),
        rectangular("rho_r", 8000.0, 50.0),
    )
    check = monte_carlo(deviation, inputs, draws=1_000_000)
    assert check.mean == pytest.approx(1.234, abs=0.0005)
    assert check.u == pytest.approx(0.0754, abs=0.0003)
    assert check.linear_u == pytest.approx(0.0539, abs=0.0002)
    assert check.shortest95 == pytest.approx((1.0834, 1.3825), abs=0.003)
    assert not check.agrees


def test_eurachem_a1_cadmium_standard():
    """Eurachem/CITAC QUAM A1: c = 1002.7 mg/L, u = 0.84 (printed 0.9) (F, two pages; C)."""
    volume = (
        Input("V", 100.0, 0.1 / math.sqrt(6.0), shape="triangular", source="flask"),
        Input("V_repeat", 0.0, 0.02, source="repeatability"),
        rectangular("V_temperature", 0.0, 4.0 * 2.1e-4 * 100.0, source="temperature"),
    )
    V = propagate(lambda x: x["V"] + x["V_repeat"] + x["V_temperature"], volume)
    assert V.u == pytest.approx(0.066473, abs=1e-5)
    budget = propagate(
        lambda x: 1000.0 * x["m"] * x["P"] / (x["V"] + x["V_repeat"] + x["V_temperature"]),
        (Input("m", 100.28, 0.05), Input("P", 0.9999, 0.000058), *volume),
    )
    assert budget.value == pytest.approx(1002.70, abs=0.005)
    assert budget.u == pytest.approx(0.8354, abs=0.001)
