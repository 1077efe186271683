"""A long log of nothing but cooling: the law, k, T∞ and, with a heat capacity, the conductance G.

    G = k C,      (u_G/G)² = (u_k/k)² + (u_C/C)²

C [J/K] is the heat capacity of content and cup together. The law is named by corrected AIC and by
its forecast (`fitting.cooling.comparing`); k and T∞ are averages over everything that a cup
may do beside it (`fitting.cooling.weighed`), unless a law is forced.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from fitting.cooling.comparing import FittedLaws, fit_laws
from fitting.cooling.laws import LAWS
from fitting.cooling.result import LawComparison, LawFit
from fitting.cooling.stretch import Stretch, stretch_of
from fitting.cooling.weighed import Weighed, weigh
from fitting.cup.circumstances import U_ROOM_K, check_room
from fitting.cup.knowledge import COOLING_LOG
from fitting.curve import Curve, FloatArray
from fitting.errors import CurveError
from fitting.periods import quick_noise

if TYPE_CHECKING:
    import pandas as pd

Interval = tuple[float, float]
Parts = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class CoolingLog:
    """What a cooling log tells. Standard uncertainties start with ``u_``.

    Attributes:
        curve: the readings in use.
        stretch: the same, averaged over bins: what the laws were fitted to.
        laws: the cooling laws side by side; ``laws.best`` is the one that is named.
        law: name of the law: the one the readings ask for, or the one that was forced.
        decided_by: the rule that decided, in a sentence.
        rate_per_s: loss over temperature difference at ``middle_C``, 1/s.
        t_inf_C: temperature that the cup tends to, at the start of the stretch, °C.
        rate_interval95_per_s, t_inf_interval95_C, conductance_interval95_W_per_K: 95 % intervals.
        middle_C, start_C, end_C: mean, first and last temperature of the stretch, °C.
        room_C: the noted room temperature, °C.
        heat_capacity_J_per_K: of content and cup, where it was given.
        conductance_W_per_K: G; None without a heat capacity.
        parts: what ``u_rate_per_s`` is made of, (name, 1/s); their squares add up.
        chances: (law, probability that what it stands for is there in more than its ordinary
            size); empty where a law was forced.
        warnings: sentences for people.
    """

    curve: Curve = field(repr=False)
    stretch: Stretch = field(repr=False)
    laws: LawComparison
    law: str
    decided_by: str
    rate_per_s: float
    u_rate_per_s: float
    rate_interval95_per_s: Interval
    t_inf_C: float
    u_t_inf_K: float
    t_inf_interval95_C: Interval
    room_C: float | None
    heat_capacity_J_per_K: float | None
    u_heat_capacity_J_per_K: float
    conductance_W_per_K: float | None
    u_conductance_W_per_K: float | None
    conductance_interval95_W_per_K: Interval | None
    parts: Parts
    chances: tuple[tuple[str, float], ...]
    forced: bool
    warnings: tuple[str, ...]

    @property
    def middle_C(self) -> float:
        """Mean temperature of the stretch, °C."""
        return self.stretch.span.middle_C

    @property
    def start_C(self) -> float:
        """First averaged temperature, °C."""
        return float(self.stretch.y[0])

    @property
    def end_C(self) -> float:
        """Last averaged temperature, °C."""
        return float(self.stretch.y[-1])

    @property
    def verdict(self) -> str:
        """The answer in one sentence."""
        rate = f"k = {60 * self.rate_per_s:.5f} ± {60 * self.u_rate_per_s:.5f} 1/min"
        settles = f"T∞ = {self.t_inf_C:.2f} ± {self.u_t_inf_K:.2f} °C"
        law = f"{self.laws.named(self.law).title}: {self.decided_by}"
        if self.conductance_W_per_K is None:
            return f"{rate}, {settles}; {law}"
        loss = f"G = {self.conductance_W_per_K:.4f} ± {self.u_conductance_W_per_K:.4f} W/K"
        return f"{loss}, {rate}, {settles}; {law}"

    def line_C(self, name: str, *, forecast: bool = False) -> FloatArray | None:
        """What a law says at the times of ``stretch``, °C, shape (n,).

        With ``forecast`` from the parameters found without the held-back end; None where the
        stretch was too short for that.

        Raises:
            KeyError: no such law was fitted.
        """
        import numpy as np

        one, span = self.laws.named(name), self.stretch.span
        p = tuple(value for _, value, _, _ in one.parameters)
        if forecast:
            if not one.forecast_from:
                return None
            from fitting.cooling.comparing import HELD_BACK

            p, span = one.forecast_from, self.stretch.first(1 - HELD_BACK).span
        return LAWS[name].model(np.array(p), self.stretch.t, span)

    def held_from_s(self) -> float:
        """Where the held-back end begins, seconds since the start of the stretch."""
        from fitting.cooling.comparing import HELD_BACK

        keep = self.stretch.first(1 - HELD_BACK).t.size
        return float(self.stretch.t[min(keep, self.stretch.t.size - 1)])

    def to_frame(self) -> pd.DataFrame:
        """One line a law, as a pandas table; ``chosen`` marks the one that is named."""
        table = self.laws.to_frame()
        table["chosen"] = [name == self.law for name in table.index]
        return table

    def readings_frame(self) -> pd.DataFrame:
        """The averaged readings with every law's residual, K: one line a bin."""
        import pandas as pd

        columns = {"since_start_s": self.stretch.t, "temperature_C": self.stretch.y}
        for one in self.laws.laws:
            line = self.line_C(one.name)
            assert line is not None
            columns[f"residual_{one.name}_K"] = self.stretch.y - line
        return pd.DataFrame(columns)

    def _repr_html_(self) -> str:
        notes = "".join(f"<li>{escape(text)}</li>" for text in self.warnings)
        listed = f"<ul>{notes}</ul>" if notes else ""
        parts = ", ".join(f"{escape(name)} {60 * u:.2g}" for name, u in self.parts)
        made_of = f"<p>u of k in 1/min is made of: {parts}</p>"
        return f"<p>{escape(self.verdict)}</p>{made_of}{listed}{self.laws._repr_html_()}"


UNSEEN_SHARE = COOLING_LOG.unseen_share.u
_LEAST_CHANGE_K = 0.3
_LONGEST_S = 30 * 86400.0
_Z95 = 1.96
_MISFIT = 1.4  # beyond it the uncertainties grow with the misfit
_LARGE_LAWS = ("drifting-room", "steeper", "slow-wall")  # in the order of `Weighed.large`


class _Answer(NamedTuple):
    """k [1/s] and T∞ [°C] with uncertainty and interval, and what u of k is made of."""

    rate: float
    u_rate: float
    rate95: Interval
    t_inf: float
    u_t_inf: float
    t_inf95: Interval
    parts: Parts
    chances: tuple[tuple[str, float], ...]
    misfit: float = 1.0


def fit_cooling_log(
    curve: Curve,
    *,
    from_s: float | None = None,
    to_s: float | None = None,
    room_C: float | None = None,
    u_room_K: float = U_ROOM_K,
    heat_capacity_J_per_K: float | None = None,
    u_heat_capacity_J_per_K: float = 0.0,
    law: str | None = None,
) -> CoolingLog:
    """Find law, rate and T∞ from a log in which nothing happens but cooling (or warming).

    Args:
        curve: the readings.
        from_s, to_s: part of the log to use, on its own clock; all of it where None.
        room_C, u_room_K: room temperature at the start, °C, and its standard uncertainty, K.
        heat_capacity_J_per_K, u_heat_capacity_J_per_K: of content and cup together; gives G.
        law: name of a law to take as true (`LAWS`): k and T∞ are then that law's own.

    Raises:
        CurveError: too few readings, a temperature that hardly changes, a log that does not only
            cool, or an argument out of its range; the message says what to do.
    """
    _check(heat_capacity_J_per_K, u_heat_capacity_J_per_K, room_C, u_room_K, law)
    first = float(curve.time_s[0]) if from_s is None else from_s
    last = float(curve.time_s[-1]) if to_s is None else to_s
    if not first < last:
        raise CurveError(f"the part from {first:g} to {last:g} s holds nothing; give from < to")
    if last - first > _LONGEST_S:
        raise CurveError(
            f"the log runs over {(last - first) / 86400:.0f} days; expected some hours: check the "
            "unit of its time"
        )
    part = curve.window(first, last)
    _check_change(part)
    stretch = stretch_of(part, first, last, room_C=room_C, u_room_K=u_room_K)
    _check_course(stretch)
    _check_room(stretch, room_C, u_room_K)
    fitted = fit_laws(stretch)
    named = fitted.comparison.chosen if law is None else law
    if law is None:
        found = {one.law.name: one.p for one in fitted.found}
        answer = _averaged(weigh(stretch, fitted.scatter, found), fitted.comparison.best)
        decided_by = fitted.comparison.why
    else:
        answer = _of_law(fitted.comparison, law)
        decided_by = "it was asked for; k and T∞ are its own, whatever other laws would give"
    _check_pace(answer.rate, stretch)
    loss = _conductance(answer, heat_capacity_J_per_K, u_heat_capacity_J_per_K)
    return CoolingLog(
        part, stretch, fitted.comparison, named, decided_by, answer.rate, answer.u_rate,
        answer.rate95, answer.t_inf, answer.u_t_inf, answer.t_inf95, room_C,
        heat_capacity_J_per_K, u_heat_capacity_J_per_K, *loss, answer.parts, answer.chances,
        law is not None, tuple(_warnings(fitted, named, answer, room_C, law is not None)),
    )  # fmt: skip


def _check(
    capacity: float | None, u_capacity: float, room_C: float | None, u_room_K: float,
    law: str | None,
) -> None:  # fmt: skip
    if capacity is not None and not (np.isfinite(capacity) and capacity > 0):
        raise CurveError(f"the heat capacity is {capacity} J/K; expected more than 0")
    if not (np.isfinite(u_capacity) and u_capacity >= 0):
        raise CurveError(f"u of the heat capacity is {u_capacity} J/K; expected 0 or more")
    check_room(room_C, u_room_K)
    if not u_room_K > 0:
        raise CurveError(f"u of the room temperature is {u_room_K} K; expected more than 0")
    if law is not None and law not in LAWS:
        raise CurveError(f"there is no cooling law {law!r}; expected one of {', '.join(LAWS)}")


def _check_change(part: Curve) -> None:
    change = float(np.ptp(part.temperature_C))
    least = max(_LEAST_CHANGE_K, 10 * quick_noise(part).sigma_K, 4 * part.resolution_K)
    if change < least:
        raise CurveError(
            f"the temperature changes by {change:.2g} K only; a cooling rate needs some "
            f"{least:.2g} K or more: log for longer, or start further from the room's temperature"
        )


def _check_pace(rate: float, stretch: Stretch) -> None:
    """Refuse a log in which the cup has settled within a few averages."""
    if rate * stretch.span.width_s > _MOST_A_BIN:
        end = stretch.from_s + 4 / rate
        raise CurveError(
            f"the temperature settles within some {3 / rate:.0f} s, a small part of the log; give "
            f"the part that cools: an end at about {end:.0f} s on the log's clock"
        )


_MOST_A_BIN = 0.4


def _check_room(stretch: Stretch, room_C: float | None, u_room_K: float) -> None:
    """Refuse a room that the cup moves away from; vapour takes it a few kelvin below at most."""
    if room_C is None:
        return
    first, last = float(stretch.y[0]), float(stretch.y[-1])
    beyond = room_C - last if first > last else last - room_C
    if beyond > _BEYOND_K + 3 * u_room_K:
        raise CurveError(
            f"the temperature goes from {first:.1f} to {last:.1f} °C, past the room's "
            f"{room_C:.1f} °C: no cup does that by itself; correct the room's temperature, or give "
            "the part of the log that only cools with a start and an end"
        )


_BEYOND_K = 3.0
_BACK_SHARE, _JUMP_SHARE = 0.12, 0.12


def _check_course(stretch: Stretch) -> None:
    """Refuse what is no idle cup: a course that turns back, or a jump in it."""
    y = stretch.y if stretch.y[0] >= stretch.y[-1] else -stretch.y
    whole = float(np.ptp(y))
    back = float(np.max(y - np.minimum.accumulate(y)))
    if back > max(_BACK_SHARE * whole, 6 * stretch.step_K, 0.3):
        at = float(stretch.t[int(np.argmax(y - np.minimum.accumulate(y)))])
        raise CurveError(
            f"the temperature turns back by {back:.2g} K (until {stretch.from_s + at:.0f} s); a "
            "cooling log goes one way: something was added or heated, or the room changed: give "
            "the part before or after it with a start and an end"
        )
    gaps = np.diff(stretch.t)
    steps = -np.diff(y) / gaps * float(np.median(gaps))
    largest = int(np.argmax(steps))
    if largest < 2:  # a log may begin steeply
        return
    beside = [i for i in (largest - 1, largest, largest + 1) if i < steps.size]
    around = np.delete(steps, beside)
    if steps[largest] > _JUMP_SHARE * whole and steps[largest] > 8 * max(float(around.max()), 0.05):
        raise CurveError(
            f"the temperature jumps by {steps[largest]:.2g} K at about "
            f"{stretch.from_s + float(stretch.t[largest]):.0f} s; give the part before or after it "
            "with a start and an end"
        )


def _averaged(found: Weighed, best: LawFit) -> _Answer:
    """The average's answer, widened by what nothing describes."""
    rate, u, (low, high) = found.rate_per_s()
    t_inf, u_t_inf, (cold, warm) = found.settles_C()
    worse = found.misfit if found.misfit > _MISFIT else 1.0
    low, high = rate - worse * (rate - low), rate + worse * (high - rate)
    t_inf95 = (t_inf - worse * (t_inf - cold), t_inf + worse * (warm - t_inf))
    u, u_t_inf = worse * u, worse * u_t_inf
    unseen = UNSEEN_SHARE * rate
    between = min(worse * found.between() * rate, u)
    within = float(np.sqrt(max(u**2 - between**2, 0.0)))
    steps = np.maximum.accumulate(np.array(found.steps))
    shares = np.sqrt(np.diff(np.concatenate([[0.0], steps**2]))) / steps[-1] * within
    names = (
        "readings and where the cup settles", "a wall that is not level", "an unseen drift of the "
        "room", "loss that is not quite linear",
    )  # fmt: skip
    parts = (
        *zip(names, (float(one) for one in shares), strict=True),
        ("which law holds", between),
        ("what no law describes", unseen),
    )
    chances = tuple(
        (name, float(found.probability @ found.large[:, i])) for i, name in enumerate(_LARGE_LAWS)
    )
    apart = _disagreement(best, dict(chances), rate)
    if apart > 0:
        parts = (*parts, ("the named law against the average", apart))
    whole = float(np.hypot(np.hypot(u, unseen), apart))
    wider = whole / u
    rate95 = (max(rate - (rate - low) * wider, 0.0), rate + (high - rate) * wider)
    return _Answer(rate, whole, rate95, t_inf, u_t_inf, t_inf95, parts, chances, found.misfit)


def _disagreement(best: LawFit, chances: dict[str, float], rate: float) -> float:
    """How far the named law's k lies from the average beyond its own u. [1/s]

    Only where the average does not believe in what the law stands for: then neither describes the
    log well.
    """
    if chances.get(best.name, 1.0) >= 0.5:
        return 0.0
    return float(np.sqrt(max((best.rate_per_s - rate) ** 2 - best.u_rate_per_s**2, 0.0)))


def _of_law(laws: LawComparison, law: str) -> _Answer:
    one = laws.named(law)
    parts = (
        ("fit, with a drift of the room that is not seen", one.u_rate_per_s),
        ("what no law describes", UNSEEN_SHARE * one.rate_per_s),
    )
    u = float(np.hypot(parts[0][1], parts[1][1]))
    rate95 = (max(one.rate_per_s - _Z95 * u, 0.0), one.rate_per_s + _Z95 * u)
    t_inf95 = (one.t_inf_C - _Z95 * one.u_t_inf_K, one.t_inf_C + _Z95 * one.u_t_inf_K)
    return _Answer(one.rate_per_s, u, rate95, one.t_inf_C, one.u_t_inf_K, t_inf95, parts, ())


def _conductance(
    answer: _Answer, capacity: float | None, u_capacity: float
) -> tuple[float | None, float | None, Interval | None]:
    """G, its u and interval: the rate's sides, each with the heat capacity's part. [W/K]"""
    if capacity is None:
        return None, None, None
    G, more = answer.rate * capacity, answer.rate * u_capacity
    low, high = answer.rate95
    down = float(np.hypot((answer.rate - low) * capacity, _Z95 * more))
    up = float(np.hypot((high - answer.rate) * capacity, _Z95 * more))
    return G, float(np.hypot(answer.u_rate * capacity, more)), (max(G - down, 0.0), G + up)


def _warnings(
    fitted: FittedLaws, named: str, answer: _Answer, room_C: float | None, forced: bool
) -> Iterable[str]:
    if answer.rate < 3 * answer.u_rate:
        yield (
            "the rate is hardly seen: log for longer, start further from the room's temperature, "
            "or note the room's temperature"
        )
    elif room_C is None and answer.u_rate > 0.05 * answer.rate:
        yield (
            "the room's temperature was not noted: noting it makes the rate much better known, "
            "since a log of this length hardly tells where it settles"
        )
    if forced and not fitted.comparison.named(named).admissible:
        yield f"{named} was asked for, but {fitted.comparison.named(named).why}"
    if answer.misfit > _MISFIT:
        yield (
            f"no mixture of the laws describes the log: what is left is {answer.misfit:.1f} times "
            "its scatter, and the uncertainties were made as many times larger; look at the "
            "residuals for a lid that was opened, a stirrer that stopped, or very hot water"
        )
    if named == "steeper":
        yield (
            "the loss grows faster than linearly: k and G hold near the mean temperature of the "
            "log only; use a lid, or log near the temperatures of use"
        )
    if named == "drifting-room":
        yield "the room drifted: log again where its temperature stays"
    if room_C is not None and abs(answer.t_inf - room_C) > 3.0:
        yield (
            f"the cup tends to {answer.t_inf:.1f} °C, not to the room's {room_C:.1f} °C: vapour, a "
            "strong stirrer, or a room that drifted"
        )
