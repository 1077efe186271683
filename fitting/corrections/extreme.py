"""The extreme reading: no correction at all, kept for comparison."""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.lines import drift_lines
from fitting.corrections.result import Correction, make

NAME = "extreme"


def extreme_index(case: Case) -> int:
    """Index of the reading furthest from the temperature before mixing."""
    ahead = np.flatnonzero(case.s > 0)
    return int(ahead[np.argmax(np.abs(case.y[ahead] - case.before_C))])


def correct(case: Case) -> Correction:
    """Rise = extreme reading − temperature at mixing.

    What was lost up to the extreme, k ∫ (T − T∞) ds, is not put back; it enters the uncertainty
    with its full size, and decides whether the reading will do.
    """
    at = extreme_index(case)
    rise = float(case.y[at] - case.before_C)
    lines = drift_lines(case)
    lost = lines.rate_per_s * float(case.integral_Ks[at])
    lost -= lines.fore.slope_K_per_s * case.known.capacity_ratio * float(case.s[at])
    reading = float(np.hypot(case.noise.sigma_K, case.noise.resolution_K / np.sqrt(12)))
    parts = (
        ("temperature before", case.u_before_K),
        ("reading", reading),
        ("loss left uncorrected", abs(lost)),
    )
    fine = abs(lost) < np.hypot(case.u_before_K, reading)
    why = (
        f"about {abs(lost):.3g} K were lost by the time of the extreme reading, "
        + ("less" if fine else "more")
        + " than the reading's own uncertainty"
    )
    return make(case, NAME, rise, parts, (bool(fine), why), np.empty(0))
