"""Cooling laws against closed forms, an integrator (scipy), and simulated logs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fitting import fit_cooling_log
from fitting.cooling import LAWS
from fitting.cooling.laws import Span, course
from fitting.curve import Curve
from fitting.errors import CurveError
from tests.benchmarks.cooling_truth import draw_logs

T = np.linspace(0.0, 3600.0, 40)
SPAN = Span(middle_C=40.0, length_s=3600.0, width_s=60.0)


def integrated(slope, start):
    done = solve_ivp(
        lambda t, y: [slope(t, y[0])], (0, T[-1]), [start], t_eval=T, rtol=1e-10, atol=1e-10
    )
    return done.y[0]


@pytest.mark.parametrize("name", ["newton", "steeper", "drifting-room"])
@pytest.mark.parametrize("start", [60.0, 5.0])
def test_closed_forms_solve_their_equations(name, start):
    more = {"newton": (), "steeper": (1.25,), "drifting-room": (2e-4,)}[name]
    p = np.array([start, 4e-4, 22.0, *more])
    law = LAWS[name]
    expected = integrated(lambda t, y: law.slope(p, t, y, SPAN), start)
    assert law.model(p, T, SPAN) == pytest.approx(expected, abs=1e-6)


def test_two_bodies_give_two_exponentials():
    """Content and wall that exchange heat: eigenvalues of the 2 x 2 system (numpy)."""
    k, w, tau = 2e-4, 1.5e-3, 300.0
    M = np.array([[-(k + w), w], [1 / tau, -1 / tau]])
    values, vectors = np.linalg.eig(M)
    amount = np.linalg.solve(vectors, np.array([30.0, 10.0]))
    content = 22.0 + (vectors[0] * amount * np.exp(np.outer(T, values))).sum(axis=1)
    slow, fast = sorted(-values)
    b = float((vectors[0] * amount)[np.argmin(values)])
    p = np.array([52.0, slow, 22.0, b, 1 / fast])
    assert LAWS["slow-wall"].model(p, T, SPAN) == pytest.approx(content, abs=1e-8)


def test_free_convection_straightens_with_the_fourth_root():
    """dθ/dt ∝ −θ^(5/4): θ^(−1/4) is linear in time (from memory: Dulong & Petit, Lorenz)."""
    p = np.array([80.0, 5e-4, 20.0, 1.25])
    root = (LAWS["steeper"].model(p, T, SPAN) - 20.0) ** -0.25
    assert np.diff(root) == pytest.approx(np.diff(root)[0], rel=1e-6)


@pytest.mark.parametrize("name", ["slow-wall", "steeper", "drifting-room"])
def test_newton_is_a_special_case(name):
    law = LAWS[name]
    none = {"slow-wall": (0.0, 300.0), "steeper": (1.0,), "drifting-room": (0.0,)}[name]
    p = np.array([55.0, 3e-4, 21.0])
    newton = LAWS["newton"].model(p, T, SPAN)
    assert law.model(np.array([*p, *none]), T, SPAN) == pytest.approx(newton, abs=1e-9)
    still = np.array([55.0, 0.0, 21.0, *none])
    assert law.model(still, T, SPAN) == pytest.approx(np.full(T.size, 55.0))


@pytest.mark.parametrize(
    ("kind", "law", "least"),
    [
        ("newton", "newton", 5),
        ("slow-wall", "slow-wall", 5),
        ("steeper", "steeper", 3),
        ("convection", "steeper", 3),
        ("drifting-room", "drifting-room", 5),
    ],
)
def test_the_right_law_is_found_in_most_logs(kind, law, least):
    """Six draws each; the tables in tests/benchmarks/FIGURES.md have more. With the room's temperature noted."""
    right = held = 0
    for draw in draw_logs(kind, range(100, 106)):
        found = fit_cooling_log(draw.curve, room_C=round(draw.room_C, 1))
        right += found.law == law
        k, _, settles = draw.answer(found.middle_C)
        low, high = found.rate_interval95_per_s
        cold, warm = found.t_inf_interval95_C
        held += (low < k < high) + (cold < settles < warm)
    assert right >= least
    assert held >= 9


def test_the_course_of_a_mixture_is_that_of_its_equation():
    """θ = T − T∞ − c t, dT/dt = −k θ |θ/θr|^m: against scipy's integrator."""
    p = np.array([[60.0, 4e-4, 22.0, 2e-4, 0.3, 0.0, 50.0], [5.0, 2e-4, 22.0, -3e-4, 0.0, 0.0, 50.0],
                  [45.0, 8e-4, 25.0, 5e-4, 0.01, 0.0, 50.0]])  # fmt: skip
    out = course(p, T, 40.0)
    for row, (start, k, settles, c, m, _, _) in zip(out, p, strict=True):

        def slope(t, y, k=k, settles=settles, c=c, m=m):
            theta = y - settles - c * t
            return -k * theta * abs(theta / (40.0 - settles)) ** m

        assert row == pytest.approx(integrated(slope, start), abs=5e-4)
    p[:, 5:] = 1.5, 300.0
    faded = np.exp(-T / 300.0)
    p[:, 0] += 1.5
    assert course(p, T, 40.0) == pytest.approx(out + 1.5 * faded, abs=1e-9)


def test_parts_add_up_and_chances_are_probabilities():
    (draw,) = draw_logs("lidded", [7])
    found = fit_cooling_log(draw.curve, room_C=draw.room_C, heat_capacity_J_per_K=400.0)
    assert np.hypot.reduce([u for _, u in found.parts]) == pytest.approx(found.u_rate_per_s)
    assert all(0 <= chance <= 1 for _, chance in found.chances)
    again = fit_cooling_log(draw.curve, room_C=draw.room_C, heat_capacity_J_per_K=400.0)
    assert again.rate_per_s == found.rate_per_s  # the same draws every time
    low, high = found.rate_interval95_per_s
    assert found.conductance_interval95_W_per_K == pytest.approx((400 * low, 400 * high))


def test_a_noted_room_makes_the_rate_better_known():
    (draw,) = draw_logs("lidded", [8])
    noted = fit_cooling_log(draw.curve, room_C=draw.room_C, u_room_K=0.2)
    blind = fit_cooling_log(draw.curve)
    assert noted.u_rate_per_s < 0.8 * blind.u_rate_per_s


def test_a_law_at_the_end_of_its_range_is_not_admissible():
    (draw,) = draw_logs("newton", [3])
    laws = fit_cooling_log(draw.curve, room_C=draw.room_C).laws
    steeper = laws.named("steeper")
    n = {name: value for name, value, _, _ in steeper.parameters}["n"]
    assert n > 1.005 or (not steeper.admissible and "end of its range" in steeper.why)
    assert laws.named(laws.chosen).admissible


def test_a_log_gives_the_conductance_of_a_known_cup():
    """Closed form: 400 J/K, 0.04 W/K, T∞ 21.5 °C, noise of 5 mK."""
    t = np.arange(0.0, 5400.0, 10.0)
    T = 21.5 + 25.0 * np.exp(-0.04 / 400 * t) + np.random.default_rng(1).normal(0, 0.005, t.size)
    found = fit_cooling_log(
        Curve.from_arrays(t, T), heat_capacity_J_per_K=400.0, u_heat_capacity_J_per_K=4.0
    )
    assert found.laws.chosen == "newton"
    assert found.conductance_W_per_K == pytest.approx(0.04, abs=3 * found.u_conductance_W_per_K)
    assert found.u_conductance_W_per_K < 0.01
    assert "W/K" in found.verdict
    assert "newton" in found.laws.to_frame().index
    assert "<table>" in found._repr_html_()
    assert found.t_inf_C == pytest.approx(21.5, abs=3 * found.u_t_inf_K)


def test_a_warming_log_is_as_good():
    t = np.arange(0.0, 5400.0, 10.0)
    T = 21.5 - 15.0 * np.exp(-1e-4 * t) + np.random.default_rng(2).normal(0, 0.005, t.size)
    found = fit_cooling_log(Curve.from_arrays(t, T), room_C=21.3)
    assert found.rate_per_s == pytest.approx(1e-4, abs=3 * found.u_rate_per_s)


def test_useless_logs_are_refused_with_the_reason():
    t = np.arange(0.0, 600.0, 5.0)
    still = Curve.from_arrays(t, 21.5 + np.random.default_rng(3).normal(0, 0.005, t.size))
    with pytest.raises(CurveError, match="start further from the room's temperature"):
        fit_cooling_log(still)
    short = Curve.from_arrays(t[:8], np.linspace(40, 39, 8))
    with pytest.raises(CurveError, match="too few to tell cooling laws apart"):
        fit_cooling_log(short)
    with pytest.raises(CurveError, match="heat capacity is -1"):
        fit_cooling_log(still, heat_capacity_J_per_K=-1.0)
