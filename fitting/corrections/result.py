"""What a correction gives back: one shape for every method."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from html import escape
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from fitting.corrections.case import Case, once_a_case
from fitting.cup.circumstances import NOTHING_KNOWN, Circumstances
from fitting.cup.knowledge import SURROUNDINGS
from fitting.curve import Curve, FloatArray, LeftOut
from fitting.noise import lag1

if TYPE_CHECKING:
    import pandas as pd

Part = tuple[str, float]
Step = tuple[str, float, float]
"""What changed the rise, by how much, and the standard uncertainty of that: (cause, K, K)."""
Interval = tuple[float, float]


class Steps(Sequence[Step]):
    """The way from the textbook integral to a rise, worked out when somebody first looks at it.

    It does the integral five times over, and in a loop over curves nobody looks. Reads, compares,
    copies and pickles like the tuple that it then is.
    """

    __slots__ = ("_work_out", "_worked_out")

    def __init__(self, work_out: Callable[[], tuple[Step, ...]]) -> None:
        self._work_out: Callable[[], tuple[Step, ...]] | None = work_out
        self._worked_out: tuple[Step, ...] = ()

    def _all(self) -> tuple[Step, ...]:
        if self._work_out is not None:
            self._worked_out, self._work_out = self._work_out(), None
        return self._worked_out

    def __len__(self) -> int:
        return len(self._all())

    @overload
    def __getitem__(self, at: int) -> Step: ...
    @overload
    def __getitem__(self, at: slice) -> tuple[Step, ...]: ...
    def __getitem__(self, at: int | slice) -> Step | tuple[Step, ...]:
        return self._all()[at]

    def __iter__(self) -> Iterator[Step]:
        return iter(self._all())

    def __eq__(self, other: object) -> bool:
        return self._all() == (other._all() if isinstance(other, Steps) else other)

    def __hash__(self) -> int:
        return hash(self._all())

    def __repr__(self) -> str:
        return repr(self._all())

    def __reduce__(self) -> tuple[Any, ...]:
        return tuple, (self._all(),)


@dataclass(frozen=True, slots=True)
class Worked:
    """What a loss integral is made of, so that it can be done again by hand.

    Attributes:
        from_s, to_s: the main period on the curve's clock, s.
        start_C, end_C: temperatures at its two ends, from fore and after curve, °C.
        rate_per_s, t_inf_C: k [1/s] and T∞ [°C].
        area_Ks: ∫ (T − T∞) dt over it, trapezoids through the readings, K s.
    """

    from_s: float
    to_s: float
    start_C: float
    end_C: float
    rate_per_s: float
    t_inf_C: float
    area_Ks: float

    def printed(self) -> tuple[tuple[str, str, str], ...]:
        """(symbol, number, unit) with as many digits as the rise needs to come out to 0.1 mK.

        k and the area have seven significant digits, since their product may be some kelvin.
        """
        return (
            ("t_m", f"{self.from_s:.3f}", "s"),
            ("t_f", f"{self.to_s:.3f}", "s"),
            ("T_i", f"{self.start_C:.5f}", "°C"),
            ("T_f", f"{self.end_C:.5f}", "°C"),
            ("k", f"{self.rate_per_s:.6e}", "1/s"),
            ("T∞", f"{self.t_inf_C:.5f}", "°C"),
            ("∫ (T − T∞) dt", f"{self.area_Ks:.7g}", "K s"),
            ("ΔT", f"{self.rise_K:.4f}", "K"),
        )

    @property
    def put_back_K(self) -> float:
        """k ∫ (T − T∞) dt, K."""
        return self.rate_per_s * self.area_Ks

    @property
    def rise_K(self) -> float:
        """(Tf − Ti) + k ∫ (T − T∞) dt, K."""
        return self.end_C - self.start_C + self.put_back_K


@dataclass(frozen=True, slots=True)
class Balance:
    """Two drift lines and the vertical between them that cuts off equal areas.

    Attributes:
        at_s, to_s: the vertical and the main period's end on the curve's clock, s.
        mixed_at_s: where the lines' heights are given, s.
        fore_C, fore_K_per_s, after_C, after_K_per_s: height [°C] and slope of each line.
    """

    at_s: float
    to_s: float
    mixed_at_s: float
    fore_C: float
    fore_K_per_s: float
    after_C: float
    after_K_per_s: float

    def fore(self, time_s: FloatArray) -> FloatArray:
        """The fore line, °C."""
        return np.asarray(self.fore_C + self.fore_K_per_s * (time_s - self.mixed_at_s))

    def after(self, time_s: FloatArray) -> FloatArray:
        """The after line, °C."""
        return np.asarray(self.after_C + self.after_K_per_s * (time_s - self.mixed_at_s))


@dataclass(frozen=True, slots=True)
class Correction:
    """One method's answer on one curve. Standard uncertainties (k = 1) start with ``u_``.

    Attributes:
        method: the method's name in ``METHODS``.
        before_C: temperature of the content at the moment of mixing, °C.
        rise_K: what a perfectly insulated cup would have risen by, K (negative: it cooled).
        u_rise_K: standard uncertainty, K.
        interval95_K: interval that holds the rise with 95 % probability, K.
        cooling_rate_per_s: k after mixing, 1/s; None where the method knows none.
        t_inf_C: temperature that the cup would drift to, °C.
        admissible: whether the method's assumptions hold on this curve.
        why: the reason for that verdict, in one sentence.
        residual_rms_K, lag1_autocorrelation: of the after period about the method's fit.
        parts: what ``u_rise_K`` is made of, (name, K).
        u_before_K, before_interval95_C: of ``before_C``.
        u_t_inf_K, t_inf_interval95_C: of ``t_inf_C``, in the room as it was at the mixing.
        u_final_K, final_interval95_C: of ``final_C``.
        vessel: what the vessel was taken for, where the method asks.
        hidden_K: loss through a wall that no curve shows, taken off the rise, and its u, K; the
            same share of every rise in this cup.
        rate_left_out: whether a cooling rate known beforehand lay too far off the curve's own.
        note: what the method noticed and people should know; empty: nothing.
        sensor_lag_s, u_sensor_lag_s: the sensor's time constant (`fitting.release.sensor_lag`);
            None where the method does not look at the main period, or the curve does not show it.
        steps: the way from the textbook integral to this rise, cause by cause; empty where the
            method is none that averages.
        wall_weight, late_weight: of an average over models, the probability that a slow wall was
            still warming, and that heat was still being released, in the after period.
        worked: the integral's own numbers, where the method is one.
        balance: time and lines of the equal areas, where the method draws them.
        residual_K: readings minus what the method lays through them, from some reading to the last
            of the curve, K, shape (n,); what ``residual_rms_K`` describes.
    """

    method: str
    before_C: float
    rise_K: float
    u_rise_K: float
    interval95_K: tuple[float, float]
    cooling_rate_per_s: float | None
    u_cooling_rate_per_s: float | None
    t_inf_C: float | None
    admissible: bool
    why: str
    residual_rms_K: float
    lag1_autocorrelation: float
    parts: tuple[Part, ...] = ()
    sensor_lag_s: float | None = None
    u_sensor_lag_s: float | None = None
    u_before_K: float | None = None
    before_interval95_C: Interval | None = None
    u_t_inf_K: float | None = None
    t_inf_interval95_C: Interval | None = None
    u_final_K: float | None = None
    final_interval95_C: Interval | None = None
    vessel: str | None = None
    hidden_K: tuple[float, float] | None = None
    rate_left_out: bool = False
    note: str = ""
    steps: Sequence[Step] = ()
    wall_weight: float | None = None
    late_weight: float | None = None
    worked: Worked | None = None
    balance: Balance | None = None
    residual_K: FloatArray = field(default_factory=lambda: np.empty(0), compare=False, repr=False)

    @property
    def final_C(self) -> float:
        """Temperature that a perfectly insulated cup would have settled at, °C."""
        return self.before_C + self.rise_K

    def holds(self, rise_K: float) -> bool:
        """Whether the 95 % interval holds a value."""
        return self.interval95_K[0] <= rise_K <= self.interval95_K[1]


@dataclass(frozen=True, slots=True)
class Method:
    """A correction method: its name, title, function, where it comes from and what it computes."""

    name: str
    title: str
    function: Callable[[Case], Correction]
    source: str
    equation: str = ""


@dataclass(frozen=True, slots=True)
class Corrected:
    """One curve's corrected rise, with every method that was tried.

    Attributes:
        chosen: the correction to use.
        methods: all corrections computed, in the order of ``METHODS``.
        mixed_at_s, u_mixed_at_s, mixing_given: moment of mixing on the curve's clock.
        settled_after_s: when the heat release was over, seconds after mixing; None: not seen.
        extreme_C, extreme_at_s: highest or lowest reading after mixing and its time on the clock.
        warnings: sentences for people.
        rule: why ``chosen`` was chosen.
        known: what was known beside the readings: scans, laws and weights are told the same.
        left_out: readings that were set aside, by rule or by hand.
        cut_at_s: time on the curve's clock after which nothing was used; None: all was.
        moment_off: how a moment of mixing that was noted lies off the jump; empty where it fits.
    """

    chosen: Correction
    methods: tuple[Correction, ...]
    mixed_at_s: float
    u_mixed_at_s: float
    mixing_given: bool
    settled_after_s: float | None
    extreme_C: float
    extreme_at_s: float
    warnings: tuple[str, ...]
    rule: str
    known: Circumstances = NOTHING_KNOWN
    left_out: tuple[LeftOut, ...] = ()
    cut_at_s: float | None = None
    moment_off: str = ""

    @property
    def final_C(self) -> float:
        """Temperature that a perfectly insulated cup would have settled at, °C."""
        return self.chosen.final_C

    def used_of(self, curve: Curve) -> Curve:
        """The part of the curve that was used: up to where the loss changed."""
        if self.cut_at_s is None:
            return curve
        return curve.window(float(curve.time_s[0]), self.cut_at_s)

    @property
    def u_extreme_K(self) -> float:
        """Standard uncertainty of the extreme reading: noise and step of one reading, K."""
        for one in self.methods:
            if one.method == "extreme":
                return dict(one.parts).get("reading", 0.0)
        return 0.0

    @property
    def sensor_lag_s(self) -> float | None:
        """The sensor's time constant, s; None where the curve does not show it."""
        return self._seen_lag[0]

    @property
    def u_sensor_lag_s(self) -> float | None:
        """Standard uncertainty of the sensor's time constant, s."""
        return self._seen_lag[1]

    @property
    def _seen_lag(self) -> tuple[float | None, float | None]:
        for one in (self.chosen, *self.methods):
            if one.sensor_lag_s is not None:
                return one.sensor_lag_s, one.u_sensor_lag_s
        return None, None

    @property
    def verdict(self) -> str:
        """The answer in one sentence."""
        low, high = self.chosen.interval95_K
        return (
            f"rise {self.chosen.rise_K:+.3f} K ± {self.chosen.u_rise_K:.3f} K (k = 1; 95 %: "
            f"{low:+.3f} to {high:+.3f} K) by {self.chosen.method}: {self.rule}"
        )

    def named(self, method: str) -> Correction:
        """The correction of one method.

        Raises:
            KeyError: it was not computed.
        """
        for one in self.methods:
            if one.method == method:
                return one
        raise KeyError(method)

    def to_frame(self) -> pd.DataFrame:
        """One line a method, as a pandas table."""
        return methods_frame(self.methods)

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.verdict)}</p>{methods_html(self.methods)}"


_COLUMNS = (
    "method", "rise_K", "u_rise_K", "cooling_rate_per_s", "t_inf_C", "residual_rms_K",
    "lag1_autocorrelation", "admissible", "why",
)  # fmt: skip


def methods_frame(methods: tuple[Correction, ...]) -> pd.DataFrame:
    """Corrections side by side as a pandas table, one line each."""
    import pandas as pd

    lines = [
        {name: getattr(one, name) for name in _COLUMNS}
        | {"low95_K": one.interval95_K[0], "high95_K": one.interval95_K[1]}
        for one in methods
    ]
    return pd.DataFrame(lines).set_index("method")


def methods_html(methods: tuple[Correction, ...]) -> str:
    """Corrections side by side as an HTML table."""
    head = "".join(
        f"<th scope='col'>{name}</th>"
        for name in ("method", "rise / K", "u / K", "95 % / K", "k / (1/min)", "admissible", "why")
    )
    body = ""
    for one in methods:
        rate = "" if one.cooling_rate_per_s is None else f"{60 * one.cooling_rate_per_s:.4f}"
        low, high = one.interval95_K
        cells = (
            f"{one.rise_K:+.3f}", f"{one.u_rise_K:.3f}", f"{low:+.3f} to {high:+.3f}", rate,
            "yes" if one.admissible else "no", escape(one.why),
        )  # fmt: skip
        rest = "".join(f"<td>{cell}</td>" for cell in cells)
        body += f"<tr><th scope='row'>{escape(one.method)}</th>{rest}</tr>"
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def total(parts: tuple[Part, ...]) -> float:
    """Root of the sum of squares of the parts, K."""
    return float(np.sqrt(sum(u * u for _, u in parts)))


def make(
    case: Case,
    method: str,
    rise_K: float,
    parts: tuple[Part, ...],
    verdict: tuple[bool, str],
    residual_K: FloatArray,
    *,
    rate: tuple[float, float] | None = None,
    t_inf_C: float | None = None,
    before_C: float | None = None,
    degrees: float = np.inf,
    lag: tuple[float, float] | None = None,
    u_t_inf_K: float | None = None,
) -> Correction:
    """Put a result together; few degrees of freedom widen the interval (Student's t).

    The temperature before is as uncertain as the fore line at the mixing and as the distance of the
    method's own from it; the temperature without loss as if its two parts were independent: no
    less than it is, since they go apart.
    """
    u = total(parts)
    half = student95(degrees) * u
    rms = float(np.sqrt(np.mean(residual_K**2))) if residual_K.size else 0.0
    before = case.before_C if before_C is None else before_C
    own = float(np.hypot(case.u_before_K, before - case.before_C))
    u_before = float(np.hypot(own, u_of_reading(case)))
    u_final = float(np.hypot(u_before, u))
    return Correction(
        method,
        before,
        rise_K,
        u,
        (rise_K - half, rise_K + half),
        None if rate is None else rate[0],
        None if rate is None else rate[1],
        t_inf_C,
        verdict[0],
        verdict[1],
        rms,
        lag1(residual_K),
        tuple(part for part in parts if part[1] > 0),
        None if lag is None else lag[0],
        None if lag is None else lag[1],
        u_before,
        within(before, u_before),
        u_t_inf_K if t_inf_C is not None else None,
        None if t_inf_C is None or u_t_inf_K is None else within(t_inf_C, u_t_inf_K),
        u_final,
        within(before + rise_K, u_final),
        residual_K=residual_K,
    )


_LAG_S = SURROUNDINGS.sensor_lag_s.value
_WANDER_K = SURROUNDINGS.reading_wander_K.u


@once_a_case
def u_of_reading(case: Case) -> float:
    """How far the sensor itself stands from the content before the mixing, K.

    It follows a drift by its lag too late, and wanders slowly, which a line cannot tell from the
    content's own course.
    """
    s, y = case.s[case.fore], case.y[case.fore]
    if s.size < 4:
        return _WANDER_K
    half = s.size // 2
    drift = float((y[-half:].mean() - y[:half].mean()) / (s[-half:].mean() - s[:half].mean()))
    return float(np.hypot(_LAG_S * drift, _WANDER_K))


def within(value: float, u: float) -> Interval:
    """Value ± 1.96 u."""
    return value - 1.96 * u, value + 1.96 * u


def student95(degrees: float) -> float:
    """97.5 % point of Student's t, within 0.5 % for 3 degrees of freedom and more.

    Source: M. Abramowitz, I. Stegun, *Handbook of Mathematical Functions*, 26.7.5.

    >>> round(student95(np.inf), 2), round(student95(10), 2)
    (1.96, 2.23)
    """
    z = 1.959964
    n = max(float(degrees), 1.5)
    g1 = (z**3 + z) / 4
    g2 = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    g3 = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    return float(z + g1 / n + g2 / n**2 + g3 / n**3)


def replaced(one: Correction, **changes: object) -> Correction:
    """A copy of a correction with some fields changed."""
    return replace(one, **changes)  # type: ignore[arg-type]
