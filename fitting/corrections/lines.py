"""What the methods that draw straight lines through fore and after period share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.corrections.case import Case, Line, fit_line, once_a_case

_LATER = 1.5
_FEWEST = 3  # readings of an after period


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


@once_a_case
def main_end_s(case: Case) -> float:
    """End of the main period, s since mixing: a half later than the release seems to be over.

    A tail that fades as e^(−s/τ) and passes for noise at the end of what is seen would still bend k
    and T∞; half as long again takes it to the power 3/2. At most the middle of what follows the
    mixing, so that an after period is left; an end that was given is kept.
    """
    seen = float(case.s[case.after][0])
    if case.main_end_s is not None:
        return seen
    wanted = max(seen, min(_LATER * seen, 0.5 * float(case.s[-1])))
    at = int(np.searchsorted(case.s, wanted))
    return float(case.s[min(at, max(case.s.size - _FEWEST, case.after.start))])


@once_a_case
def after_readings(case: Case) -> slice:
    """Readings of the after period that lines and laws are laid through."""
    return slice(int(np.searchsorted(case.s, main_end_s(case))), case.s.size)


@once_a_case
def drift_lines(case: Case) -> DriftLines:
    """Fit both lines and take k from the two drifts and the two mean temperatures.

    k = (r·g1 − g2)/(T2 − T1) with g the drifts [K/s] at the mean temperatures T1, T2 and
    r = heat capacity before / after, since before mixing the drift is 1/r times as large for
    the same loss. A rate known beforehand is averaged in.
    """
    fore = fit_line(case.s[case.fore], case.y[case.fore], case.noise)
    use = after_readings(case)
    after = fit_line(case.s[use], case.y[use], case.noise)
    apart = after.level_C - fore.level_C
    safe = apart if abs(apart) > 1e-6 else 1e-6
    ratio = case.known.capacity_ratio
    rate = (ratio * fore.slope_K_per_s - after.slope_K_per_s) / safe
    u = np.hypot(ratio * fore.u_slope_K_per_s, after.u_slope_K_per_s) / abs(safe)
    rate, u = combined(case, float(rate), float(u))
    return DriftLines(fore, after, float(case.s[use][0]), rate, u)


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


def lost_while_released(case: Case, rise_K: float, rate_per_s: float) -> float:
    """k ∫ (rise − change so far) ds over the main period, K: heat that came late was lost later."""
    ahead = (case.s > 0) & (case.s <= main_end_s(case))
    s = np.concatenate([[0.0], case.s[ahead]])
    gap = rise_K - np.concatenate([[0.0], case.y[ahead] - case.before_C])
    return abs(rate_per_s * float(np.sum(np.diff(s) * (gap[1:] + gap[:-1]) / 2)))
