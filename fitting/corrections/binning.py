"""Readings averaged over short stretches: enough for slow laws, few enough to be quick."""

from __future__ import annotations

import numpy as np

from fitting.corrections.case import Case, fit_line
from fitting.curve import FloatArray
from fitting.newton import Binned, vapour_excess

_FORE_BINS = 16
_FIRST_WIDTH_S = 4.0
_GROWTH = 0.06  # width of a stretch per second since mixing
_SHAPES_S = np.array([15.0, 30.0, 60.0, 110.0])
QUICK_OVER_S = 14.0  # readings before this carry sensor lag and pouring, and are left out


def bin_case(case: Case) -> tuple[Binned, FloatArray]:
    """Averages over the fore period and over what follows the first seconds after mixing.

    Returns the rows and the smooth temperature at each of them [K above the reference], which
    the display's steps are counted on.
    """
    s, y = case.s, case.y - case.before_C
    vapour = _running_integral(s, vapour_excess(y, case.before_C))
    groups = _groups(case)
    mean = {
        name: np.array([values[g].mean() for g in groups])
        for name, values in (("s", s), ("y", y), ("i", case.integral_Ks), ("v", vapour))
    }
    after = (mean["s"] > 0).astype(np.float64)
    level = _smooth(mean["s"], mean["y"], mean["i"], after > 0, case)
    moved = [
        abs(float(np.interp(s[g[-1]], mean["s"], level) - np.interp(s[g[0]], mean["s"], level)))
        for g in groups
    ]
    count = np.array([float(g.size) for g in groups])
    rows = Binned(mean["s"], mean["y"], mean["i"], mean["v"], np.array(moved), count, after)
    return rows, level


def _running_integral(s: FloatArray, values: FloatArray) -> FloatArray:
    out = np.zeros_like(s)
    ahead = np.flatnonzero(s > 0)
    v, t = values[ahead], s[ahead]
    out[ahead[1:]] = np.cumsum(np.diff(t) * (v[1:] + v[:-1]) / 2)
    return out


def _groups(case: Case) -> list[np.ndarray]:
    s, step = case.s, max(case.curve.step_s, 1e-9)
    fore = np.arange(case.fore.stop)
    groups = list(np.array_split(fore, min(_FORE_BINS, fore.size)))
    first_s = max(QUICK_OVER_S, case.main_end_s or 0.0)
    at = int(np.searchsorted(s, min(first_s, 0.4 * float(s[-1]))))
    at = min(max(at, int(np.searchsorted(s, 0.0, side="right"))), s.size - 3)
    while at < s.size:
        width = max(_FIRST_WIDTH_S, step, _GROWTH * float(s[at]))
        end = max(int(np.searchsorted(s, s[at] + width - 1e-6)), at + 1)
        groups.append(np.arange(at, end))
        at = end
    return groups


def _smooth(
    s: FloatArray, y: FloatArray, integral: FloatArray, after: np.ndarray, case: Case
) -> FloatArray:
    """A smooth course through the averages, within a small part of a display step."""
    level = y.copy()
    basis = np.column_stack(
        [np.ones(after.sum()), integral[after], s[after]]
        + [np.exp(-s[after] / tau) for tau in _SHAPES_S]
    )
    basis = basis / np.maximum(np.abs(basis).max(axis=0), 1e-12)
    ridge = 1e-3 * np.eye(basis.shape[1])
    rows, target = np.vstack([basis, ridge]), np.concatenate([y[after], np.zeros(len(ridge))])
    coefficient, *_ = np.linalg.lstsq(rows, target, rcond=None)
    level[after] = basis @ coefficient
    if (~after).sum() >= 3:
        line = fit_line(s[~after], y[~after], case.noise)
        level[~after] = line.level_C + line.slope_K_per_s * (s[~after] - line.centre_s)
    return level
