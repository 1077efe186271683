"""A long log of nothing but cooling: the law, k, T∞ and, with a heat capacity, the conductance G.

    G = k C,      (u_G/G)² = (u_k/k)² + (u_C/C)²

C [J/K] is the heat capacity of content and cup together. The rate's uncertainty holds, beside the
fit's own, an unseen drift of the room and the differences between the laws, each weighed by its
Akaike weight e^(−Δ/2) (K. P. Burnham, D. R. Anderson, Model Selection and Multimodel Inference
(2002), sec. 2.9 and eq. 4.9).
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

from fitting.cooling_laws.comparing import compare_laws
from fitting.cooling_laws.result import LawComparison, LawFit
from fitting.cooling_laws.stretch import stretch_of
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.periods import quick_noise

UNSEEN_SHARE = 0.02
"""u of k from what no law describes (a room that swings, air that moves), as a share of it; from
simulated cups (`tests/benchmarks/cooling_laws.py`)."""
_LEAST_CHANGE_K = 0.3


@dataclass(frozen=True, slots=True)
class CoolingLog:
    """What a cooling log tells. Standard uncertainties start with ``u_``.

    Attributes:
        laws: the cooling laws side by side; ``laws.best`` is the one in use.
        rate_per_s: loss over temperature difference at ``middle_C``, 1/s.
        t_inf_C: temperature that the cup tends to, °C.
        middle_C, start_C, end_C: mean, first and last temperature of the stretch, °C.
        heat_capacity_J_per_K: of content and cup, where it was given.
        conductance_W_per_K: G; None without a heat capacity.
        parts: what ``u_rate_per_s`` is made of, (name, 1/s).
        warnings: sentences for people.
    """

    laws: LawComparison
    rate_per_s: float
    u_rate_per_s: float
    t_inf_C: float
    u_t_inf_K: float
    middle_C: float
    start_C: float
    end_C: float
    heat_capacity_J_per_K: float | None
    conductance_W_per_K: float | None
    u_conductance_W_per_K: float | None
    parts: tuple[tuple[str, float], ...]
    warnings: tuple[str, ...]

    @property
    def verdict(self) -> str:
        """The answer in one sentence."""
        rate = f"k = {60 * self.rate_per_s:.5f} ± {60 * self.u_rate_per_s:.5f} 1/min"
        settles = f"T∞ = {self.t_inf_C:.2f} ± {self.u_t_inf_K:.2f} °C"
        if self.conductance_W_per_K is None:
            return f"{rate}, {settles}; {self.laws.verdict}"
        loss = f"G = {self.conductance_W_per_K:.4f} ± {self.u_conductance_W_per_K:.4f} W/K"
        return f"{loss}, {rate}, {settles}; {self.laws.verdict}"

    def _repr_html_(self) -> str:
        notes = "".join(f"<li>{escape(text)}</li>" for text in self.warnings)
        listed = f"<ul>{notes}</ul>" if notes else ""
        return f"<p>{escape(self.verdict)}</p>{listed}{self.laws._repr_html_()}"


def fit_cooling_log(
    curve: Curve,
    *,
    from_s: float | None = None,
    to_s: float | None = None,
    room_C: float | None = None,
    u_room_K: float = 0.5,
    heat_capacity_J_per_K: float | None = None,
    u_heat_capacity_J_per_K: float = 0.0,
) -> CoolingLog:
    """Find law, rate and T∞ from a log in which nothing happens but cooling (or warming).

    Args:
        curve: the readings.
        from_s, to_s: part of the log to use, on its own clock; all of it where None.
        room_C, u_room_K: room temperature, °C, and its standard uncertainty, K.
        heat_capacity_J_per_K, u_heat_capacity_J_per_K: of content and cup together; gives G.

    Raises:
        CurveError: too few readings, or a temperature that hardly changes.
    """
    _check(heat_capacity_J_per_K, u_heat_capacity_J_per_K)
    first = float(curve.time_s[0]) if from_s is None else from_s
    last = float(curve.time_s[-1]) if to_s is None else to_s
    part = curve.window(first, last)
    change = float(np.ptp(part.temperature_C))
    least = max(_LEAST_CHANGE_K, 10 * quick_noise(part).sigma_K, 4 * part.resolution_K)
    if change < least:
        raise CurveError(
            f"the temperature changes by {change:.2g} K only; a cooling rate needs some "
            f"{least:.2g} K or more: log for longer, or start further from the room's temperature"
        )
    stretch = stretch_of(part, first, last, room_C=room_C, u_room_K=u_room_K)
    laws = compare_laws(stretch)
    parts = _rate_parts(laws)
    u_rate = float(np.sqrt(sum(u * u for _, u in parts)))
    best = laws.best
    u_t_inf = float(np.hypot(best.u_t_inf_K, _between(laws, "t_inf_C")))
    loss = _conductance(best.rate_per_s, u_rate, heat_capacity_J_per_K, u_heat_capacity_J_per_K)
    return CoolingLog(
        laws, best.rate_per_s, u_rate, best.t_inf_C, u_t_inf, stretch.span.middle_C,
        float(stretch.y[0]), float(stretch.y[-1]), heat_capacity_J_per_K, *loss, parts,
        _warnings(laws, u_rate, room_C),
    )  # fmt: skip


def _check(capacity: float | None, u_capacity: float) -> None:
    if capacity is not None and not (np.isfinite(capacity) and capacity > 0):
        raise CurveError(f"the heat capacity is {capacity} J/K; expected more than 0")
    if not (np.isfinite(u_capacity) and u_capacity >= 0):
        raise CurveError(f"u of the heat capacity is {u_capacity} J/K; expected 0 or more")


def _rate_parts(laws: LawComparison) -> tuple[tuple[str, float], ...]:
    best = laws.best
    return (
        ("fit, with a drift of the room that is not seen", best.u_rate_per_s),
        ("which law holds", _between(laws, "rate_per_s")),
        ("what no law describes", UNSEEN_SHARE * best.rate_per_s),
    )


def _between(laws: LawComparison, name: str) -> float:
    """Root of the mean square distance of the laws from the one in use, by Akaike weights."""
    weight = np.exp(-0.5 * np.array([one.delta_aicc for one in laws.laws]))
    apart = np.array([getattr(one, name) - getattr(laws.best, name) for one in laws.laws])
    return float(np.sqrt(np.sum(weight * apart**2) / np.sum(weight)))


def _conductance(
    rate: float, u_rate: float, capacity: float | None, u_capacity: float
) -> tuple[float | None, float | None]:
    if capacity is None:
        return None, None
    return rate * capacity, float(np.hypot(u_rate * capacity, rate * u_capacity))


def _warnings(laws: LawComparison, u_rate: float, room_C: float | None) -> tuple[str, ...]:
    best: LawFit = laws.best
    out = []
    if best.rate_per_s < 2 * u_rate:
        out.append(
            "the rate is hardly seen: log for longer, start further from the room's temperature, "
            "or note the room's temperature"
        )
    if best.name == "steeper":
        out.append(
            "the loss grows faster than linearly: k and G hold near the mean temperature of the "
            "log only; use a lid, or log near the temperatures of use"
        )
    if best.name == "drifting-room":
        out.append("the room drifted: log again where its temperature stays")
    if room_C is not None and abs(best.t_inf_C - room_C) > 3.0:
        out.append(
            f"the cup tends to {best.t_inf_C:.1f} °C, not to the room's {room_C:.1f} °C: vapour, a "
            "strong stirrer, or a room that drifted"
        )
    return tuple(out)
