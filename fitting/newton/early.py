"""What is over within seconds to minutes: sensor, pouring and the release of the heat itself.

These processes are of no interest in themselves, so that they count as errors of the readings: with
columns K, amplitudes of mean m and covariance S, the readings have K m more and K S Kᵀ in
covariance. Two kinds of sets stand for what may have happened; the evidence decides.

*Decays.* Sensor, pouring and a release by exponentials: decays d(s, τ) with τ from 3 to 70 s. Three
neighbours stand for one process of any time between them: of them the *sum* is known.

*A release that ends.* Grains shrink and are gone, a lump dissolves from its surface: the heat still
to come is ρ(s) = Σ a_p (1 − s/t_e)^p, p = 1, 2, 3, until t_e and nothing after it (a shrinking cube
or sphere has p = 3, an even rate p = 1), seen through a sensor that lags. What these shapes miss is
a smooth course of a few per cent that ends soon after t_e.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fitting.cup.knowledge import RELEASES
from fitting.curve import FloatArray
from fitting.newton.rows import Rows
from fitting.newton.setting import Setting

_R = RELEASES

QUICK_S: FloatArray = np.asarray(3.0 * 1.3 ** np.arange(13), dtype=np.float64)
"""Time constants of early decays: 3 to 70 s, a third apart."""
QUICK_SETS = (*((j, j) for j in range(5)), *((0, j) for j in range(1, 11)), (0, 6))
"""Sets of them: (first, slowest three); those from ``first`` on before the three stand for what is
quicker still. The last set has no such three: it goes with one slow release, and holds the sensor's
lag only."""
_LAG_ONLY = len(QUICK_SETS) - 1

# heat still to come after the quick processes: none; a slower second process; one slow process that
# gives most of the heat. Between two times the shape is moved by its derivative.
_RATIO = 1.25
_SECOND_S = 20.0 * _RATIO ** np.arange(10)  # to 149 s
_SINGLE_S = 20.0 * _RATIO ** np.arange(12)  # to 230 s
RELEASE_S = np.concatenate([[0.0], _SECOND_S, _SINGLE_S])
_SINGLE = 1 + _SECOND_S.size
_GROUPS = (1, _SECOND_S.size, _SINGLE_S.size)


def _each(none: float, second: float, single: float) -> FloatArray:
    return np.repeat([none, second, single], _GROUPS)


RELEASE_SHARE = _each(0.0, _R.second_share.value, _R.single_share.value)
U_RELEASE_SHARE = _each(_R.unseen_share.u, _R.second_share.u, _R.single_share.u)
U_RELEASE_SHIFT = np.log(_RATIO) / np.sqrt(12) * np.hypot(RELEASE_SHARE, U_RELEASE_SHARE)
"""Of the change: amplitude of the shape moved by its derivative with respect to ln τ."""

_ENDS_S = 18.0 * _RATIO ** np.arange(13)  # to 262 s
_LAGS_S = (3.0, 10.0)
_GRID_S = 0.5
_POWERS = (1, 2, 3)


def release_columns(
    rows: Rows, setting: Setting, which: list[int] | slice = slice(None)
) -> tuple[FloatArray, FloatArray]:
    """Heat still to come, −d(s, τ), and its derivative with respect to ln τ; shapes (n, releases).

    A time of 0 gives zeros: no such process. ``which``: some of ``RELEASE_S`` only.
    """
    step, time_s = 1e-3, RELEASE_S[which]
    shape = setting.source.late(rows.s, time_s)
    later = np.asarray(time_s * float(np.exp(step)), dtype=np.float64)
    moved = setting.source.late(rows.s, later)
    return -shape, (moved - shape) / -step


@dataclass(frozen=True, eq=False)
class Early:
    """One set of early processes.

    Attributes:
        mean, covariance: what it adds to the readings' mean (n,) [K] and covariance (n, n) [K²].
        weight: prior weight with each of ``RELEASE_S`` still to come, shape (releases,).
    """

    mean: FloatArray
    covariance: FloatArray
    weight: FloatArray


def early_processes(rows: Rows, setting: Setting) -> tuple[Early, ...]:
    """Every set that is tried; a single empty one where nothing is heated."""
    n = rows.s.size
    if not setting.source.heats:
        only = np.zeros(RELEASE_S.size)
        only[0] = 1.0
        return (Early(np.zeros(n), np.zeros((n, n)), only),)
    ends = _ends_weight(setting, float(rows.s[-1]))
    share = float(ends.sum())
    decays = _decays(rows, setting, 1.0 - share)
    return (*decays, *_ending(rows, setting, ends))


@lru_cache(maxsize=1)
def _second_weights() -> FloatArray:
    """Prior weights of a second release's times, summing to 1."""
    second = np.exp(-((np.log(_SECOND_S / _R.second_s.value) / _R.second_s.u) ** 2) / 2)
    return np.asarray(second / second.sum())


def _known_sum(count: int, u_each: float, u_sum: float) -> FloatArray:
    """Covariance of amplitudes of which each is known to ``u_each`` and their sum to ``u_sum``."""
    common = (u_sum**2 / count - u_each**2) / (count - 1)
    return np.asarray(np.full((count, count), common) + (u_each**2 - common) * np.eye(count))


def _decays(rows: Rows, setting: Setting, share: float) -> list[Early]:
    """Sets of decays, with what may still be to come.

    A release over in seconds leaves only the sensor's lag to be seen (narrow sets) and seldom a
    slow remainder, unless a solid dissolves; a release that is seen itself (wide sets) has one more
    often. Solids mostly have one, two liquids seldom, a heater's own body seldom.
    """
    K = setting.source.late(rows.s, np.asarray(QUICK_S)) * setting.size_K
    sign = np.sign(setting.change_K) or 1.0
    block = _known_sum(3, _R.quick_each.u, _R.quick_share.u)
    narrow = sum(1 for first, three in QUICK_SETS if first == three)
    wide = len(QUICK_SETS) - narrow - 1
    late = (
        setting.between(_R.liquid_late.value, _R.solid_late.value),
        setting.between(_R.liquid_wide_late.value, _R.solid_wide_late.value),
    )
    single = np.exp(-((np.log(_SINGLE_S / _R.single_s.value) / _R.single_s.u) ** 2) / 2)
    out = []
    for at, (first, three) in enumerate(QUICK_SETS):
        quicker = K[:, first:three]
        covariance = _R.quicker_share.u**2 * (quicker @ quicker.T)
        mean, weight = np.zeros(rows.s.size), np.zeros(RELEASE_S.size)
        if at == _LAG_ONLY:
            weight[_SINGLE:] = _R.single.value * single / single.sum()
        else:
            last = K[:, three : three + 3]
            covariance = covariance + last @ block @ last.T
            mean = -sign * _R.quick_share.value * last.sum(1) / 3
            own = (1 - _R.single.value) / 2 / (narrow if first == three else wide)
            later = late[0] if first == three else late[1]
            weight[0] = own * (1 - later)
            weight[1:_SINGLE] = own * later * _second_weights()
        out.append(Early(mean, covariance, share * weight))
    return out


def _ends_weight(setting: Setting, last_s: float) -> FloatArray:
    """Prior weight of each end of a release, shape (ends,); zeros for a heater.

    A release that ends within the last third of the log leaves nothing to draw back from.
    """
    if setting.source.lasts_s > 0:
        return np.zeros(_ENDS_S.size)
    weight = np.exp(-((np.log(_ENDS_S / _R.end_s.value) / _R.end_s.u) ** 2) / 2)
    weight = setting.between(_R.liquid_ends.value, _R.solid_ends.value) * weight / weight.sum()
    return np.where(0.67 * last_s > _ENDS_S, weight, 0.0)


@lru_cache(maxsize=64)
def _shapes(end_s: float) -> FloatArray:
    """(1 − s/t_e)^p seen by two sensors, every half second; shape (times, 2 lags, powers).

    A sensor that lags by τ shows S' = (x − S)/τ; ρ(0) = 1 is what had not come at the mixing.
    """
    s = np.arange(0.0, end_s + 8 * _LAGS_S[-1], _GRID_S)
    x = np.clip(1 - s / end_s, 0.0, None)[:, None] ** np.array(_POWERS)
    out = np.empty((s.size, 2, len(_POWERS)))
    for at, lag in enumerate(_LAGS_S):
        keep = np.exp(-_GRID_S / lag)
        shown = np.ones(len(_POWERS))
        for i in range(s.size):
            out[i, at] = shown
            shown = keep * shown + (1 - keep) * x[i]
    return out


def _ending(rows: Rows, setting: Setting, ends: FloatArray) -> list[Early]:
    """Sets of releases that end, mostly with nothing still to come."""
    size, sign = setting.size_K, np.sign(setting.change_K) or 1.0
    after = rows.s > 0
    s = np.clip(rows.s, 0.0, None)
    block = _known_sum(len(_POWERS), _R.ending_each.u, _R.ending_share.u)
    late = _R.ending_late.value
    out = []
    for end, weight in zip(_ENDS_S, ends, strict=True):
        if weight <= 0:
            continue
        table = _shapes(float(end))
        place = np.clip((s / _GRID_S).astype(np.intp), 0, table.shape[0] - 1)
        seen = table[place] * after[:, None, None] * size
        both, apart = seen.mean(axis=1), (seen[:, 0] - seen[:, 1]) / 2
        covariance = both @ block @ both.T + _R.ending_each.u**2 * (apart @ apart.T)
        mean = -sign * _R.ending_share.value * both.mean(axis=1)
        rest = np.clip(1 - s / (1.25 * end + _LAGS_S[1]), 0.0, None) * after
        early = np.flatnonzero(rest)  # rows that lie one after the other
        if early.size:
            use = slice(int(early[0]), int(early[-1]) + 1)
            rough = _R.ending_error.u * size * rest[use]
            gap = (s[use, None] - s[use]) / (0.2 * end)
            covariance[use, use] += np.outer(rough, rough) * np.exp(-(gap**2) / 2)
        own = np.zeros(RELEASE_S.size)
        own[0], own[1:_SINGLE] = 1 - late, late * _second_weights()
        out.append(Early(mean, covariance, weight * own))
    return out
