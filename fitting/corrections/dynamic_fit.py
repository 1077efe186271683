"""Fit of the dynamic model by lmfit: whitened readings beside what is known beforehand.

What is known enters as residuals of its own, so that the sum of squares S is minus twice the log of
the posterior density, and lmfit's covariance Σ the usual approximation about its maximum. With σ_i
the spread of what is known, a model's evidence is

    2 log evidence = −S + log|2πΣ| − Σ_i log(2πσ_i²)

The cooling rate of a cup that nobody knows has tails: ln k follows Student's t.

Source: C. M. Bishop, *Pattern Recognition and Machine Learning* (2006), eqs. 4.135 and 4.137.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from fitting.corrections.case import Case
from fitting.corrections.dynamic_readings import (
    AT,
    LAG_S,
    LINEAR,
    NAMES,
    POUR_S,
    Model,
    Problem,
    known_of,
    readings,
    wall_known,
)
from fitting.curve import FloatArray

_TAIL = 4.0  # Student's degrees of freedom of ln k: cups without a lid, flasks
_STEP = 1e-4  # of the logarithms, for derivatives
_MOST_CALLS = 200


@dataclass(frozen=True, eq=False)
class DynamicFit:
    """One model's best parameters.

    values: of all ``NAMES``; covariance: of those in ``model.free``; residual: of the averaged
    readings, whitened; chi2: its mean square; known: precision of what was known beforehand of each
    free parameter, 0 where nothing was; calls: of the model.
    """

    model: Model
    values: FloatArray
    covariance: FloatArray
    residual: FloatArray
    chi2: float
    log_evidence: float
    known: FloatArray
    calls: int

    def of(self, name: str) -> tuple[float, float]:
        """Value and standard uncertainty of a parameter; 0 where the model has none."""
        if name == self.model.held:
            return float(self.values[AT[name]]), 0.0
        if name not in self.model.free:
            return 0.0, 0.0
        at = self.model.free.index(name)
        return float(self.values[AT[name]]), float(np.sqrt(max(self.covariance[at, at], 0.0)))


def start_of(case: Case, problem: Problem) -> FloatArray:
    """Where the fit starts: what is known, and when 63 % of the change were reached."""
    known = problem.known | wall_known(problem.kinds[1])
    p = np.array([known.get(name, (0.0, 1.0))[0] for name in NAMES])
    if problem.rate is not None:
        p[AT["log_rate"]] = np.log(max(problem.rate[0], 1e-6))
    p[AT["rise_K"]] = 1.01 * problem.change_K
    away = np.abs(case.y - case.before_C)
    passed = np.flatnonzero((case.s > 0) & (away > 0.63 * abs(problem.change_K)))
    if passed.size:
        at = float(case.s[passed[0]])
        release = at - 0.5 * POUR_S - LAG_S
        if release > 3.0:
            p[AT["log_release"]] = np.log(release)
        elif release < 0:
            p[AT["log_lag"]] = np.log(max(0.8 * at, 0.5))
    return p


@dataclass(frozen=True, eq=False)
class _Posterior:
    """Residuals of readings and prior knowledge, with their derivatives, for lmfit."""

    problem: Problem
    model: Model
    start: FloatArray

    @cached_property
    def at(self) -> npt.NDArray[np.intp]:
        """Places of the free parameters in ``NAMES``."""
        return np.array([AT[name] for name in self.model.free])

    @cached_property
    def prior(self) -> tuple[npt.NDArray[np.intp], FloatArray, FloatArray]:
        """Places among the free parameters, means and standard deviations of what is known."""
        known = known_of(self.problem, self.model)
        index = [i for i, name in enumerate(self.model.free) if name in known]
        mean, sd = np.array([known[self.model.free[i]] for i in index]).T
        return np.array(index), mean, sd

    def vector(self, params: Any) -> FloatArray:
        """Values of all ``NAMES``."""
        full = self.start.copy()
        full[self.at] = [params[name].value for name in self.model.free]
        return full

    def beliefs(self, full: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Residuals of what is known, and their derivatives."""
        index, mean, sd = self.prior
        z, slope = (full[self.at][index] - mean) / sd, 1 / sd
        at = int(np.flatnonzero(self.at[index] == AT["log_rate"])[0])
        z[at], slope[at] = _rate_belief(full[AT["log_rate"]], z[at], slope[at], self.problem.rate)
        return z, slope

    def misfit(self, params: Any) -> FloatArray:
        """All residuals, in standard deviations."""
        full = self.vector(params)
        shown, _ = readings(full[None], self.problem, self.model)
        off = self.problem.root @ (self.problem.y - shown[0])
        return np.concatenate([off, self.beliefs(full)[0]])

    def slopes(self, params: Any) -> FloatArray:
        """Derivatives of `misfit` by the free parameters, shape (n + known, free)."""
        full, free = self.vector(params), self.model.free
        bent = [name for name in free if AT[name] >= LINEAR]
        many = np.tile(full, (len(bent) + 1, 1))
        many[np.arange(len(bent)) + 1, [AT[name] for name in bent]] += _STEP
        shown, linear = readings(many, self.problem, self.model)
        by = dict(zip(NAMES[:LINEAR], linear, strict=True))
        by |= dict(zip(bent, (shown[1:] - shown[0]) / _STEP, strict=True))
        index, *_ = self.prior
        known = np.zeros((index.size, len(free)))
        known[np.arange(index.size), index] = self.beliefs(full)[1]
        return np.vstack(
            [-self.problem.root @ np.stack([by[name] for name in free], axis=1), known]
        )


def fit(problem: Problem, model: Model, start: FloatArray) -> DynamicFit | None:
    """Best parameters of one model from one start; None where it ends nowhere finite."""
    import lmfit

    posterior = _Posterior(problem, model, start)
    params = lmfit.Parameters()
    for name in model.free:
        params.add(name, float(start[AT[name]]))
    try:
        found = lmfit.minimize(
            posterior.misfit, params, method="leastsq", Dfun=posterior.slopes, col_deriv=0,
            max_nfev=_MOST_CALLS, calc_covar=False, ftol=1e-4, xtol=1e-4,
        )  # fmt: skip
    except ValueError:  # lmfit: a misfit that is not finite
        return None
    values, residual = posterior.vector(found.params), np.asarray(found.residual)
    J = posterior.slopes(found.params)
    if not (np.all(np.isfinite(residual)) and np.all(np.isfinite(J))):
        return None
    covariance = _inverse(J.T @ J)
    index, _, sd = posterior.prior
    known = np.zeros(len(model.free))
    known[index] = posterior.beliefs(values)[1] ** 2
    own = residual[: problem.y.size]
    log_evidence = 0.5 * (
        float(np.linalg.slogdet(2 * np.pi * covariance)[1])
        - float(residual @ residual)
        - float(np.log(2 * np.pi * sd**2).sum())
    )
    if model.held:
        centre, spread = known_of(problem, model)[model.held]
        off = (float(start[AT[model.held]]) - centre) / spread
        log_evidence -= 0.5 * (off**2 + float(np.log(2 * np.pi * spread**2)))
    return DynamicFit(
        model, values, covariance, own, float(np.mean(own**2)), log_evidence, known,
        int(found.nfev),
    )  # fmt: skip


def _rate_belief(
    log_rate: float, z: float, slope: float, rate: tuple[float, float] | None
) -> tuple[float, float]:
    """Residual and slope by ln k: the registered rate, else Student's t about usual cups' rates."""
    if rate is not None:
        k = float(np.exp(log_rate))
        return (k - rate[0]) / rate[1], k / rate[1]
    size = float(np.sqrt((_TAIL + 1) * np.log1p(z * z / _TAIL)))
    if size < 1e-6:
        factor = float(np.sqrt((_TAIL + 1) / _TAIL))
        return z * factor, slope * factor
    return float(np.sign(z)) * size, (_TAIL + 1) * abs(z) / (_TAIL + z * z) / size * slope


def _inverse(A: FloatArray) -> FloatArray:
    scale = np.sqrt(np.maximum(np.diag(A), 1e-300))
    unit = np.outer(scale, scale)
    return np.asarray(np.linalg.pinv(A / unit, rcond=1e-14) / unit)
