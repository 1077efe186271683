"""A cup heated electrically for a known time: its rise corrected for heat loss.

A heater gives an even power from t_on to t_off, minutes rather than seconds, so that the content
loses heat while it is heated: the one engine (`fitting.newton`) with the share of the heat
h(s) = s/θ while it is on. Only readings from before t_on and from after t_off enter, so that the
heater's own heat capacity hardly matters: what it and the sensor still owe after t_off are quick
processes of the engine; the integral of the loss is taken from all readings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fitting.corrections.binning import QUICK_OVER_S, bin_case
from fitting.corrections.case import build_case
from fitting.cup.circumstances import NOTHING_KNOWN, Circumstances
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.newton.average import average
from fitting.newton.rows import BEFORE, RATE, RISE
from fitting.newton.setting import setting_for
from fitting.newton.source import heater
from fitting.periods import given_mixing

__all__ = ["HeatedRise", "heated_rise"]

BoolArray = npt.NDArray[np.bool_]

LEAST_AFTER_S = 90.0
MISFIT = 3.0
"""Residuals over the readings' noise from which the curve is said not to look like heating."""


@dataclass(frozen=True, slots=True)
class HeatedRise:
    """Rise of an insulated cup [K], temperature before [°C], cooling rate k [1/s], each with u.

    ``on_s`` is when heating began on the curve's clock, ``misfit`` the residuals' rms over what the
    readings' noise explains; ``hidden_K`` the loss through a wall that was taken off the rise, with
    its u, the same share of every rise in this cup.
    """

    rise_K: float
    u_rise_K: float
    interval95_K: tuple[float, float]
    before_C: float
    cooling_rate_per_s: float
    u_cooling_rate_per_s: float
    on_s: float
    misfit: float
    hidden_K: tuple[float, float]
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
    t = curve.time_s
    given = known.mixed_at_s is not None
    on = _find_on(curve, heated_s) if known.mixed_at_s is None else float(known.mixed_at_s)
    off = on + heated_s
    _refuse(curve, on, off, t < on - 0.5 * curve.step_s, t > off + QUICK_OVER_S)
    moment = given_mixing(curve, on)
    case = build_case(curve, moment, known, main_end_s=heated_s + QUICK_OVER_S)
    told = replace(known, capacity_ratio=1.0)
    setting = setting_for(told, case.swing_K, case.before_C, source=heater(heated_s))
    found = average(bin_case(case, heated_s), case.noise, setting)
    misfit = found.misfit * found.scale
    warnings = [] if given else [f"the heating was found to begin at {on:.0f} s on the curve"]
    if misfit > MISFIT:
        warnings.append(
            f"the curve does not look like {heated_s:g} s of heating from {on:.0f} s on (residuals "
            f"{misfit:.1f} times the noise): check heater_s and mixed_at_s, and stir"
        )
    rise, u = found.moments(RISE)
    rate_found, u_rate = found.moments(RATE)
    wider = max(misfit / MISFIT, 1.0)
    low, high = found.interval95(RISE)
    interval = (rise - wider * (rise - low), rise + wider * (high - rise))
    return HeatedRise(
        rise, wider * u, interval, case.before_C + found.moments(BEFORE)[0], rate_found, u_rate, on,
        misfit, found.hidden, tuple(warnings),
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
