"""All models solved on one curve, and their average by evidence.

**One model.** The n averaged readings y are described by (symbols of `fitting.newton.rows`)

    y = X β + K q + e,      β = (T1, rise, p, k, v, d, fore drift | release, its shift | wall),

q the early processes' amplitudes (`fitting.newton.early`), q ~ N(m, S), and e ~ N(0, C) the errors.
The q are of no interest and belong to the errors: y − K m = X β + e', e' ~ N(0, V), V = C + K S Kᵀ.
With what is known beforehand, β ~ N(b, P⁻¹), everything is linear and Gaussian, so that the model
is solved exactly:

    A = P + Xᵀ V⁻¹ X,      β̂ = A⁻¹ (P b + Xᵀ V⁻¹ (y − K m)),      covariance A⁻¹,
    2 ln evidence = ln|P| − ln|A| − ln|V| − |y − K m|²_V − bᵀ P b + β̂ᵀ A β̂.

**Many models.** Early set q, release r, wall w and band of cooling rates b make a grid. Per early
set the readings are whitened once and all columns' products are taken (the Gram matrix G, q of
them); a model picks its rows and columns from it. The wall's column is put in last, by bordering:
with c its products with the other columns and δ = G_ww + 1/u_w² − cᵀ A⁻¹ c,

    Â = (g_w + A_0/u_w² − cᵀ β̂)/δ,   β̂ → β̂ − A⁻¹ c Â,   A⁻¹ → A⁻¹ + A⁻¹ c cᵀ A⁻¹/δ.

A first look with one wide band of k tells which (q, r) and which bands count; only those are solved
with the bands. The size of the readings' own errors is found from the evidence, too.

**The average.** Each model weighs as its prior times its evidence; the answer is the mixture's
mean, its uncertainty holds the spread between models beside each model's own. What a wall hides of
the loss (`fitting.newton.walls`) is taken off each model's rise.

Evidence counts to a power below 1 (0.85, and 0.7 where a solid dissolves): none of the models is
quite true, and where the curve is short, full weight would settle on one too soon.

Sources: C. M. Bishop, *Pattern Recognition and Machine Learning* (2006), eqs. 3.49 to 3.51, 3.86,
2.76 (block inversion); P. Grünwald, T. van Ommen, Bayesian Anal. 12 (2017) 1069, on powers of the
likelihood under models that are not true (from memory; the power itself is judgement).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from fitting.curve import FloatArray
from fitting.newton.blocks import bordered, inverses, whitened
from fitting.newton.covariance import Errors, errors_of
from fitting.newton.early import (
    RELEASE_S,
    RELEASE_SHARE,
    U_RELEASE_SHARE,
    U_RELEASE_SHIFT,
    Early,
    early_processes,
    release_columns,
)
from fitting.newton.evidence import mixture_moments, mixture_quantiles, weights_of
from fitting.newton.prior import Bands, Prior, one_wide_band, rate_bands, shared_prior
from fitting.newton.rows import BEFORE, POWER, RATE, RISE, SHARED, VAPOUR, Rows, shared_columns
from fitting.newton.setting import Setting
from fitting.newton.walls import WallGrid, hidden_loss, wall_grid
from fitting.noise import Noise

IntArray = npt.NDArray[np.intp]

TRUST_LIQUID, TRUST_SOLID = 0.85, 0.7
_HOPELESS = 9.0  # of log evidence behind the best at the first look, within what is solved again
_COUNTS = 9.0  # of log evidence behind the best: less cannot move the average
_SCALES = np.exp(np.linspace(np.log(0.85), np.log(6.0), 9))
_LN_SCALE_SPREAD = 0.35  # what is known of the noise's size beforehand
_SAME_SCALE = 0.17  # of ln: closer to 1 nothing is solved again
_USUAL_RATE_PER_S = (2e-5, 1.5e-3)

KEPT = (BEFORE, RISE, POWER, RATE, VAPOUR)
FINAL, SETTLES = -1, -2  # temperature without loss; where the cup tends to: made of the kept ones
_COLUMNS = (*KEPT, FINAL, SETTLES)
_TOLD = (BEFORE, RISE, FINAL, SETTLES)
_AT = {name: _COLUMNS.index(name) for name in _COLUMNS}


@dataclass(frozen=True, eq=False)
class Problem:
    """One curve ready to be solved: whitened columns of every quick set.

    Attributes:
        columns: X of all models, shape (n, 7 + 2 releases + walls).
        white: per quick set the columns and the readings, whitened; shape (q, n, columns + 1).
        log_det: ½ ln|V| per quick set, shape (q,).
    """

    rows: Rows
    setting: Setting
    walls: WallGrid
    errors: Errors
    scale: float
    early: tuple[Early, ...]
    columns: FloatArray
    white: FloatArray
    log_det: FloatArray

    @cached_property
    def weight(self) -> FloatArray:
        """Prior weight of each early set with each release, shape (q, releases)."""
        return np.stack([one.weight for one in self.early])

    @cached_property
    def gram(self) -> FloatArray:
        """Products of the whitened columns and readings, shape (q, columns + 1, columns + 1)."""
        return np.asarray(self.white.transpose(0, 2, 1) @ self.white)


@dataclass(frozen=True, eq=False)
class Design:
    """One model written out: its columns (n, 10) and which of the grid's they are, what is known of
    its ten parameters beforehand (covariance and mean), and its early processes."""

    columns: FloatArray
    at: tuple[int, ...]
    prior_covariance: FloatArray
    prior_mean: FloatArray
    early: Early


@dataclass(frozen=True, eq=False)
class Averaged:
    """All models' answers and their weights, M models.

    Attributes:
        weight: shape (M,).
        mean: of temperature before [K above the reference], rise [K], power [K/s], rate [1/s],
            vapour's part of it [1/s], temperature without loss and temperature the cup tends to
            [K above the reference], shape (M, 7); the loss that a wall hides is taken off the rise.
        covariance: of these, shape (M, 7, 7); ``sd`` its roots.
        quick, release, wall, band: which model, indices of shape (M,).
        release_K, wall_K: amplitudes of the heat still to come at the mixing, and of the overshoot.
        hidden_K, u_hidden_K: loss through a wall that was taken off the rise.
        prior: what was known beforehand in each band of cooling rates.
        misfit: rms of the best model's residuals over what its errors explain.
        scale: what the readings' own errors were multiplied by.
        log_evidence: of the readings under the average of all models.
    """

    problem: Problem
    prior: Prior
    weight: FloatArray
    mean: FloatArray
    covariance: FloatArray
    quick: IntArray
    release: IntArray
    wall: IntArray
    band: IntArray
    release_K: FloatArray
    wall_K: FloatArray
    hidden_K: FloatArray
    u_hidden_K: FloatArray
    misfit: float
    scale: float
    log_evidence: float
    first_rate_per_s: tuple[float, float]

    @cached_property
    def sd(self) -> FloatArray:
        """Standard uncertainties of ``mean``, shape (M, 7)."""
        return np.asarray(np.sqrt(np.maximum(np.einsum("mii->mi", self.covariance), 1e-30)))

    def moments(self, parameter: int) -> tuple[float, float]:
        """Mean and standard uncertainty of a kept parameter over all models."""
        at = _AT[parameter]
        return mixture_moments(self.weight, self.mean[:, at], self.sd[:, at])

    def interval95(self, parameter: int) -> tuple[float, float]:
        """Interval that holds 95 % of a temperature's or the rise's probability, 2.5 % a side."""
        low, high = self._intervals95[_TOLD.index(parameter)].tolist()
        return low, high

    @cached_property
    def _intervals95(self) -> FloatArray:
        """The 95 % intervals of those that are told with one, shape (4, 2)."""
        at = [_AT[parameter] for parameter in _TOLD]
        return mixture_quantiles(self.weight, self.mean.T[at], self.sd.T[at], (0.025, 0.975))

    def sum_of(self, parts: Mapping[int, float]) -> tuple[FloatArray, FloatArray]:
        """A sum of kept parameters, each times a number, in every model: mean and u, (M,) each."""
        along = np.zeros(len(_COLUMNS))
        for parameter, times in parts.items():
            along[_AT[parameter]] = times
        variance = np.einsum("i,mij,j->m", along, self.covariance, along)
        return self.mean @ along, np.sqrt(np.maximum(variance, 1e-30))

    @property
    def hidden(self) -> tuple[float, float]:
        """Loss through a wall that was taken off the rise, and its u, K."""
        return mixture_moments(self.weight, self.hidden_K, self.u_hidden_K)

    def with_hidden_share(self, share: float, u: float) -> Averaged:
        """The same average where what the wall hides, a share of the change, is known of the cup.

        Its own estimate of each model is put back and the cup's taken off, with the cup's u.
        """
        change = self.problem.setting.change_K
        off, u_off = share * change, abs(u * change)
        risen = np.zeros(len(_COLUMNS))
        risen[[_AT[RISE], _AT[FINAL]]] = 1.0
        mean = self.mean + (self.hidden_K - off)[:, None] * risen
        more = (u_off**2 - self.u_hidden_K**2)[:, None, None] * np.outer(risen, risen)
        same = np.ones_like(self.hidden_K)
        return replace(
            self, mean=mean, covariance=self.covariance + more, hidden_K=off * same,
            u_hidden_K=u_off * same,
        )  # fmt: skip

    @cached_property
    def most_likely(self) -> Design:
        """The model of the largest weight."""
        top = int(np.argmax(self.weight))
        which = (self.quick, self.release, self.wall, self.band)
        return design(self.problem, self.prior, *(int(x[top]) for x in which))

    def probability(self, models: npt.NDArray[np.bool_]) -> float:
        """Weight of some of the models, shape (M,)."""
        return float(self.weight[models].sum())


def average(rows: Rows, noise: Noise, setting: Setting) -> Averaged:
    """Solve every model that counts on the averaged readings and weigh them by evidence."""
    errors = errors_of(rows, noise, setting, _rough_rate(rows, setting))
    problem = _problem(rows, setting, errors, early_processes(rows, setting), 1.0)
    look = _first_look(problem)
    scale = _scale_of(problem, look)
    kept, q = np.unique(look.q, return_inverse=True)
    problem = _narrowed(problem, kept, scale)
    bands = rate_bands(setting)
    prior = shared_prior(bands, setting)
    solved = _solve(problem, q, look.r, _bands_near(bands, look), bands, prior)
    return _gathered(problem, solved, prior, look.rate)


def _rough_rate(rows: Rows, setting: Setting) -> float:
    """A rough k for the room's air: from the readings' later half, within what cups do."""
    late = (rows.after > 0) & (rows.s > 0.5 * rows.s[-1])
    usual = setting.vessel.rate_per_s.value if setting.rate is None else setting.rate[0]
    if late.sum() < 4 or abs(setting.change_K) < 0.5:
        return usual
    slope = float(np.polyfit(rows.s[late], rows.y[late], 1)[0])
    seen = -slope / float(rows.y[late].mean() or 1e-9)
    low, high = _USUAL_RATE_PER_S
    return float(np.clip(np.sqrt(max(seen, low) * usual), low, high))


def _problem(
    rows: Rows, setting: Setting, errors: Errors, sets: tuple[Early, ...], scale: float
) -> Problem:
    walls = wall_grid(setting.vessel)
    release, shift = release_columns(rows, setting)
    columns = np.column_stack([
        shared_columns(rows, setting.ratio, setting.source), release, shift,
        setting.source.late(rows.s, walls.time_s),
    ])  # fmt: skip
    own = errors.total(scale)
    whole = np.empty((len(sets), *own.shape))
    right = np.empty((len(sets), columns.shape[0], columns.shape[1] + 1))
    right[:, :, :-1] = columns
    for at, one in enumerate(sets):
        np.add(own, one.covariance, out=whole[at])
        right[at, :, -1] = rows.y - one.mean
    root = np.linalg.cholesky(whole)
    log_det = np.log(np.einsum("qnn->qn", root)).sum(1)
    white = whitened(root, right)
    return Problem(rows, setting, walls, errors, scale, sets, columns, white, log_det)


def _narrowed(problem: Problem, kept: IntArray, scale: float) -> Problem:
    """The same problem with some of its early sets, and the readings' errors scaled."""
    sets = tuple(problem.early[q] for q in kept)
    if abs(np.log(scale)) > _SAME_SCALE:
        return _problem(problem.rows, problem.setting, problem.errors, sets, scale)
    return replace(problem, early=sets, white=problem.white[kept], log_det=problem.log_det[kept])


@dataclass(frozen=True, eq=False)
class _Look:
    """What a first look with one wide band of k found.

    Attributes:
        q, r: the early sets and releases that count, shape (N,).
        rate: cooling rate and its u as the curve alone tells it, 1/s.
        k, u_k: the same by each (q, r), shape (N,).
        best: the most likely model.
    """

    q: IntArray
    r: IntArray
    rate: tuple[float, float]
    k: FloatArray
    u_k: FloatArray
    best: Design


def _first_look(problem: Problem) -> _Look:
    bands = one_wide_band(problem.setting)
    prior = shared_prior(bands, problem.setting)
    q, r = np.nonzero(problem.weight > 0)
    found = _solve(problem, q, r, np.zeros(1, dtype=np.intp), bands, prior)
    best = found.log_evidence.max(axis=1)
    use = best > best.max() - _HOPELESS
    k, u_k = found.mean[use, RATE], np.sqrt(found.inverse[use, RATE, RATE])
    n, w = np.unravel_index(int(np.argmax(found.log_evidence)), found.log_evidence.shape)
    model = design(problem, prior, int(q[n]), int(r[n]), int(w), 0)
    seen = mixture_moments(weights_of(best[use]), k, u_k)
    return _Look(q[use], r[use], seen, k, u_k, model)


def _bands_near(bands: Bands, look: _Look) -> IntArray:
    """Bands that the cooling rates of a first look lie in; all where none is near."""
    low = bands.centre[:, None] - 3 * bands.width[:, None] < look.k + 4 * look.u_k
    high = bands.centre[:, None] + 3 * bands.width[:, None] > look.k - 4 * look.u_k
    near = np.flatnonzero((low & high).any(axis=1))
    return near if near.size else np.arange(bands.centre.size)


@dataclass(frozen=True, eq=False)
class _Solved:
    """N combinations of quick set q, release r and band b (shapes (N,)), each with every wall.

    Bands run fastest. mean, inverse: β̂ (N, 9) and A⁻¹ (N, 9, 9) without a wall; gain: A⁻¹ c
    (N, 9, walls); overshoot and its variance, and log evidence with prior: (N, walls).
    """

    q: IntArray
    r: IntArray
    b: IntArray
    mean: FloatArray
    inverse: FloatArray
    gain: FloatArray
    overshoot: FloatArray
    v_overshoot: FloatArray
    log_evidence: FloatArray


def _solve(
    problem: Problem, q: IntArray, r: IntArray, b: IntArray, bands: Bands, prior: Prior
) -> _Solved:
    """Solve each pair of quick set q and release r, shape (pairs,), in each band b, shape (B,),
    with every wall; see the module's equations. Axes: n pairs, b bands, i parameters, w walls.
    """
    setting, R = problem.setting, RELEASE_S.size
    G, size = problem.gram, problem.setting.size_K
    y, two = G.shape[1] - 1, np.column_stack([SHARED + r, SHARED + R + r])
    at = np.column_stack([np.tile(np.arange(SHARED), (q.size, 1)), two])
    sets, of = np.unique(q, return_inverse=True)
    inner, log_inner = inverses(G[sets][:, None, :SHARED, :SHARED] + prior.precision[b])
    t_r = 1 / (U_RELEASE_SHARE[r] * size) ** 2
    t_v = 1 / (np.maximum(U_RELEASE_SHIFT[r], 1e-6) * size) ** 2
    own = G[q[:, None, None], two[:, :, None], two[:, None, :]]
    own[:, [0, 1], [0, 1]] += np.column_stack([t_r, t_v])
    inverse, log_more = bordered(
        inner[of], G[q[:, None, None], at[:, :SHARED, None], two[:, None]], own
    )
    log_A = log_inner[of] + log_more
    pull = t_r * RELEASE_SHARE[r] * setting.change_K
    target = np.repeat(G[q[:, None], at, y][:, None], b.size, axis=1)
    target[:, :, :SHARED] += prior.pull[b]
    target[:, :, SHARED] += pull[:, None]
    mean = (inverse @ target[..., None])[..., 0]
    log_P = prior.log_det[b] + (np.log(t_r) + np.log(t_v))[:, None]
    known = prior.power[b] + (pull**2 / t_r)[:, None]
    fit = (target * mean).sum(2) - G[q, y, y][:, None] - known
    evidence = (log_P - log_A + fit) / 2 - problem.log_det[q][:, None]
    wall = np.arange(SHARED + 2 * R, y)
    c = G[q[:, None, None], at[:, :, None], wall]
    gain = inverse @ c[:, None]
    u_w, usual = problem.walls.u_overshoot * size, problem.walls.overshoot * setting.change_K
    t_w = 1 / u_w**2
    free = (G[:, wall, wall][q] + t_w)[:, None] - np.einsum("niw,nbiw->nbw", c, gain)
    need = (G[q[:, None], wall, y] + t_w * usual)[:, None] - mean @ c
    overshoot = need / free
    more = (np.log(t_w / free) + need * overshoot - t_w * usual**2) / 2
    weight = np.log(np.maximum(problem.weight, 1e-300))[q, r][:, None] + np.log(bands.weight[b])
    trust = setting.between(TRUST_LIQUID, TRUST_SOLID)
    prior_weight = weight[..., None] + np.log(problem.walls.weight)
    whole = trust * (evidence[..., None] + more) + prior_weight
    N, W, p = q.size * b.size, wall.size, at.shape[1]
    return _Solved(
        np.repeat(q, b.size), np.repeat(r, b.size), np.tile(b, q.size), mean.reshape(N, p),
        inverse.reshape(N, p, p), gain.reshape(N, p, W), overshoot.reshape(N, W),
        1 / free.reshape(N, W), whole.reshape(N, W),
    )  # fmt: skip


def _gathered(
    problem: Problem, solved: _Solved, prior: Prior, first_rate: tuple[float, float]
) -> Averaged:
    """The models that count, with their answers."""
    setting = problem.setting
    n, w = np.nonzero(solved.log_evidence > float(solved.log_evidence.max()) - _COUNTS)
    overshoot, v = solved.overshoot[n, w], solved.v_overshoot[n, w]
    gain = solved.gain[n, :, w]
    beta = solved.mean[n] - gain * overshoot[:, None]
    kept = np.array(KEPT)
    seen = gain[:, kept]
    covariance = solved.inverse[:, kept[:, None], kept][n]
    covariance = covariance + seen[:, :, None] * seen[:, None, :] * v[:, None, None]
    change = setting.change_K if abs(setting.change_K) > 1e-3 else 1e-3
    hidden = hidden_loss(
        beta[:, RATE], w, overshoot / change, np.sqrt(v) / abs(change), problem.walls
    )
    if not setting.source.heats:
        hidden = type(hidden)(0 * overshoot, 0 * overshoot, 0 * overshoot)
    log_weight = solved.log_evidence[n, w] + hidden.log_weight
    top = float(log_weight.max())
    total = top + float(np.log(np.exp(log_weight - top).sum()))
    off, u_off = change * hidden.share, abs(change) * hidden.u_share
    mean, covariance = _answers(beta[:, kept], covariance, off, u_off)
    best = int(np.argmax(log_weight))
    fitted = np.append(beta[best], overshoot[best])
    residual = _white_residual(problem, solved, fitted, int(n[best]), int(w[best]))
    misfit = float(np.sqrt(residual @ residual / max(residual.size - 4, 1)))
    return Averaged(
        problem, prior, weights_of(log_weight), mean, covariance, solved.q[n], solved.r[n], w,
        solved.b[n], beta[:, SHARED], overshoot, off, u_off, misfit, problem.scale, total,
        first_rate,
    )  # fmt: skip


def _white_residual(
    problem: Problem, solved: _Solved, beta: FloatArray, n: int, w: int
) -> FloatArray:
    """Whitened residuals of one model, shape (rows,)."""
    q, r, R = int(solved.q[n]), int(solved.r[n]), RELEASE_S.size
    at = [*range(SHARED), SHARED + r, SHARED + R + r, SHARED + 2 * R + w]
    white = problem.white[q]
    return np.asarray(white[:, -1] - white[:, at] @ beta)


def _answers(
    beta: FloatArray, covariance: FloatArray, off: FloatArray, u_off: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Kept parameters with the hidden loss taken off, T1 + rise, and p/k; shapes (M, 7), (M, 7, 7).

    Args:
        beta, covariance: the kept parameters of M models, shapes (M, 5) and (M, 5, 5).
        off, u_off: hidden loss and its u, K, shape (M,). It goes with k, so that its covariance
            with the rise is that of k: d rise = d β₁ − (off/k) dk, and d(p/k) = dp/k − (p/k²) dk.
    """
    mean = beta.copy()
    k = np.maximum(mean[:, _AT[RATE]], 1e-9)
    mean[:, _AT[RISE]] -= off
    rest = mean[:, _AT[POWER]] / k

    def turned(by: FloatArray) -> FloatArray:
        """Derivatives of the kept ones, shape (M, 5, any), to those of the seven answers."""
        out = np.empty((by.shape[0], len(_COLUMNS), by.shape[2]))
        out[:, : len(KEPT)] = by
        rate = by[:, _AT[RATE]]
        out[:, _AT[RISE]] -= (off / k)[:, None] * rate
        out[:, _AT[FINAL]] = by[:, _AT[BEFORE]] + out[:, _AT[RISE]]
        out[:, _AT[SETTLES]] = by[:, _AT[POWER]] / k[:, None] - (rest / k)[:, None] * rate
        return out

    out = turned(turned(covariance).transpose(0, 2, 1))
    risen = np.zeros(len(_COLUMNS))
    risen[[_AT[RISE], _AT[FINAL]]] = 1.0
    out += (u_off**2)[:, None, None] * np.outer(risen, risen)
    final = mean[:, _AT[BEFORE]] + mean[:, _AT[RISE]]
    return np.column_stack([mean, final, rest]), out


def _scale_of(problem: Problem, look: _Look) -> float:
    """What the readings' own errors should be multiplied by, from the best model's evidence.

    The evidence is that of the readings under the model's whole covariance, parameters included.
    """
    model = look.best
    X = model.columns
    fixed = X @ model.prior_covariance @ X.T + model.early.covariance
    rest = problem.rows.y - model.early.mean - X @ model.prior_mean
    read, other = problem.errors.parts
    whole = read * (_SCALES**2)[:, None, None] + (other + fixed)
    root = np.linalg.cholesky(whole)
    white = whitened(root, np.broadcast_to(rest[:, None], (*whole.shape[:2], 1)))[..., 0]
    log = -(white**2).sum(1) / 2 - np.log(np.einsum("snn->sn", root)).sum(1)
    weight = weights_of(log - (np.log(_SCALES) / _LN_SCALE_SPREAD) ** 2 / 2)
    return float(np.exp(weight @ np.log(_SCALES)))


def design(problem: Problem, prior: Prior, q: int, r: int, w: int, b: int) -> Design:
    """Write one model of the grid out."""
    setting = problem.setting
    R, size, change = RELEASE_S.size, setting.size_K, setting.change_K
    at = (*range(SHARED), SHARED + r, SHARED + R + r, SHARED + 2 * R + w)
    cov = np.zeros((SHARED + 3, SHARED + 3))
    cov[:SHARED, :SHARED] = np.linalg.inv(prior.precision[b])
    mean = np.zeros(SHARED + 3)
    mean[:SHARED] = cov[:SHARED, :SHARED] @ prior.pull[b]
    slow = (U_RELEASE_SHARE[r], max(U_RELEASE_SHIFT[r], 1e-6), problem.walls.u_overshoot[w])
    cov[range(SHARED, SHARED + 3), range(SHARED, SHARED + 3)] = (np.array(slow) * size) ** 2
    mean[SHARED], mean[SHARED + 2] = RELEASE_SHARE[r] * change, problem.walls.overshoot[w] * change
    return Design(problem.columns[:, at], at, cov, mean, problem.early[q])
