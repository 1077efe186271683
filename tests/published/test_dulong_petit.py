"""A published cooling that is not Newton's: Dulong and Petit's thermometer in a vacuum.

P. L. Dulong, A. T. Petit, Ann. Chim. Phys. 7 (1817) 225 and 337: velocities of cooling, walls at
0 °C, the readings in °C above them. Values from memory (M); their own formula for them,
v = 2.037 (1.0077^θ − 1) °C/min, also from memory, agrees to 2.5 %, which checks the memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator

from fitting import fit_cooling_log
from fitting.curve import Curve

EXCESS_K = np.array([80.0, 100.0, 120.0, 140.0, 160.0, 180.0, 200.0, 220.0, 240.0])
PER_MIN = np.array([1.74, 2.30, 3.02, 3.88, 4.89, 6.10, 7.40, 8.81, 10.69])
velocity = PchipInterpolator(EXCESS_K, PER_MIN)


@pytest.fixture(scope="module")
def log():
    """The lower part of the table, integrated from 140 to 80 °C, in steps of 10 s and 0.1 K."""
    minutes = np.arange(0.0, 42.0, 1 / 6)
    done = solve_ivp(
        lambda t, y: -velocity(y), (0, minutes[-1]), [140.0], t_eval=minutes, rtol=1e-9
    )
    T = done.y[0][done.y[0] >= 80.0]
    return Curve.from_arrays(60 * minutes[: T.size], np.round(T, 1))


def test_the_table_is_remembered_as_its_authors_formula_gives_it():
    by_formula = 2.037 * (1.0077**EXCESS_K - 1)
    assert by_formula == pytest.approx(PER_MIN, rel=0.025)


def test_newtons_law_is_refused_and_the_steeper_one_named(log):
    found = fit_cooling_log(log, room_C=0.0, u_room_K=0.1)
    assert found.law == "steeper"
    newton = found.laws.named("newton")
    assert not newton.admissible


def test_the_rate_is_that_of_the_table(log):
    """Loss over excess at the mean temperature; n from the table, ln v against ln θ."""
    found = fit_cooling_log(log, room_C=0.0, u_room_K=0.1)
    low, high = found.rate_interval95_per_s
    at = found.middle_C
    assert low < float(velocity(at)) / 60 / at < high
    assert high / low < 1.7
    n = {name: value for name, value, _, _ in found.laws.named("steeper").parameters}["n"]
    overall = np.log(PER_MIN[3] / PER_MIN[0]) / np.log(EXCESS_K[3] / EXCESS_K[0])
    assert n == pytest.approx(overall, abs=0.25)
