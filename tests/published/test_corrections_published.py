"""Corrections against closed forms and the one published worked example.

Closed form (own work; Newton loss and first-order release, times in minutes)::

    dT/dt = R kappa exp(-kappa s) - k (T - T_inf),   s = t - t_m > 0

The example: Babcock & Wilcox, *Steam, its generation and use* (1919), pp. 186-188, eq. 19
(found in a public page): N = 6, R = 0, R' = 0.01, T = 20.29, T' = 22.83.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitting.corrections import correct
from fitting.curve import Curve

# T0, T_inf [°C], k, kappa [1/min], true rise [K], mixing, end [min]
CASES = {
    "A": (22.0, 21.5, 0.010, 3.0, 6.0, 5.0, 20.0),
    "B": (22.0, 22.5, 0.008, 0.5, -4.0, 5.0, 25.0),
    "C": (22.0, 21.0, 0.050, 1.0, 10.0, 5.0, 20.0),
}


def closed_form(name: str, every_min: float = 0.5) -> tuple[np.ndarray, np.ndarray]:
    T0, T_inf, k, kappa, rise, mixed, end = CASES[name]
    t = np.arange(0.0, end + every_min / 2, every_min)
    before = T_inf + (T0 - T_inf) * np.exp(-k * t)
    T_m = T_inf + (T0 - T_inf) * np.exp(-k * mixed)
    s = np.maximum(t - mixed, 0.0)
    after = T_inf + (T_m - T_inf) * np.exp(-k * s)
    after += rise * kappa / (kappa - k) * (np.exp(-k * s) - np.exp(-kappa * s))
    return t * 60, np.where(t <= mixed, before, after)


def corrected(name: str, method: str | None = None, every_min: float = 0.05):
    t, T = closed_form(name, every_min)
    curve = Curve.from_arrays(t, T, resolution_K=0.0)
    return correct(curve, mixed_at_s=300.0, method=method)


@pytest.mark.parametrize("name", CASES)
def test_the_95_percent_interval_of_the_default_holds_the_exact_rise(name):
    """True answers: +6.000, -4.000, +10.000 K (computed: exact by construction).

    These cups have no wall; the default allows for one, and so comes out 0.2 % low on A, 0.5 % on
    the leaky C and 0.9 % on B, whose release of two minutes hides any wall, with an uncertainty
    that says so.
    """
    found = corrected(name).chosen
    truth = CASES[name][4]
    assert found.rise_K == pytest.approx(truth, rel=0.004 if name == "A" else 0.01)
    assert found.holds(truth)
    assert found.u_rise_K < 0.007 * abs(truth)


@pytest.mark.parametrize("name", CASES)
def test_the_rate_of_an_exact_curve_comes_out(name):
    """k of the closed form; none of these curves has vapour or a drifting room."""
    found = corrected(name).chosen
    k = CASES[name][2] / 60
    assert found.cooling_rate_per_s == pytest.approx(k, abs=2.5 * found.u_cooling_rate_per_s)
    assert found.cooling_rate_per_s == pytest.approx(k, rel=0.05)


@pytest.mark.parametrize(
    ("name", "method", "expected", "tolerance"),
    [
        # straight lines lose 7 to 9 % on the leaky cup C, whose after period is visibly curved
        # (table of exact synthetic curves, computed; ranges differ with the end of the main period)
        ("A", "equal-areas", 5.982, 0.01),
        ("B", "equal-areas", -3.963, 0.01),
        # exact rises; what is left is the tail of the release behind the main period's end
        ("A", "integral", 6.0, 0.001),
        ("B", "integral", -4.0, 0.025),
        ("C", "integral", 10.0, 0.01),
        ("A", "regnault-pfaundler", 5.9998, 0.015),
        ("C", "regnault-pfaundler", 9.9857, 0.15),
        ("A", "straight-line", 5.9977, 0.012),
    ],
)
def test_classical_methods_give_their_closed_form_values(name, method, expected, tolerance):
    assert corrected(name, method).chosen.rise_K == pytest.approx(expected, abs=tolerance)


def test_straight_lines_lose_several_per_cent_on_a_leaky_cup():
    """Lesson of curve C (computed): straight back-extrapolation 9.29 of 10."""
    for method in ("straight-line", "equal-areas"):
        assert corrected("C", method).chosen.rise_K < 9.75


def test_the_printed_example_of_regnault_and_pfaundler():
    """Printed 0.048; the print is not self-consistent, recomputed 0.0485 to 0.0494 (see module).

    Six intervals: C = N [R + (R' - R)/(T' - T) (T'' - T)], T'' the mean of the main period.
    """
    from fitting.corrections.regnault_pfaundler import interval_correction

    readings = np.array([20.29, 22.54, 22.84, 22.88, 22.87, 22.86])
    found = interval_correction(6, 0.0, 0.01, 20.29, 22.83, float(readings.mean()))
    assert 0.048 <= found <= 0.050


@pytest.mark.parametrize(
    "method", [None, "equal-areas", "regnault-pfaundler", "exponential", "integral"]
)
def test_a_mirrored_curve_gives_the_mirrored_rise(method):
    t, T = closed_form("A", 0.05)
    up = correct(Curve.from_arrays(t, T, resolution_K=0.0), mixed_at_s=300.0, method=method)
    down = correct(
        Curve.from_arrays(t, 44.0 - T, resolution_K=0.0), mixed_at_s=300.0, method=method
    )
    assert down.chosen.rise_K == pytest.approx(-up.chosen.rise_K, abs=2e-3)


def test_without_loss_there_is_nothing_to_correct():
    t = np.arange(0.0, 900.0, 2.0)
    T = np.where(t < 300, 21.0, 21.0 + 6.0 * (1 - np.exp(-(t - 300) / 4)))
    found = correct(Curve.from_arrays(t, T, resolution_K=0.0), mixed_at_s=300.0)
    assert found.chosen.rise_K == pytest.approx(6.0, abs=0.015)
