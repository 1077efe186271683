"""Heat release from a corrected curve: how much, how fast, and when it was over.

With C the heat capacity of content and cup [J/K], G the loss conductance [W/K], k = G/C [1/s],
T∞ the temperature the cup tends to [°C] and τ the sensor's lag [s]::

    q = C dT/dt + G (T − T∞)            heat flow, Tian's equation [W]
    T = T_s + τ dT_s/dt                 content's temperature from the sensor's
    T + k ∫ (T − T∞) dt                 loss-corrected temperature: what an insulated cup would show

In kelvin, q/C is the slope of the loss-corrected temperature; it is found by regularised
differentiation (`fitting.heat_release_fit`). A slow inner wall that takes up heat shows as a small
negative flow after the release.

Source: A. Tian, Bull. Soc. Chim. Fr. 33 (1923) 427 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitting.curve import Curve, FloatArray
from fitting.errors import CurveError
from fitting.heat_release_fit import Knots, SmoothFlow, smooth_flow
from fitting.heat_release_result import HeatRelease
from fitting.noise import Noise, noise_of

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected, Correction

__all__ = ["HeatRelease", "heat_release"]

_TIME_CONSTANT_SHARE = 1 - float(np.exp(-1))
_WALL_SHARE, _WALL_S = 0.009, 60.0  # a cup's slow wall: share of all heat capacity, time constant
_POUR_S = 0.8  # standard uncertainty of when "the" mixing was, since pouring takes seconds
# both: common practice, no source; they enter the uncertainty only
_POUR_UP_TO_S = 4.0  # how much later than the mixing a release may set in: common practice, too
_ONSETS = 9
_KNOTS = 48
_FEWEST_READINGS = 8
_MOST_READINGS = 500


def heat_release(
    curve: Curve,
    corrected: Corrected,
    *,
    sensor_lag_s: float = 0.0,
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
        sensor_lag_s, u_sensor_lag_s: the sensor's time constant, s; 0 leaves the lag in.
        heat_capacity_J_per_K, u_heat_capacity_J_per_K: of content and cup, for watts and joules.
        over_share: share at which the release counts as over, 0.5 to 0.999.

    Raises:
        CurveError: no method knows a cooling rate, too few readings after mixing, no rise, or an
            argument out of its range.
    """
    _check(curve, sensor_lag_s, u_sensor_lag_s, heat_capacity_J_per_K, over_share)
    law = _law(curve, corrected)
    since, temperature = _after_mixing(curve, corrected)
    noise = _noise(curve, corrected)
    loss = _loss(since, temperature, law, corrected)
    s, change, variance = _binned(since, temperature + loss.loss_K - law.before_C, noise)
    n_fore = int((curve.time_s < corrected.mixed_at_s).sum())
    u_start = noise.u_mean(n_fore) if n_fore else float(np.hypot(noise.sigma_K, 0.1))
    latest = min(max(3 * corrected.u_mixed_at_s, curve.step_s, _POUR_UP_TO_S), 0.1 * float(s[-1]))
    tried = []
    for onset in np.linspace(0.0, latest, _ONSETS):
        knots = Knots.spread(float(onset), float(since[-1]), max(curve.step_s, 1.0), _KNOTS)
        design = knots.at(knots.seen(sensor_lag_s), s)
        tried.append((smooth_flow(design, change, variance, u_start), knots))
    flow, knots = min(tried, key=lambda pair: pair[0].score)
    return _assemble(
        corrected, knots, flow, loss, (sensor_lag_s, u_sensor_lag_s),
        (heat_capacity_J_per_K, u_heat_capacity_J_per_K), over_share,
    )  # fmt: skip


def _check(
    curve: Curve, lag_s: float, u_lag_s: float, capacity: float | None, share: float
) -> None:
    named = f"{curve.source}: " if curve.source else ""
    for name, value in (("sensor_lag_s", lag_s), ("u_sensor_lag_s", u_lag_s)):
        if not (np.isfinite(value) and value >= 0):
            raise CurveError(f"{named}{name} is {value}; expected seconds, 0 or more")
    if capacity is not None and not (np.isfinite(capacity) and capacity > 0):
        raise CurveError(f"{named}heat_capacity_J_per_K is {capacity}; expected more than 0 J/K")
    if not 0.5 <= share <= 0.999:
        raise CurveError(f"{named}over_share is {share}; expected a share from 0.5 to 0.999")


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
class _Loss:
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
) -> _Loss:
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
        return _Loss(since, loss, np.clip(share, 0.0, 1.0), np.zeros_like(loss), 0.0)
    late = since >= min(end - 0.4 * (end - settled), float(since[-min(since.size, 5)]))
    pin_s, pin_area = float(since[late].mean()), float(area[late].mean())
    missing = corrected.chosen.rise_K - float(excess[1:][late].mean())
    share, bent = since / pin_s, area - pin_area * since / pin_s
    return _Loss(since, k * bent + missing * share, share, bent, u_k)


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


def _assemble(
    corrected: Corrected, knots: Knots, flow: SmoothFlow, loss: _Loss, lag: tuple[float, float],
    capacity: tuple[float | None, float], over_share: float,
) -> HeatRelease:  # fmt: skip
    g, covariance = flow.coefficients[1:], flow.covariance[1:, 1:]
    fine, rise, u_rise = knots.fine_s, corrected.chosen.rise_K, corrected.chosen.u_rise_K
    change, q = knots.released @ g, knots.flow @ g
    fraction = change / rise
    by_end = np.interp(fine, loss.since_s, loss.by_end)
    own = np.hypot(
        _spread(knots.released, covariance),
        loss.u_rate_per_s * np.interp(fine, loss.since_s, loss.by_rate),
    )
    own = np.hypot(own, _WALL_SHARE * rise * _in_the_wall(fine, fraction))
    u_when = float(np.sqrt(corrected.u_mixed_at_s**2 + lag[1] ** 2 + _POUR_S**2))
    # the rise stands below the fraction, too: an error of it moves both
    late = np.hypot(own, (by_end - fraction) * u_rise) / abs(rise)
    slope = np.abs(q / rise)
    at, u_at = _crossing(fine, fraction, late, slope, _TIME_CONSTANT_SHARE, u_when)
    over, _ = _crossing(fine, fraction, late, slope, over_share, u_when)
    u_q = np.hypot(_spread(knots.flow, covariance), np.gradient(by_end, fine) * u_rise)
    return HeatRelease(
        since_mixing_s=fine,
        without_loss_C=corrected.chosen.before_C + change,
        u_without_loss_K=np.hypot(own, by_end * u_rise),
        flow_K_per_s=q,
        u_flow_K_per_s=u_q,
        fraction=fraction,
        u_fraction=np.hypot(late, slope * u_when),
        total_K=rise,
        u_total_K=u_rise,
        release_time_s=at,
        u_release_time_s=u_at,
        over_share=over_share,
        over_after_s=over,
        over_interval95_s=(
            None if over is None else _over(fine, fraction, late, over_share, over, u_when)
        ),
        lag_removed_s=lag[0],
        smoothing=flow.smoothing,
        misfit=flow.misfit,
        heat_capacity_J_per_K=capacity[0],
        u_heat_capacity_J_per_K=capacity[1],
        notes=_notes(corrected, flow, lag[0], at),
    )


def _in_the_wall(s: FloatArray, fraction: FloatArray) -> FloatArray:
    """Share of the heat meant for a slow inner wall that has not reached it yet.

    ∫ (dF/dr) exp(−(s − r)/τ_w) dr with τ_w of a minute: until then the content is too hot by the
    wall's share of the heat capacity.
    """
    out = np.zeros_like(fraction)
    for i in range(1, s.size):
        keep = float(np.exp(-(s[i] - s[i - 1]) / _WALL_S))
        out[i] = keep * out[i - 1] + (fraction[i] - fraction[i - 1]) * (1 + keep) / 2
    return out


def _spread(matrix: FloatArray, covariance: FloatArray) -> FloatArray:
    """Standard deviation of each row of a linear map."""
    return np.asarray(
        np.sqrt(np.clip(np.einsum("ij,jk,ik->i", matrix, covariance, matrix), 0.0, None))
    )


def _crossing(
    s: FloatArray,
    fraction: FloatArray,
    u: FloatArray,
    slope: FloatArray,
    share: float,
    u_when: float,
) -> tuple[float | None, float | None]:
    """First time at which the fraction reaches a share, and its standard uncertainty."""
    above = np.flatnonzero(fraction >= share)
    if above.size == 0 or above[0] == 0:
        return None, None
    i = int(above[0])
    part = (share - fraction[i - 1]) / (fraction[i] - fraction[i - 1])
    at = float(s[i - 1] + part * (s[i] - s[i - 1]))
    steepness = max(float(slope[i]), 1e-12)
    u_at = float(np.hypot(u[i] / steepness, u_when))
    return at, min(u_at, float(s[-1]))


def _over(
    s: FloatArray, fraction: FloatArray, u: FloatArray, share: float, over_s: float, u_when: float
) -> tuple[float, float | None]:
    """Where the share is reached by the fraction ± 1.96 u, with the clock's own error."""
    early = np.flatnonzero(fraction + 1.96 * u >= share)
    late = np.flatnonzero(fraction - 1.96 * u >= share)
    before = float(np.hypot(over_s - float(s[early[0]]), 1.96 * u_when))
    low = max(over_s - before, 0.0)
    if not late.size:
        return low, None
    return low, over_s + float(np.hypot(float(s[late[0]]) - over_s, 1.96 * u_when))


def _notes(
    corrected: Corrected, flow: SmoothFlow, lag_s: float, release_time_s: float | None
) -> tuple[str, ...]:
    notes = []
    if lag_s <= 0:
        notes.append("the sensor's lag is not known and is therefore part of the release shown")
    if release_time_s is not None and release_time_s < max(3.0, 2 * lag_s):
        notes.append(
            "the release is as quick as pouring and sensor; its course within the first seconds is "
            "not resolved"
        )
    if corrected.settled_after_s is None:
        notes.append("the release is not seen to end within the log; fractions refer to the rise")
    if flow.misfit > 3:
        notes.append(
            f"the readings scatter {flow.misfit:.1f} times more about the smooth flow than their "
            "noise explains; the uncertainties are widened by that"
        )
    return tuple(notes)
