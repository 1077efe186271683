"""The cooling laws that are compared, each in closed form and each with Newton's as a special case.

With θ = T − T∞ [K], T∞ the temperature that the cup tends to [°C] and k the rate [1/s]::

    newton       dT/dt = −k θ                                               (T0, k, T∞)
    slow-wall    dT/dt = −k θ, and a wall that takes its heat with its own time constant τ:
                 T = T∞ + a e^(−k t) + b e^(−t/τ)                           (T0, k, T∞, b, τ)
    steeper      dT/dt = −k θ |θ/θr|^(n−1), n ≥ 1                           (T0, k, T∞, n)
    drifting     dT/dt = −k (T − T∞ − c t), the room drifts by c [K/s]      (T0, k, T∞, c)

b = 0, n = 1 and c = 0 give Newton's law. Two bodies that exchange heat with each other and the
room always give two exponentials (eigenvalues of a 2 x 2 system). The steeper law stands for loss
that grows faster than linearly: free convection has n = 5/4 (Dulong and Petit, Ann. Chim. Phys. 7
(1817) 225, found 1.233; 5/4 from L. Lorenz, Ann. Phys. 249 (1881) 582; both from memory);
evaporation from an open, hot cup looks like a larger n. θr is the middle of the stretch, so that
k is the loss over the temperature difference there.

`course`: a cup that does a little of everything, for many sets of parameters at once.

    θ = T − T∞ − c t,    dT/dt = −k θ |θ/θr|^m + d/dt [b e^(−t/τ)]

k [1/s] is the loss over the temperature difference at θr (the middle of the stretch), T∞ [°C] the
temperature that the cup tends to at the start, c [K/s] the room's drift, m = n − 1 the steepness,
b [K] and τ [s] what a wall that is not level takes or gives. One of them alone is one of the laws
above; m = 0, c = 0, b = 0 is Newton's.

Solved by splitting: half of a step's drift, the exact flow of the power law, the other half. The
power law's flow over h is θ (1 + m k h |θ/θr|^m)^(−1/m). Source: G. Strang, SIAM J. Numer. Anal. 5
(1968) 506 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from fitting.cup.knowledge import COOLING_LOG
from fitting.curve import FloatArray

START, RATE, T_INF = 0, 1, 2
DRIFT, STEEP, WALL, WALL_S = range(3, 7)  # of `course`, after the three that laws share
SIZE = 7
FASTEST_PER_S = 0.05
STEEPEST = 2.5
SLOWEST_WALL_S = 900.0
_NEAR_NEWTON = 1e-6


@dataclass(frozen=True, slots=True)
class Span:
    """What a law is told of the stretch: its middle temperature and length, and the bins' width."""

    middle_C: float
    length_s: float
    width_s: float


Model = Callable[[FloatArray, FloatArray, Span], FloatArray]
Slope = Callable[[FloatArray, float, float, Span], float]


@dataclass(frozen=True, slots=True)
class Law:
    """A cooling law.

    Attributes:
        name, title, equation, source: for people.
        parameters: (name, unit) of each; the first three are T0, k and T∞ in every law.
        model: temperature [°C] at t [s since the start of the stretch] for parameters p.
        slope: dT/dt [K/s] at a time and a temperature, the wall being level.
        bounds: lowest and highest value of the parameters after the first three.
        starts: values of the further parameters to start the search from.
        u_settles_K: u of T∞ about the room's temperature: a stirrer warms the cup, a wet
            surface cools it (`fitting.cup.bench`).
    """

    name: str
    title: str
    equation: str
    source: str
    parameters: tuple[tuple[str, str], ...]
    model: Model
    slope: Slope
    bounds: Callable[[Span], tuple[tuple[float, float], ...]]
    starts: Callable[[Span], tuple[tuple[float, ...], ...]]
    u_settles_K: float = COOLING_LOG.settles_K.u

    @property
    def size(self) -> int:
        """Number of parameters."""
        return len(self.parameters)


def _gone(k: float, t: FloatArray) -> FloatArray:
    return np.asarray(-np.expm1(-k * t))


def newton(p: FloatArray, t: FloatArray, span: Span) -> FloatArray:
    """T∞ + (T0 − T∞) e^(−k t). [°C]"""
    return np.asarray(p[START] + (p[T_INF] - p[START]) * _gone(p[RATE], t))


def slow_wall(p: FloatArray, t: FloatArray, span: Span) -> FloatArray:
    """T∞ + (T0 − b − T∞) e^(−k t) + b e^(−t/τ); p[3] is b, p[4] is τ. [°C]"""
    start, rate, t_inf, b, tau = p
    level = start - b
    return np.asarray(level + (t_inf - level) * _gone(rate, t) + b * np.exp(-t / tau))


def steeper(p: FloatArray, t: FloatArray, span: Span) -> FloatArray:
    """Solution of dθ/dt = −k θ |θ/θr|^(n−1); p[3] is n. [°C]

    |θ| = |θ0| [1 + (n − 1) k t |θ0/θr|^(n−1)]^(−1/(n−1)), with e^(−k t) as its limit for n → 1.
    """
    start, rate, t_inf, n = p
    more = n - 1.0
    if more < _NEAR_NEWTON:
        return newton(p, t, span)
    first = start - t_inf
    steep = rate * _relative(first, t_inf, span) ** more
    left = np.exp(-np.log1p(more * steep * t) / more)
    return np.asarray(t_inf + first * left)


def _relative(theta: float, t_inf: float, span: Span) -> float:
    """|θ/θr|, kept off zero."""
    middle = max(abs(span.middle_C - t_inf), 1e-3)
    return float(min(max(abs(theta) / middle, 1e-6), 1e6))


def drifting(p: FloatArray, t: FloatArray, span: Span) -> FloatArray:
    """Newton's law in a room that drifts evenly; p[3] is c [K/s]. [°C]

    T = T0 + (T∞ − T0)(1 − e^(−k t)) + c [t − (1 − e^(−k t))/k], T∞ at the start of the stretch.
    """
    gone = _gone(p[RATE], t)
    lag = gone / p[RATE] if p[RATE] > 1e-12 else t
    return np.asarray(p[START] + (p[T_INF] - p[START]) * gone + p[3] * (t - lag))


def _newton_slope(p: FloatArray, at_s: float, at_C: float, span: Span) -> float:
    return float(-p[RATE] * (at_C - p[T_INF]))


def _steeper_slope(p: FloatArray, at_s: float, at_C: float, span: Span) -> float:
    theta = at_C - p[T_INF]
    return float(-p[RATE] * theta * _relative(theta, p[T_INF], span) ** (p[3] - 1.0))


def _drifting_slope(p: FloatArray, at_s: float, at_C: float, span: Span) -> float:
    return float(-p[RATE] * (at_C - p[T_INF] - p[3] * at_s))


def _wall_times(span: Span) -> tuple[float, float]:
    low = 1.5 * span.width_s
    return low, max(min(SLOWEST_WALL_S, 0.2 * span.length_s), 2 * low)


_SHARED = (("T0", "°C"), ("k", "1/s"), ("T∞", "°C"))
_ALL = (
    Law(
        "newton", "Newton's law", "dT/dt = −k (T − T∞)",
        "Newton's law of cooling", _SHARED, newton, _newton_slope,
        lambda span: (), lambda span: ((),),
    ),
    Law(
        "slow-wall", "Newton's law with a slow inner wall",
        "T = T∞ + a exp(−k t) + b exp(−t/τ)", "two bodies: a 2 x 2 linear system",
        (*_SHARED, ("b", "K"), ("τ", "s")), slow_wall, _newton_slope,
        lambda span: ((-30.0, 30.0), _wall_times(span)),
        lambda span: tuple(
            (0.0, float(tau)) for tau in np.geomspace(*_wall_times(span), 5)[1:4]
        ),
    ),
    Law(
        "steeper", "loss that grows faster than linearly",
        "dT/dt = −k (T − T∞) |(T − T∞)/θr|^(n−1)",
        "free convection: n = 5/4, Dulong & Petit 1817, Lorenz 1881 (from memory)",
        (*_SHARED, ("n", "")), steeper, _steeper_slope,
        lambda span: ((1.0, STEEPEST),), lambda span: ((1.25,), (1.8,)),
        COOLING_LOG.settles_steeper_K.u,
    ),
    Law(
        "drifting-room", "Newton's law in a drifting room",
        "dT/dt = −k (T − T∞ − c t)", "Newton's law of cooling, T∞ linear in time",
        (*_SHARED, ("c", "K/s")), drifting, _drifting_slope,
        lambda span: ((-0.01, 0.01),), lambda span: ((0.0,),),
    ),
)  # fmt: skip
LAWS: Mapping[str, Law] = MappingProxyType({law.name: law for law in _ALL})
NEWTON = "newton"

_FINE = 0.04  # of 1/k: longest step of the splitting
_MOST_PARTS = 12  # beyond that the cup has settled within a bin


def course(p: FloatArray, t: FloatArray, middle_C: float) -> FloatArray:
    """Temperature at the times t for every set of parameters. [°C]

    Args:
        p: T0 [°C], k [1/s], T∞ [°C], c [K/s], m, b [K], τ [s]; shape (S, 7).
        t: times since the start, s, ascending, shape (n,).
        middle_C: temperature at which k is the loss over the difference.

    Returns:
        shape (S, n).
    """
    k, t_inf, c, steep, wall = (p[:, i] for i in (RATE, T_INF, DRIFT, STEEP, WALL))
    m = np.maximum(steep, 1e-7)
    scale = m * np.log(np.maximum(np.abs(middle_C - t_inf), 1e-3))
    theta = p[:, START] - wall - t_inf
    usual = float(np.median(k))
    out = np.empty((t.size, p.shape[0]))
    for i, gap in enumerate(np.diff(t, prepend=0.0)):
        parts = min(max(int(np.ceil(gap * usual / _FINE)), 1), _MOST_PARTS)
        h = gap / parts
        for _ in range(parts):
            theta = theta - c * h / 2
            size = np.exp(np.minimum(m * np.log(np.abs(theta) + 1e-9) - scale, 60.0))
            theta = theta * np.exp(-np.log1p(m * k * h * size) / m) - c * h / 2
        out[i] = theta
    fading = wall[:, None] * np.exp(-t / p[:, WALL_S, None])
    return np.asarray(out.T + t_inf[:, None] + c[:, None] * t + fading)
