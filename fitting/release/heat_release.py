"""Heat release from a corrected curve: how much, how fast, and when it was over.

With C the heat capacity of content and cup [J/K], G the loss conductance [W/K], k = G/C [1/s],
T∞ the temperature the cup tends to [°C] and τ the sensor's lag [s]::

    q = C dT/dt + G (T − T∞)            heat flow, Tian's equation [W]
    T = T_s + τ dT_s/dt                 content's temperature from the sensor's
    T + k ∫ (T − T∞) dt                 loss-corrected temperature: what an insulated cup would show

In kelvin, q/C is the slope of the loss-corrected temperature; it is found by regularised
differentiation (`fitting.release.flow`). A slow inner wall holds back its share w of the heat
capacity: until it has warmed up with its time constant τ_w the content is too far ahead by w times
what is still missing in the wall, which is taken off the fraction.

When it was over is read from a curve on which pouring takes seconds and the sensor follows late.
Neither can be told from a quick release, so the times say what they hold (see
`fitting.release.result`).

Source: A. Tian, Bull. Soc. Chim. Fr. 33 (1923) 427 (from memory).

The curve is made ready first (what was lost is put back, readings are averaged); from it the smooth
flow is solved for an assumed lag of the sensor, with the share released against time.
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
from fitting.release.result import (
    LAG_UP_TO_S,
    POUR_UP_TO_S,
    U_POUR_S,
    HeatRelease,
    Lag,
    Times,
    notes_of,
    over_within,
    times_of,
    u_release_within,
)

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


__all__ = ["HeatRelease", "heat_release"]


def heat_release(
    curve: Curve,
    corrected: Corrected,
    *,
    sensor_lag_s: float | None = None,
    u_sensor_lag_s: float = 0.0,
    heat_capacity_J_per_K: float | None = None,
    u_heat_capacity_J_per_K: float = 0.0,
    over_share: float = 0.99,
) -> HeatRelease:
    """Heat release of one corrected curve.

    The flow may set in up to some seconds after the stated moment of mixing, since pouring takes
    seconds and the moment may have been found a little early; the onset with the smallest
    cross-validation score is taken.

    Args:
        curve: the readings.
        corrected: what `correct` gave for them; its cooling rate, T∞ and rise are used.
        sensor_lag_s, u_sensor_lag_s: the sensor's time constant, s. None: not known; then the one
            that the curve of two liquids shows (`fitting.release.sensor_lag`) is taken, and where
            it shows none, any lag from 0 to the quickest change seen, 20 s at most, is allowed for,
            and half of that taken off.
        heat_capacity_J_per_K, u_heat_capacity_J_per_K: of content and cup, for watts and joules.
        over_share: share at which the release counts as over, 0.5 to 0.999.

    Raises:
        CurveError: no method knows a cooling rate, too few readings after mixing, no rise, or an
            argument out of its range.
    """
    curve = corrected.used_of(curve)
    _check(curve, sensor_lag_s, u_sensor_lag_s, heat_capacity_J_per_K, over_share)
    case = flow_case(curve, corrected, over_share)
    lag = _lag_seen(case, corrected) if sensor_lag_s is None else Lag(sensor_lag_s, u_sensor_lag_s)
    own = solve_flow(case, lag)
    edges = [solve_flow(case, Lag(edge, 0.0)) for edge in lag.edges()]
    return _result(case, own, edges, (heat_capacity_J_per_K, u_heat_capacity_J_per_K))


def _lag_seen(case: FlowCase, corrected: Corrected) -> Lag:
    """The lag that the curve shows; every one that may be where it shows none."""
    lag, u = corrected.sensor_lag_s, corrected.u_sensor_lag_s
    if lag is not None and u is not None and lag < LAG_UP_TO_S:
        return Lag(lag, u, seen=True)
    return Lag.unknown(solve_flow(case, Lag(0.0, 0.0)).times.release_s)


def _check(
    curve: Curve, lag_s: float | None, u_lag_s: float, capacity: float | None, share: float
) -> None:
    named = f"{curve.source}: " if curve.source else ""
    for name, value in (("sensor_lag_s", lag_s), ("u_sensor_lag_s", u_lag_s)):
        if value is not None and not (np.isfinite(value) and value >= 0):
            raise CurveError(f"{named}{name} is {value}; expected seconds, 0 or more")
    if capacity is not None and not (np.isfinite(capacity) and capacity > 0):
        raise CurveError(f"{named}heat_capacity_J_per_K is {capacity}; expected more than 0 J/K")
    if not 0.5 <= share <= 0.999:
        raise CurveError(f"{named}over_share is {share}; expected a share from 0.5 to 0.999")


def _by_lag(own: Solved, edges: list[Solved], what: str) -> FloatArray:
    """Standard uncertainty that the lag's own brings to ``fraction``, ``change`` or ``q``."""
    fine = own.knots.fine_s
    if not edges:
        return np.zeros_like(fine)
    apart = [
        np.abs(np.interp(fine, edge.knots.fine_s, getattr(edge, what)) - getattr(own, what))
        for edge in edges
    ]
    return np.asarray(np.max(apart, axis=0) * 2 / own.lag.edges_in_u)


def _result(
    case: FlowCase, own: Solved, edges: list[Solved], capacity: tuple[float | None, float]
) -> HeatRelease:
    corrected, chosen = case.corrected, case.corrected.chosen
    fine, times = own.knots.fine_s, own.times
    at_edges = [edge.times for edge in edges]
    over = over_within(times, at_edges, case.curve.step_s)
    u_q = np.hypot(spread_of(own.knots.flow, own.flow.covariance[1:, 1:]), _by_lag(own, edges, "q"))
    u_change = np.hypot(own.own_K, _by_lag(own, edges, "change"))
    u_clock = float(np.hypot(corrected.u_mixed_at_s, U_POUR_S))
    u_fraction = np.hypot(own.late, np.abs(own.q / chosen.rise_K) * u_clock)
    return HeatRelease(
        since_mixing_s=fine,
        without_loss_C=chosen.before_C + own.change,
        u_without_loss_K=np.hypot(u_change, own.by_end * chosen.u_rise_K),
        flow_K_per_s=own.q,
        u_flow_K_per_s=np.hypot(u_q, np.gradient(own.by_end, fine) * chosen.u_rise_K),
        fraction=own.fraction,
        u_fraction=np.hypot(u_fraction, _by_lag(own, edges, "fraction")),
        total_K=chosen.rise_K,
        u_total_K=chosen.u_rise_K,
        release_time_s=times.release_s,
        u_release_time_s=u_release_within(times, at_edges, own.lag),
        over_share=case.over_share,
        over_after_s=times.over_s,
        over_interval95_s=over,
        lag_removed_s=own.lag.value_s,
        u_lag_removed_s=own.lag.u_s,
        lag_known=own.lag.known,
        lag_seen=own.lag.seen,
        smoothing=own.flow.smoothing,
        misfit=own.flow.misfit,
        heat_capacity_J_per_K=capacity[0],
        u_heat_capacity_J_per_K=capacity[1],
        notes=notes_of(
            own.lag, times, over, own.flow.misfit, corrected.settled_after_s is not None
        ),
    )
