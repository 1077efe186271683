"""What every correction starts from: readings, moment of mixing, periods and noise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, wraps
from typing import Any, TypeVar

import numpy as np

from fitting.cup.circumstances import NOTHING_KNOWN, Circumstances
from fitting.curve import Curve, FloatArray
from fitting.noise import Noise, noise_of
from fitting.periods import (
    CurveRefused,
    MixingMoment,
    Periods,
    quick_noise,
    seen_until,
    what_is_seen,
)

_MIN_AFTER_READINGS = 8
_SURELY_ENOUGH_S, _UNFINISHED_SHARE = 60.0, 0.05
_MIN_AFTER_S = 20.0  # pouring and the sensor's lag take that long; common practice, no source
_SETTLED_SHARE = 5e-4  # of the change: what may still be missing when the main period ends


@dataclass(frozen=True, eq=False)
class Case:
    """One curve made ready for the corrections.

    Attributes:
        curve: the readings used.
        s: time since mixing, s, shape (n,).
        y: reading, °C, shape (n,).
        mixing: moment of mixing.
        before_C, u_before_K: reading extrapolated to the mixing, and its standard uncertainty.
        integral_Ks: ∫ (y − before) ds from the mixing on, K s, shape (n,); negative side for s < 0.
        noise: scatter of single readings.
        known: what is known beside the readings.
        main_end_s: end of the main period where the user gave it, s since mixing.
    """

    curve: Curve
    s: FloatArray
    y: FloatArray
    mixing: MixingMoment
    before_C: float
    u_before_K: float
    integral_Ks: FloatArray
    noise: Noise
    periods: Periods
    known: Circumstances = NOTHING_KNOWN
    main_end_s: float | None = None
    _found: dict[Callable[[Case], Any], Any] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @property
    def fore(self) -> slice:
        """Readings before the mixing."""
        return self.periods.fore

    @property
    def after(self) -> slice:
        """Readings of the after period."""
        return self.periods.after

    @cached_property
    def swing_K(self) -> float:
        """Largest change of the reading from the value before mixing, with its sign."""
        change = self.y[self.s > 0] - self.before_C
        return float(change[np.argmax(np.abs(change))])


Found = TypeVar("Found")


def once_a_case(function: Callable[[Case], Found]) -> Callable[[Case], Found]:
    """What a function finds of a case is kept as long as the case lives: seven methods ask for it.

    The function depends on nothing but the case, and its answer is never changed.
    """

    @wraps(function)
    def kept(case: Case) -> Found:
        found = case._found
        if function not in found:
            found[function] = function(case)
        answer: Found = found[function]
        return answer

    return kept


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line y = level + slope (s − centre), with its covariance's two roots."""

    centre_s: float
    level_C: float
    slope_K_per_s: float
    u_level_K: float
    u_slope_K_per_s: float
    residual_K: FloatArray

    def at(self, s: float) -> float:
        """Value at s, °C."""
        return self.level_C + self.slope_K_per_s * (s - self.centre_s)

    def u_at(self, s: float) -> float:
        """Standard uncertainty at s, K."""
        return float(np.hypot(self.u_level_K, self.u_slope_K_per_s * (s - self.centre_s)))


def fit_line(s: FloatArray, y: FloatArray, noise: Noise) -> Line:
    """Least-squares line with an uncertainty for autocorrelated, stepped readings.

    The scatter is the larger of the residuals' and the noise's; its effect is inflated by
    (1 + rho)/(1 − rho) for AR(1) residuals; the part of a display step that does not average away
    (`fitting.noise`) is added, for the slope as the step over the stretch's length.
    """
    centre = float(s.mean())
    x = s - centre
    power = float(x @ x)
    level = float(y.mean())
    if s.size < 3 or power <= 0:
        u = float(np.hypot(noise.sigma_K, noise.resolution_K / np.sqrt(12)))
        return Line(centre, level, 0.0, u / np.sqrt(max(s.size, 1)), 1e-3, y - level)
    slope = float(x @ y) / power
    residual = y - level - slope * x
    own = float(residual @ residual) / (s.size - 2)
    variance = max(own, noise.sigma_K**2)
    inflation = min(noise.inflation, s.size / 2)
    stuck = _stuck_variance(noise, abs(slope) * float(np.ptp(s)))
    u_level = np.sqrt(variance * inflation / s.size + stuck)
    u_slope = np.sqrt(variance * inflation / power + 12 * stuck / float(np.ptp(s)) ** 2)
    return Line(centre, level, slope, float(u_level), float(u_slope), residual)


def _stuck_variance(noise: Noise, moved_K: float) -> float:
    """Variance of a display step that stays after averaging over a stretch of moved_K kelvin."""
    from fitting.noise import step_variance

    if noise.resolution_K <= 0:
        return 0.0
    crossings = moved_K / noise.resolution_K
    return step_variance(noise.sigma_K, noise.resolution_K) / (1 + crossings**2)


def integral_since_mixing(
    s: FloatArray, y: FloatArray, before: Line, reference_C: float
) -> FloatArray:
    """∫₀^s (y − reference) ds by trapezoids, K s; the fore line stands for the reading at s = 0.

    For s < 0 the fore line itself is integrated, so that noise does not enter.
    """
    out = np.zeros_like(s)
    ahead = s > 0
    nodes_s = np.concatenate([[0.0], s[ahead]])
    nodes_y = np.concatenate([[before.at(0.0)], y[ahead]]) - reference_C
    out[ahead] = np.cumsum(np.diff(nodes_s) * (nodes_y[1:] + nodes_y[:-1]) / 2)
    back = s[~ahead]
    out[~ahead] = (before.at(0.0) - reference_C) * back + before.slope_K_per_s * back**2 / 2
    return out


def build_case(
    curve: Curve,
    mixing: MixingMoment,
    known: Circumstances = NOTHING_KNOWN,
    *,
    main_end_s: float | None = None,
) -> Case:
    """Lay out a curve about its moment of mixing; ``main_end_s`` None: found from the curve.

    ``mixing`` is the moment in use: the one in ``known`` where it was told, or found, or tried.

    Raises:
        CurveRefused: no reading before the mixing, or an after period too short for any method.
    """
    s = curve.time_s - mixing.time_s
    y = curve.temperature_C
    guard = 2 * mixing.u_s if not mixing.given else mixing.u_s
    fore = slice(0, _fore_end(s, guard))
    first = int(np.searchsorted(s, 0.0, side="right"))
    if y.size - first < _MIN_AFTER_READINGS or s[-1] < _MIN_AFTER_S:
        raise CurveRefused(
            curve,
            f"only {y.size - first} readings, {s[-1]:.0f} s, follow the mixing at "
            f"{mixing.time_s:.5g} s: the after period is too short for any method; log for longer",
            (*seen_until(curve, mixing.time_s), *what_is_seen(curve)),
        )
    _refuse_unfinished(curve, mixing, s, y)
    rough = noise_of([y[fore]], curve.resolution_K) if fore.stop >= 6 else quick_noise(curve)
    line = fit_line(s[fore], y[fore], rough)
    if fore.stop >= 3 and abs(line.slope_K_per_s) < 1.5 * line.u_slope_K_per_s:
        line = _shrunk(line)
    integral = integral_since_mixing(s, y, line, line.at(0.0))
    settled, why = settled_from(s, y, integral, first, rough)
    after = slice(min(int(np.searchsorted(s, settled)), y.size - 3), y.size)
    noise = noise_of([y[fore], y[after]], curve.resolution_K)
    if s[-1] < _SHORT_S and not noise.coarse:
        noise = _about_a_course(noise, curve, y[fore], unbent(s[after], y[after], integral[after]))
    if main_end_s is not None:
        why = "the end of the main period was given"
        after = slice(min(int(np.searchsorted(s, main_end_s)), y.size - 3), y.size)
    periods = _periods(curve.time_s, fore, first, after, why)
    return Case(
        curve, s, y, mixing, line.at(0.0), line.u_at(0.0), integral, noise, periods,
        known, main_end_s,
    )  # fmt: skip


def _refuse_unfinished(curve: Curve, mixing: MixingMoment, s: FloatArray, y: FloatArray) -> None:
    """A log of less than a minute that ends while the temperature still changes in earnest.

    Moved by D₂ and D₁ in the last two thirds, it goes on by D₁²/(D₂ − D₁) if it ends gradually.
    """
    if s[-1] > _SURELY_ENOUGH_S:
        return
    edges = [float(np.interp(at, s, y)) for at in (s[-1] * np.array([1 / 3, 2 / 3, 1.0])).tolist()]
    d2, d1 = edges[1] - edges[0], edges[2] - edges[1]
    swing = float(np.max(np.abs(y[s > 0] - y[max(int(np.searchsorted(s, 0.0)) - 1, 0)])))
    rest = abs(d1) if d1 * d2 <= 0 or abs(d1) >= 0.9 * abs(d2) else d1**2 / abs(d2 - d1)
    if rest < _UNFINISHED_SHARE * swing + 2 * curve.resolution_K:
        return
    raise CurveRefused(
        curve,
        f"the temperature still changes ({d1:+.2g} K in the last {s[-1] / 3:.0f} s) when the log "
        f"ends {s[-1]:.0f} s after the mixing: too short for any method; log for longer",
        (*seen_until(curve, mixing.time_s), *what_is_seen(curve)),
    )


_SHORT_S = 200.0  # a log that ends so soon bends all the way: release and wall are still seen
_BENT = 0.6  # of the noise about straight lines: below it they plainly do not follow the curve
_BENDS_S = np.array([6.0, 12.0, 24.0, 48.0, 96.0])
_FREE = 3 + _BENDS_S.size


def _about_a_course(noise: Noise, curve: Curve, fore: FloatArray, straight: FloatArray) -> Noise:
    """The noise about a smooth course, where that about straight lines is plainly too large.

    (Only for short logs: elsewhere what the lines miss stands for what the models miss, too, and
    intervals without it held 90 % on simulated mixings.)
    """
    finer = noise_of([fore, straight], curve.resolution_K)
    found, lines = (one.sigma_K * float(np.sqrt(one.inflation)) for one in (finer, noise))
    return finer if found < _BENT * lines else noise


def unbent(s: FloatArray, y: FloatArray, integral: FloatArray) -> FloatArray:
    """Readings minus a smooth course: Newton's law and decays of any time constant.

    Straight lines through a few minutes do not follow the bend that a release leaves, and what
    they miss passes for noise. Scaled for the parameters that the course takes.
    """
    if s.size < 2 * _FREE:
        return y
    decays = np.exp(-(s - s[0]) / _BENDS_S[:, None])
    basis = np.column_stack([np.ones_like(s), integral, s, *decays])
    basis = basis / np.maximum(np.abs(basis).max(axis=0), 1e-12)
    coefficient, *_ = np.linalg.lstsq(basis, y, rcond=1e-7)
    return np.asarray((y - basis @ coefficient) * np.sqrt(s.size / (s.size - _FREE)))


def _fore_end(s: FloatArray, guard: float) -> int:
    """Number of fore readings; the one at the moment itself still shows the old temperature."""
    count = int(np.searchsorted(s, -guard, side="right"))
    return max(count, min(3, int(np.searchsorted(s, 0.0, side="right"))), 1)


def _shrunk(line: Line) -> Line:
    """The same line, its slope drawn to zero by as much as it is uncertain (Stein)."""
    weight = line.slope_K_per_s**2 / (line.slope_K_per_s**2 + line.u_slope_K_per_s**2)
    return Line(
        line.centre_s, line.level_C, weight * line.slope_K_per_s, line.u_level_K,
        line.u_slope_K_per_s * float(np.sqrt(max(weight, 0.1))), line.residual_K,
    )  # fmt: skip


def settled_from(
    s: FloatArray, y: FloatArray, integral: FloatArray, first: int, noise: Noise
) -> tuple[float, str]:
    """End of the main period: from when on Newton cooling alone describes the curve, s.

    In the loss-corrected form of Newton's law, y = c − k I(s) + p s, the residuals of the readings
    from a trial end on show no trend beyond noise + 0.05 % of the change. The earliest trial that
    leaves a third of the readings after the mixing (or 60 s) is taken; where none passes, the
    last one.
    """
    last = float(s[-1])
    longest = max(min(0.67 * last, last - 60.0), 0.3 * last)
    trials = np.unique(np.concatenate([np.geomspace(10.0, max(longest, 11.0), 24)]))
    trials = trials[trials <= longest] if np.any(trials <= longest) else trials[:1]
    swing = float(np.max(np.abs(y[first:] - y[max(first - 1, 0)])))
    tolerance = _SETTLED_SHARE * swing
    for trial in trials:
        if _settled(s, y, integral, int(np.searchsorted(s, trial)), noise, tolerance):
            return float(trial), "Newton cooling alone describes the readings from here on"
    return float(trials[-1]), "the latest end that leaves an after period; not yet settled"


def _settled(
    s: FloatArray, y: FloatArray, integral: FloatArray, start: int, noise: Noise, tolerance: float
) -> bool:
    """Whether the readings from index ``start`` on show no trend; see `settled_from`."""
    t, T = s[start:], y[start:]
    if t.size < 6:
        return True
    basis = np.empty((t.size, 3))
    basis[:, 0], basis[:, 1], basis[:, 2] = 1.0, integral[start:], t
    basis[:, 1:] /= np.abs(basis[:, 1:]).max(axis=0)
    coefficient, *_ = np.linalg.lstsq(basis, T, rcond=1e-9)
    residual = T - basis @ coefficient
    count = min(8, t.size // 3)
    length, longer = divmod(t.size, count)  # the first parts are longer by one
    sizes = np.repeat([length + 1, length], [longer, count - longer])
    means = np.add.reduceat(residual, np.cumsum(sizes) - sizes) / sizes
    scatter = noise.u_mean(max(t.size // count, 1))
    limit = 2.0 * float(np.hypot(scatter, tolerance))
    return bool(abs(means[0]) < limit and np.sqrt(np.mean(means**2)) < limit / 2)


def _periods(time: FloatArray, fore: slice, first: int, after: slice, why: str) -> Periods:
    fore_s = (float(time[0]), float(time[fore.stop - 1]))
    after_s = (float(time[min(after.start, time.size - 1)]), float(time[-1]))
    return Periods(
        fore, slice(first, after.start), after, fore_s, (fore_s[1], after_s[0]), after_s, why
    )
