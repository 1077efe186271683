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
`fitting.release.times`).

Source: A. Tian, Bull. Soc. Chim. Fr. 33 (1923) 427 (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitting.curve import Curve, FloatArray
from fitting.errors import CurveError
from fitting.release.case import FlowCase, Solved, flow_case, solve_flow, spread_of
from fitting.release.result import HeatRelease
from fitting.release.times import (
    LAG_UP_TO_S,
    U_POUR_S,
    Lag,
    notes_of,
    over_within,
    u_release_within,
)

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected

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
