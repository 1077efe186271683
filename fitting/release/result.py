"""What a heat release gives back, and when it was over, said so that it holds.

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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from fitting.cup.knowledge import BENCH, SURROUNDINGS
from fitting.curve import FloatArray

if TYPE_CHECKING:
    import pandas as pd

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


@dataclass(frozen=True, eq=False)
class HeatRelease:
    """Heat release against time since mixing. Arrays have shape (n,); ``u_`` is k = 1.

    Attributes:
        since_mixing_s: seconds since mixing, from 0.
        without_loss_C, u_without_loss_K: loss-corrected temperature, lag removed, °C and K.
        flow_K_per_s, u_flow_K_per_s: q/C, K/s; negative while heat is taken up.
        fraction, u_fraction: share of all heat released until then.
        total_K, u_total_K: the corrected rise that the fractions refer to.
        heat_capacity_J_per_K: C where it was given; then also ``flow_W``, ``total_J``.
        release_time_s, u_release_time_s: time to 1 − 1/e; None where it is not reached.
        over_share: share at which the release counts as over.
        over_after_s, over_interval95_s: time since mixing and where it lies with 95 %
            probability (None: open end); None where it was not over within the log. An interval
            from 0 means that the release was quicker than the curve can show.
        lag_removed_s, u_lag_removed_s, lag_known: sensor lag that was taken off, and whether
            anyone knew it; ``lag_seen``: it was read off this curve.
        smoothing, misfit: λ, and root mean square of the residuals in units of the noise.
        notes: sentences for people.
    """

    since_mixing_s: FloatArray
    without_loss_C: FloatArray
    u_without_loss_K: FloatArray
    flow_K_per_s: FloatArray
    u_flow_K_per_s: FloatArray
    fraction: FloatArray
    u_fraction: FloatArray
    total_K: float
    u_total_K: float
    release_time_s: float | None
    u_release_time_s: float | None
    over_share: float
    over_after_s: float | None
    over_interval95_s: tuple[float, float | None] | None
    lag_removed_s: float
    u_lag_removed_s: float
    lag_known: bool
    smoothing: float
    misfit: float
    heat_capacity_J_per_K: float | None = None
    u_heat_capacity_J_per_K: float = 0.0
    notes: tuple[str, ...] = ()
    lag_seen: bool = False

    @property
    def flow_W(self) -> FloatArray | None:
        """Heat flow in watts where the heat capacity is known."""
        C = self.heat_capacity_J_per_K
        return None if C is None else C * self.flow_K_per_s

    @property
    def u_flow_W(self) -> FloatArray | None:
        """Its standard uncertainty, W."""
        C, u = self.heat_capacity_J_per_K, self.u_heat_capacity_J_per_K
        if C is None:
            return None
        return np.hypot(C * self.u_flow_K_per_s, u * self.flow_K_per_s)

    @property
    def total_J(self) -> float | None:
        """Heat released, J; for portions that start at one temperature."""
        C = self.heat_capacity_J_per_K
        return None if C is None else C * self.total_K

    @property
    def u_total_J(self) -> float | None:
        """Its standard uncertainty, J."""
        C, u = self.heat_capacity_J_per_K, self.u_heat_capacity_J_per_K
        return None if C is None else float(np.hypot(C * self.u_total_K, u * self.total_K))

    @property
    def verdict(self) -> str:
        """When it was over, in one or two sentences."""
        if self.release_time_s is None or self.u_release_time_s is None:
            return "Less than 63 % of the heat is seen to come out within the log."
        share = f"{100 * self.over_share:.0f} %"
        at, u_at = self.release_time_s, self.u_release_time_s
        said = f"63 % of the heat was out {at:.1f} ± {u_at:.1f} s after mixing"
        if self.over_after_s is None or self.over_interval95_s is None:
            return f"{said}; {share} was not reached within the log."
        low, high = self.over_interval95_s
        until = "the end of the log or later" if high is None else f"{high:.0f} s"
        if low > 0:
            return (
                f"{said}; {share} after {self.over_after_s:.0f} s (95 %: {low:.0f} s to {until})."
            )
        if high is None:
            return f"{said}; when {share} was out this curve does not tell."
        how = (
            "The release was quicker than this curve can show"
            if self.lag_known
            else "How quick the release was cannot be told from this curve"
        )
        return (
            f"{how}: {share} of the heat was out within {until} of mixing (95 %), pouring, "
            "stirring and the sensor's lag included."
        )

    @property
    def resolved(self) -> bool:
        """Whether the end of the release can be told from pouring and the sensor's lag."""
        return self.over_interval95_s is not None and self.over_interval95_s[0] > 0

    def facts(self) -> dict[str, Any]:
        """The numbers for scripts; joules and watts where the heat capacity was given.

        Without it the heat is told per J/K of content and cup: the total in K (1 K = 1 J for each
        J/K), the flow in K/s (1 K/s = 1 W for each J/K).
        """
        facts: dict[str, Any] = {
            "total_K": self.total_K,
            "u_total_K": self.u_total_K,
            "heat_capacity_J_per_K": self.heat_capacity_J_per_K,
            "total_J": self.total_J,
            "u_total_J": self.u_total_J,
            "release_time_s": self.release_time_s,
            "u_release_time_s": self.u_release_time_s,
            "over_share": self.over_share,
            "over_after_s": self.over_after_s if self.resolved else None,
            "over_interval95_s": self.over_interval95_s,
            "resolved": self.resolved,
            "sensor_lag_removed_s": self.lag_removed_s,
            "u_sensor_lag_removed_s": self.u_lag_removed_s,
            "sensor_lag_known": self.lag_known,
            "sensor_lag_from": (
                "this curve" if self.lag_seen else "given" if self.lag_known else "not known"
            ),
            "misfit": self.misfit,
            "verdict": self.verdict,
            "notes": list(self.notes),
        }
        facts["released"] = [
            {"since_mixing_s": at, "fraction": f, "u_fraction": u, "flow_K_per_s": q,
             "u_flow_K_per_s": v}
            for at, f, u, q, v in self.table()
        ]  # fmt: skip
        return facts

    def table(self, most: int = 16) -> Iterator[tuple[float, float, float, float, float]]:
        """Time, fraction, its u, flow [K/s], its u at ``most`` times spread over the release."""
        index = np.unique(np.linspace(0, self.since_mixing_s.size - 1, most).round().astype(int))
        columns = (
            self.since_mixing_s, self.fraction, self.u_fraction,
            self.flow_K_per_s, self.u_flow_K_per_s,
        )  # fmt: skip
        yield from zip(*(column[index].tolist() for column in columns), strict=True)

    def to_frame(self) -> pd.DataFrame:
        """All points as a pandas table."""
        import pandas as pd

        names = (
            "since_mixing_s", "without_loss_C", "u_without_loss_K", "flow_K_per_s",
            "u_flow_K_per_s", "fraction", "u_fraction",
        )  # fmt: skip
        return pd.DataFrame({name: getattr(self, name) for name in names})

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{at:.0f}</td><td>{100 * f:.1f} ± {100 * u:.1f}</td>"
            f"<td>{1000 * q:.2f} ± {1000 * v:.2f}</td></tr>"
            for at, f, u, q, v in self.table()
        )
        return (
            f"<p>{escape(self.verdict)}</p><table><thead><tr><th scope='col'>time / s</th>"
            "<th scope='col'>released / %</th><th scope='col'>flow / (mK/s)</th></tr></thead>"
            f"<tbody>{rows}</tbody></table>"
        )
