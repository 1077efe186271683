"""Least squares for one cooling law on whitened residuals.

Residuals r of the bins are taken as AR(1) with correlation ρ: w_i = r_i − ρ r_(i−1), w_0 =
r_0 √(1 − ρ²), are independent with one standard deviation σ (D. Cochrane, G. H. Orcutt, J. Am.
Stat. Assoc. 44 (1949) 32). The room's temperature and the drift before the mixing enter as two
further observations with their own uncertainties. Then with χ² = Σ w²/σ² + Σ (further)²,
m parameters and n bins::

    AICc = χ² + 2 m + 2 m (m + 1)/(n − m − 1)

(N. Sugiura, Commun. Stat. A 7 (1978) 13; C. M. Hurvich, C.-L. Tsai, Biometrika 76 (1989) 297),
σ being the same for all laws of a comparison.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitting.cooling.laws import FASTEST_PER_S, RATE, START, T_INF, Law
from fitting.cooling.stretch import Stretch
from fitting.cup.knowledge import SURROUNDINGS
from fitting.curve import FloatArray

U_ROOM_DRIFT_K_PER_S = SURROUNDINGS.room_drift_K_per_s.u


@dataclass(frozen=True, slots=True)
class Scatter:
    """Standard deviation [K] and lag-1 correlation of the bins about a smooth curve."""

    sigma_K: float
    rho: float


@dataclass(frozen=True, eq=False)
class Found:
    """Best parameters of a law on a stretch; ``chi2`` as in the module's docstring.

    ``residual_K``: bins minus law, shape (n,); ``covariance`` (m, m) for the scatter used.
    """

    law: Law
    p: FloatArray
    covariance: FloatArray
    residual_K: FloatArray
    chi2: float

    def aicc(self, sigma_ratio: float = 1.0) -> float:
        """Corrected Akaike criterion, with σ so many times what the fit took."""
        n, m = self.residual_K.size, self.law.size
        return float(self.chi2 / sigma_ratio**2 + 2 * m + 2 * m * (m + 1) / max(n - m - 1, 1))


def whiten(residual_K: FloatArray, rho: float) -> FloatArray:
    """Residuals with their AR(1) correlation taken out, shape kept."""
    out = residual_K.copy()
    out[1:] -= rho * residual_K[:-1]
    out[0] *= math.sqrt(1 - rho**2)
    return out


def fit_law(
    law: Law,
    stretch: Stretch,
    scatter: Scatter,
    guess: FloatArray,
    more: tuple[tuple[float, ...], ...] | None = None,
) -> Found:
    """Best fit of several starts, by Levenberg and Marquardt's method (MINPACK).

    Bounded parameters are searched as low + (high − low) sin²; where the readings do not tell a
    parameter, the range that is allowed holds it as a rectangle of that width would.

    Args:
        guess: T0 [°C], k [1/s], T∞ [°C] to start from.
        more: values of the further parameters to start from; None: those of the law.
    """
    from scipy.optimize import leastsq

    low, high = _bounds(law, stretch)
    scale, width, hold = _scales(law, stretch), high[3:] - low[3:], _hold(low, high)

    def natural(q: FloatArray) -> FloatArray:
        p = np.asarray(q * scale)
        p[1] = abs(p[1])
        if law.size > 3:
            p[3:] = low[3:] + width * np.sin(q[3:]) ** 2
        return p

    def misfit(q: FloatArray) -> FloatArray:
        p = natural(q)
        return np.concatenate([_misfit(law, p, stretch, scatter), (p[:3] - guess) * hold[:3]])

    best: tuple[float, FloatArray] | None = None
    for further in law.starts(stretch.span) if more is None else more:
        share = np.clip((np.asarray(further) - low[3:]) / (high[3:] - low[3:]), 1e-3, 1 - 1e-3)
        start = np.concatenate([guess / scale[:3], np.arcsin(np.sqrt(share))])
        q, *_ = leastsq(misfit, start, ftol=1e-7, xtol=1e-6, maxfev=400, full_output=True)
        cost = float(np.sum(misfit(q) ** 2))
        if np.isfinite(cost) and (best is None or cost < best[0]):
            best = (cost, natural(q))
    p = np.concatenate([guess, law.starts(stretch.span)[0]]) if best is None else best[1]
    residual = stretch.y - law.model(p, stretch.t, stretch.span)
    misfit_there = _misfit(law, p, stretch, scatter)
    jacobian = _jacobian(law, p, stretch, scatter, scale)
    covariance = _covariance(jacobian, hold, scale, _drift_column(law, p, stretch, scatter))
    return Found(law, p, covariance, residual, float(misfit_there @ misfit_there))


def _hold(low: FloatArray, high: FloatArray) -> FloatArray:
    """One over the standard deviation of a rectangle: √12/width (JCGM 100:2008, 4.3.7)."""
    return np.asarray(np.sqrt(12) / (high - low))


def _jacobian(
    law: Law, p: FloatArray, stretch: Stretch, scatter: Scatter, scale: FloatArray
) -> FloatArray:
    """Derivatives of the misfit for each parameter, by differences into the allowed range."""
    base = _misfit(law, p, stretch, scatter)
    columns = []
    for i in range(p.size):
        moved = p.copy()
        h = 1e-4 * scale[i]
        moved[i] += h
        columns.append((_misfit(law, moved, stretch, scatter) - base) / h)
    return np.column_stack(columns)


def _misfit(law: Law, p: FloatArray, stretch: Stretch, scatter: Scatter) -> FloatArray:
    span = stretch.span
    rest = whiten(stretch.y - law.model(p, stretch.t, span), scatter.rho) / scatter.sigma_K
    more: list[float] = []
    if stretch.settles is not None:
        expected_C, u_room_K = stretch.settles
        more.append((p[T_INF] - expected_C) / math.hypot(u_room_K, law.u_settles_K))
    fore = stretch.fore
    if fore is not None:
        expected = law.slope(p, -fore.before_s, fore.at_C, span) / fore.ratio
        more.append((expected - fore.slope_K_per_s) / fore.u_slope_K_per_s)
    return np.concatenate([rest, more]) if more else np.asarray(rest)


def _bounds(law: Law, stretch: Stretch) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest values; T∞ may lie far outside the readings where they hardly bend."""
    reach = 5 * float(np.ptp(stretch.y)) + 60.0
    middle = float(stretch.y.mean())
    pairs = [
        (float(stretch.y.min()) - 5.0, float(stretch.y.max()) + 5.0),
        (0.0, FASTEST_PER_S),
        (middle - reach, middle + reach),
        *law.bounds(stretch.span),
    ]
    low, high = np.array(pairs, dtype=np.float64).T
    return low, high


def _scales(law: Law, stretch: Stretch) -> FloatArray:
    """Rough sizes of the parameters, for the search."""
    sizes = {"T0": 0.1, "k": 1e-4, "T∞": 1.0, "b": 0.1, "τ": 30.0, "n": 0.2, "c": 1e-4}
    return np.array([sizes[name] for name, _ in law.parameters])


def _drift_column(law: Law, p: FloatArray, stretch: Stretch, scatter: Scatter) -> FloatArray:
    """What an unseen drift of the room, one standard deviation of it, does to the misfit."""
    k, t = p[RATE], stretch.t
    lag = -np.expm1(-k * t) / k if k > 1e-12 else t
    size = 0.0 if law.name == "drifting-room" else U_ROOM_DRIFT_K_PER_S
    column = np.zeros(t.size + (stretch.settles is not None) + (stretch.fore is not None))
    column[: t.size] = -whiten(size * (t - lag), scatter.rho) / scatter.sigma_K
    return column


def _covariance(
    jacobian: FloatArray, hold: FloatArray, scale: FloatArray, drift: FloatArray
) -> FloatArray:
    """Covariance of the parameters, the room's unseen drift being one more that is known to be 1.

    ``hold`` is what is known of a parameter from its allowed range.
    """
    m = scale.size
    J = np.vstack([np.column_stack([jacobian * scale, drift]), np.diag([*(hold * scale), 1.0])])
    _, w, vt = np.linalg.svd(J, full_matrices=False)
    inverse = (vt.T / np.maximum(w, 1e-12) ** 2) @ vt
    return np.asarray(inverse[:m, :m] * np.outer(scale, scale))


def rate_in_middle(found: Found, stretch: Stretch) -> tuple[float, float]:
    """Loss over temperature difference in the middle of the stretch, and its u. [1/s]

    Each law's k is defined there.
    """
    return float(found.p[RATE]), float(np.sqrt(found.covariance[RATE, RATE]))


def first_guess(stretch: Stretch) -> FloatArray:
    """T0, k and T∞ to start from: the room's temperature where known, else from the bend."""
    t, y = stretch.t, stretch.y
    coefficient = np.polyfit(t, y, 2)
    slope, bend = float(coefficient[1]), 2 * float(coefficient[0])
    if stretch.settles is not None:
        t_inf = stretch.settles[0]
    else:
        k = -bend / slope if slope and bend * slope < 0 else 1e-4
        t_inf = float(y[0]) + slope / float(np.clip(k, 2e-5, 1e-2))
    apart = float(y[0]) - t_inf
    k = -slope / apart if abs(apart) > 0.05 else 1e-4
    return np.array([float(y[0]), float(np.clip(k, 1e-6, 1e-2)), t_inf])


__all__ = [
    "RATE", "START", "T_INF", "Found", "Scatter", "first_guess", "fit_law", "rate_in_middle",
    "whiten",
]  # fmt: skip
