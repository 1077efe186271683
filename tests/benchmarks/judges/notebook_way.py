"""What a student writes in a notebook with numpy and scipy: the methods that must not be lost to.

Textbook equations, no code of the corrections. Given are time, temperature, the moment of mixing and
the ratio r of the heat capacities before and after. The after period begins a third of the way from
the mixing to the log's end, not before 120 s and not after the half.

    fore:  T = T_inf + A1 exp(-(k/r) t),     after:  T = T_inf + A2 exp(-k t),     t from the mixing

share T_inf and k (Newton's law of cooling). T_inf, A1 and A2 follow by linear least squares for each k
(variable projection), k by a search. Rises::

    integral:       (T_f - T_i) + k integral of (T - T_inf) dt, T_i at the mixing, T_f at the after's begin
    exponential:    A2 - A1: both periods drawn to the mixing
    straight-line:  straight lines through both periods drawn to the mixing
    equal-areas:    straight lines drawn to the time that makes the areas on its two sides equal

All common practice in textbooks, no source.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize_scalar

from tests.benchmarks.judges.record import FloatArray

RATES_PER_S = np.geomspace(1e-5, 3e-3, 16)


def after_begins_s(time_s: FloatArray, mixed_at_s: float) -> float:
    """A third of the way from the mixing to the end, at least 120 s but never past a half."""
    left = float(time_s[-1]) - mixed_at_s
    return mixed_at_s + min(max(left / 3.0, 120.0), left / 2.0)


def newton_fit(
    fore_s: FloatArray, fore_C: FloatArray, after_s: FloatArray, after_C: FloatArray, ratio: float
) -> tuple[float, float, float, float]:
    """k after mixing [1/s], T_inf, A1 and A2; times count from the mixing."""
    shown = np.concatenate([fore_C, after_C])

    def solved(k: float) -> tuple[float, FloatArray]:
        x = np.zeros((len(shown), 3))
        x[:, 0] = 1.0
        x[: len(fore_s), 1] = np.exp(-k / ratio * fore_s)
        x[len(fore_s) :, 2] = np.exp(-k * after_s)
        found = np.linalg.solve(x.T @ x, x.T @ shown)
        return float(np.sum((shown - x @ found) ** 2)), found

    sums = [solved(k)[0] for k in RATES_PER_S]
    at = min(max(int(np.argmin(sums)), 1), len(RATES_PER_S) - 2)
    bounds = float(np.log(RATES_PER_S[at - 1])), float(np.log(RATES_PER_S[at + 1]))
    search = minimize_scalar(
        lambda x: solved(np.exp(x))[0], bounds=bounds, method="bounded", options={"xatol": 1e-4}
    )
    k = float(np.exp(search.x))
    t_inf, before, after = solved(k)[1]
    return k, float(t_inf), float(before), float(after)


def straight_line(time_s: FloatArray, shown_C: FloatArray) -> FloatArray:
    """Height at time 0 and slope of the least-squares line."""
    slope, height = np.polyfit(time_s, shown_C, 1)
    return np.array([height, slope])


def rises_K(
    time_s: FloatArray, shown_C: FloatArray, mixed_at_s: float, capacity_ratio: float
) -> dict[str, float]:
    """Rise by each of the four ways. [K]"""
    t = time_s - mixed_at_s
    start = after_begins_s(time_s, mixed_at_s) - mixed_at_s
    fore, after = t < 0.0, t >= start
    k, t_inf, before, left = newton_fit(
        t[fore], shown_C[fore], t[after], shown_C[after], capacity_ratio
    )
    out = {"exponential": left - before}
    main = ~fore & ~after
    times = np.concatenate([[0.0], t[main], [start]])
    ends = t_inf + before, t_inf + left * np.exp(-k * start)
    course = np.concatenate([[ends[0]], shown_C[main], [ends[1]]])
    out["integral"] = float(ends[1] - ends[0] + k * np.trapezoid(course - t_inf, times))
    first = straight_line(t[fore], shown_C[fore])
    second = straight_line(t[after], shown_C[after])
    out["straight-line"] = float(second[0] - first[0])
    x = equal_areas_s(times, course, first, second)
    out["equal-areas"] = float(second[0] + second[1] * x - first[0] - first[1] * x)
    return out


def equal_areas_s(
    times: FloatArray, course: FloatArray, first: FloatArray, second: FloatArray
) -> float:
    """Time x with the area between curve and first line before it equal to that to the second after it."""
    above_first = course - (first[0] + first[1] * times)
    below_second = second[0] + second[1] * times - course
    step = np.diff(times)
    left = np.concatenate([[0.0], np.cumsum(step * (above_first[1:] + above_first[:-1]) / 2)])
    right = np.concatenate([[0.0], np.cumsum(step * (below_second[1:] + below_second[:-1]) / 2)])
    differ = left - (right[-1] - right)
    sign = 1.0 if differ[-1] >= differ[0] else -1.0
    return float(np.interp(0.0, sign * differ, times))
