"""Readings averaged over short stretches: enough for slow laws, few enough to be quick."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fitting.corrections.case import Case, fit_line
from fitting.curve import FloatArray
from fitting.newton.rows import Rows, vapour_excess
from fitting.noise import stepped_line

_FORE_BINS = 16
_FIRST_WIDTH_S = 4.0
_GROWTH = 0.06  # width of a stretch per second since mixing
_SHAPES_S = np.array([15.0, 30.0, 60.0, 110.0])
_FEW_FORE = 3
_NO_STEPS = 1e6  # K of movement: rounding averages away
QUICK_OVER_S = 14.0  # readings before this carry sensor lag and pouring, and are left out


def bin_case(case: Case, over_s: float = 0.0) -> Rows:
    """Averages over the fore period and over what follows the first seconds after the source.

    Args:
        case: the curve.
        over_s: when the source of heat was over, s since its beginning; 0: poured at an instant.
    """
    first = max(over_s + QUICK_OVER_S, case.main_end_s or 0.0)
    return _averaged(case, _groups(case, first, _FIRST_WIDTH_S, over_s))


def _averaged(case: Case, groups: list[npt.NDArray[np.intp]]) -> Rows:
    s, y = case.s, case.y - case.before_C
    vapour = _running_integral(s, vapour_excess(y, case.before_C))
    mean = {
        name: _means(values, groups)
        for name, values in (("s", s), ("y", y), ("i", case.integral_Ks), ("v", vapour))
    }
    after = (mean["s"] > 0).astype(np.float64)
    level = _smooth(mean["s"], mean["y"], mean["i"], after > 0, case)
    moved = _moved(s, groups, mean["s"], level, after > 0)
    count = np.array([float(g.size) for g in groups])
    known = np.zeros((level.size, level.size))
    rows = Rows(mean["s"], mean["y"], mean["i"], mean["v"], moved, count, after, known, level)
    if case.noise.coarse and case.fore.stop >= _FEW_FORE:
        return _with_stepped_fore(case, rows)
    return rows


def after_readings(case: Case) -> Rows:
    """The readings of the after period one by one, none averaged."""
    return single_readings(case, case.after)


def single_readings(case: Case, use: slice) -> Rows:
    """Readings one by one, none averaged."""
    y = case.y - case.before_C
    vapour = _running_integral(case.s, vapour_excess(y, case.before_C))
    one = np.ones(case.s[use].size)
    return Rows(
        case.s[use], y[use], case.integral_Ks[use], vapour[use], 0 * one, one,
        (case.s[use] > 0).astype(np.float64), np.zeros((one.size, 0)), y[use],
    )  # fmt: skip


def _with_stepped_fore(case: Case, rows: Rows) -> Rows:
    """The fore period as two points of a line, where the display's steps hide its noise."""
    s, y = case.s[case.fore], case.y[case.fore] - case.before_C
    ends = (float(s[0]), min(float(s[-1]), 0.0))
    value, covariance = stepped_line(s, y, case.noise, ends)
    rest = np.flatnonzero(rows.after > 0)
    known = np.zeros((2 + rest.size, 2 + rest.size))
    known[:2, :2] = covariance
    zero = np.zeros(2)
    return Rows(
        s=np.concatenate([ends, rows.s[rest]]),
        y=np.concatenate([value, rows.y[rest]]),
        integral=np.concatenate([np.interp(ends, case.s, case.integral_Ks), rows.integral[rest]]),
        vapour=np.concatenate([zero, rows.vapour[rest]]),
        spread=np.concatenate([zero + _NO_STEPS, rows.spread[rest]]),
        count=np.concatenate([zero + np.inf, rows.count[rest]]),
        after=np.concatenate([zero, rows.after[rest]]),
        known=known,
        level=np.concatenate([value, rows.level[rest]]),
    )


def _moved(
    s: FloatArray,
    groups: list[npt.NDArray[np.intp]],
    centre: FloatArray,
    level: FloatArray,
    after: npt.NDArray[np.bool_],
) -> FloatArray:
    """How far the smooth course moves within each stretch, K; each period by its own slope."""
    width = np.array([float(s[g[-1]] - s[g[0]]) for g in groups])
    slope = np.zeros_like(level)
    for part in (after, ~after):
        if part.sum() >= 2:
            slope[part] = np.gradient(level[part], centre[part])
    return np.asarray(np.abs(slope) * width)


def _means(values: FloatArray, groups: list[npt.NDArray[np.intp]]) -> FloatArray:
    """Mean of each group of neighbouring readings."""
    until = np.concatenate([[0.0], np.cumsum(values - values[0])])
    first, last = np.array([(g[0], g[-1] + 1) for g in groups]).T
    return np.asarray((until[last] - until[first]) / (last - first) + values[0])


def _running_integral(s: FloatArray, values: FloatArray) -> FloatArray:
    out = np.zeros_like(s)
    ahead = np.flatnonzero(s > 0)
    v, t = values[ahead], s[ahead]
    out[ahead[1:]] = np.cumsum(np.diff(t) * (v[1:] + v[:-1]) / 2)
    return out


def _groups(
    case: Case, first_s: float, width_s: float, over_s: float
) -> list[npt.NDArray[np.intp]]:
    s, step = case.s, max(case.curve.step_s, 1e-9)
    fore = np.arange(case.fore.stop)
    groups = list(np.array_split(fore, min(_FORE_BINS, fore.size)))
    at = int(np.searchsorted(s, min(first_s, over_s + 0.4 * (float(s[-1]) - over_s))))
    at = min(max(at, int(np.searchsorted(s, 0.0, side="right"))), s.size - 3)
    while at < s.size:
        width = max(width_s, step, _GROWTH * (float(s[at]) - over_s))
        end = max(int(np.searchsorted(s, s[at] + width - 1e-6)), at + 1)
        groups.append(np.arange(at, end))
        at = end
    return groups


def _smooth(
    s: FloatArray, y: FloatArray, integral: FloatArray, after: npt.NDArray[np.bool_], case: Case
) -> FloatArray:
    """A smooth course through the averages, within a small part of a display step."""
    level = y.copy()
    quick = after & (s < QUICK_OVER_S)
    after = after & ~quick if (after & ~quick).sum() >= _FEW_FORE else after
    basis = np.column_stack(
        [np.ones(after.sum()), integral[after], s[after]]
        + [np.exp(-s[after] / tau) for tau in _SHAPES_S]
    )
    basis = basis / np.maximum(np.abs(basis).max(axis=0), 1e-12)
    ridge = 1e-3 * np.eye(basis.shape[1])
    rows, target = np.vstack([basis, ridge]), np.concatenate([y[after], np.zeros(len(ridge))])
    coefficient, *_ = np.linalg.lstsq(rows, target, rcond=None)
    level[after] = basis @ coefficient
    fore = s <= 0
    if fore.sum() >= 3:
        line = fit_line(s[fore], y[fore], case.noise)
        level[fore] = line.level_C + line.slope_K_per_s * (s[fore] - line.centre_s)
    return level
