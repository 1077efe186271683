"""One curve made ready for its heat release: what was lost is put back, readings are averaged.

From it the smooth flow is solved for an assumed lag of the sensor, with the share released against
time (see `fitting.release.heat_release` for the equations).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitting.cup.knowledge import VESSELS
from fitting.curve import Curve, FloatArray
from fitting.errors import CurveError
from fitting.noise import Noise, noise_of
from fitting.release.flow import Knots, SmoothFlow, smooth_flow
from fitting.release.times import POUR_UP_TO_S, U_POUR_S, Lag, Times, times_of

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected, Correction

_ONSETS = 9
_KNOTS = 48
_FEWEST_READINGS = 8
_MOST_READINGS = 500


@dataclass(frozen=True, eq=False)
class FlowCase:
    """One curve with its loss put back: averages s [s], change [K] and their variances."""

    curve: Curve
    corrected: Corrected
    loss: Loss
    u_start_K: float
    over_share: float
    s: FloatArray
    change: FloatArray
    variance: FloatArray


@dataclass(frozen=True, eq=False)
class Solved:
    """The flow for one assumed lag, the fraction released and its times."""

    lag: Lag
    knots: Knots
    flow: SmoothFlow
    q: FloatArray
    change: FloatArray
    own_K: FloatArray
    by_end: FloatArray
    fraction: FloatArray
    late: FloatArray
    times: Times


def flow_case(curve: Curve, corrected: Corrected, over_share: float) -> FlowCase:
    """Put the loss back and average the readings.

    Raises:
        CurveError: no method knows a cooling rate, too few readings after mixing, or no rise.
    """
    law = _law(curve, corrected)
    since, temperature = _after_mixing(curve, corrected)
    noise = _noise(curve, corrected)
    loss = _loss(since, temperature, law, corrected)
    n_fore = int((curve.time_s < corrected.mixed_at_s).sum())
    u_start = noise.u_mean(n_fore) if n_fore else float(np.hypot(noise.sigma_K, 0.1))
    return FlowCase(
        curve, corrected, loss, u_start, over_share,
        *_binned(since, temperature + loss.loss_K - law.before_C, noise),
    )  # fmt: skip


def solve_flow(case: FlowCase, lag: Lag) -> Solved:
    """Find the smooth flow behind the readings, with the onset that explains them best."""
    s, step, mixed = case.s, case.curve.step_s, case.corrected.u_mixed_at_s
    latest = min(max(3 * mixed, step, POUR_UP_TO_S), 0.1 * float(s[-1]))
    tried = []
    for onset in np.linspace(0.0, latest, _ONSETS):
        knots = Knots.spread(float(onset), float(case.loss.since_s[-1]), max(step, 1.0), _KNOTS)
        design = knots.at(knots.seen(lag.value_s), s)
        tried.append((smooth_flow(design, case.change, case.variance, case.u_start_K), knots))
    flow, knots = min(tried, key=lambda pair: pair[0].score)
    return _fractions(case, lag, knots, flow)


def _law(curve: Curve, corrected: Corrected) -> Correction:
    """The chosen method, or the first that knows how the cup cools."""
    named = f"{curve.source}: " if curve.source else ""
    for one in (corrected.chosen, *(m for m in corrected.methods if m.admissible)):
        if one.cooling_rate_per_s is not None and one.t_inf_C is not None:
            if not abs(one.rise_K) > 0:
                raise CurveError(f"{named}the rise is 0 K; there is no heat release to follow")
            return one
    raise CurveError(
        f"{named}no method in use knows how this cup cools, so the heat lost on the way cannot be "
        "put back; correct the curve with newton-integral or exponential first"
    )


def _after_mixing(curve: Curve, corrected: Corrected) -> tuple[FloatArray, FloatArray]:
    later = curve.time_s > corrected.mixed_at_s
    if int(later.sum()) < _FEWEST_READINGS:
        raise CurveError(
            f"{curve.source + ': ' if curve.source else ''}{int(later.sum())} readings after the "
            f"mixing; a heat release needs at least {_FEWEST_READINGS}: log for longer"
        )
    return curve.time_s[later] - corrected.mixed_at_s, curve.temperature_C[later]


def _noise(curve: Curve, corrected: Corrected) -> Noise:
    mixed, settled = corrected.mixed_at_s, corrected.settled_after_s
    end = float(curve.time_s[-1])
    start = mixed + (settled if settled is not None else 0.5 * (end - mixed))
    stretches = [
        curve.temperature_C[curve.time_s < mixed - curve.step_s],
        curve.temperature_C[curve.time_s > start],
    ]
    return noise_of([part for part in stretches if part.size > 3], curve.resolution_K)


@dataclass(frozen=True, eq=False)
class Loss:
    """Loss put back, k ∫ (T − T∞) dt, at each reading since mixing, and how it may be wrong.

    ``by_end`` is what one kelvin's error of the corrected end does, ``by_rate`` what one of k does
    (K s); both at each reading.
    """

    since_s: FloatArray
    loss_K: FloatArray
    by_end: FloatArray
    by_rate: FloatArray
    u_rate_per_s: float


def _loss(
    since: FloatArray, temperature: FloatArray, law: Correction, corrected: Corrected
) -> Loss:
    """Where the release is over, the last readings must lie at the corrected end.

    With A = ∫ (T − T_before) dt and the mean of the last 40 % of the after period at s_p, that
    fixes T∞ given k: the loss is k (A(s) − A(s_p) s/s_p) + (T_end − T(s_p)) s/s_p. Otherwise the
    method's own T∞ is taken, and the end's error is spread as the loss is.
    """
    k = float(law.cooling_rate_per_s or 0.0)
    u_k = float(law.u_cooling_rate_per_s or 0.0)
    s = np.concatenate([[0.0], since])
    excess = np.concatenate([[0.0], temperature - law.before_C])
    area = np.cumsum(np.diff(s) * 0.5 * (excess[1:] + excess[:-1]))
    settled, end = corrected.settled_after_s, float(since[-1])
    if settled is None:
        to_rest = float(law.t_inf_C or 0.0) - law.before_C
        loss = k * (area - to_rest * since)
        share = since / end if abs(loss[-1]) < 0.2 * np.abs(loss).max() else loss / loss[-1]
        return Loss(since, loss, np.clip(share, 0.0, 1.0), np.zeros_like(loss), 0.0)
    late = since >= min(end - 0.4 * (end - settled), float(since[-min(since.size, 5)]))
    pin_s, pin_area = float(since[late].mean()), float(area[late].mean())
    missing = corrected.chosen.rise_K - float(excess[1:][late].mean())
    share, bent = since / pin_s, area - pin_area * since / pin_s
    return Loss(since, k * bent + missing * share, share, bent, u_k)


def _binned(
    since: FloatArray, change: FloatArray, noise: Noise
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Readings averaged where they are many: all of the first minute, then wider with time."""
    single = noise.sigma_K**2 * noise.inflation + noise.resolution_K**2 / 12 + 1e-12
    if since.size <= _MOST_READINGS:
        return since, change, np.full_like(since, single)
    edges = np.geomspace(float(since[0]), float(since[-1]) * (1 + 1e-9), _MOST_READINGS + 1)
    place = np.clip(np.searchsorted(edges, since, side="right") - 1, 0, _MOST_READINGS - 1)
    count = np.bincount(place, minlength=_MOST_READINGS).astype(np.float64)
    used = count > 0
    mean_s = np.bincount(place, since, _MOST_READINGS)[used] / count[used]
    mean_y = np.bincount(place, change, _MOST_READINGS)[used] / count[used]
    return mean_s, mean_y, single / count[used]


def _fractions(case: FlowCase, lag: Lag, knots: Knots, flow: SmoothFlow) -> Solved:
    g, covariance = flow.coefficients[1:], flow.covariance[1:, 1:]
    fine, loss = knots.fine_s, case.loss
    rise, u_rise = case.corrected.chosen.rise_K, case.corrected.chosen.u_rise_K
    q, change = knots.flow @ g, knots.released @ g
    corrected = case.corrected
    vessel = corrected.chosen.vessel or corrected.known.vessel  # a method may not ask for it
    wall = VESSELS[vessel or "cup"].slow_wall
    # a wall that is there with probability P holds P a on average, and no more than a
    share, u_share = wall.weight * wall.share.value, wall.weight * wall.share.u
    in_wall = _in_the_wall(fine, change / rise, wall.time_s.value)
    fraction = change / rise - share * in_wall
    by_end = np.interp(fine, loss.since_s, loss.by_end)
    own = np.hypot(
        spread_of(knots.released, covariance),
        loss.u_rate_per_s * np.interp(fine, loss.since_s, loss.by_rate),
    )
    # the rise stands below the fraction, too: an error of it moves both
    late = np.hypot(own, (by_end - fraction) * u_rise) / abs(rise)
    late = np.hypot(late, u_share * in_wall)
    u_when = float(np.sqrt(case.corrected.u_mixed_at_s**2 + lag.u_s**2 + U_POUR_S**2))
    times = times_of(fine, fraction, late, np.abs(q / rise), case.over_share, u_when)
    return Solved(lag, knots, flow, q, change, own, by_end, fraction, late, times)


def _in_the_wall(s: FloatArray, fraction: FloatArray, wall_s: float) -> FloatArray:
    """Share of the heat meant for a slow inner wall that has not reached it yet.

    ∫ (dF/dr) exp(−(s − r)/τ_w) dr with τ_w = ``wall_s``: until then the content is too hot by the
    wall's share of the heat capacity.
    """
    out = np.zeros_like(fraction)
    for i in range(1, s.size):
        keep = float(np.exp(-(s[i] - s[i - 1]) / wall_s))
        out[i] = keep * out[i - 1] + (fraction[i] - fraction[i - 1]) * (1 + keep) / 2
    return out


def spread_of(matrix: FloatArray, covariance: FloatArray) -> FloatArray:
    """Standard deviation of each row of a linear map."""
    return np.asarray(
        np.sqrt(np.clip(np.einsum("ij,jk,ik->i", matrix, covariance, matrix), 0.0, None))
    )
