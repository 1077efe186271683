"""Readings averaged over short stretches, and the columns that every model is built from.

The energy balance of cup and content (heat capacity C, conductance G to the room, stirrer P, vapour
that takes V times what its pressure e(T) exceeds the room's by)

    C dT/dt = Q̇ − G (T − T_room) − V [e(T) − e_room] + P

is integrated from the source's beginning (s = 0, T = T1). With the slope of the whole loss at T1,
k = [G + V e'(T1)]/C, vapour's share of it, v = V e'(T1)/C, and its excess over a straight line,
E(T) = [e(T) − e(T1)]/e'(T1) − (T − T1), a cup without walls and lags obeys

    T(s) = T1 + rise h(s) − k ∫₀ˢ (T − T1) ds' − v ∫₀ˢ E ds' + p s + d s²/2,

p what stirrer and room push at, d the room's drift times k. Before the mixing the heat capacity is
r times that after it, so k, v, p and d count 1/r there. The equation is *linear* in T1, rise, k, v,
p and d: the integrals are taken from the readings themselves. A sensor that lags by τ reads
S = T − τ dS/dt; put into the equation its effects on the start, the end and the integral cancel to
first order, so nothing is corrected for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import FloatArray
from fitting.newton.source import Source

BEFORE, RISE, POWER, RATE, VAPOUR, DRIFT, MISMATCH = range(7)
PARAMETERS = (
    "temperature before", "rise", "stirring and room", "cooling rate",
    "loss that grows faster than linearly", "drifting room", "fore drift",
)  # fmt: skip
SHARED = len(PARAMETERS)


@dataclass(frozen=True, eq=False)
class Rows:
    """Readings averaged over short stretches; rows before the mixing come first.

    Attributes: s [s], y [K above the reference], integral ∫(T − T1) [K s], vapour ∫E [K s], spread
    [K moved within the stretch], count, after (1 or 0), level (smooth course, K above the
    reference, on which a display's steps are counted), each of shape (n,); known: covariance of
    rows whose error is known apart [K²], shape (n, n); their count is infinite.
    """

    s: FloatArray
    y: FloatArray
    integral: FloatArray
    vapour: FloatArray
    spread: FloatArray
    count: FloatArray
    after: FloatArray
    known: FloatArray
    level: FloatArray


def vapour_pressure(celsius: FloatArray) -> FloatArray:
    """Saturation pressure over water, hPa.

    Source: O. A. Alduchov, R. E. Eskridge, J. Appl. Meteor. 35 (1996) 601, eq. 21 (Magnus form).
    """
    return np.asarray(6.1094 * np.exp(17.625 * celsius / (celsius + 243.04)))


def vapour_height(celsius: float) -> float:
    """e/e' at a temperature: by how much it would fall to the point of no vapour, K."""
    return (celsius + 243.04) ** 2 / (17.625 * 243.04)


def vapour_excess(y_K: FloatArray, reference_C: float) -> FloatArray:
    """E(T): how much faster than linearly vapour's loss grows, in K of an equal Newton loss."""
    ref = np.asarray(float(np.clip(reference_C, -30.0, 95.0)))
    hot = np.clip(reference_C + y_K, -30.0, 105.0)
    pressure = vapour_pressure(ref)
    slope = pressure / vapour_height(float(ref))
    return np.asarray((vapour_pressure(hot) - pressure) / slope - (hot - ref))


def shared_columns(rows: Rows, ratio: float, source: Source) -> FloatArray:
    """The columns of T1, rise, p, k, v, d and the fore drift; shape (n, 7)."""
    share = np.where(rows.after > 0, 1.0, 1 / ratio)
    return np.column_stack([
        np.ones_like(rows.s),
        source.given(rows.s),
        share * rows.s,
        -share * rows.integral,
        -share * rows.vapour,
        share * rows.s**2 / 2,
        (1 - rows.after) * rows.s,
    ])  # fmt: skip
