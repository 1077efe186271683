"""When a heat release was over, said so that it holds: what pouring and sensor hide is allowed for.

A curve shows the release through three things that take seconds themselves:

- pouring and stirring: the release cannot be told from them within the first seconds;
- the sensor, which follows the content with a time constant τ: F_shown = F − τ dF_shown/dt;
- the interval between readings.

The time t_p to a share p of the heat moves with the assumed τ, by up to −ln(1 − p) seconds for
each second of τ where the release is quick. Where τ is not known, every τ from 0 to the quickest
change seen is possible; where it is known to ± u, or read off the curve, from τ − 1.96 u to
τ + 1.96 u. How far t_p moves between these is added to what the readings leave open as independent
of it (JCGM 100:2008, 5.1.2). Towards later times half of pouring and of one interval between
readings is added, too; a lower end that lies within pouring and one interval is 0, since then the
release may have been as quick as one likes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitting.cup.knowledge import BENCH, SURROUNDINGS
from fitting.curve import FloatArray

U_POUR_S, POUR_UP_TO_S = BENCH.pour_s.u, BENCH.pour_up_to_s.value
_LAG = SURROUNDINGS.sensor_lag_s
LAG_UP_TO_S = _LAG.value * float(np.exp(1.96 * _LAG.u))  # where nothing is known of the sensor
TIME_CONSTANT_SHARE = 1 - float(np.exp(-1))
_Interval = tuple[float, float | None]


@dataclass(frozen=True, slots=True)
class Lag:
    """The sensor's time constant, its standard uncertainty, and how it is known; s.

    ``known`` where it was given or read off the curve, ``seen`` where the latter.
    """

    value_s: float
    u_s: float
    known: bool = True
    seen: bool = False

    @classmethod
    def unknown(cls, release_seen_s: float | None) -> Lag:
        """Evenly spread from 0 to the quickest change seen: L/2 ± L/√12 (JCGM 100:2008, 4.3.7)."""
        longest = LAG_UP_TO_S if release_seen_s is None else min(LAG_UP_TO_S, release_seen_s)
        return cls(longest / 2, longest / float(np.sqrt(12)), known=False)

    def edges(self) -> tuple[float, ...]:
        """The smallest and the largest lag to allow for; none where it is known exactly."""
        if not self.known:
            return 0.0, 2 * self.value_s
        if self.u_s <= 0:
            return ()
        return max(self.value_s - 1.96 * self.u_s, 0.0), self.value_s + 1.96 * self.u_s

    @property
    def edges_in_u(self) -> float:
        """How many standard uncertainties lie between the two edges."""
        return 2 * (1.96 if self.known else float(np.sqrt(3)))


@dataclass(frozen=True, slots=True)
class Times:
    """Times since mixing, s; None where a share is not reached within the log.

    ``over_statistical_s`` is where the share is reached by the fraction ± 1.96 u, with the clock's
    own error; its end is None where it is open.
    """

    release_s: float | None
    u_release_s: float | None
    over_s: float | None
    over_statistical_s: _Interval | None
    u_when_s: float


def times_of(
    s: FloatArray,
    fraction: FloatArray,
    u: FloatArray,
    slope: FloatArray,
    over_share: float,
    u_when_s: float,
) -> Times:
    """Times to 1 − 1/e and to ``over_share``, from the fraction, its u and its slope [1/s]."""
    at, u_at = _crossing(s, fraction, u, slope, TIME_CONSTANT_SHARE, u_when_s)
    over, _ = _crossing(s, fraction, u, slope, over_share, u_when_s)
    span = None if over is None else _over(s, fraction, u, over_share, over, u_when_s)
    return Times(at, u_at, over, span, u_when_s)


def over_within(own: Times, edges: Sequence[Times], step_s: float) -> _Interval | None:
    """Where the end of the release lies with 95 %, whatever the lag may be.

    Args:
        own: with the lag that was taken off.
        edges: with the smallest and the largest lag; empty where it is known exactly.
        step_s: interval between readings.
    """
    if own.over_s is None or own.over_statistical_s is None:
        return None
    at, (first, last) = own.over_s, own.over_statistical_s
    others = [edge.over_s for edge in edges]
    known = [other for other in others if other is not None]
    sooner = at - min([at, *known])
    later = max([at, *known]) - at
    hidden = POUR_UP_TO_S + step_s
    low = at - float(np.hypot(at - first, sooner))
    if low < hidden:
        low = 0.0
    if last is None or len(known) < len(others):
        return low, None
    return low, at + float(np.sqrt((last - at) ** 2 + later**2 + (hidden / 2) ** 2))


def u_release_within(own: Times, edges: Sequence[Times], lag: Lag) -> float | None:
    """Standard uncertainty of the time constant, no smaller than the lag's edges ask for."""
    u, at = own.u_release_s, own.release_s
    if u is None or at is None:
        return None
    apart = [abs(edge.release_s - at) for edge in edges if edge.release_s is not None]
    return max([u, *(2 * distance / lag.edges_in_u for distance in apart)])


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
) -> _Interval:
    early = np.flatnonzero(fraction + 1.96 * u >= share)
    late = np.flatnonzero(fraction - 1.96 * u >= share)
    before = float(np.hypot(over_s - float(s[early[0]]), 1.96 * u_when))
    low = max(over_s - before, 0.0)
    if not late.size:
        return low, None
    return low, over_s + float(np.hypot(float(s[late[0]]) - over_s, 1.96 * u_when))


def notes_of(
    lag: Lag, times: Times, over: _Interval | None, misfit: float, seen_to_end: bool
) -> tuple[str, ...]:
    """What a person should know about these numbers, in sentences."""
    notes = []
    if not lag.known:
        notes.append(
            f"the sensor's lag is not known; {lag.value_s:.1f} ± {lag.u_s:.1f} s were taken off "
            f"(anything from 0 to {2 * lag.value_s:.1f} s is possible), and the intervals allow "
            "for it: give the lag to learn more"
        )
    elif lag.seen:
        notes.append(
            f"the sensor's lag was read off this curve, {lag.value_s:.1f} ± {lag.u_s:.1f} s, "
            "taking it that two liquids give their heat as they are stirred; if this reaction "
            "takes seconds itself, they are in it: give the lag to tell them apart"
        )
    elif lag.value_s <= 0:
        notes.append("no lag of the sensor was taken off")
    if over is not None and over[0] <= 0:
        notes.append(
            "the end of the release cannot be told from pouring, stirring and the sensor, which "
            "take seconds themselves and are part of the times"
        )
    elif times.release_s is not None and times.release_s < max(POUR_UP_TO_S, 2 * lag.value_s):
        notes.append(
            "most of the heat came as quickly as pouring and sensor; the course within the first "
            "seconds is not resolved"
        )
    if not seen_to_end:
        notes.append("the release is not seen to end within the log; fractions refer to the rise")
    if misfit > 3:
        notes.append(
            f"the readings scatter {misfit:.1f} times more about the smooth flow than their "
            "noise explains; the uncertainties are widened by that"
        )
    return tuple(notes)
