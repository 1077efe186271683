"""The smoothest heat flow that explains a curve's readings: regularised differentiation.

The loss-corrected reading is the integral of the flow q [K/s], seen through a sensor of lag τ [s]::

    y(s) = T_before + ∫₀ˢ q(r) (1 − exp(−(s − r)/τ)) dr + error

Differentiating y and adding τ times its second derivative would blow the errors up, so q is found
the other way round, as the flow that explains y and is smooth::

    minimise Σ (yᵢ − (A q)ᵢ)²/σᵢ² + λ Σ (Δ² g)²

q is piecewise linear on knots that are evenly spaced in u = ln(1 + s/s₀), as g = q ds/du, since a
release is quick at first and slow later, and starts from nothing; the penalty is on g's second
differences (P. H. C. Eilers, *A perfect smoother*, Anal. Chem. 75 (2003) 3631; from memory). λ
minimises the generalised cross-validation score n RSS/(n − γ tr)², γ = 1.4 against undersmoothing
(P. Craven, G. Wahba, Numer. Math. 31 (1979) 377; γ after S. N. Wood, *Generalized Additive Models*
(2006), 4.5.4; both from memory). The covariance is that of G. Wahba, J. R. Stat. Soc. B 45 (1983)
133 (from memory), which holds the smoothing's own bias on average.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import FloatArray

_GAMMA = 1.4
_FINE = 6  # points between knots
_LAMBDAS = np.logspace(-4, 8, 37)


@dataclass(frozen=True, eq=False)
class Knots:
    """Where the flow is described: a grid in seconds since mixing, some points a knot."""

    fine_s: FloatArray
    hats: FloatArray  # of g at the fine points, shape (fine, knots − 1)
    slope: FloatArray  # du/ds at the fine points

    @classmethod
    def spread(cls, onset_s: float, end_s: float, first_s: float, count: int) -> Knots:
        """``count`` knots from the onset to the end, even in ln(1 + (s − onset)/first_s)."""
        u = np.linspace(0.0, np.log1p((end_s - onset_s) / first_s), count)
        fine_u = np.linspace(0.0, u[-1], (count - 1) * _FINE + 1)
        position = fine_u / u[1]
        hats = np.clip(1 - np.abs(position[:, None] - np.arange(1, count)[None, :]), 0.0, None)
        after_onset = first_s * np.expm1(fine_u)
        slope = 1.0 / (first_s + after_onset)
        if onset_s <= 0:
            return cls(after_onset, hats, slope)
        quiet = np.zeros((1, count - 1))
        return cls(
            np.concatenate([[0.0], onset_s + after_onset]),
            np.concatenate([quiet, hats]),
            np.concatenate([[0.0], slope]),
        )

    @property
    def flow(self) -> FloatArray:
        """Matrix from g to the flow q at the fine points, 1/s."""
        return self.hats * self.slope[:, None]

    @property
    def released(self) -> FloatArray:
        """Matrix from g to what was released by the fine points."""
        return _running_integral(self.flow, self.fine_s)

    def seen(self, lag_s: float) -> FloatArray:
        """As `released`, seen through a first-order sensor of lag ``lag_s``."""
        if lag_s <= 0:
            return self.released
        return self.released - _lagging(self.flow, self.fine_s, lag_s)

    def at(self, matrix: FloatArray, s: FloatArray) -> FloatArray:
        """Rows of a matrix over the fine points, interpolated to other times."""
        right = np.clip(np.searchsorted(self.fine_s, s), 1, self.fine_s.size - 1)
        left = right - 1
        share = (s - self.fine_s[left]) / (self.fine_s[right] - self.fine_s[left])
        share = np.clip(share, 0.0, 1.0)[:, None]
        return np.asarray((1 - share) * matrix[left] + share * matrix[right])


def _running_integral(values: FloatArray, s: FloatArray) -> FloatArray:
    steps = 0.5 * (values[1:] + values[:-1]) * np.diff(s)[:, None]
    return np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(steps, axis=0)])


def _lagging(flow: FloatArray, s: FloatArray, lag_s: float) -> FloatArray:
    """∫₀ˢ q(r) exp(−(s − r)/τ) dr, exact for a flow that is constant between points."""
    out = np.zeros_like(flow)
    keep = np.exp(-np.diff(s) / lag_s)
    middle = 0.5 * (flow[1:] + flow[:-1])
    for i, kept in enumerate(keep):
        out[i + 1] = kept * out[i] + lag_s * (1 - kept) * middle[i]
    return out


@dataclass(frozen=True, eq=False)
class SmoothFlow:
    """Coefficients g with their covariance, the start's correction first, and how good they are."""

    coefficients: FloatArray
    covariance: FloatArray
    smoothing: float
    freedom: float
    misfit: float  # root of chi-squared over the degrees of freedom
    score: float  # generalised cross-validation: smaller is better


def smooth_flow(
    design: FloatArray, change_K: FloatArray, variance_K2: FloatArray, u_start_K: float
) -> SmoothFlow:
    """Solve for the start's correction and g, with λ by generalised cross-validation.

    Args:
        design: from g to the readings, shape (n, m).
        change_K: loss-corrected readings minus the temperature before mixing, shape (n,).
        variance_K2: variance of each, shape (n,).
        u_start_K: standard uncertainty of the temperature before mixing.
    """
    weight = 1.0 / np.sqrt(variance_K2)
    left = np.concatenate([np.ones((design.shape[0], 1)), design], axis=1) * weight[:, None]
    right = change_K * weight
    gram, moment = left.T @ left, left.T @ right
    bend = np.zeros((design.shape[1] - 2, left.shape[1]))
    bend[:, 1:] = np.diff(np.eye(design.shape[1]), 2, axis=0)
    penalty = bend.T @ bend
    scale = float(np.trace(gram[1:, 1:])) / float(np.trace(penalty))
    fixed = np.zeros_like(gram)
    fixed[0, 0] = 1.0 / max(u_start_K, 1e-6) ** 2
    fixed[1:, 1:] += 1e-9 * scale * np.eye(design.shape[1])
    spectrum = _spectrum(gram + fixed, penalty)
    strengths = _LAMBDAS * scale * 1e-4
    shrunk = 1.0 / (1.0 + np.outer(spectrum.bending, strengths))  # (m, number of λ)
    solutions = spectrum.vectors @ (shrunk * (spectrum.vectors.T @ moment)[:, None])
    own = np.einsum("ij,jk,ki->i", spectrum.vectors.T, gram, spectrum.vectors)
    freedom = own @ shrunk
    rss = np.sum((right[:, None] - left @ solutions) ** 2, axis=0)
    spare = right.size - _GAMMA * freedom
    scores = np.full_like(spare, np.inf)
    np.divide(right.size * rss, spare**2, out=scores, where=spare > 0)
    at = int(np.argmin(scores))
    inverse = (spectrum.vectors * shrunk[:, at]) @ spectrum.vectors.T
    misfit = float(np.sqrt(rss[at] / max(right.size - freedom[at], 1.0)))
    return SmoothFlow(
        solutions[:, at],
        max(misfit, 1.0) ** 2 * inverse,
        float(strengths[at]),
        float(freedom[at]),
        misfit,
        float(scores[at]),
    )


@dataclass(frozen=True, eq=False)
class _Spectrum:
    """W and d with (A + λ P)⁻¹ = W diag(1/(1 + λ d)) Wᵀ for every λ."""

    vectors: FloatArray
    bending: FloatArray


def _spectrum(A: FloatArray, P: FloatArray) -> _Spectrum:
    """Diagonalise A and P together: A = L Lᵀ, L⁻¹ P L⁻ᵀ = U diag(d) Uᵀ, W = L⁻ᵀ U.

    Source: G. H. Golub, C. F. Van Loan, *Matrix Computations*, 8.7 (from memory).
    """
    root = np.linalg.cholesky(A)
    half = np.linalg.solve(root, P)
    values, U = np.linalg.eigh(np.linalg.solve(root, half.T))
    return _Spectrum(np.linalg.solve(root.T, U), np.clip(values, 0.0, None))
