"""The sensor's time constant, from the first minute after two liquids were put together.

Where the heat is there at once, the reading follows a pour of even speed over p seconds and two
first-order steps: stirring (time constant τ_m) and the sensor (τ). After a change by R it shows

    S(s) − T1 = R [F(s) − F(s − p)]/p · (1 + a s + b e^(−s/50 s)),      F = 0 before 0, then
    F(s) = s − [τ² (1 − e^(−s/τ)) − τ_m² (1 − e^(−s/τ_m))]/(τ − τ_m),

a and b for what the cup loses and what a slow wall takes up within the minute. The two steps may be
exchanged without changing the reading, so the lag is only told where stirring is known to be the
quicker one: not for a solid, which dissolves in its own time.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fitting.corrections.case import Case
from fitting.cup.knowledge import RELEASES
from fitting.curve import FloatArray

IntArray = npt.NDArray[np.intp]
_LAG_S = np.geomspace(0.7, 40.0, 44)
_STIRRING_S = np.array([0.3, 0.8, 1.6, 3.0, 5.5])
_POUR_S = np.array([0.2, 1.0, 2.0, 3.0, 4.0, 6.0])
_QUICKER = 1.5  # stirring is at least so many times quicker than the sensor
_TRIED = np.array([
    (a, b, p)
    for a in range(_LAG_S.size) for b in range(_STIRRING_S.size) for p in range(_POUR_S.size)
    if _LAG_S[a] >= _QUICKER * _STIRRING_S[b]
]).T  # fmt: skip
"""Places of lag, stirring and pouring in their lists, shape (3, m)."""
_SEEN_S = 75.0
_SLOW_S = 50.0
_SLOW_SHARE = 0.015  # of the change: what loss and wall make within the minute
_HELD_SHARE = 2e-3  # of the change: misfit that weighs as much as a small amplitude
_POUR_SHARE = 0.08  # of the lag
_MISFIT_SHARE = 0.004  # of the change
_UNCERTAIN = 0.35


def lag_of(case: Case) -> tuple[float, float] | None:
    """Time constant of the sensor and its standard uncertainty, s; None where it is not shown.

    Every lag, stirring and pouring time is tried (its amplitudes are linear) and weighed by its
    sum of squares; the answer is the weighted mean, its uncertainty the weighted spread, 8 % for a
    pour of other speed, and what the moment of mixing is uncertain by.
    """
    use = (case.s > 0) & (case.s <= _SEEN_S)
    s, y = case.s[use], case.y[use] - case.before_C
    if case.known.capacity_ratio > RELEASES.liquid_below.value or s.size < 8 or s[-1] < 30.0:
        return None
    change = max(abs(case.swing_K), 1e-6)
    lag, misfit = _misfits(s, y, change)
    single = case.noise.sigma_K**2 + case.noise.resolution_K**2 / 12 + (1e-4 * change) ** 2
    best = float(misfit.min())
    rms = float(np.sqrt(best / s.size))
    if rms > 3 * np.sqrt(single) + _MISFIT_SHARE * change:
        return None
    variance = max(single, best / max(s.size - 4, 1)) * case.noise.inflation
    weight = np.exp(-(misfit - best) / (2 * variance)) / lag
    weight /= weight.sum()
    mean = float(weight @ lag)
    spread = float(np.sqrt(weight @ (lag - mean) ** 2))
    u = float(np.sqrt(spread**2 + (_POUR_SHARE * mean) ** 2 + (0.4 * case.mixing.u_s) ** 2))
    near = int(np.count_nonzero(s < 3 * mean))
    inside = 1.2 * _LAG_S[0] < mean < 0.8 * _LAG_S[-1]
    return (mean, u) if inside and near >= 3 and u < _UNCERTAIN * mean else None


def _misfits(s: FloatArray, y: FloatArray, change_K: float) -> tuple[FloatArray, FloatArray]:
    """Lag and smallest sum of squares [K²] of everything tried, shape (m,)."""
    shape = _shapes(s) * change_K
    columns = np.stack([shape, shape * (s / _SEEN_S), shape * np.exp(-s / _SLOW_S)], axis=1)
    gram = columns @ columns.transpose(0, 2, 1)
    gram[:, [1, 2], [1, 2]] += (_HELD_SHARE * change_K / _SLOW_SHARE) ** 2
    moment = columns @ y
    fitted = np.linalg.solve(gram, moment[..., None])[..., 0]
    return _LAG_S[_TRIED[0]], np.asarray(y @ y - (moment * fitted).sum(1))


def _shapes(s: FloatArray) -> FloatArray:
    """Answer to a pouring of p seconds, [F(s) − F(s − p)]/p, for all that is tried; shape (m, n).

    F of the module's docstring is the area under the answer to a sudden change, s. Its two
    exponentials are of lag and stirring apart, so that each is worked out once a pouring.
    """
    t = np.maximum(np.stack([s, *(s - p for p in _POUR_S)]), 0.0)  # (1 + pourings, n)
    by_lag, by_stirring = (
        tau[:, None, None] ** 2 * np.expm1(-t / tau[:, None, None]) for tau in (_LAG_S, _STIRRING_S)
    )
    a, b, p = _TRIED
    apart = (_LAG_S[a] - _STIRRING_S[b])[:, None]

    def area(when: IntArray) -> FloatArray:
        return np.asarray(t[when] - (by_stirring[b, when] - by_lag[a, when]) / apart)

    return np.asarray((area(np.zeros_like(p)) - area(p + 1)) / _POUR_S[p][:, None])
