"""Has a cup changed? Has the whole set? Does today's check agree with what is stored?

Everything here works on stored constants as given; nothing is read or written.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from calib.registry.control_chart import ENOUGH, ControlChart, Point, control_chart
from calib.registry.records import StoredConstant

DOUBTFUL, CERTAIN = 0.05, 0.01  # chance of so large a difference if nothing has changed


@dataclass(frozen=True, slots=True)
class Step:
    """A difference between two findings of one cup, with its standard uncertainty. [J/K]

    ``p`` is the chance of a difference at least so large if the cup is unchanged.
    """

    difference_J_per_K: float
    u_difference_J_per_K: float
    p: float

    @property
    def word(self) -> str:
        """steady, doubtful or changed."""
        return "changed" if self.p < CERTAIN else "doubtful" if self.p < DOUBTFUL else "steady"


@dataclass(frozen=True, slots=True)
class CupDrift:
    """One cup over time: its chart, and its newest constant against all before it."""

    apparatus: str
    chart: ControlChart
    step: Step | None

    @property
    def word(self) -> str:
        """unknown (fewer than two constants), steady, doubtful or changed."""
        if self.step is None:
            return "unknown"
        if self.step.word == "steady" and not self.chart.steady:
            return "doubtful"
        return self.step.word

    @property
    def verdict(self) -> str:
        """What there is to say about this cup, in words."""
        if self.step is None:
            return self.chart.verdict
        d, u, p = self.step.difference_J_per_K, self.step.u_difference_J_per_K, self.step.p
        newest = self.chart.points[-1].label
        words = {
            "steady": "has not changed",
            "doubtful": "may have changed; check it again",
            "changed": "has changed; use the newest constant, and look for the reason",
        }
        return (
            f"{self.apparatus} {words[self.word]}: {newest} lies {abs(d):.2f} ± {u:.2f} J/K"
            f" {'above' if d > 0 else 'below'} those before it (chance {_chance(p)} if nothing"
            f" changed). {self.chart.verdict}"
        )


@dataclass(frozen=True, slots=True)
class SetDrift:
    """Cups of one kind over time: a shift that all share points to sensor, balance or water."""

    kind: str
    cups: tuple[CupDrift, ...]
    chart: ControlChart
    shared: Step | None

    @property
    def verdict(self) -> str:
        """What there is to say about the set, in words."""
        moved = [cup.apparatus for cup in self.cups if cup.word == "changed"]
        if self.shared is None:
            return f"{self.kind}: no two sessions to compare yet"
        if self.shared.word == "changed":
            d, u = self.shared.difference_J_per_K, self.shared.u_difference_J_per_K
            return (
                f"{self.kind}: the newest session lies {abs(d):.2f} ± {u:.2f} J/K"
                f" {'above' if d > 0 else 'below'} the ones before it for the whole set: look at"
                " thermometer, balance and volumes before the cups"
            )
        alone = f"; by themselves: {', '.join(moved)}" if moved else ", nor does any cup by itself"
        return f"{self.kind}: the set as a whole shows no shift{alone}. {self.chart.verdict}"


@dataclass(frozen=True, slots=True)
class TodayCheck:
    """Today's runs against the stored constant.

    ``smallest_seen_J_per_K`` is the change that such a check would notice four times in five.
    """

    apparatus: str
    constant_id: int
    runs: int
    mean_J_per_K: float
    step: Step
    degrees_of_freedom: float
    smallest_seen_J_per_K: float

    @property
    def agrees(self) -> bool:
        """Whether today's runs give no reason to doubt the stored constant."""
        return self.step.word == "steady"

    @property
    def verdict(self) -> str:
        """What today's runs say, in words."""
        d, u, p = self.step.difference_J_per_K, self.step.u_difference_J_per_K, self.step.p
        words = {
            "steady": "agree with",
            "doubtful": "are doubtful against; make two more before deciding about",
            "changed": "do not agree with; calibrate anew in place of",
        }
        return (
            f"today's {self.runs} run{'' if self.runs == 1 else 's'} of {self.apparatus}"
            f" ({self.mean_J_per_K:.2f} J/K) {words[self.step.word]} constant {self.constant_id}:"
            f" difference {d:+.2f} ± {u:.2f} J/K, chance {_chance(p)} if nothing changed; a"
            " change of"
            f" {self.smallest_seen_J_per_K:.2g} J/K would be noticed four times in five"
        )


def cup_drift(
    apparatus: str, history: Sequence[StoredConstant], *, rules: str = "Nelson"
) -> CupDrift:
    """A cup's constants by date (drafts count, withdrawn ones do not), charted and judged.

    The newest against the weighted mean of those before, as normal variables with their stated
    uncertainties (those share sensor and balance, so that the check is on the cautious side).
    """
    points = [
        Point(
            f"constant {k.id} ({k.valid_from})",
            k.constant_J_per_K,
            k.u_constant_J_per_K,
            k.valid_from,
        )
        for k in sorted(history, key=lambda k: (k.valid_from, k.id))
        if k.status != "withdrawn"
    ]
    few = 2 <= len(points) < ENOUGH
    centre = weighted_mean(points[:-1]) if few else None  # what was known before the newest
    chart = control_chart(points, name=apparatus, rules=rules, centre=centre)
    return CupDrift(apparatus, chart, _newest_step(points))


def set_drift(
    kind: str, histories: dict[str, Sequence[StoredConstant]], *, rules: str = "Nelson"
) -> SetDrift:
    """Cups of one kind: each by itself, and the mean shift of all that were calibrated on a day.

    A session's shift is the mean, over the cups calibrated that day, of each cup's constant less
    the weighted mean of that cup's constants.
    """
    cups = tuple(cup_drift(name, history, rules=rules) for name, history in histories.items())
    shifts: dict[date, list[tuple[float, float]]] = {}
    for cup in cups:
        if len(cup.chart.points) < 2:
            continue
        mean = weighted_mean(cup.chart.points)
        for point in cup.chart.points:
            if point.day is not None and point.u is not None:
                shifts.setdefault(point.day, []).append((point.value - mean, point.u))
    points = [
        Point(
            str(day),
            math.fsum(shift for shift, _ in found) / len(found),
            math.sqrt(math.fsum(u * u for _, u in found)) / len(found),
            day,
        )
        for day, found in sorted(shifts.items())
    ]
    chart = control_chart(points, name=f"shift of {kind}", rules=rules, centre=0.0)
    return SetDrift(kind, cups, chart, _newest_step(points))


def weighted_mean(points: Sequence[Point]) -> float:
    """Mean with weights 1/u²."""
    weights = [1.0 / (point.u or 1.0) ** 2 for point in points]
    total = math.fsum(weights)
    return math.fsum(w * p.value for w, p in zip(weights, points, strict=True)) / total


def _newest_step(points: Sequence[Point]) -> Step | None:
    if len(points) < 2 or any(point.u is None or point.u <= 0 for point in points):
        return None
    *before, newest = points
    total = math.fsum(1.0 / (point.u or 1.0) ** 2 for point in before)
    u = math.hypot(newest.u or 0.0, 1.0 / math.sqrt(total))
    difference = newest.value - weighted_mean(before)
    return Step(difference, u, math.erfc(abs(difference) / u / math.sqrt(2.0)))


def check_today(
    stored: StoredConstant,
    constants_J_per_K: Sequence[float],
    u_J_per_K: Sequence[float] | None = None,
    *,
    u_shared_J_per_K: float = 0.0,
) -> TodayCheck:
    """Compare today's runs with the stored constant: Welch's two-sample test with uncertainties.

        d = x̄ − C,   u_d² = s²/n + u_shared² + u_C²,
        ν = u_d⁴ / [ (s²/n)²/(n − 1) + u_C⁴/(runs − 1) ],   p from Student's t with ν

    s is the scatter of today's runs, never taken smaller than their own uncertainties
    ``u_J_per_K`` say; with one run, the stored between-run scatter. ``u_shared_J_per_K`` is what
    today's runs have in common. All in J/K. Source: B. L. Welch, Biometrika 34 (1947) 28-35;
    JCGM 100:2008, G.4.1. Raises ValueError for no runs, or one run of unknown scatter.
    """
    from scipy.special import ndtri, stdtr, stdtrit

    n = len(constants_J_per_K)
    if n == 0:
        raise ValueError("no runs to compare with the stored constant")
    mean = math.fsum(constants_J_per_K) / n
    scatter2, dof_today = _scatter(stored, constants_J_per_K, u_J_per_K)
    u_today2, u_stored2 = scatter2 / n, stored.u_constant_J_per_K**2
    u_d = math.sqrt(u_today2 + u_shared_J_per_K**2 + u_stored2)
    spread = u_today2**2 / dof_today + u_stored2**2 / max(stored.runs - 1, 1)
    dof = u_d**4 / spread if spread > 0 else math.inf
    difference = mean - stored.constant_J_per_K
    p = 2.0 * float(stdtr(dof, -abs(difference) / u_d))
    needed = float(stdtrit(dof, 1.0 - DOUBTFUL / 2.0)) + float(ndtri(0.8))
    return TodayCheck(
        apparatus=stored.apparatus,
        constant_id=stored.id,
        runs=n,
        mean_J_per_K=mean,
        step=Step(difference, u_d, p),
        degrees_of_freedom=dof,
        smallest_seen_J_per_K=needed * u_d,
    )


def _scatter(
    stored: StoredConstant, values: Sequence[float], u: Sequence[float] | None
) -> tuple[float, float]:
    """Variance of one of today's runs, and its degrees of freedom."""
    n = len(values)
    floor = math.fsum(s * s for s in u) / len(u) if u else 0.0
    if n >= 2:
        mean = math.fsum(values) / n
        return max(math.fsum((x - mean) ** 2 for x in values) / (n - 1), floor), n - 1
    if stored.between_run_sd_J_per_K is not None and stored.runs >= 2:
        return max(stored.between_run_sd_J_per_K**2, floor), stored.runs - 1
    if floor > 0:
        return floor, math.inf
    raise ValueError("one run alone tells nothing of its scatter; make a second, or give its u")


def _chance(p: float) -> str:
    if p < 0.001:
        return "below 0.1 %"
    return f"{100 * p:.0f} %" if p >= 0.0995 else f"{100 * p:.2g} %"
