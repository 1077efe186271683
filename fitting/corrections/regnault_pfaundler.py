"""Regnault-Pfaundler: loss in the main period by interpolation between the two drifts."""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case
from fitting.corrections.lines import DriftLines, drift_lines
from fitting.corrections.result import Correction, make

NAME = "regnault-pfaundler"


def correct(case: Case) -> Correction:
    """Rise = (T_f − T_i) − ∫ [g1 − G (T − T1)] dt,   G = (g1 − g2)/(T2 − T1).

    g1, g2 are the drifts [K/s] at the mean temperatures T1, T2 of fore and after period, T_i and
    T_f the lines' values at both ends of the main period. Where liquid was added, g1 is first
    brought to the heat capacity after mixing (`drift_lines`).

    Source: Babcock & Wilcox, *Steam, its generation and use* (1919), pp. 186-188, eq. 19, in
    intervals; ISO 1928 in rates (from memory).
    """
    lines = drift_lines(case)
    rise = regnault_pfaundler_rise(case, lines)
    end, k = lines.start_s, lines.rate_per_s
    area = _mean_above(case, lines) * end
    u_rate = lines.u_rate_per_s * abs(area)
    curve = abs(lines.curvature_K_per_s2) * (float(case.s[-1]) - end) ** 2 / 12
    parts = (
        ("fore line", float(np.hypot(lines.fore.u_level_K, lines.fore.u_slope_K_per_s * end))),
        ("after line", lines.after.u_at(end)),
        ("cooling rate", u_rate),
        ("moment of mixing", abs(lines.fore.slope_K_per_s) * case.mixing.u_s),
        ("curvature of the after period", curve),
    )
    ok = k > 0 and curve < 0.002 * abs(rise) + lines.after.u_at(end)
    why = (
        "both drifts are straight and the cup loses heat by Newton's law between them"
        if ok
        else "the drifts give no positive cooling rate"
        if k <= 0
        else "the after period is curved"
    )
    g1 = lines.fore.slope_K_per_s * case.known.capacity_ratio
    t_inf = lines.fore.level_C + g1 / k if k > 0 else None
    u_g1 = lines.fore.u_slope_K_per_s * case.known.capacity_ratio
    u_t_inf = float(np.hypot(u_g1, g1 / k * lines.u_rate_per_s) / k) if k > 0 else None
    return make(
        case, NAME, rise, parts, (bool(ok), why), lines.after.residual_K,
        rate=(k, lines.u_rate_per_s), t_inf_C=t_inf, before_C=lines.fore.at(0.0),
        u_t_inf_K=u_t_inf,
    )  # fmt: skip


def regnault_pfaundler_rise(case: Case, lines: DriftLines) -> float:
    """The rise [K] from given drift lines."""
    end = lines.start_s
    g1 = lines.fore.slope_K_per_s * case.known.capacity_ratio
    lost = end * (g1 - lines.rate_per_s * _mean_above(case, lines))
    return float(lines.after.at(end) - lines.fore.at(0.0) - lost)


def _mean_above(case: Case, lines: DriftLines) -> float:
    """Mean temperature of the main period above the fore period's mean, K."""
    end = lines.start_s
    inside = (case.s > 0) & (case.s < end)
    s = np.concatenate([[0.0], case.s[inside], [end]])
    y = np.concatenate([[lines.fore.at(0.0)], case.y[inside], [lines.after.at(end)]])
    area = float(np.sum(np.diff(s) * (y[1:] + y[:-1]) / 2))
    return area / end - lines.fore.level_C


def interval_correction(
    count: int, before_per_interval: float, after_per_interval: float,
    mean_before: float, mean_after: float, mean_main: float,
) -> float:  # fmt: skip
    """Correction in intervals: C = N [R + (R' − R)/(T' − T) (T" − T)].

    N intervals in the main period, R and R' the cooling per interval before and after, T, T', T"
    mean temperatures of fore, after and main period.

    Source: Babcock & Wilcox, *Steam, its generation and use* (1919), eq. 19.
    """
    share = (mean_main - mean_before) / (mean_after - mean_before)
    change = after_per_interval - before_per_interval
    return count * (before_per_interval + change * share)
