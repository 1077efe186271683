"""Whether a cup's constant depends on how full it is.

A wetted wall takes part up to the liquid's height, so the constant may grow with the volume:

    C(V) = C_0 + s (V − V_ref)

The straight line is preferred where fills differ enough to show a slope and where the evidence for
it (probability of the readings under each model, between-run spread integrated out) is at least
three times that for a constant: "positive" on the scale of Kass & Raftery, J. Am. Stat. Assoc. 90
(1995) 773 (from memory). The prior of the slope is normal, of scale C_0/V_ref: a cup that takes
up heat in proportion to what it holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib.calibration.combine import Between, Combined, combine
from calib.calibration.one_run import CalibrationRun

__all__ = ["FillModel", "choose_fill_model"]

FloatArray = npt.NDArray[np.float64]

MIN_RUNS = 4
MIN_SPAN = 0.15
MIN_ODDS = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class FillModel:
    """The chosen model. ``combined.value`` is the constant at ``reference_mL``.

    The reference is the fill at which constant and slope are uncorrelated, where that lies among
    the runs' fills; else their mean, with ``u_slope`` widened to hold the correlation.
    """

    combined: Combined
    reference_mL: float
    slope: float
    u_slope: float
    why: str


def choose_fill_model(
    runs: Sequence[CalibrationRun], *, between: Between = "mandel-paule"
) -> FillModel:
    """Constant, or straight line in the liquid's volume, as the runs ask for."""
    results = [run.constant for run in runs if run.constant is not None]
    fills = np.array([run.prepared.fill_mL for run in runs], dtype=np.float64)
    plain = combine(results, between=between)
    mean = float(fills.mean())
    span = float(np.ptp(fills)) / mean
    constant = FillModel(plain, mean, 0.0, 0.0, "constant: the fills hardly differ")
    if span < MIN_SPAN:
        return constant
    if len(results) < MIN_RUNS:
        why = f"constant: {MIN_RUNS} runs at different fills would be needed to see a slope"
        return FillModel(plain, mean, 0.0, 0.0, why)
    design = np.stack([np.ones_like(fills), fills - mean], axis=1)
    line = combine(results, design=design, between=between)
    slope, u_slope = line.coefficients[1], math.sqrt(float(line.covariance[1, 1]))
    odds = _odds(slope, u_slope, abs(plain.value) / mean)
    if odds < MIN_ODDS:
        why = (
            f"constant: a slope of {slope:.2g} ± {u_slope:.2g} J/K per mL is no better supported "
            f"(odds {odds:.2g} to 1, at least {MIN_ODDS:g} asked for)"
        )
        return FillModel(plain, mean, 0.0, 0.0, why)
    why = (
        f"linear in the liquid's volume: {slope:+.3g} ± {u_slope:.2g} J/K per mL "
        f"(odds {odds:.3g} to 1 against a constant)"
    )
    shift = -float(line.covariance[0, 1]) / float(line.covariance[1, 1])
    if not float(fills.min()) <= mean + shift <= float(fills.max()):
        return FillModel(line, mean, slope, _widened(line, fills - mean), why)
    design = np.stack([np.ones_like(fills), fills - mean - shift], axis=1)
    line = combine(results, design=design, between=between)
    return FillModel(line, mean + shift, slope, u_slope, why)


def _widened(line: Combined, away: FloatArray) -> float:
    """u of the slope that, taken as independent of the constant's, covers the line's own u.

    Errors that grow with the fill (a thermometer's, a beaker's cooling) make constant and slope
    correlated at any fill in reach. At the ends of the runs' range u(V) is then the line's own, and
    between them no smaller.
    """
    slope, both = float(line.covariance[1, 1]), float(line.covariance[0, 1])
    least = [
        slope + 2.0 * both / end for end in (float(away.min()), float(away.max())) if end != 0.0
    ]
    return math.sqrt(max(slope, *least))


def _odds(slope: float, u: float, scale: float) -> float:
    """Odds of a slope drawn from N(0, scale²) against none, given its estimate (Savage–Dickey)."""
    if not scale > 0.0 or not u > 0.0:
        return 0.0
    wide = u**2 + scale**2
    log = 0.5 * (slope**2 / u**2 - slope**2 / wide) - 0.5 * math.log(wide / u**2)
    return math.exp(min(log, 600.0))
