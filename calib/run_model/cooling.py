"""The cooling rate of a filled cup from a log of nothing but cooling.

    T(t) = T∞ + (T_0 − T∞) e^(−k t),      T∞ = T_room + P_stir/G

fitted by least squares; the room's temperature, where noted, enters as an observation of T∞.
Residuals are taken as autocorrelated. Vapour makes a hot, open cup cool faster at first, which
looks like a warmer room: where the fit asks for a T∞ against the room's, the room is believed.
The log is fitted in two halves as well, and what k differs by is part of its uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.errors import CurveError

if TYPE_CHECKING:
    from fitting.curve import Curve

__all__ = ["CoolingFit", "fit_cooling"]

U_SETTLES_K = 0.7
"""u of T∞ about a noted room temperature: room 0.5 K, stirrer up to 0.02 W on 0.04 W/K."""
MIN_READINGS = 12


@dataclass(frozen=True, slots=True)
class CoolingFit:
    """Rate k [1/s] with u; temperatures [°C]; ``halves`` are k of the first and second half."""

    rate_per_s: float
    u_rate_per_s: float
    start_C: float
    end_C: float
    settles_C: float
    rms_K: float
    halves: tuple[float, float]
    warnings: tuple[str, ...]


def fit_cooling(curve: Curve, room_C: float | None, u_room_K: float = 0.5) -> CoolingFit:
    """Fit Newton's law to a cooling log. Raises CurveError where it shows no cooling."""
    t, T = curve.time_s - curve.time_s[0], curve.temperature_C
    if t.size < MIN_READINGS:
        raise CurveError(
            f"{t.size} readings are too few for a cooling rate; expected at least {MIN_READINGS}"
        )
    prior = None if room_C is None else (room_C, math.hypot(u_room_K, U_SETTLES_K))
    fall = float(T[: max(t.size // 10, 3)].mean() - T[-max(t.size // 10, 3) :].mean())
    noise = float(np.std(np.diff(T))) / math.sqrt(2.0) + curve.resolution_K
    if abs(fall) < max(5.0 * noise / math.sqrt(t.size), 0.05):
        raise CurveError(
            f"the temperature changed by {fall:.2g} K only, too little for a cooling rate; "
            "log for longer, or start further from the room's temperature"
        )
    k, u, settles, rms = _fit(t, T, prior)
    warnings = []
    if prior is not None and abs(settles - prior[0]) > 2.0 * prior[1]:
        warnings.append(
            f"the log tends towards {settles:.1f} °C, not the room's {prior[0]:.1f} °C: vapour, a "
            "slow wall or a drifting room; the rate stands for the mean temperature of the log"
        )
        settles = prior[0]
        k, rms = _slope(t, T, settles)
        u = abs(_slope(t, T, settles + prior[1])[0] - k)
    first, second = _halves(t, T, settles, fall)
    u_model = abs(first - second) / math.sqrt(12.0)
    if u_model > 0.03 * k:
        warnings.append(
            f"the cup cooled at {60 * first:.3g} 1/min at first and {60 * second:.3g} 1/min later: "
            "vapour or a slow wall; log nearer to the temperatures of use"
        )
    if not k > 0.0:
        raise CurveError("the temperature moves away from the room's: no cooling rate can be had")
    return CoolingFit(
        k, math.hypot(u, u_model), float(T[0]), float(T[-1]), settles, rms, (first, second),
        tuple(warnings),
    )  # fmt: skip


def _slope(t: Any, T: Any, settles_C: float) -> tuple[float, float]:
    """k from the slope of ln|T − T∞| with T∞ given, weighted by (T − T∞)², and the rms [K]."""
    theta = np.abs(T - settles_C)
    used = theta > 0.05
    slope, start = np.polyfit(t[used], np.log(theta[used]), 1, w=theta[used])
    rest = theta[used] - np.exp(start + slope * t[used])
    return -float(slope), float(np.sqrt(np.mean(rest**2)))


def _halves(t: Any, T: Any, settles_C: float, fall: float) -> tuple[float, float]:
    """k of the first and of the second half of the change in temperature."""
    middle = float(T[0]) - fall / 2.0
    passed = np.flatnonzero((T - middle) * fall < 0.0)
    half = int(passed[0]) if passed.size else t.size // 2
    half = min(max(half, t.size // 4), 3 * t.size // 4)
    return _slope(t[:half], T[:half], settles_C)[0], _slope(t[half:], T[half:], settles_C)[0]


def _fit(t: Any, T: Any, prior: tuple[float, float] | None) -> tuple[float, float, float, float]:
    """k, u(k), T∞ and rms of one stretch."""
    from scipy.optimize import least_squares

    settles = prior[0] if prior is not None else float(T[-1]) - 0.5 * float(T[0] - T[-1])
    span = float(T[0]) - settles
    ratio = (float(T[-1]) - settles) / span if span else 0.5
    k0 = -math.log(min(max(ratio, 0.05), 0.999)) / float(t[-1] - t[0])
    noise = max(float(np.std(np.diff(T))) / math.sqrt(2.0), 1e-4)

    def residuals(p: Any) -> Any:
        model = p[2] + (p[0] - p[2]) * np.exp(-p[1] * (t - t[0]))
        rest = (T - model) / noise
        if prior is None:
            return rest
        return np.append(rest, (p[2] - prior[0]) / prior[1])

    found = least_squares(residuals, [float(T[0]), k0, settles], x_scale=[1.0, max(k0, 1e-6), 1.0])
    rest = residuals(found.x)[: t.size] * noise
    power = float(rest @ rest)
    rho = float(rest[1:] @ rest[:-1]) / max(power, 1e-30)
    rho = min(max(rho, 0.0), 0.98)
    scale = max(power / max(t.size - 3, 1) / noise**2, 1.0) * (1.0 + rho) / (1.0 - rho)
    J = np.array(found.jac, dtype=np.float64)
    J[: t.size] /= math.sqrt(scale)
    size = np.linalg.norm(J, axis=0)
    size[size == 0.0] = 1.0
    cov = np.linalg.pinv((J / size).T @ (J / size)) / np.outer(size, size)
    rms = math.sqrt(power / t.size)
    return float(found.x[1]), math.sqrt(float(cov[1, 1])), float(found.x[2]), rms
