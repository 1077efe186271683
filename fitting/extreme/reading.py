"""A rise from the extreme reading, its time and a known cooling rate, where no curve was logged.

No curve tells how the heat was released, how far the sensor lagged or what a slow inner wall still
took: some hundred courses are tried instead (`fitting.extreme.courses`). With P(t) the reading that
a course would show without heat and R(t) the reading per kelvin of rise, a course whose true
reading at the noted time t was f(t) has

    rise = [f(t) − P(t)]/R(t),    f(s) = P(s) + rise R(s)

and is worth the probability that the display of step d and noise σ showed its extreme E first at t,

    p = p(E | f(t)) · Π_(s<t) Φ([E − d/2 − f(s)]/σ) · Π_(s>t) Φ([E + d/2 − f(s)]/σ),
    p(E | f) = Φ([E + d/2 − f]/σ) − Φ([E − d/2 − f]/σ),

over all looks at the display. So the highest of many noisy readings is known to lie above the
curve, and the time of the extreme tells the release. Where loss and change go the same way, as with
hot water in the cup, nothing turns: the reading is one of a settled cup at the noted time. One
noted time in fifty is taken for worthless; the rise comes from the value alone then. The rise is
the mean over courses and f(t).
(own derivation; distribution of the largest of many: E. J. Gumbel, *Statistics of Extremes*, 1958)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fitting.corrections.result import Correction, total
from fitting.cup.circumstances import Circumstances
from fitting.cup.knowledge import BENCH
from fitting.curve import FloatArray
from fitting.errors import CurveError
from fitting.extreme.courses import RELEASES, TIMES_S, Courses, courses, looks, on_grid, responses

NAME = "extreme-known-loss"
ROOM = "room"
RATE = "cooling rate"
TIME = "time of the reading"
COURSE = "course of release, wall, lag and stirring"

_NODES = np.linspace(-1.0, 1.0, 7)
_REACH = 3.2  # of the noise, beyond half a step
_LEAST = 0.05  # of the rise is shown at the noted time, whatever the course
_SETTLED, _U_SETTLED = (
    0.97,
    0.015,
)  # of the rise is shown when a reading that does not turn is taken
_LOST, _LOOKS = 0.02, 40.0  # of the noted times are worthless, any of so many looks
_KEPT = 0.995  # of the weight is carried by the courses that the sensitivities are found with

_Z = np.arange(-37.0, 8.0, 0.02)
_LOG_CDF = np.log([0.5 * math.erfc(-float(z) / math.sqrt(2.0)) for z in _Z]).astype(np.float32)


@dataclass(frozen=True, slots=True)
class _Read:
    """What was read and what is known; change and room above the start, both as if it warmed."""

    change_K: float
    room_K: float
    after_s: float
    u_after_s: float
    rate_per_s: float
    sign: float
    step_K: float
    noise_K: float
    release: str | None
    vessel: str

    @property
    def courses(self) -> Courses:
        """What may have happened."""
        return courses(self.release, self.vessel)


def correct_extreme_reading(
    before_C: float,
    extreme_C: float,
    extreme_after_s: float,
    known: Circumstances,
    *,
    u_extreme_after_s: float = 5.0,
    u_before_K: float = 0.03,
    u_reading_K: float = 0.03,
    step_K: float = 0.01,
    noise_K: float = BENCH.look_K.u,
    cup_share: float | None = None,
    release: str | None = None,
) -> Correction:
    """Rise of an insulated cup from two readings and the time of the second.

    Args:
        before_C: temperature before the mixing, °C.
        extreme_C: highest (lowest) reading after it, °C.
        extreme_after_s: when it was first shown, seconds after the mixing.
        known: the room's temperature and the cooling rate after mixing, both needed, each with its
            u, and the vessel: a flask's glass warms over minutes; not told: a cup.
        u_extreme_after_s: of the time, s.
        u_before_K, u_reading_K: of the two readings, K.
        step_K, noise_K: the display's step and the random noise of one look at it, K.
        cup_share: the cup's share of the heat capacity, where known; no wall can hold more.
        release: ``fast``, ``slow``, or None where neither is known.

    Returns:
        a `Correction` named ``extreme-known-loss``; `parts` tell what its uncertainty is made of.

    Raises:
        CurveError: a value is out of its range.
    """
    us = (u_extreme_after_s, u_before_K, u_reading_K, step_K, noise_K)
    _check(before_C, extreme_C, extreme_after_s, us, release)
    room_C, rate_per_s, u_rate_per_s = _needed(known)
    sign = 1.0 if extreme_C >= before_C else -1.0
    read = _Read(
        sign * (extreme_C - before_C), sign * (room_C - before_C), extreme_after_s,
        u_extreme_after_s, rate_per_s, sign, step_K, noise_K, release,
        known.vessel or "cup",
    )  # fmt: skip
    rise, spreads = _averaged(read, u_rate_per_s, known.u_room_K, cup_share)
    parts = (("temperature before", u_before_K), ("extreme reading", u_reading_K), *spreads)
    u = total(parts)
    lost = sign * rise - (extreme_C - before_C)
    why = (
        f"{lost:+.3g} K put back for what a known rate of {60 * rate_per_s:.3g} 1/min, a slow wall "
        f"and the display took or added up to {extreme_after_s:.0f} s; the course is not known"
    )
    return Correction(
        NAME, before_C, sign * rise, u, (sign * rise - 1.96 * u, sign * rise + 1.96 * u),
        rate_per_s, u_rate_per_s, room_C, True, why, float("nan"), float("nan"),
        tuple(part for part in parts if part[1] > 0),
    )  # fmt: skip


def _averaged(
    read: _Read, u_rate: float, u_room: float, cup_share: float | None
) -> tuple[float, tuple[tuple[str, float], ...]]:
    """Mean rise [K] and the parts of its uncertainty that the courses tell."""
    every = np.arange(len(read.courses.late))
    if cup_share is not None:
        every = every[read.courses.wall_share <= max(cup_share, 0.01)]
    rises, weight = _weighed(read, every)
    of_course = weight.sum(axis=1)
    mean = float(np.sum(weight * rises))
    means = np.sum(weight * rises, axis=1) / np.maximum(of_course, 1e-300)
    spread = float(np.sum(of_course * (means - mean) ** 2))
    order = np.argsort(of_course)[::-1]
    last = int(np.searchsorted(np.cumsum(of_course[order]), _KEPT)) + 1
    moved = 0.0
    if u_rate > 0.0:
        kept = np.sort(order[:last])
        start = float(np.sum(of_course[kept] * means[kept]) / np.sum(of_course[kept]))
        other, of_other = _weighed(replace(read, rate_per_s=read.rate_per_s + u_rate), every[kept])
        moved = abs(float(np.sum(of_other * other)) - start)
    time = min(_slope(read.courses.late[every], means, of_course), math.sqrt(spread))
    time = time if read.u_after_s > 0.0 else 0.0
    reach = min(read.after_s, 300.0)
    return mean, (
        (ROOM, reach * read.rate_per_s * u_room),
        (RATE, moved),
        (TIME, time),
        (COURSE, math.sqrt(max(spread - time**2, 0.0))),
    )


def _slope(x: FloatArray, y: FloatArray, weight: FloatArray) -> float:
    """How far y moves with one unit of x, by weighted least squares."""
    away = x - np.sum(weight * x)
    return abs(float(np.sum(weight * away * y) / max(float(np.sum(weight * away**2)), 1e-12)))


def _weighed(read: _Read, which: npt.NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Rises [K] and weights, shapes (courses, nodes of the true reading); weights add up to 1."""
    some = read.courses.only(which)
    per_kelvin, pushed = (
        table[which] for table in on_grid(read.release, read.rate_per_s, read.vessel)
    )
    at = np.maximum(read.after_s + read.u_after_s * some.late, 1.0)
    R, J = (column[:, 0] for column in responses(some, read.rate_per_s, at[:, None]))
    R = np.maximum(R, _LEAST)
    push = read.rate_per_s * read.room_K + read.sign * some.stirring_K_per_s
    turns = push < read.rate_per_s * read.change_K  # else it goes on the same way, and no reading
    noise = np.hypot(read.noise_K * some.noise, 5e-4 * (abs(read.change_K) + 1.0))
    half = read.step_K / 2 / noise
    above = (read.step_K / 2 + _REACH * noise)[:, None] * _NODES  # the reading, over the curve
    rises = (read.change_K - above - (push * J)[:, None]) / R[:, None]
    over_idle = read.change_K - push[:, None] * pushed
    room_left = (over_idle / noise[:, None]).astype(np.float32)
    slope = (per_kelvin / noise[:, None]).astype(np.float32)
    room_left += np.where(at[:, None] > TIMES_S, -half[:, None], half[:, None])
    number = looks(some) * ((at[:, None] > TIMES_S) | turns[:, None])  # is the extreme one
    number = number.astype(np.float32)
    not_beyond = np.stack(
        [np.sum(number * _log_cdf(room_left - rise[:, None] * slope), axis=1)
         for rise in rises.T.astype(np.float32)], axis=1,
    )  # fmt: skip
    log_weight = not_beyond + _log_shown(above / noise[:, None], half[:, None])
    log_weight += np.log(half + _REACH)[:, None] - np.log(R)[:, None]
    settled = np.clip((R - _SETTLED) / _U_SETTLED, -37.0, 8.0)
    log_weight += np.where(turns, 0.0, _log_cdf(settled) - math.log(_LOOKS))[:, None]
    of_value, shown = _from_value(over_idle, per_kelvin, turns)
    lost = math.log(_LOST * 6.0 / _LOOKS) - np.log(shown)
    log_weight = np.column_stack([log_weight, lost])
    weight = np.exp(log_weight - log_weight.max())
    return np.column_stack([rises, of_value]), weight / weight.sum()


def _from_value(
    over_idle: FloatArray, per_kelvin: FloatArray, turns: npt.NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Rise [K] of every course whose highest reading, whenever it comes, is the one read, and the
    share of the rise that is shown by then; where nothing turns, the reading is of a minute later.
    """
    shown = np.maximum(per_kelvin, _LEAST)
    rises = over_idle / shown
    first = np.where(turns, np.argmin(rises, axis=1), np.searchsorted(TIMES_S, 60.0))[:, None]
    return (
        np.take_along_axis(rises, first, axis=1)[:, 0],
        np.take_along_axis(shown, first, axis=1)[:, 0],
    )


def _log_shown(above: FloatArray, half: FloatArray) -> FloatArray:
    """ln of the probability that a display of that half step shows so much above the curve, both
    in units of the noise; the density where it has no step."""
    finest = np.maximum(half, 0.05)
    shown = np.exp(_log_cdf(above + finest)) - np.exp(_log_cdf(above - finest))
    return np.log(np.maximum(shown / finest, 1e-30))


def _log_cdf(z: FloatArray) -> FloatArray:
    """ln Φ(z), from a table with a step of 0.02."""
    place = ((z - _Z[0]) * 50.0 + 0.5).astype(np.int32)
    return np.asarray(_LOG_CDF.take(place, mode="clip"))


def _needed(known: Circumstances) -> tuple[float, float, float]:
    """Room [°C], cooling rate and its u [1/s], without which nothing can be put back."""
    rate = known.expected_rate
    if known.room_C is None or rate is None:
        lacking = "room temperature" if known.room_C is None else "cooling rate"
        raise CurveError(f"an extreme reading is corrected with the {lacking}; give it")
    if not rate[0] < _MOST_RATE_PER_S:
        raise CurveError(
            f"the cooling rate is {rate[0]:g} 1/s; expected well below {_MOST_RATE_PER_S:g} 1/s: "
            "no cup cools by half within seconds"
        )
    return known.room_C, *rate


_MOST_RATE_PER_S = 0.1


def _check(
    before: float, extreme: float, after: float, uncertainties: tuple[float, ...],
    release: str | None,
) -> None:  # fmt: skip
    for name, value in (("before_C", before), ("extreme_C", extreme)):
        if not np.isfinite(value):
            raise CurveError(f"{name} is {value}; expected a temperature in °C")
    if not (np.isfinite(after) and after >= 0):
        raise CurveError(f"extreme_after_s is {after}; expected seconds after the mixing")
    if not all(np.isfinite(u) and u >= 0 for u in uncertainties):
        raise CurveError(f"the uncertainties are {uncertainties}; expected numbers, 0 or more")
    if release is not None and release not in RELEASES:
        raise CurveError(f"release is {release!r}; expected one of {', '.join(RELEASES)} or None")
