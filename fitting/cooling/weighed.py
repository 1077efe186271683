"""k and T∞ with everything that a cooling cup may do, averaged by how likely each mixture of it is.

No real log obeys one law alone: a lidded cup loses a little vapour, a room drifts a little, a wall
is hardly ever level. Each of the three may be there in its ordinary size or in the size that gives
a law its name. The 2³ mixtures are weighed by their prior and by the probability that they give the
readings; the answer is the average, and its spread holds what the log cannot tell apart.

With parameters q, readings y of covariance V about the course f(q), and prior q ~ N(q0, Q)::

    p(q | y) ∝ exp{−[(y − f)ᵀ V⁻¹ (y − f) + (q − q0)ᵀ Q⁻¹ (q − q0)]/2}

The shape parameters (drift, steepness, the wall's time) are drawn from a normal distribution with
the curvature at the maximum; for each draw the others (start, k, T∞, the wall's amplitude) are
fitted anew and taken as normal about their fit. A draw weighs p, integrated over those, over its
own density; the mean weight is the mixture's evidence.

Sources: L. Tierney, J. B. Kadane, J. Am. Stat. Assoc. 81 (1986) 82 (integrals about the maximum);
R. E. Kass, A. E. Raftery, J. Am. Stat. Assoc. 90 (1995) 773 (evidence); J. A. Hoeting et al., Stat.
Sci. 14 (1999) 382 (averages over models); all from memory.

What is known of each beforehand stands in `fitting.cup`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np
import numpy.typing as npt

from fitting.cooling.fitted import Scatter
from fitting.cooling.laws import (
    DRIFT,
    NEWTON,
    RATE,
    SIZE,
    START,
    STEEP,
    T_INF,
    WALL,
    WALL_S,
    course,
)
from fitting.cooling.stretch import Stretch
from fitting.cup.knowledge import BENCH, COOLING_LOG, CUP, SURROUNDINGS, USUAL_RATE_PER_S
from fitting.curve import FloatArray
from fitting.newton.evidence import mixture_moments, mixture_quantiles, weights_of

IntArray = npt.NDArray[np.intp]

# Middles and standard deviations of what is known beforehand, ordinary and large
# (`fitting.cup.knowledge`). A wall's amplitude is a share of the distance to the room.
_LOGS = COOLING_LOG
_WALLS = (CUP.slow_wall, CUP.heaviest_wall)
U_DRIFT_K_PER_S = (SURROUNDINGS.room_drift_K_per_s.u, _LOGS.restless_room_K_per_s.u)
LN_STEEP = tuple((np.log(one.value), one.u) for one in (_LOGS.steep, _LOGS.steeper))  # n − 1
WALL_SHARE = tuple(wall.share.rms for wall in _WALLS)
LN_WALL_S = tuple((np.log(wall.time_s.value), wall.time_s.u) for wall in _WALLS)
P_LARGE = (_LOGS.restless.value, _LOGS.bare.value, _LOGS.heavy.value)  # drift, steepness, wall
U_SETTLES_K = (_LOGS.settles_K.u, _LOGS.settles_open_K.u)  # T∞ about the room
WET_K = _LOGS.wet_K.value  # T∞ lies lower by so many kelvin times n − 1, and as uncertain
_FAR_C = (BENCH.usual_room_C.value, _LOGS.anywhere_K.u)  # where the room was not noted
_LN_RATE = (np.log(USUAL_RATE_PER_S), _LOGS.ln_rate.u)
DRAWS, _WIDER, _ROUNDS = 64, 1.3, 2
_MOST_STEPS, _SETTLED = 25, 2e-3
_HUGE = 1e6
_DRIFTS = "drifting-room"
_LOG = (RATE, STEEP, WALL_S)  # searched as logarithms
FITTED = [START, RATE, T_INF, WALL]
SHAPE = [DRIFT, STEEP, WALL_S]
LARGE = np.array(list(product((0, 1), repeat=3)))


@dataclass(frozen=True, eq=False)
class Problem:
    """The readings and what is known beforehand in each of M mixtures.

    Attributes:
        whiten: residuals times this are independent with variance 1, shape (n, n).
        middle, sd: of the parameters as they are searched, shape (M, 7); of T∞ + `WET_K` (n − 1)
            itself. In T∞'s place the logarithm of the middle's slope k |T_middle − T∞| is searched,
            which the readings tell by themselves.
    """

    stretch: Stretch
    whiten: FloatArray
    middle: FloatArray
    sd: FloatArray

    @cached_property
    def direction(self) -> float:
        """1 where it cools, −1 where it warms."""
        return 1.0 if self.stretch.y[0] >= self.stretch.y[-1] else -1.0

    def natural(self, q: FloatArray) -> FloatArray:
        """Parameters of `course` from those that are searched, shape (S, 7)."""
        p = q.copy()
        p[:, _LOG] = np.exp(np.clip(q[:, _LOG], -25.0, 12.0))
        away = np.exp(np.clip(q[:, T_INF] - q[:, RATE], -12.0, 8.0))
        p[:, T_INF] = self.stretch.span.middle_C - self.direction * away
        return p

    def u_settles(self, p: FloatArray, of: IntArray) -> FloatArray:
        """Standard uncertainty of T∞ about what is expected: more, the steeper the loss. [K]"""
        return np.asarray(np.hypot(self.sd[of, T_INF], WET_K * np.minimum(p[:, STEEP], 2.0)))

    def misfit(self, q: FloatArray, of: IntArray) -> FloatArray:
        """Whitened readings about the course, parameters about their prior, shape (S, n + 7).

        ``of``: the mixture of each set of parameters, shape (S,).
        """
        one, p = self.stretch, self.natural(q)
        left = one.y - course(p, one.t, one.span.middle_C)
        off = q - self.middle[of]
        off /= self.sd[of]
        wet = WET_K * np.minimum(p[:, STEEP], 2.0)
        off[:, T_INF] = (p[:, T_INF] + wet - self.middle[of, T_INF]) / self.u_settles(p, of)
        rows = np.hstack([left @ self.whiten, off])
        return np.clip(np.nan_to_num(rows, nan=_HUGE, posinf=_HUGE, neginf=-_HUGE), -_HUGE, _HUGE)

    def jacobian(self, q: FloatArray, of: IntArray, which: list[int] | None = None) -> FloatArray:
        """Derivatives of the misfit for some parameters, shape (S, n + 7, len(which))."""
        names = list(range(SIZE)) if which is None else which
        sets, steps = [], []
        for name in names:
            h = np.full(of.size, 1e-4) if name == T_INF else 1e-3 * self.sd[of, name]
            for sign in (1, -1):
                moved = q.copy()
                moved[:, name] += sign * h
                sets.append(moved)
            steps.append(2 * h)
        rows = self.misfit(np.concatenate(sets), np.tile(of, len(sets)))
        rows = rows.reshape(len(names), 2, q.shape[0], -1)
        slopes = (rows[:, 0] - rows[:, 1]) / np.array(steps)[:, :, None]
        return np.asarray(slopes.transpose(1, 2, 0))

    def peaks(self, laws: Mapping[str, FloatArray]) -> tuple[FloatArray, FloatArray]:
        """Most likely parameters of every mixture and half their χ² (Levenberg and Marquardt).

        The search starts from three places: the room (or Newton's law), and where the steeper law
        and the one of a drifting room were found.
        """
        q = np.concatenate(list(self._starts(laws)))
        of = np.tile(np.arange(len(LARGE)), q.shape[0] // len(LARGE))
        # first what is nearly linear, where nothing goes astray
        self._descend(q, of, [START, RATE, T_INF, DRIFT, WALL], 10)
        cost = self._descend(q, of, list(range(SIZE)), _MOST_STEPS).reshape(-1, len(LARGE))
        best = np.argmin(cost, axis=0)
        which = np.arange(len(LARGE))
        return q.reshape(-1, len(LARGE), SIZE)[best, which], cost[best, which]

    def _starts(self, laws: Mapping[str, FloatArray]) -> Iterator[FloatArray]:
        """Parameters to start from, shape (M, 7) each."""
        reach = 0.2 * float(np.ptp(self.stretch.y))
        middle = self.stretch.span.middle_C
        room = self.stretch.settles[0] if self.stretch.settles else float(laws[NEWTON][2])
        slope = abs(float(self.stretch.y[-1] - self.stretch.y[0]) / float(self.stretch.t[-1]))
        q = self.middle.copy()
        q[:, START] = laws[NEWTON][0]
        slow = LARGE[:, 2] == 1
        b, tau = laws["slow-wall"][3:]
        q[slow, WALL] = b
        q[:, WALL_S] = np.where(slow, self._near(WALL_S, np.log(tau)), q[:, WALL_S])
        for name, t_inf, rate in (
            (NEWTON, room, slope / max(self.direction * (middle - room), reach)),
            *((law, float(laws[law][2]), float(laws[law][1])) for law in ("steeper", _DRIFTS)),
        ):
            one = q.copy()
            away = max(self.direction * (middle - t_inf), reach)
            one[:, RATE] = np.log(max(rate, 1e-9))
            one[:, T_INF] = one[:, RATE] + np.log(away)
            if name == "steeper":
                one[:, STEEP] = self._near(STEEP, np.log(max(float(laws[name][3]) - 1, 1e-3)))
            if name == _DRIFTS:
                one[:, DRIFT] = self._near(DRIFT, float(laws[name][3]))
            yield one

    def _near(self, name: int, value: float) -> FloatArray:
        """A value, drawn towards what is known of a parameter in each mixture."""
        off = (value - self.middle[:, name]) / self.sd[:, name]
        return np.asarray(self.middle[:, name] + np.clip(off, -2.5, 2.5) * self.sd[:, name])

    def _descend(self, q: FloatArray, of: IntArray, names: list[int], most: int) -> FloatArray:
        """Move q, in place, to the least cost in some of its parameters; returns half its χ²."""
        reach = 1.5 * self.sd[of][:, names]  # no step is longer
        reach[:, [i for i, name in enumerate(names) if name == T_INF]] = 1.0
        damping = np.full(q.shape[0], 1e-2)
        rest = self.misfit(q, of)
        cost = 0.5 * np.sum(rest**2, axis=1)
        left = np.arange(q.shape[0])
        for _ in range(most):
            J = self.jacobian(q[left], of[left], names)
            turned = J.transpose(0, 2, 1)
            inside = turned @ J
            more = np.einsum("sii->si", inside) * damping[left, None]
            pull = turned @ rest[left][..., None]
            floor = (more + 1e-9)[:, :, None] * np.eye(len(names))
            step = np.linalg.solve(inside + floor, pull)
            tried = q[left].copy()
            tried[:, names] -= np.clip(step[..., 0], -reach[left], reach[left])
            missed = self.misfit(tried, of[left])
            change = 0.5 * np.sum(missed**2, axis=1) - cost[left]
            better = change < 0
            q[left[better]], rest[left[better]] = tried[better], missed[better]
            cost[left[better]] += change[better]
            damping[left] *= np.where(better, 1 / 8, 6)
            left = left[(np.abs(change) > _SETTLED) & (damping[left] < 1e8)]
            if left.size == 0:
                break
        return np.asarray(cost)

    def draws(
        self, peaks: FloatArray, information: FloatArray, kept: IntArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Draws about the kept peaks: log weights; means and deviations of ln k, of T∞; shapes."""
        A, B = FITTED, SHAPE
        z = _spread_points(DRAWS, len(B))
        sets, density = [], []
        for i in kept:
            info = information[i]
            own = np.linalg.solve(info[np.ix_(A, A)], info[np.ix_(A, B)])
            rest = info[np.ix_(B, B)] - info[np.ix_(B, A)] @ own
            wide = _WIDER * np.linalg.inv(np.linalg.cholesky(rest))
            q, moved = np.tile(peaks[i], (DRAWS, 1)), z @ wide
            q[:, B] += moved
            q[:, A] -= moved @ own.T
            sets.append(q)
            density.append(-0.5 * np.sum(z * z, axis=1) - np.linalg.slogdet(wide)[1])
        return self._fitted(np.concatenate(sets), kept.repeat(DRAWS), np.concatenate(density))

    def _fitted(
        self, q: FloatArray, of: IntArray, density: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Start, k, T∞ and the wall's amplitude fitted anew to each shape."""
        for _ in range(_ROUNDS):
            J = self.jacobian(q, of, FITTED)
            turned = J.transpose(0, 2, 1)
            inside = turned @ J + 1e-9 * np.eye(len(FITTED))
            pull = turned @ self.misfit(q, of)[..., None]
            q[:, FITTED] -= np.linalg.solve(inside, pull)[..., 0]
        cost = 0.5 * np.sum(self.misfit(q, of) ** 2, axis=1)
        away = q[:, T_INF] - q[:, RATE]  # its ln; the prior is one of T∞, not of this
        wider = np.log(self.u_settles(self.natural(q), of) / self.sd[of, T_INF])
        log_weight = away - wider - cost - 0.5 * np.linalg.slogdet(inside)[1] - density
        own = np.linalg.inv(inside)
        u_away = np.sqrt(np.maximum(own[:, 1, 1] + own[:, 2, 2] - 2 * own[:, 1, 2], 0.0))
        return (
            np.where(np.isfinite(log_weight), log_weight, -1e9),
            np.stack([q[:, RATE], np.sqrt(own[:, 1, 1])]),
            np.stack([self.natural(q)[:, T_INF], np.exp(np.clip(away, -12, 8)) * u_away]),
            q[:, SHAPE],
        )


def prior_of(stretch: Stretch, t_inf_C: float) -> tuple[FloatArray, FloatArray]:
    """Middle and standard deviation of each parameter as it is searched, shape (M, 7)."""
    if stretch.settles is None:
        settles, away = _FAR_C, abs(float(stretch.y[0]) - t_inf_C)
    else:
        settles, away = stretch.settles, abs(float(stretch.y[0]) - stretch.settles[0])
    rows = []
    for drift, steep, wall in LARGE:
        more = U_SETTLES_K[steep] if stretch.settles is not None else 0.0
        rows.append(
            {
                START: (float(stretch.y[0]), 5.0),
                RATE: _LN_RATE,
                T_INF: (settles[0], float(np.hypot(settles[1], more))),
                DRIFT: (0.0, U_DRIFT_K_PER_S[drift]),
                STEEP: LN_STEEP[steep],
                WALL: (0.0, WALL_SHARE[wall] * max(away, 1.0)),
                WALL_S: LN_WALL_S[wall],
            }
        )
    both = np.array([[row[i] for i in range(SIZE)] for row in rows], dtype=np.float64)
    return both[..., 0], both[..., 1]


def _spread_points(n: int, dimensions: int) -> FloatArray:
    """Standard normal points that fill the space evenly (a Sobol sequence), the same every time."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    even = qmc.Sobol(dimensions, scramble=True, seed=5).random(n)
    return np.asarray(ndtri(np.clip(even, 1e-6, 1 - 1e-6)))


SWING_K, SWING_S = COOLING_LOG.swing_K.u, COOLING_LOG.swing_s.value
_BINS = 30  # of the course: it is smooth
_HOPELESS = 9.0  # of log evidence behind the best


@dataclass(frozen=True, eq=False)
class Weighed:
    """Draws from all mixtures, each a normal distribution of ln k and T∞; D draws, M mixtures.

    Attributes:
        weight: shape (D,), sum 1.
        ln_rate, t_inf_C: mean and standard deviation of each draw, shape (2, D).
        mixture: which of the mixtures a draw is from, shape (D,).
        shape: drift [K/s], ln(n − 1), ln τ of each draw, shape (D, 3).
        large: (drift, steep, wall) of each mixture, whether large; shape (M, 3).
        probability: of each mixture, shape (M,).
        misfit: root mean square of the whitened readings about the best mixture: 1 where it fits.
        steps: u of ln k in the likeliest mixture: from the readings alone, then with wall, drift
            and steepness let free one after the other.
    """

    weight: FloatArray
    ln_rate: FloatArray
    t_inf_C: FloatArray
    mixture: IntArray
    shape: FloatArray
    large: FloatArray
    probability: FloatArray
    misfit: float
    steps: tuple[float, float, float, float]

    def rate_per_s(self) -> tuple[float, float, tuple[float, float]]:
        """Mean of k, its standard uncertainty and 95 % interval, 1/s."""
        m, s = self.ln_rate
        narrow = np.minimum(s, 1.0)  # beyond that a log-normal mean means nothing
        mean = np.exp(np.clip(m, -25.0, 0.0) + narrow**2 / 2)
        sd = mean * np.sqrt(np.expm1(narrow**2))
        low, high = np.exp(mixture_quantiles(self.weight, m, s, (0.025, 0.975)))
        return *mixture_moments(self.weight, mean, sd), (float(low), float(high))

    def settles_C(self) -> tuple[float, float, tuple[float, float]]:
        """Mean of T∞, its standard uncertainty and 95 % interval, °C."""
        m, s = self.t_inf_C
        low, high = mixture_quantiles(self.weight, m, s, (0.025, 0.975))
        return *mixture_moments(self.weight, m, s), (float(low), float(high))

    def between(self) -> float:
        """Standard deviation of ln k between the mixtures' means."""
        share = np.bincount(self.mixture, self.weight, self.probability.size)
        total = np.bincount(self.mixture, self.weight * self.ln_rate[0], self.probability.size)
        mean = total / np.maximum(share, 1e-300)
        centre = float(share @ mean)
        return float(np.sqrt(share @ (mean - centre) ** 2))


def weigh(stretch: Stretch, scatter: Scatter, laws: Mapping[str, FloatArray]) -> Weighed:
    """Average over all mixtures.

    Args:
        stretch: the averaged readings.
        scatter: of the bins, from the laws' fits.
        laws: best parameters of every law of `fitting.cooling.laws`, to start from.
    """
    coarse, joined = _joined(stretch)
    own = joined @ _covariance(stretch, scatter, float(laws[NEWTON][1])) @ joined.T
    problem = Problem(
        coarse, np.linalg.inv(np.linalg.cholesky(own)).T, *prior_of(stretch, float(laws[NEWTON][2]))
    )
    peaks, cost = problem.peaks(laws)
    J = problem.jacobian(peaks, np.arange(len(LARGE)))
    information = np.asarray(J.transpose(0, 2, 1) @ J + 1e-9 * np.eye(SIZE))
    likely = np.array(P_LARGE)
    chance = np.log(np.where(LARGE == 1, likely, 1 - likely)).sum(axis=1)
    log_prior = chance - np.log(problem.sd).sum(axis=1)
    rough = log_prior - np.linalg.slogdet(information)[1] / 2 - cost
    kept = np.flatnonzero(rough > rough.max() - _HOPELESS)
    log_weight, ln_rate, t_inf, shape = problem.draws(peaks, information, kept)
    weight, mixture = weights_of(log_weight + log_prior[kept].repeat(DRAWS)), kept.repeat(DRAWS)
    probability = np.bincount(mixture, weight, len(LARGE)).astype(np.float64)
    best = information[int(np.argmax(probability))]
    return Weighed(
        weight, ln_rate, t_inf, mixture, shape, LARGE.astype(np.float64), probability,
        float(np.sqrt(2 * cost.min() / coarse.t.size)), _steps(best),
    )  # fmt: skip


def _joined(stretch: Stretch) -> tuple[Stretch, FloatArray]:
    """Neighbouring bins joined to some 30, and the matrix that does it, shape (30, n)."""
    n = stretch.t.size
    group = np.arange(n) * min(_BINS, n) // n
    joined = (group == np.arange(group[-1] + 1)[:, None]).astype(np.float64)
    joined /= joined.sum(axis=1, keepdims=True)
    return replace(stretch, t=joined @ stretch.t, y=joined @ stretch.y), joined


def _covariance(stretch: Stretch, scatter: Scatter, rate: float) -> FloatArray:
    """Of the bins about a smooth course: scatter with its memory, and the room's swings, K²."""
    order = np.abs(np.subtract.outer(np.arange(stretch.t.size), np.arange(stretch.t.size)))
    own = scatter.sigma_K**2 / max(1 - scatter.rho**2, 0.05) * scatter.rho**order
    gap = np.subtract.outer(stretch.t, stretch.t)
    swing = (SWING_K * abs(rate) * SWING_S) ** 2
    return np.asarray(own + swing * np.exp(-0.5 * (gap / SWING_S) ** 2))


def _steps(information: FloatArray) -> tuple[float, float, float, float]:
    """Standard uncertainty of ln k, one more thing let free at a time."""
    free = [START, RATE, T_INF]
    out = []
    for more in ([], [WALL, WALL_S], [DRIFT], [STEEP]):
        free = free + more
        part = information[np.ix_(free, free)]
        out.append(float(np.sqrt(np.linalg.inv(part)[1, 1])))
    return out[0], out[1], out[2], out[3]
