"""Dickinson's extrapolation: both drift lines meet at the time of six tenths of the rise."""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.lines import drift_lines, released_at
from fitting.corrections.result import Correction, make

NAME = "dickinson"
SHARE = 0.60


def correct(case: Case) -> Correction:
    """Rise = T_c − T_a − r1 (b − a) − r2 (c − b).

    a is the mixing, c the end of the main period, b the time at which 60 % of the rise is reached,
    r1 and r2 the drifts [K/s] before and after. For a first-order approach theory gives
    1 − 1/e = 63 %.

    Source: U.S. Bureau of Standards, Scientific Paper 230 (1914).
    """
    lines = drift_lines(case)
    end = lines.start_s
    rise, b = dickinson_rise(case, SHARE)
    r1, r2 = lines.fore.slope_K_per_s, lines.after.slope_K_per_s
    u_b = max(0.05 * b, 0.5 * case.curve.step_s)
    curve = abs(lines.curvature_K_per_s2) * ((float(case.s[-1]) - end) ** 2 / 12 + end**2 / 2)
    parts = (
        ("fore line", lines.fore.u_at(b)),
        ("after line", lines.after.u_at(b)),
        ("time of six tenths", abs(r1 - r2) * u_b),
        ("curvature of the after period", curve),
    )
    fits = curve < 0.002 * abs(rise) + lines.after.u_at(b)
    first_order = b < 0.6 * end
    why = (
        "the drifts are straight and the change follows about one exponential"
        if fits and first_order
        else "the after period is curved"
        if not fits
        else "six tenths of the rise come too late for a change of one exponential"
    )
    verdict = (bool(fits and first_order), why)
    return make(
        case, NAME, rise, parts, verdict, lines.after.residual_K, before_C=lines.fore.at(0.0)
    )


def dickinson_rise(case: Case, share: float) -> tuple[float, float]:
    """Rise [K] and time b [s since mixing] for a given share of the rise at b."""
    lines = drift_lines(case)
    end = lines.start_s
    b = released_at(case, share, end, lines.after)
    raw = lines.after.at(end) - lines.fore.at(0.0)
    rise = raw - lines.fore.slope_K_per_s * b - lines.after.slope_K_per_s * (end - b)
    return float(np.float64(rise)), b
