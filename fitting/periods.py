"""Where a curve's mixing lies, and which readings come before, during and after the change."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import Curve, FloatArray
from fitting.errors import CurveError
from fitting.noise import Noise

MIN_READINGS = 8
_FEWEST_BEFORE, _LEAST_BEFORE_S = 4, 15.0  # before a moment that was found
_RESTLESS_SHARE = 0.12  # of all change: no more than that before the mixing
_SECOND_SHARE = 0.35  # of the largest step: another change as sudden
_PUT_IN_S = 30.0  # within the first seconds the sensor may have been put into the cup
_STEP_SIGNIFICANCE = 5.0  # times the noise of a difference of two means
_STEP_OVER_DRIFT = 4.0  # times the change that the curve's usual drift makes in the same time
_LONGEST_GAP_S = 30.0
_WIDE = 6  # trials of the onset's scan that are skipped at first
_TAUS = np.array([1.5, 3.0, 5.0, 8.0, 12.0, 18.0, 27.0, 40.0, 60.0, 100.0])


class CurveRefused(CurveError):  # noqa: N818 - it reads as what happened
    """A curve that no correction can be taken from.

    Attributes:
        reason: why, in one sentence.
        said: what can still be said of it, one sentence each.
        good_until_s: time on the curve's clock up to which the readings are sound; None where that
            is not the point.
    """

    def __init__(
        self,
        curve: Curve,
        reason: str,
        said: tuple[str, ...] = (),
        good_until_s: float | None = None,
    ) -> None:
        named = f"{curve.source}: " if curve.source else ""
        tail = f". What can still be said: {' '.join(said)}" if said else ""
        super().__init__(f"{named}{reason.rstrip('.') if said else reason}{tail}")
        self.reason = reason
        self.said = said
        self.good_until_s = good_until_s


@dataclass(frozen=True, slots=True)
class MixingMoment:
    """The moment of mixing on the curve's clock.

    Attributes:
        time_s: seconds.
        u_s: standard uncertainty, seconds.
        given: True where the user noted it, False where it was found from the curve.
        why: how it was found, in one sentence.
        warning: what speaks against it, in one sentence; empty where nothing does.
    """

    time_s: float
    u_s: float
    given: bool
    why: str
    warning: str = ""


@dataclass(frozen=True, slots=True)
class Periods:
    """Fore, main and after period, as slices of the curve's readings and as times in seconds."""

    fore: slice
    main: slice
    after: slice
    fore_s: tuple[float, float]
    main_s: tuple[float, float]
    after_s: tuple[float, float]
    why: str


def quick_noise(curve: Curve) -> Noise:
    """Scatter of the readings without knowing the periods: from second differences' median.

    For white noise of standard deviation s the second difference has √6 s; the median of its
    absolute value is 0.6745 of that. The step's q²/12 is taken off.
    """
    if curve.bend_K is None:
        return Noise(curve.resolution_K / 4, 0.0, curve.resolution_K, 0)
    quiet = curve.bend_K / (0.6745 * np.sqrt(6))
    own = np.sqrt(max(quiet**2 - curve.resolution_K**2 / 12, 0.0))
    return Noise(float(own), 0.0, curve.resolution_K, len(curve) - 2)


def find_mixing(curve: Curve) -> MixingMoment:
    """Find when the content began to change.

    First the largest difference between the medians of neighbouring windows is looked for; it
    must stand out from the noise and the curve's own drift. Then the moment is *scanned*, never
    fitted by least squares (a step's place has no useful derivative): for every trial moment
    the readings around it are described by a straight fore line and a first-order
    approach after it, and the trial with the smallest sum of squares is taken.
    The uncertainty is the spread of trials weighted by their likelihood, the interval between
    readings / √12, and what the shape of the onset leaves open (`onset_offset`), which is taken
    off the moment, too.

    Raises:
        CurveRefused: constant curve, too few readings, no step to be found, a gap over it.
    """
    _refuse_hopeless(curve)
    coarse, size_K = _largest_step(curve)
    time, y = curve.time_s, curve.temperature_C
    moment, u_s, shape = _scan_onset(time, y, float(time[coarse]), size_K, curve)
    if moment is None:
        raise CurveRefused(
            curve,
            "no moment of mixing can be found: the temperature changes from the first reading on, "
            "without a fore period; give the moment of mixing",
            what_is_seen(curve),
        )
    _refuse_gap(curve, moment, given=False)
    if _no_fore_period(curve, moment):
        raise CurveRefused(
            curve,
            f"the temperature changes from {moment:.0f} s on, without a fore period that would "
            "show when the mixing was; give the moment of mixing",
            what_is_seen(curve),
        )
    late_s, u_late_s = onset_offset(*shape)
    step = _local_step(curve, moment)
    u_s = float(np.sqrt(u_s**2 + step**2 / 12 + u_late_s**2))
    moment = max(moment - late_s, float(time[_FEWEST_BEFORE - 1]))
    return MixingMoment(
        moment,
        u_s,
        False,
        f"found at {moment:.1f} s from the curve: the trial moment that describes the readings "
        f"around the change of {size_K:+.3g} K best; pouring and the sensor's lag hide the onset "
        f"by {late_s:.1f} ± {u_late_s:.1f} s, which is taken off",
    )


def onset_offset(order: int, tau_s: float) -> tuple[float, float]:
    """How much later than the true one an onset is found, and its standard uncertainty, s.

    Pouring over p seconds, mixing, release and the sensor's lag τ follow one another: a response
    whose centroid lies m after the onset, with variance v: p/2 + τ and p²/12 + τ² for pouring and
    lag. A course of n equal stages with the same two has its onset at m − √(n v): for one stage,
    A(1 − e^(−s/τ)), later than for two, and for the three that a ramp alone is worth (its m²/v)
    earlier still. The fit tells n in part only. So with the fitted width √v = √n τ:

        one stage fitted: late by half a second, two: by 0.4 s − 0.15 τ, no earlier than 1.5 s,
        u = √((0.5 s)² + (0.1 √v)²), √v no more than 12 s: a slow release behind a quicker sensor
        is seen to set in within some seconds.

    The numbers are those of simulated logs of the tests' own (pouring 1 to 5 s, lags of 1 to 15 s,
    dissolutions of 8 to 90 s), on which the moment then lies within 2 u in 95 of 100.
    """
    late_s = 0.5 if order == 1 else max(0.4 - 0.15 * tau_s, -1.5)
    width_s = float(np.sqrt(order)) * tau_s
    return late_s, float(np.hypot(0.5, 0.1 * min(width_s, 12.0)))


def _no_fore_period(curve: Curve, moment_s: float) -> bool:
    """Whether next to nothing lies before a moment that was found, or no rest."""
    time, y = curve.time_s, curve.temperature_C
    before = int(np.searchsorted(time, moment_s))
    if before < _FEWEST_BEFORE or moment_s - time[0] < _LEAST_BEFORE_S:
        return True
    moved = abs(float(np.median(y[max(before - 3, 0) : before]) - y[0]))
    return moved > _RESTLESS_SHARE * float(np.ptp(y)) + 3 * curve.resolution_K


def given_mixing(curve: Curve, mixed_at_s: float, u_s: float = 0.0) -> MixingMoment:
    """The moment of mixing that was noted, checked against the curve.

    Raises:
        CurveRefused: outside the readings, or inside a gap of them.
    """
    _refuse_hopeless(curve)
    time = curve.time_s
    if not np.isfinite(mixed_at_s) or not (time[0] <= mixed_at_s < time[-1]):
        raise CurveRefused(
            curve,
            f"the moment of mixing, {mixed_at_s:g} s, lies outside the curve, which runs from "
            f"{time[0]:g} s to {time[-1]:g} s; give it on the curve's own clock",
            what_is_seen(curve),
        )
    if not (np.isfinite(u_s) and u_s >= 0):
        raise CurveRefused(
            curve, f"the uncertainty of the moment of mixing is {u_s}; expected seconds, 0 or more"
        )
    _refuse_gap(curve, mixed_at_s, given=True)
    return MixingMoment(float(mixed_at_s), float(u_s), True, f"given: {mixed_at_s:g} s")


def what_is_seen(curve: Curve) -> tuple[str, ...]:
    """Plain facts that hold for any curve: start, end, extremes."""
    time, y = curve.time_s, curve.temperature_C
    hot, cold = int(np.argmax(y)), int(np.argmin(y))
    return (
        f"It starts at {y[0]:.2f} °C and ends at {y[-1]:.2f} °C after {curve.duration_s:g} s.",
        f"Its highest reading is {y[hot]:.2f} °C at {time[hot]:g} s, its lowest {y[cold]:.2f} °C "
        f"at {time[cold]:g} s.",
    )


def seen_until(curve: Curve, moment_s: float, until_s: float = np.inf) -> tuple[str, ...]:
    """What holds whatever became of the curve: where it stood, and how far it went at least."""
    time, y = curve.time_s, curve.temperature_C
    fore = y[time < moment_s]
    out = []
    if fore.size:
        last = fore[-min(fore.size, 10) :]
        u = max(float(np.std(last)) / np.sqrt(last.size), curve.resolution_K / np.sqrt(12), 0.002)
        out.append(f"Before the mixing it read {last.mean():.3f} ± {u:.3f} °C.")
    inside = np.flatnonzero((time > moment_s) & (time <= until_s))
    if inside.size:
        head = float(fore[-min(fore.size, 10) :].mean()) if fore.size else float(y[0])
        at = inside[int(np.argmax(np.abs(y[inside] - head)))]
        u = float(np.hypot(quick_noise(curve).sigma_K, curve.resolution_K / np.sqrt(12)))
        out.append(
            f"The extreme reading up to there is {y[at]:.2f} ± {max(u, 0.002):.3f} °C, "
            f"{time[at] - moment_s:.0f} s after the mixing: the change is no smaller than "
            f"{y[at] - head:+.3f} K in size, apart from that ±; nothing is corrected."
        )
    return tuple(out)


def _refuse_hopeless(curve: Curve) -> None:
    n = len(curve)
    if n < MIN_READINGS:
        raise CurveRefused(
            curve,
            f"{n} readings are too few for a correction, which needs at least {MIN_READINGS}: "
            "some before the mixing and more after it",
            what_is_seen(curve),
        )
    span = float(np.ptp(curve.temperature_C))
    noise = quick_noise(curve)
    if span <= max(6 * noise.sigma_K, 1.5 * curve.resolution_K) or span == 0:
        raise CurveRefused(
            curve,
            f"the temperature is constant within {span:.3g} K: there is no change to correct",
            what_is_seen(curve),
        )


def _window(curve: Curve) -> int:
    return int(np.clip(round(12.0 / max(curve.step_s, 1e-9)), 3, max(3, len(curve) // 8)))


def _window_steps(curve: Curve, w: int) -> FloatArray:
    """Difference of the medians of the w readings from i on and the w before it, shape (n,)."""
    y = curve.temperature_C
    out = np.zeros(y.size)
    windows = np.median(np.lib.stride_tricks.sliding_window_view(y, w), axis=1)
    out[w : y.size - w + 1] = windows[w:] - windows[:-w]
    return out


def _largest_step(curve: Curve) -> tuple[int, float]:
    w = _window(curve)
    steps = _window_steps(curve, w)
    at = int(np.argmax(np.abs(steps)))
    size = float(steps[at])
    noise = quick_noise(curve)
    u_step = float(np.sqrt(2) * np.hypot(1.25 * noise.sigma_K / np.sqrt(w), curve.resolution_K / 3))
    inside = np.abs(steps[w : steps.size - w + 1])
    drift = float(np.median(inside)) if inside.size else 0.0
    if abs(size) < _STEP_SIGNIFICANCE * u_step or abs(size) < _STEP_OVER_DRIFT * drift:
        raise CurveRefused(
            curve,
            f"no step to be found: the largest change within {2 * w} readings is {size:+.3g} K, "
            f"the noise makes {u_step:.2g} K and the usual drift {drift:.2g} K",
            what_is_seen(curve),
        )
    _refuse_two(curve, steps, at)
    return at, size


def _refuse_two(curve: Curve, steps: FloatArray, at: int) -> None:
    """An earlier change the other way, nearly as sudden: mixing, then a sensor pulled out."""
    time = curve.time_s
    other = (time > time[0] + _PUT_IN_S) & (time < time[at] - 15.0)
    other &= -np.sign(steps[at]) * steps > _SECOND_SHARE * abs(steps[at])
    if not other.any():
        return
    first = int(np.argmax(np.abs(steps) * other))
    raise CurveRefused(
        curve,
        f"the temperature changes suddenly twice: about {time[first]:.0f} s by "
        f"{steps[first]:+.2g} K and about {time[at]:.0f} s by {steps[at]:+.2g} K. If the sensor "
        "was pulled out at the second, cut the file before it; if not, give the moment of mixing",
        (*seen_until(curve, time[first] - 12.0, time[at] - 12.0), *what_is_seen(curve)),
    )


def _scan_onset(
    time: FloatArray, y: FloatArray, coarse_s: float, size_K: float, curve: Curve
) -> tuple[float | None, float, tuple[int, float]]:
    """Scan the onset near a coarse place: moment, u, and the best course (order, time constant).

    The moment is None where there is no fore period before it. The scan is done in wide steps
    first, and in fine ones where the likelihood is not negligible.
    """
    step = max(curve.step_s, 1e-9)
    reach = max(60.0, 12 * step)
    inside = (time >= coarse_s - reach) & (time <= coarse_s + max(30.0, 6 * step))
    t, T = time[inside], y[inside]
    floor = float(np.hypot(quick_noise(curve).sigma_K, curve.resolution_K / np.sqrt(12)))
    trials = np.arange(t[0] + 2.5 * step, t[-1] - 2 * step, max(step / 4, 0.25))
    if trials.size == 0:
        return None, 0.0, (1, 0.0)
    sse = np.full(trials.size, np.inf)
    wide = np.arange(0, trials.size, _WIDE)
    sse[wide] = [_onset_misfit(t, T, trials[i], step)[0] for i in wide]
    scale = max(float(sse.min()) / max(t.size - 5, 1), floor**2)
    likely = wide[sse[wide] < sse.min() + 30 * scale]
    near = np.unique(np.clip(likely[:, None] + np.arange(-_WIDE + 1, _WIDE), 0, trials.size - 1))
    near = near[np.isinf(sse[near])]
    sse[near] = [_onset_misfit(t, T, trials[i], step)[0] for i in near]
    best = int(np.argmin(sse))
    if best <= 1 and t[0] <= time[0] + step:
        return None, 0.0, (1, 0.0)
    scale = max(float(sse[best]) / max(t.size - 5, 1), floor**2)
    weight = np.exp(-(sse - sse[best]) / (2 * scale))
    weight /= weight.sum()
    mean = float(weight @ trials)
    shape = _onset_misfit(t, T, mean, step)[1]
    return mean, float(np.sqrt(weight @ (trials - mean) ** 2)), shape


def _onset_misfit(
    t: FloatArray, T: FloatArray, trial: float, step: float
) -> tuple[float, tuple[int, float]]:
    """Smallest sum of squares of a line plus A(1 − exp(−s/τ)) or its delayed form over τ, K².

    Returns it with the order of that course, 1 or 2, and its τ, s.
    """
    s = np.clip(t - trial, 0.0, None)
    taus = _TAUS[0.4 * step < _TAUS]
    basis = np.stack([np.ones_like(t), (t - trial) / 60.0], axis=1)
    q, _ = np.linalg.qr(basis)
    rest = T - q @ (q.T @ T)
    e = np.exp(-s[:, None] / taus)
    shapes = np.concatenate([1 - e, 1 - e * (1 + s[:, None] / taus)], axis=1)
    shapes = shapes - q @ (q.T @ shapes)
    power = np.einsum("ij,ij->j", shapes, shapes)
    gain = (shapes.T @ rest) ** 2 / np.maximum(power, 1e-12)
    best = int(np.argmax(gain))
    shape = (1 + best // taus.size, float(taus[best % taus.size]))
    return float(rest @ rest - gain[best]), shape


def _local_step(curve: Curve, moment_s: float) -> float:
    i = int(np.searchsorted(curve.time_s, moment_s, side="right"))
    i = min(max(i, 1), len(curve) - 1)
    return float(curve.time_s[i] - curve.time_s[i - 1])


def _refuse_gap(curve: Curve, moment_s: float, *, given: bool) -> None:
    """A gap in the readings at the mixing hides both the moment and the main period.

    A moment that was found is put where readings are again, so that a gap up to a minute before it
    counts, too.
    """
    time, step = curve.time_s, curve.step_s
    starts, ends = time[:-1], time[1:]
    allowed = max(_LONGEST_GAP_S, 2.5 * step)
    early, late = (step, 12.0) if given else (60.0, 60.0)
    near = (ends - starts > allowed) & (ends > moment_s - early) & (starts < moment_s + late)
    if not near.any():
        return
    at = 1 + int(np.argmax(near * (ends - starts)))
    head = float(np.median(curve.temperature_C[max(0, at - 5) : at]))
    raise CurveRefused(
        curve,
        f"no readings between {time[at - 1]:g} s and {time[at]:g} s, over the mixing"
        f"{' at ' + format(moment_s, 'g') + ' s' if given else ''}: "
        "what was lost in the main period cannot be found",
        (
            f"Before the gap it read {head:.2f} °C, after it {curve.temperature_C[at]:.2f} °C, "
            "a raw difference that is not corrected.",
            *what_is_seen(curve),
        ),
    )
