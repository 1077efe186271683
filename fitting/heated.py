"""A cup heated electrically for a known time: its rise corrected for heat loss.

A heater gives a constant power from t_on to t_off, minutes rather than seconds, so that the content
loses heat while it is heated. Newton's law in its integral form (see :mod:`fitting.newton`) with
the share h of the heat given so far,

    T(t) = T0 + rise h(t) − k ∫ (T − T0) dt + p t + d t²/2 − v ∫ (vapour's excess) dt
           + a e^(−(t − t_off)/τ_w)

    h = 0 before t_on, 1 after t_off,    k = G/C,    p = k (T∞ − T0)

is linear in T0, rise, k, p, the room's drift d, vapour v and what a slow wall (τ_w) still takes up
after t_off. Only readings from before t_on and from well after t_off enter, so that neither the
heater's own heat capacity, nor a sensor that lags, nor the moment of switching matters; the
integral is taken from all readings. Each term comes with what is known of it beforehand, and the
solution is that of generalised least squares; where the residuals are larger than the readings'
noise its covariance grows with them (Birge, Phys. Rev. 40 (1932) 207; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitting.cup.circumstances import NOTHING_KNOWN, Circumstances
from fitting.curve import Curve, FloatArray
from fitting.errors import CurveError
from fitting.newton import VESSELS, vapour_excess
from fitting.noise import Noise, noise_of

__all__ = ["HeatedRise", "heated_rise"]

BoolArray = npt.NDArray[np.bool_]

GUARD_S = 45.0
"""Readings so soon after switching off are left out: heater and content come to one temperature."""
LEAST_AFTER_S = 90.0
BIN_S = 20.0
WALL_S = 60.0
U_WALL_SHARE = 0.002
"""u of what a slow wall still takes up at t_off, as a share of the rise (common practice)."""
U_DRIFT_K_PER_S2 = 2e-8
"""u of k times the room's drift: 1e-4 1/s times 0.2 K in 1000 s (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class HeatedRise:
    """Rise of an insulated cup [K], temperature before [°C], cooling rate k [1/s], each with u.

    ``on_s`` is when heating began on the curve's clock, ``misfit`` the residuals' rms over what the
    readings' noise explains.
    """

    rise_K: float
    u_rise_K: float
    before_C: float
    cooling_rate_per_s: float
    u_cooling_rate_per_s: float
    on_s: float
    misfit: float
    warnings: tuple[str, ...]


def heated_rise(
    curve: Curve,
    heated_s: float,
    known: Circumstances = NOTHING_KNOWN,
) -> HeatedRise:
    """Corrected rise of a curve heated for ``heated_s`` seconds from ``known.mixed_at_s`` on.

    Where that moment is not told it is found from the curve. Raises CurveError for a log without
    readings before the heating or without ``LEAST_AFTER_S`` seconds of them after it.
    """
    t, y = curve.time_s, curve.temperature_C
    given = known.mixed_at_s is not None
    on = _find_on(curve, heated_s) if known.mixed_at_s is None else float(known.mixed_at_s)
    off = on + heated_s
    fore, after = t < on - 0.5 * curve.step_s, t > off + GUARD_S
    _refuse(curve, on, off, fore, after)
    noise = noise_of([y[fore], y[after]], curve.resolution_K)
    reference = float(np.median(y[fore][-min(int(fore.sum()), 20) :]))
    rows = _rows(t, y, fore | after, reference, on, off)
    size = float(np.median(y[after][:10])) - reference
    beta, cov, misfit = _solve(rows, noise, size, reference, known)
    warnings = [] if given else [f"the heating was found to begin at {on:.0f} s on the curve"]
    if misfit > 3.0:
        warnings.append(
            f"the curve does not look like {heated_s:g} s of heating from {on:.0f} s on (residuals "
            f"{misfit:.1f} times the noise): check heater_s and mixed_at_s, and stir"
        )
    return HeatedRise(
        float(beta[1]), math.sqrt(float(cov[1, 1])), reference + float(beta[0]), float(beta[2]),
        math.sqrt(float(cov[2, 2])), on, misfit, tuple(warnings),
    )  # fmt: skip


def _refuse(curve: Curve, on: float, off: float, fore: BoolArray, after: BoolArray) -> None:
    t = curve.time_s
    named = f"{curve.source}: " if curve.source else ""
    if int(fore.sum()) < 5:
        raise CurveError(
            f"{named}only {int(fore.sum())} readings before the heating at {on:.0f} s; at least 5 "
            "are needed to know the temperature before it; log a minute or two before switching on"
        )
    if float(t[-1]) - off < LEAST_AFTER_S or int(after.sum()) < 5:
        raise CurveError(
            f"{named}the log ends at {t[-1]:.0f} s, {max(t[-1] - off, 0.0):.0f} s after the heater "
            f"went off at {off:.0f} s; at least {LEAST_AFTER_S:g} s are needed; check heater_s, or "
            "log for longer"
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Averages over short stretches: y [K above the reference], count, and the model's columns."""

    y: FloatArray
    count: FloatArray
    time_s: FloatArray
    columns: FloatArray  # (n, 7): T0, rise, k, p, drift, vapour, wall


def _rows(
    t: FloatArray, y: FloatArray, used: BoolArray, reference: float, on: float, off: float
) -> _Rows:
    above, s = y - reference, t - on
    steps = np.diff(t)
    excess = vapour_excess(above, reference)

    def integral(of: FloatArray) -> FloatArray:
        sums = np.concatenate([[0.0], np.cumsum(steps * (of[1:] + of[:-1]) / 2.0)])
        return np.asarray(sums - np.interp(on, t, sums))

    heated = (t > 0.5 * (on + off)).astype(np.float64)
    wall = np.where(t > off, np.exp(-np.maximum(t - off, 0.0) / WALL_S), 0.0)
    single = np.column_stack([
        np.ones_like(t), heated, -integral(above), s, s**2 / 2.0, -integral(excess), wall,
    ])  # fmt: skip
    bins = np.floor(s / BIN_S).astype(int)[used]
    labels, index, count = np.unique(bins, return_inverse=True, return_counts=True)

    def mean(of: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(index, of, minlength=labels.size) / count)

    columns = np.column_stack([mean(column) for column in single[used].T])
    return _Rows(mean(above[used]), count.astype(np.float64), mean(s[used]), columns)


def _solve(
    rows: _Rows,
    noise: Noise,
    size_K: float,
    reference_C: float,
    known: Circumstances,
) -> tuple[FloatArray, FloatArray, float]:
    """Coefficients, covariance and misfit of generalised least squares with what is known before.

    The room's temperature, where known, ties p to k: p = k (T_room − T0) + stirring.
    """
    know = VESSELS[known.vessel or "cup"]
    k0, u_k0 = known.expected_rate or (know.rate_per_s, 2.0 * know.rate_per_s)
    away, u_away = 0.0, know.u_room_unknown_K
    if known.room_C is not None:
        away, u_away = known.room_C - reference_C, known.u_room_K
    u_power = math.hypot(2.0 * know.u_stirring_K_per_s, k0 * u_away)
    A = rows.columns.copy()
    A[:, 2] += away * A[:, 3]  # p = p' + k away
    gap = np.abs(rows.time_s[:, None] - rows.time_s[None, :])
    own = np.array([noise.u_mean(int(n)) ** 2 for n in rows.count])
    V = np.diag(own) + know.wander_K**2 * np.exp(-gap / know.wander_s)
    before = np.array([0.0, size_K, k0, know.stirring_K_per_s, 0.0, know.vapour_share * k0, 0.0])
    u_before = np.array([
        1.0, 10.0 * abs(size_K) + 1.0, u_k0, u_power, U_DRIFT_K_PER_S2,
        know.u_vapour_share * k0, U_WALL_SHARE * abs(size_K) + 1e-6,
    ])  # fmt: skip
    W = np.linalg.inv(V)
    scaled = A * u_before  # unknowns in units of what is known of them
    normal = scaled.T @ W @ scaled + np.eye(before.size)
    step = np.linalg.solve(normal, scaled.T @ W @ (rows.y - A @ before))
    residual = rows.y - A @ (before + u_before * step)
    free = max(rows.y.size - 4, 1)
    misfit = math.sqrt(float(residual @ W @ residual) / free)
    cov = np.linalg.inv(normal) * np.outer(u_before, u_before) * max(1.0, misfit) ** 2
    return before + u_before * step, cov, misfit


def _find_on(curve: Curve, heated_s: float) -> float:
    """When the heating began: the trial whose ramp describes the whole curve best, by scanning."""
    t, y = curve.time_s, curve.temperature_C
    above = y - float(np.median(y[:5]))
    sums = np.concatenate([[0.0], np.cumsum(np.diff(t) * (above[1:] + above[:-1]) / 2.0)])
    latest = float(t[-1]) - heated_s - LEAST_AFTER_S
    first = float(t[min(5, t.size - 1)])
    if latest <= first:
        raise CurveError(
            f"the log of {curve.duration_s:.0f} s cannot hold {heated_s:g} s of heating with "
            f"readings before it and {LEAST_AFTER_S:g} s after it; check heater_s, or log for "
            "longer"
        )

    def misfit(on: float) -> float:
        h = np.clip((t - on) / heated_s, 0.0, 1.0)
        A = np.column_stack([np.ones_like(t), h, -sums, t])
        A = A / np.abs(A).max(axis=0)
        beta, *_ = np.linalg.lstsq(A, above, rcond=1e-10)
        return float(np.sum((above - A @ beta) ** 2))

    trials = np.linspace(first, latest, 200)
    best = trials[int(np.argmin([misfit(on) for on in trials]))]
    width = (latest - first) / 199.0
    fine = np.linspace(max(best - width, first), min(best + width, latest), 60)
    return float(fine[int(np.argmin([misfit(on) for on in fine]))])
