"""Several runs made into one constant: generalised least squares with between-run variance.

    y = X β + e,   cov(e) = V + τ² I,   β = (Xᵀ W X)⁻¹ Xᵀ W y,   W = (V + τ² I)⁻¹

V comes from the budgets of the runs, so that inputs which several runs share stay correlated and do
not average away; τ is the spread between runs that their budgets do not explain. Two published
estimators of τ are offered:

* Mandel–Paule: the τ for which the weighted sum of squares equals its expectation n − p
  (Paule & Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377; from memory);
* restricted maximum likelihood, REML (Patterson & Thompson, Biometrika 58 (1971) 545; from memory).

Two or four runs say little about τ, and a zero estimate does not mean that τ is zero. The stated
uncertainty therefore does not take the estimate for the truth: the restricted likelihood of τ times
a half-Cauchy prior (Gelman, Bayesian Analysis 1 (2006) 515; from memory) of scale ``PRIOR_SCALE``
times the runs' own independent uncertainty is carried as a mixture over τ, and the 95 % interval is
read off the mixture. u is half its 68.3 % interval (the mixture's variance may not exist), and
at least what the estimate of τ alone would give. Effective degrees of freedom are those of the t
distribution with the same ratio of the two half-widths.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from calib.errors import InputError
from calib.uncertainty import Propagated, covariance_matrix

__all__ = ["Between", "Combined", "combine", "combine_values", "independent_variances"]

FloatArray = npt.NDArray[np.float64]
Between = Literal["mandel-paule", "reml"]

PRIOR_SCALE = 0.3
GRID = 80
ONE_SIGMA = 0.682689


@dataclass(frozen=True, slots=True)
class Combined:
    """Several results made into one.

    ``value`` and ``u`` belong to the first coefficient of the model (the constant at the
    reference fill); ``coefficients`` and ``covariance`` to all of them. ``between_sd`` is the
    estimate of τ, ``spread_sd`` the plain standard deviation of the runs about the model, nan for
    fewer runs than can show one. ``leverage`` is the diagonal of the hat matrix, ``deleted`` each
    run's deviation from what the other runs say, in units of its standard uncertainty.
    """

    value: float
    u: float
    interval95: tuple[float, float]
    dof: float
    between_sd: float
    spread_sd: float
    chi2: float
    chi2_dof: int
    p_value: float
    coefficients: tuple[float, ...]
    covariance: FloatArray
    weights: tuple[float, ...]
    leverage: tuple[float, ...]
    deleted: tuple[float, ...]
    u_shared: float
    estimator: Between
    log_evidence: float

    @property
    def runs(self) -> int:
        """How many runs went in."""
        return len(self.weights)


def combine(
    results: Sequence[Propagated],
    *,
    design: FloatArray | None = None,
    between: Between = "mandel-paule",
    prior_sd: float | None = None,
    compare: bool = True,
) -> Combined:
    """Combine the results of several runs; see the module's description.

    ``design`` is the matrix X, shape (runs, coefficients); a column of ones unless given.
    ``prior_sd`` replaces the scale of the prior of τ, in the unit of the results. Without
    ``compare`` the runs are not held against one another, which takes most of the time.

    Raises InputError for no results, or for fewer results than coefficients.
    """
    values = np.array([one.value for one in results], dtype=np.float64)
    return combine_values(
        values,
        covariance_matrix(results),
        independent_variances(results),
        design=design,
        between=between,
        prior_sd=prior_sd,
        compare=compare,
    )


def independent_variances(results: Sequence[Propagated]) -> FloatArray:
    """The part of each variance that no other of these results shares, shape (n,)."""
    use: dict[str, int] = {}
    for one in results:
        for key in {line.key for line in one.lines if line.key is not None}:
            use[key] = use.get(key, 0) + 1
    own = []
    for one in results:
        shared: dict[str, float] = {}
        for line in one.lines:
            if line.key is not None and use[line.key] > 1:
                shared[line.key] = shared.get(line.key, 0.0) + line.contribution
        rest = one.u**2 - sum(part**2 for part in shared.values())
        own.append(max(rest, 1e-6 * one.u**2))
    return np.array(own, dtype=np.float64)


def combine_values(
    values: FloatArray,
    covariance: FloatArray,
    independent: FloatArray,
    *,
    design: FloatArray | None = None,
    between: Between = "mandel-paule",
    prior_sd: float | None = None,
    compare: bool = True,
) -> Combined:
    """``combine`` on plain numbers: values (n,), their covariance (n, n), independent variances."""
    n = values.size
    X = np.ones((n, 1)) if design is None else np.asarray(design, dtype=np.float64)
    if n == 0 or n < X.shape[1]:
        raise InputError(f"{n} runs cannot decide {X.shape[1]} coefficients; more runs are needed")
    V = _regular(covariance)
    scale = PRIOR_SCALE * math.sqrt(float(np.median(independent)))
    scale = prior_sd if prior_sd is not None else scale
    r = _rotate(values, V, X)
    tau = _between_sd(r, between)
    gain = _gain(r, tau)
    beta = gain @ values
    fits, odds, log_evidence = _posterior_of_tau(r, scale)
    least_u = math.sqrt(float(_solve(r, np.array([tau])).cov[0, 0, 0]))
    cov, interval, dof = _marginal(beta, fits, odds, least_u)
    chi2 = float(_solve(r, np.zeros(1)).q[0])
    residuals = values - X @ beta
    free = n - X.shape[1]
    return Combined(
        value=float(beta[0]),
        u=math.sqrt(float(cov[0, 0])),
        interval95=interval,
        dof=dof,
        between_sd=tau,
        spread_sd=float(np.sqrt(residuals @ residuals / free)) if free > 0 else math.nan,
        chi2=chi2,
        chi2_dof=free,
        p_value=_chi2_tail(chi2, free),
        coefficients=tuple(map(float, beta)),
        covariance=cov,
        weights=tuple(map(float, gain[0])),
        leverage=tuple(map(float, np.einsum("ip,pi->i", X, gain))),
        deleted=_deleted(values, V, X, between) if compare else (math.nan,) * n,
        u_shared=_shared_part(gain[0], V, independent),
        estimator=between,
        log_evidence=log_evidence,
    )


def _regular(covariance: FloatArray) -> FloatArray:
    """Symmetric, and regular even where two runs are copies of each other."""
    V = 0.5 * (covariance + covariance.T)
    return np.asarray(V + np.diag(1e-9 * np.diag(V) + 1e-300), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Rotated:
    """Runs in the eigenvectors of V, where V + τ² I is diagonal for every τ."""

    y: FloatArray  # (n,)
    X: FloatArray  # (n, p)
    eigenvalues: FloatArray  # (n,)
    vectors: FloatArray  # (n, n)


@dataclass(frozen=True, slots=True)
class _Fits:
    """Generalised least-squares solutions for several τ at once; the first axis is τ."""

    beta: FloatArray  # (k, p)
    cov: FloatArray  # (k, p, p)
    q: FloatArray  # (k,)
    log_restricted: FloatArray  # (k,)


def _rotate(y: FloatArray, V: FloatArray, X: FloatArray) -> _Rotated:
    values, vectors = np.linalg.eigh(V)
    floor = 1e-10 * float(values.max())
    return _Rotated(vectors.T @ y, vectors.T @ X, np.maximum(values, floor), vectors)


def _solve(r: _Rotated, taus: FloatArray) -> _Fits:
    w = 1.0 / (r.eigenvalues[None, :] + np.asarray(taus)[:, None] ** 2)
    normal = np.einsum("kn,np,nq->kpq", w, r.X, r.X)
    cov = np.linalg.inv(normal)
    beta = np.einsum("kpq,nq,kn,n->kp", cov, r.X, w, r.y)
    rest = r.y[None, :] - beta @ r.X.T
    q = np.einsum("kn,kn->k", w, rest**2)
    log = 0.5 * np.log(w).sum(axis=1) - 0.5 * np.linalg.slogdet(normal)[1] - 0.5 * q
    return _Fits(beta, cov, q, log)


def _q(r: _Rotated, tau: float) -> float:
    """Weighted sum of squares about the fit at one τ."""
    w = 1.0 / (r.eigenvalues + tau * tau)
    weighted = r.X.T * w
    beta = np.linalg.solve(weighted @ r.X, weighted @ r.y)
    rest = r.y - r.X @ beta
    return float(w @ (rest * rest))


def _gain(r: _Rotated, tau: float) -> FloatArray:
    """The matrix (p, n) with β = gain · y."""
    w = 1.0 / (r.eigenvalues + tau**2)
    normal = np.einsum("n,np,nq->pq", w, r.X, r.X)
    return np.asarray(np.linalg.solve(normal, (r.X * w[:, None]).T) @ r.vectors.T)


def _between_sd(r: _Rotated, between: Between) -> float:
    """Estimate of τ; zero where the budgets already explain the scatter."""
    from scipy.optimize import brentq, minimize_scalar

    n, p = r.X.shape
    if n <= p:
        return 0.0
    top = 10.0 * (float(np.ptp(r.y)) + math.sqrt(float(r.eigenvalues.max())))
    top += 10.0 * float(np.abs(r.y).max())

    def at(tau: float) -> _Fits:
        return _solve(r, np.array([tau]))

    if between == "mandel-paule":
        if _q(r, 0.0) <= n - p:
            return 0.0
        return float(brentq(lambda t: _q(r, t) - (n - p), 0.0, top, xtol=1e-6 * top, rtol=1e-6))
    if between == "reml":
        found = minimize_scalar(
            lambda t: -float(at(t).log_restricted[0]), bounds=(0.0, top), method="bounded"
        )
        better = -float(found.fun) > float(at(0.0).log_restricted[0]) + 1e-9
        return float(found.x) if better else 0.0
    raise InputError(f"between-run estimator {between!r} is not known: mandel-paule or reml")


def _posterior_of_tau(r: _Rotated, scale: float) -> tuple[_Fits, FloatArray, float]:
    """Solutions over a grid of τ, their posterior odds (sum 1), and the log of the evidence."""
    if not scale > 0.0:
        fits = _solve(r, np.zeros(1))
        return fits, np.ones(1), float(fits.log_restricted[0])
    half_way = (np.arange(GRID) + 0.5) / GRID
    taus = scale * half_way / (1.0 - half_way)
    width = scale / (1.0 - half_way) ** 2 / GRID
    fits = _solve(r, taus)
    log = fits.log_restricted
    log = log - np.log1p((taus / scale) ** 2)
    peak = float(log.max())
    odds = np.exp(log - peak) * width
    evidence = peak + math.log(float(odds.sum()) / scale)
    return fits, odds / odds.sum(), evidence


def _marginal(
    beta: FloatArray, fits: _Fits, odds: FloatArray, least_u: float
) -> tuple[FloatArray, tuple[float, float], float]:
    """Covariance about ``beta`` of the mixture over τ, 95 % interval and effective dof."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    steps = fits.beta - beta[None, :]
    cov = np.einsum("k,kij->ij", odds, fits.cov)
    cov = cov + np.einsum("k,ki,kj->ij", odds, steps, steps)
    sds = np.sqrt(fits.cov[:, 0, 0])

    def half_width(probability: float) -> float:
        def outside(half: float) -> float:
            above = ndtr(-(half - steps[:, 0]) / sds) + ndtr(-(half + steps[:, 0]) / sds)
            return float(odds @ above) - (1.0 - probability)

        low, high = 0.1 * float(sds.min()), 10.0 * float(np.max(sds + np.abs(steps[:, 0])))
        return float(brentq(outside, low, high, xtol=1e-6 * low))

    u = max(half_width(ONE_SIGMA), least_u)
    half = max(half_width(0.95), 1.96 * u)
    cov = cov * (u**2 / float(cov[0, 0]))
    return cov, (float(beta[0]) - half, float(beta[0]) + half), _dof_of(half / u)


def _dof_of(factor: float) -> float:
    """Degrees of freedom of the t distribution whose 95 % half-width is ``factor`` u.

    Infinite where the ratio is that of a normal distribution.
    """
    from scipy.special import stdtrit

    best, nu = abs(1.959964 - factor), math.inf
    for candidate in (*range(1, 31), 40, 60, 100, 200):
        wide, narrow = stdtrit(candidate, (0.975, 0.5 + ONE_SIGMA / 2.0))
        if abs(float(wide / narrow) - factor) < best:
            best, nu = abs(float(wide / narrow) - factor), float(candidate)
    return nu


def _chi2_tail(q: float, dof: int) -> float:
    from scipy.special import gammaincc

    return float(gammaincc(dof / 2.0, q / 2.0)) if dof > 0 else math.nan


def _deleted(y: FloatArray, V: FloatArray, X: FloatArray, between: Between) -> tuple[float, ...]:
    """Deviation of each run from what the others say, over its standard uncertainty."""
    n, p = X.shape
    found = []
    for i in range(n):
        rest = np.delete(np.arange(n), i)
        if rest.size <= p or np.linalg.matrix_rank(X[rest]) < p:
            found.append(math.nan)
            continue
        V_rest = V[np.ix_(rest, rest)]
        r = _rotate(y[rest], V_rest, X[rest])
        tau = _between_sd(r, between)
        gain = _gain(r, tau)
        line = X[i] @ gain
        spread = V[i, i] + tau**2 + line @ (V_rest + tau**2 * np.eye(rest.size)) @ line
        spread -= 2.0 * float(line @ V[rest, i])
        found.append(float((y[i] - line @ y[rest]) / math.sqrt(max(spread, 1e-300))))
    return tuple(found)


def _shared_part(weights: FloatArray, V: FloatArray, independent: FloatArray) -> float:
    total = float(weights @ V @ weights)
    return math.sqrt(max(total - float(weights**2 @ independent), 0.0))
