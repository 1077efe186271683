"""The engine against a plain twin, and against cups whose answer is known exactly."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from fitting.cup.knowledge import CUP, VESSELS, all_facts, lid_of
from fitting.newton.average import TRUST_LIQUID, TRUST_SOLID, average, design
from fitting.newton.covariance import errors_of
from fitting.newton.early import RELEASE_S, early_processes
from fitting.newton.evidence import mixture_quantiles
from fitting.newton.explain import explain
from fitting.newton.prior import rate_bands, shared_prior
from fitting.newton.rows import (
    RATE,
    RISE,
    SHARED,
    Rows,
    shared_columns,
    vapour_excess,
    vapour_height,
    vapour_pressure,
)
from fitting.newton.setting import Setting
from fitting.newton.source import IDLE, POUR, heater
from fitting.newton.walls import hidden_loss, wall_grid
from fitting.noise import Noise

K, RISE_K, ROOM_K = 1.5e-4, 8.0, 0.4
NOISE = Noise(0.004, 0.0, 0.0, 100)


def newton_rows(k=K, rise=RISE_K, room=ROOM_K, noise=0.0, seed=1):
    """A cup of one body that obeys Newton's law and nothing else; nothing lags."""
    fore, after = np.arange(-180.0, 0.0, 10.0), np.arange(20.0, 600.0, 10.0)
    s = np.concatenate([fore, after])
    start = room - room * np.exp(-k * fore)  # of T1 = 0 at the mixing, drifting to the room
    y = np.concatenate([start, room + (rise - room) * np.exp(-k * after)])
    before = room * fore - room / k * (1 - np.exp(-k * fore))
    later = room * after + (rise - room) / k * (1 - np.exp(-k * after))
    integral = np.concatenate([before, later])
    rng = np.random.default_rng(seed)
    ones = np.ones_like(s)
    return Rows(
        s, y + noise * rng.normal(size=s.size), integral, 0 * s, 0 * s, 10 * ones, ones * (s > 0),
        np.zeros((s.size, s.size)), y,
    )  # fmt: skip


def setting_for(**changes):
    return replace(Setting(RISE_K, 21.0, 1.0, ROOM_K, 0.5), **changes)


def test_the_engine_equals_a_plain_twin():
    """Every model of the first early set by its own normal equations, one after the other.

    The twin writes the covariance and the prior out and solves y ~ N(X b + K m, C + K S Kᵀ) with b ~
    N(m, P⁻¹) as one linear Gaussian model (C. M. Bishop 2006, eqs. 2.113 to 2.117).
    """
    rows, setting = newton_rows(noise=0.003), setting_for(rate=(K, 0.2 * K))
    found = average(rows, NOISE, setting)
    problem = found.problem
    checked = 0
    for m in np.argsort(-found.weight)[:12]:
        which = (found.quick[m], found.release[m], found.wall[m], found.band[m])
        model = design(problem, found.prior, *(int(x) for x in which))
        V = problem.errors.total(problem.scale) + model.early.covariance
        P = np.linalg.inv(model.prior_covariance)
        A = P + model.columns.T @ np.linalg.solve(V, model.columns)
        right = np.linalg.solve(V, rows.y - model.early.mean)
        beta = np.linalg.solve(A, P @ model.prior_mean + model.columns.T @ right)
        off = found.hidden_K[m]
        assert found.mean[m, 1] == pytest.approx(beta[RISE] - off, rel=1e-6)
        assert found.mean[m, 3] == pytest.approx(beta[RATE], rel=1e-5)
        cov = np.linalg.inv(A)
        per_rate = off / beta[RATE]
        variance = cov[RISE, RISE] - 2 * per_rate * cov[RISE, RATE]
        variance += per_rate**2 * cov[RATE, RATE] + found.u_hidden_K[m] ** 2
        assert found.sd[m, 1] == pytest.approx(math.sqrt(variance), rel=1e-4)
        checked += 1
    assert checked >= 8


def test_weights_follow_the_evidence_of_the_plain_twin():
    """Ratio of two models' weights = prior times N(y; X m + K m, X P⁻¹ Xᵀ + V)."""
    rows, setting = newton_rows(noise=0.003), setting_for(rate=(K, 0.2 * K))
    found = average(rows, NOISE, setting)
    problem = found.problem

    def log_weight(m):
        q, r, w, b = (int(x[m]) for x in (found.quick, found.release, found.wall, found.band))
        model = design(problem, found.prior, q, r, w, b)
        V = problem.errors.total(problem.scale) + model.early.covariance
        V = V + model.columns @ model.prior_covariance @ model.columns.T
        rest = rows.y - model.early.mean - model.columns @ model.prior_mean
        evidence = -(rest @ np.linalg.solve(V, rest) + np.linalg.slogdet(V)[1]) / 2
        trust = setting.between(TRUST_LIQUID, TRUST_SOLID)
        prior = np.log(problem.weight[q, r]) + np.log(problem.walls.weight[w])
        hidden = hidden_loss(
            np.array([found.mean[m, 3]]), np.array([w]), np.array([found.wall_K[m] / RISE_K]),
            np.array([1e-6]), problem.walls,
        )  # fmt: skip
        return trust * evidence + prior, hidden

    order = [m for m in np.argsort(-found.weight)[:40] if problem.walls.time_s[found.wall[m]] == 0]
    first, second = order[0], order[3]
    expected = log_weight(first)[0] - log_weight(second)[0]
    assert np.log(found.weight[first] / found.weight[second]) == pytest.approx(expected, abs=0.02)


def test_a_cup_of_one_body_gives_its_rise_less_what_an_unseen_wall_may_hide():
    found = average(newton_rows(), NOISE, setting_for())
    rise, u = found.moments(RISE)
    assert rise + found.hidden[0] == pytest.approx(RISE_K, abs=0.004)
    assert abs(rise - RISE_K) < 2 * u
    assert found.moments(RATE)[0] == pytest.approx(K, rel=0.05)


def test_a_rate_known_beforehand_narrows_the_answer():
    rows = newton_rows(noise=0.004)
    plain = average(rows, NOISE, setting_for())
    told = average(rows, NOISE, setting_for(rate=(K, 0.02 * K)))
    assert told.moments(RATE)[1] < 0.6 * plain.moments(RATE)[1]
    assert told.moments(RISE)[1] <= plain.moments(RISE)[1]


@pytest.mark.parametrize("ratio", [0.4, 0.85, 1.0])
def test_parts_of_u_add_up_to_it(ratio):
    rows = newton_rows(noise=0.004)
    found = average(rows, NOISE, setting_for(ratio=ratio))
    made = explain(found, rows)
    total = math.sqrt(sum(u * u for _, u in made.parts))
    assert total == pytest.approx(found.moments(RISE)[1], rel=1e-6)
    assert made.residual_K.shape == rows.s.shape


def test_a_source_gives_all_of_its_heat_and_what_lags_is_late():
    s = np.array([-10.0, 0.0, 50.0, 100.0, 150.0])
    assert POUR.given(s).tolist() == [0.0, 0.0, 1.0, 1.0, 1.0]
    assert heater(100.0).given(s).tolist() == [0.0, 0.0, 0.5, 1.0, 1.0]
    assert IDLE.given(s).tolist() == [0.0] * 5
    late = heater(100.0).late(np.array([100.1, 150.1]), np.array([20.0, 0.0]))
    # a ramp of slope 1/θ is followed with the lag τ/θ once it has gone on for longer than τ
    assert late[0, 0] == pytest.approx(
        20 / 100 * (1 - math.exp(-5)) * math.exp(-0.1 / 20), rel=1e-9
    )
    assert late[1, 0] / late[0, 0] == pytest.approx(math.exp(-50 / 20))
    assert late[:, 1].tolist() == [0.0, 0.0]
    short = heater(1e-3).late(np.array([10.0]), np.array([20.0]))
    assert short[0, 0] == pytest.approx(math.exp(-10 / 20), rel=1e-3)  # a short heater is a pouring


def two_bodies(a, tau, g, k, length_s=900.0, h=0.05):
    """Content and wall by explicit steps; heights above the room after a rise of 1 K of both.

    C dT/dt = −(1 − g) G T − G_w (T − T_w),  C_w dT_w/dt = G_w (T − T_w) − g G T_w; per C + C_w.
    """
    content, wall = 1 / (1 - a), 0.0  # the heat of 1 K of the whole is in the content
    Gw = a / tau
    t, T, integral = [0.0], [content], [0.0]
    for i in range(int(length_s / h)):
        flow = Gw * (content - wall)
        content += h * (-(1 - g) * k * content - flow) / (1 - a)
        wall += h * (flow - g * k * wall) / a
        t.append((i + 1) * h)
        T.append(content)
        integral.append(integral[-1] + h * (T[-1] + T[-2]) / 2)
    return np.array(t), np.array(T), np.array(integral)


@pytest.mark.parametrize(
    ("a", "tau", "g"), [(0.01, 40.0, 0.3), (0.05, 100.0, 0.4), (0.006, 8.0, 0.7)]
)
def test_what_a_wall_hides_is_what_newtons_integral_counts_too_much(a, tau, g):
    """ε = g k τ' (1 + γ) against a cup of two bodies, after the wall has settled."""
    k = 1.4e-4
    t, T, integral = two_bodies(a, tau, g, k)
    late = t > 8 * tau
    # settled: T + k_eff ∫T is constant with the slow rate; extrapolated as the engine's equation does
    slope = -np.polyfit(integral[late], T[late], 1)[0]
    rise = float(np.mean(T[late] + slope * integral[late]))
    gamma = 1 / (1 + g * k * tau / a)
    expected = g * k * gamma * tau * (1 + gamma)
    assert rise - 1.0 == pytest.approx(expected, rel=0.15, abs=2e-5)


def test_hidden_loss_of_seen_and_unseen_walls_lies_in_what_is_known():
    grid = wall_grid(CUP)
    at = np.arange(grid.time_s.size)
    found = hidden_loss(np.full(at.size, 1.4e-4), at, grid.overshoot, grid.u_overshoot, grid)
    assert np.all(found.share >= 0)
    assert np.all(found.share < 0.04)
    assert float(grid.weight.sum()) == pytest.approx(1.0)
    unseen = grid.time_s == 0
    assert np.all(np.diff(found.share[unseen]) >= 0)  # the slower, the more is hidden
    none = hidden_loss(np.zeros(at.size), at, grid.overshoot, grid.u_overshoot, grid)
    assert np.allclose(none.share, 0.0)  # no loss, nothing hidden


def test_vapour_follows_the_saturation_pressure_of_water():
    """Against IAPWS R7-97 (from memory): 31.70 hPa at 25 °C, 199.46 at 60; the formula states 0.4 %."""
    e = vapour_pressure(np.array([25.0, 60.0]))
    assert e[0] == pytest.approx(31.70, rel=4e-3)
    assert e[1] == pytest.approx(199.46, rel=5e-3)
    step = 1e-4
    slope = np.diff(vapour_pressure(np.array([25.0 - step, 25.0 + step])))[0] / (2 * step)
    assert e[0] / slope == pytest.approx(vapour_height(25.0), rel=1e-6)
    assert vapour_excess(np.array([0.0]), 21.0)[0] == pytest.approx(0.0, abs=1e-12)
    assert np.all(vapour_excess(np.array([-3.0, 5.0, 40.0]), 21.0) > 0)


def test_the_prior_is_a_normalised_gaussian_in_each_band():
    setting = setting_for()
    bands = rate_bands(setting)
    prior = shared_prior(bands, setting)
    assert float(bands.weight.sum()) == pytest.approx(1.0)
    for b in range(bands.centre.size):
        mean = np.linalg.solve(prior.precision[b], prior.pull[b])
        assert mean[RATE] == pytest.approx(bands.centre[b], rel=1e-6)
        assert prior.power[b] == pytest.approx(mean @ prior.precision[b] @ mean, rel=1e-6)
        assert prior.log_det[b] == pytest.approx(np.linalg.slogdet(prior.precision[b])[1], rel=1e-9)


@pytest.mark.parametrize("source", [POUR, heater(300.0), IDLE], ids=["poured", "heater", "idle"])
@pytest.mark.parametrize("ratio", [0.5, 0.97])
def test_early_sets_are_proper(source, ratio):
    rows = newton_rows()
    sets = early_processes(rows, setting_for(source=source, ratio=ratio))
    assert sum(float(one.weight.sum()) for one in sets) == pytest.approx(1.0, abs=0.06)
    for one in sets:
        assert one.weight.shape == RELEASE_S.shape
        assert np.linalg.eigvalsh(one.covariance).min() > -1e-9
    fore = rows.s < 0
    assert all(np.all(one.mean[fore] == 0) for one in sets if source is not IDLE)


def test_errors_are_covariances():
    rows = newton_rows()
    errors = errors_of(rows, NOISE, setting_for(), K)
    for name in ("noise", "wander", "steps", "air", "shape"):
        one = getattr(errors, name)
        assert np.allclose(one, one.T)
        assert np.linalg.eigvalsh(one).min() > -1e-12
    double = errors.total(2.0) - errors.total(1.0)
    assert np.allclose(double, 3 * (errors.noise + errors.wander))


def test_shared_columns_describe_the_exact_course():
    rows = newton_rows()
    X = shared_columns(rows, 1.0, POUR)
    beta = np.zeros(SHARED)
    beta[RISE], beta[2], beta[RATE] = RISE_K, K * ROOM_K, K
    assert np.allclose(X @ beta, rows.y, atol=1e-9)


def test_every_fact_has_unit_and_source_and_every_vessel_a_whole_of_walls():
    facts = list(all_facts())
    assert len(facts) > 50
    for _, fact in facts:
        assert fact.unit
        assert fact.what
        assert fact.source
        assert fact.shape in ("normal", "log-normal", "exact")
        assert math.isfinite(fact.value)
        assert fact.u >= 0
    for vessel in VESSELS.values():
        assert sum(wall.weight for wall in vessel.walls) == pytest.approx(1.0)
    shares = [lid_of(name).vapour_share.value for name in ("closed", "hole", "open")]
    assert shares == sorted(shares)
    assert shares[0] < lid_of(None).vapour_share.value < shares[2]


def test_a_cups_own_hidden_share_takes_the_place_of_each_models():
    """Rise + hidden stays what it was; u holds the cup's u in place of the models' own."""
    found = average(newton_rows(noise=0.003), NOISE, setting_for())
    told = found.with_hidden_share(0.004, 0.001)
    assert told.mean[:, 1] + told.hidden_K == pytest.approx(found.mean[:, 1] + found.hidden_K)
    assert told.hidden == pytest.approx((0.004 * RISE_K, 0.001 * RISE_K))
    variance = told.covariance[:, 1, 1] - found.covariance[:, 1, 1]
    assert variance == pytest.approx((0.001 * RISE_K) ** 2 - found.u_hidden_K**2)
    assert np.all(told.covariance[:, 1, 1] > 0)


def test_quantiles_of_a_mixture_hold_their_share_even_far_from_its_middle():
    """Against scipy's normal distribution: what lies below each quantile is its level."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        m, s = 3 * rng.normal(size=60), np.exp(rng.normal(size=60))
        w = np.exp(2 * rng.normal(size=60))
        w = np.where(w > 1e-3 * w.max(), w, 0.0) / w[w > 1e-3 * w.max()].sum()
        found = mixture_quantiles(w, np.stack([m, 5 * m]), np.stack([s, 5 * s]), (0.025, 0.975))
        assert found[1] == pytest.approx(5 * found[0], rel=1e-5)
        below = scipy.stats.norm.cdf(found[0][:, None], m, s) @ w
        assert below == pytest.approx([0.025, 0.975], abs=1e-6)
