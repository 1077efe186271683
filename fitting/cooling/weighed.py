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
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fitting.cooling.course import DRIFT, RATE, SIZE, START, STEEP, T_INF, WALL, WALL_S
from fitting.cooling.fitted import Scatter
from fitting.cooling.laws import NEWTON
from fitting.cooling.mixtures import DRAWS, LARGE, P_LARGE, IntArray, Problem, prior_of
from fitting.cooling.stretch import Stretch
from fitting.cup.knowledge import COOLING_LOG
from fitting.curve import FloatArray
from fitting.newton.evidence import mixture_moments, mixture_quantiles, weights_of

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
        return *mixture_moments(self.weight, m, s), (low, high)

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
