"""What the methods that draw straight lines through fore and after period share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.corrections.case import Case, Line, fit_line


@dataclass(frozen=True, eq=False)
class DriftLines:
    """Lines through the fore and the after period, over seconds since mixing."""

    fore: Line
    after: Line
    start_s: float  # where the after period starts
    rate_per_s: float  # k by Regnault-Pfaundler
    u_rate_per_s: float

    @property
    def curvature_K_per_s2(self) -> float:
        """Second derivative that Newton's law gives the after period, K/s²."""
        return -self.rate_per_s * self.after.slope_K_per_s


def drift_lines(case: Case) -> DriftLines:
    """Fit both lines and take k from the two drifts and the two mean temperatures.

    k = (r·g1 − g2)/(T2 − T1) with g the drifts [K/s] at the mean temperatures T1, T2 and
    r = heat capacity before / after, since before mixing the drift is 1/r times as large for
    the same loss. A rate known beforehand is averaged in.
    """
    fore = fit_line(case.s[case.fore], case.y[case.fore], case.noise)
    after = fit_line(case.s[case.after], case.y[case.after], case.noise)
    apart = after.level_C - fore.level_C
    safe = apart if abs(apart) > 1e-6 else 1e-6
    ratio = case.known.capacity_ratio
    rate = (ratio * fore.slope_K_per_s - after.slope_K_per_s) / safe
    u = np.hypot(ratio * fore.u_slope_K_per_s, after.u_slope_K_per_s) / abs(safe)
    rate, u = combined(case, float(rate), float(u))
    return DriftLines(fore, after, float(case.s[case.after][0]), rate, u)


def combined(case: Case, rate: float, u: float) -> tuple[float, float]:
    """The curve's rate and the one known beforehand, weighted by 1/u². [1/s]"""
    prior, u_prior = prior_of(case)
    if prior is None or not (u > 0 and u_prior > 0):
        return rate, u
    w, w_prior = 1 / u**2, 1 / u_prior**2
    return (w * rate + w_prior * prior) / (w + w_prior), float(1 / np.sqrt(w + w_prior))


def prior_of(case: Case) -> tuple[float | None, float]:
    """The rate known beforehand and its u, 1/s; None and 0 where nothing is known."""
    return case.known.expected_rate or (None, 0.0)


def released_at(case: Case, share: float, end_s: float, after: Line) -> float:
    """Time since mixing at which a share of the change up to ``end_s`` is reached, s."""
    goal = case.before_C + share * (after.at(end_s) - case.before_C)
    sign = np.sign(after.at(end_s) - case.before_C) or 1.0
    ahead = np.flatnonzero((case.s > 0) & (case.s <= end_s))
    passed = [i for i in ahead if sign * (case.y[i] - goal) >= 0]
    if not passed:
        return end_s
    i = passed[0]
    s0, y0 = (0.0, case.before_C) if i == ahead[0] else (float(case.s[i - 1]), float(case.y[i - 1]))
    s1, y1 = float(case.s[i]), float(case.y[i])
    if y1 == y0:
        return s1
    return float(np.clip(s0 + (goal - y0) * (s1 - s0) / (y1 - y0), 0.0, end_s))
