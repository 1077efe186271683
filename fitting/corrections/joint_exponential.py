"""One exponential through fore and after period together: k and T∞ of Newton's law.

With s the time since mixing [s], r the heat capacity before over that after the mixing and T∞ the
temperature that the cup tends to [°C]::

    before   T = T∞ + (T1 − T∞) e^(−k s/r)        after   T = T∞ + (Tx − T∞) e^(−k s)

The loss G in watts per kelvin is the same before and after, so that k = G/C differs by r. Written
with g = k T∞ and φ = (1 − e^(−k s))/k the law is linear in T1, Tx and g for a given k, also where k
goes to 0: those three are solved for in closed form, k alone is searched (variable projection: G.
H. Golub, V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.corrections.case import Case, once_a_case
from fitting.corrections.lines import after_readings, drift_lines, prior_of
from fitting.curve import FloatArray
from fitting.noise import lag1, step_variance

SLOWEST_PER_S, FASTEST_PER_S = 1e-7, 2e-2  # an end of the search, not a rate of cups
_MOST_STEPS = 20
_CLOSE = 1e-7  # of k: where the search stops
_MAX_RHO = 0.97


@dataclass(frozen=True, eq=False)
class JointFit:
    """The law's parameters and what they are worth.

    Attributes:
        rate_per_s, u_rate_per_s: k after the mixing, 1/s.
        before_C, after_C: T1 and Tx, both curves drawn to the mixing, °C.
        pull_K_per_s: g = k (T∞ − reference), K/s.
        reference_C: what T1, Tx and T∞ are counted from inside, °C.
        covariance: of (T1, Tx, g, k), shape (4, 4), in K, K/s and 1/s.
        residual_K: readings minus law in the after period, K, shape (n,).
        found: whether k lies inside the range searched.
    """

    rate_per_s: float
    before_C: float
    after_C: float
    pull_K_per_s: float
    reference_C: float
    covariance: FloatArray
    residual_K: FloatArray
    found: bool

    @property
    def u_rate_per_s(self) -> float:
        """Standard uncertainty of k, 1/s."""
        return float(np.sqrt(self.covariance[3, 3]))

    @property
    def t_inf_C(self) -> float:
        """T∞, °C."""
        return self.reference_C + self.pull_K_per_s / self.rate_per_s

    @property
    def u_t_inf_K(self) -> float:
        """Standard uncertainty of T∞ = g/k, K."""
        slope = np.array([1.0, -self.pull_K_per_s / self.rate_per_s]) / self.rate_per_s
        return float(np.sqrt(slope @ self.covariance[2:, 2:] @ slope))

    def after_at(self, s: float) -> float:
        """The after period's curve at s, °C."""
        fall, gone = decay(self.rate_per_s, s)
        height = (self.after_C - self.reference_C) * fall + self.pull_K_per_s * gone
        return self.reference_C + float(height)

    def u_of(self, slope: FloatArray) -> float:
        """Standard uncertainty of what has these derivatives for (T1, Tx, g, k), shape (4,)."""
        return float(np.sqrt(max(float(slope @ self.covariance @ slope), 0.0)))


def decay(rate_per_s: float, s: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """e^(−k s) and φ = (1 − e^(−k s))/k [s]."""
    fall = np.exp(-rate_per_s * np.asarray(s))
    return fall, np.asarray(-np.expm1(-rate_per_s * np.asarray(s)) / rate_per_s)


@once_a_case
def fit_joint(case: Case) -> JointFit:
    """Least squares over fore and after period; a rate known beforehand adds ((k − k0)/u)².

    Scatter is the larger of the residuals' and the noise's; a memory of the residuals, be it the
    noise's or a course that the law does not follow, widens all by (1 + ρ)/(1 − ρ).
    """
    both = _Readings.of(case)
    prior, u_prior = prior_of(case)
    single = case.noise.sigma_K**2 + case.noise.resolution_K**2 / 12
    weight = 0.0 if prior is None or u_prior <= 0 else single * case.noise.inflation / u_prior**2
    known = (prior or 0.0, weight)
    k = _search(both, float(np.clip(drift_lines(case).rate_per_s, 1e-5, 2e-3)), known)
    linear, residual, slope, columns = both.solve(k)
    after = residual[both.fore_count :]
    free = max(residual.size - 4, 1)
    variance = max(float(residual @ residual) / free, case.noise.sigma_K**2)
    rho = float(np.clip(max(case.noise.rho, lag1(after)), 0.0, _MAX_RHO))
    variance *= min((1 + rho) / (1 - rho), max(free / 4, 1.0))
    J = np.column_stack([columns, slope])
    gram = J.T @ J
    gram[3, 3] += weight
    scale = np.sqrt(np.diag(gram))
    unit = np.linalg.pinv(gram / np.outer(scale, scale), rcond=1e-13, hermitian=True)
    inside = 1.01 * SLOWEST_PER_S < k < 0.99 * FASTEST_PER_S
    at = case.before_C
    return JointFit(
        k, at + float(linear[0]), at + float(linear[1]), float(linear[2]), at,
        variance * unit / np.outer(scale, scale), after, inside,
    )  # fmt: skip


def law_near(case: Case, rate_per_s: float) -> tuple[float, float, float, float] | None:
    """k [1/s], T1 and Tx [K above T before], g [K/s] by least squares, sought from a k near by."""
    both = _Readings.of(case)
    k = _search(both, float(np.clip(rate_per_s, 1e-6, 5e-3)), (0.0, 0.0))
    if not 1.01 * SLOWEST_PER_S < k < 0.99 * FASTEST_PER_S:
        return None
    before, after, pull = (float(x) for x in both.solve(k)[0])
    return k, before, after, pull


@dataclass(frozen=True, eq=False)
class _Readings:
    """Fore and after readings above the reference: s [s], the fore's time over r, y [K]."""

    s: FloatArray
    y: FloatArray
    fore_count: int

    @classmethod
    def of(cls, case: Case) -> _Readings:
        after = after_readings(case)
        fore = case.s[case.fore] / case.known.capacity_ratio
        y = np.concatenate([case.y[case.fore], case.y[after]]) - case.before_C
        return cls(np.concatenate([fore, case.s[after]]), y, fore.size)

    def solve(self, k: float) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """T1, Tx, g at k; residuals [K]; the law's slope in k [K s]; columns, shape (n, 3)."""
        fall, gone = decay(k, self.s)
        X = np.zeros((self.s.size, 3))
        n = self.fore_count
        X[:n, 0], X[n:, 1], X[:, 2] = fall[:n], fall[n:], gone
        linear = _least(X, self.y)
        height = np.where(np.arange(self.s.size) < n, linear[0], linear[1])
        slope = -self.s * fall * height + linear[2] * (self.s * fall - gone) / k
        return linear, self.y - X @ linear, slope, X


def _least(X: FloatArray, y: FloatArray) -> FloatArray:
    """Least squares by the normal equations of scaled columns: three of them, well apart."""
    scale = np.sqrt(np.einsum("ni,ni->i", X, X))
    scale = np.where(scale > 0, scale, 1.0)
    unit = X / scale
    gram = unit.T @ unit + 1e-13 * np.eye(3)
    return np.asarray(np.linalg.solve(gram, unit.T @ y) / scale)


def _search(both: _Readings, start: float, known: tuple[float, float]) -> float:
    """The k of least squares, by Gauss and Newton's step halved until it helps. [1/s]"""
    prior, weight = known

    def at(k: float) -> tuple[float, float]:
        """Sum of squares and the step that Gauss and Newton would take."""
        _, residual, slope, X = both.solve(k)
        across = slope - X @ _least(X, slope)
        cost = float(residual @ residual) + weight * (k - prior) ** 2
        pull = float(across @ residual) - weight * (k - prior)
        return cost, pull / max(float(across @ across) + weight, 1e-300)

    k, (cost, step) = start, at(start)
    for _ in range(_MOST_STEPS):
        tried = float(np.clip(k + step, max(k / 5, SLOWEST_PER_S), min(5 * k, FASTEST_PER_S)))
        found = at(tried)
        if found[0] > cost:
            if abs(tried - k) <= _CLOSE * k:
                break
            step = (tried - k) / 2
            continue
        moved, k, (cost, step) = abs(tried - k), tried, found
        if moved <= _CLOSE * k:
            break
    return k


def steps_part(case: Case, slope_K_per_s: float) -> float:
    """What the display's steps leave of the difference of two curves, K.

    The fore period may stand within one step; a drift over several steps averages them away.
    """
    q = case.noise.resolution_K
    if q <= 0:
        return 0.0
    stuck = step_variance(case.noise.sigma_K, q)
    crossings = slope_K_per_s * float(np.ptp(case.s[case.after])) / q
    return float(np.sqrt(stuck + stuck / (1 + crossings**2)))
