"""Whether the cup loses more or less from some moment on: a lid lifted, a draught, a door.

After the release Newton's law, integrated from the mixing on, reads (s: time since mixing;
I = ∫(T − T_i) ds)

    T(s) = c − k I(s) + p s + quick and slow decays + what vapour and a drifting room add,

all of it smooth. If k and T∞ change at s_c, the slope jumps there and the readings gain

    g₁ (s − s_c)₊ + g₂ [I(s) − I(s_c)]₊,        jump of slope = g₁ + g₂ (T(s_c) − T_i).

The readings after the first seconds are averaged over some 80 equal stretches and fitted by least
squares with and without the two terms, for every s_c on a grid. The smooth terms carry priors as
wide as cups and rooms go (`_spreads`), as rows of the fit, so that they neither hide a kink nor
make one. The drop of the sum of squares over the residual variance of the better fit is the
likelihood ratio; the memory of the residuals, (1 + r)/(1 − r) with their lag-1 correlation r, is
divided out. It must exceed ``_LEAST_RATIO``, and the slope must change by half at least: set on
cups simulated for this check alone, so that fewer than 1 in 200 honest logs are cut
(tests/fitting/checks).

Heat that stops coming makes a bend, too. So s_c is looked for only after twice the time of nine
tenths of the change; a smooth end of the release before four times that, (s_c − s)₊² and ³, must
explain less than the kink does; and a change of sign is no change of the loss.

Source: for the test of a kink at an unknown place, R. E. Quandt, J. Am. Stat. Assoc. 53 (1958) 873
(from memory); the threshold is set by simulation, since its law is not χ².
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitting.curve import Curve, Cut, FloatArray
from fitting.periods import CurveRefused, MixingMoment, quick_noise, seen_until

WORTH_S = 90.0  # what must be left after the mixing
_FROM_S, _STRETCHES, _FEWEST = 20.0, 80, 16
_EDGE_S, _EDGE_STRETCHES = 40.0, 5
_DECAYS_S = np.array([10.0, 25.0, 60.0, 140.0])
_LEAST_RATIO, _LEAST_NET = 30.0, 6.0
_MOST = 0.9  # of the largest change: the release is over in the main
_MORE, _LESS, _MOST_TIMES = 1.5, 0.6, 20.0  # slope after the change over that before it
_BEFORE_S = 120.0  # over which the slope before the change is read
_TIMES = 3  # changes looked for one after the other


@dataclass(frozen=True, slots=True)
class LossChange:
    """Where the loss changes.

    Attributes:
        at_s: first moment on the curve's clock that the change may have been at.
        times: slope after it over slope before it.
        ratio: the likelihood ratio (of the logarithm twice), memory divided out.
    """

    at_s: float
    times: float
    ratio: float

    @property
    def sentence(self) -> str:
        """For people: what was cut and why."""
        share = f"about {self.times:.2g} times as much" if self.times < 10 else "many times as much"
        return (
            f"cut at {self.at_s:.0f} s: from there on the cup loses {share} as before (a lid "
            "lifted or put on, a draught, a door?); what was logged later was not used"
        )


def before_the_change(curve: Curve, mixing: MixingMoment) -> Curve:
    """The curve up to where its loss first changes, with that in its ``cut``; else as it is.

    Raises:
        CurveRefused: less than ``WORTH_S`` after the mixing would be left.
    """
    part = curve
    for _ in range(_TIMES):
        change = find_change(part, mixing.time_s)
        if change is None:
            break
        part = part.window(float(part.time_s[0]), change.at_s)
        part = replace(part, cut=Cut(change.at_s, change.sentence))
        if change.at_s - mixing.time_s < WORTH_S:
            raise CurveRefused(
                curve,
                f"from {change.at_s:.0f} s on, {change.at_s - mixing.time_s:.0f} s after the mixing"
                f", the cup loses about {change.times:.2g} times as much as before (a lid lifted or"
                " put on, a draught, a door?): too little is left for a correction",
                seen_until(curve, mixing.time_s, change.at_s),
                change.at_s,
            )
    return part


def find_change(curve: Curve, mixed_at_s: float) -> LossChange | None:
    """The likeliest change of the loss; None where none stands out."""
    s, y, over_s = _stretches(curve, mixed_at_s)
    if s.size < _FEWEST:
        return None
    integral = np.concatenate([[0.0], np.cumsum(np.diff(s) * (y[1:] + y[:-1]) / 2)])
    smooth, target = _smooth_fit(s, y, integral)
    places = np.flatnonzero(
        (s > max(float(s[0]) + _EDGE_S, 2 * over_s)) & (s < s[-1] - _EDGE_S)
        & (np.arange(s.size) >= _EDGE_STRETCHES) & (np.arange(s.size) < s.size - _EDGE_STRETCHES)
    )  # fmt: skip
    if places.size == 0:
        return None
    kinks = _kinks(s, integral, places, smooth.shape[0])
    gain, best, slopes, residual = _scan(smooth, target, kinks, s.size)
    ends = np.arange(1, max(int(np.searchsorted(s, 4 * over_s + 30.0)), 3), 2)
    bends = _scan(smooth, target, _bends(s, ends, smooth.shape[0]), s.size)[0]
    stuck = quick_noise(curve).coarse
    floor = max(curve.resolution_K / np.sqrt(12) if stuck else 0.0, 1e-4) ** 2
    free = max(s.size - 8, 4)
    unit = max(float(residual @ residual) / free, floor) * _memory(residual)
    ratio = gain / unit
    net = float(ratio[best]) - float(bends.max()) / unit
    if ratio[best] < _LEAST_RATIO or net < _LEAST_NET:
        return None
    at = int(places[best])
    jump = float(slopes[0] + slopes[1] * y[at])
    near = (s <= s[at]) & (s > s[at] - min(_BEFORE_S, 0.6 * (s[at] - s[0])))
    slope = float(np.polyfit(s[near] - s[at], y[near], 1)[0])
    times = 1 + jump / slope if slope else np.inf
    moved = abs(slope) * float(np.ptp(s[near]))
    if moved < curve.resolution_K or not (_MORE < times < _MOST_TIMES or 0 < times < _LESS):
        return None
    first = int(places[int(np.argmax(ratio > ratio[best] - 4.0))])
    return LossChange(mixed_at_s + float(s[max(first - 1, 0)]), times, float(ratio[best]))


def _stretches(curve: Curve, mixed_at_s: float) -> tuple[FloatArray, FloatArray, float]:
    """Means over equal stretches after the change; s since mixing, K above before; its end, s.

    The change is taken to be over in the main when nine tenths of its largest are first seen.
    """
    s, y = curve.time_s - mixed_at_s, curve.temperature_C
    first = int(np.searchsorted(s, 0.0))
    before = float(np.median(y[max(first - 10, 0) : max(first, 1)]))
    away = np.abs(y[first:] - before)
    seen = int(np.argmax(away >= _MOST * away.max())) if away.size else 0
    over = float(s[first + seen]) + curve.step_s if away.size else np.inf
    start = int(np.searchsorted(s, max(_FROM_S, over)))
    if s.size - start < _FEWEST:
        return np.empty(0), np.empty(0), over
    edges = np.linspace(s[start], s[-1], _STRETCHES + 1)[:-1]
    at = np.unique(np.searchsorted(s, edges))
    count = np.diff(np.append(at, s.size))
    return np.add.reduceat(s, at) / count, np.add.reduceat(y, at) / count - before, over


def _spreads(swing_K: float) -> FloatArray:
    """Prior standard deviations of the smooth terms' coefficients, in the order of `_smooth_fit`.

    Decays: sensor, walls and releases of 10 to 140 s, up to half and a seventh of the change.
    Vapour: the loss grows by up to its own size within 20 K (k = 5e-4 1/s). A room that drifts by
    2 K/h against k = 5e-4 1/s bends the curve by 1.4e-7 K/s². Judgement.
    """
    decays = swing_K * np.array([1.0, 0.5, 0.25, 0.15])
    return np.array([1e3, 3e-3, 1e2, *decays, 2.5e-5, 1.4e-7])


def _smooth_fit(
    s: FloatArray, y: FloatArray, integral: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Orthonormal smooth terms with their priors as rows, shape (n + 9, 9), and what they leave.

    The rows of the priors are in units of the readings' scatter, taken as a thousandth of the
    change: neither more nor less than tells a kink from a bend.
    """
    swing = max(float(np.abs(y).max()), 0.1)
    square = np.concatenate([[0.0], np.cumsum(np.diff(s) * (y[1:] ** 2 + y[:-1] ** 2) / 2)])
    decays = np.exp(-s[:, None] / _DECAYS_S)
    terms = np.column_stack([np.ones_like(s), integral, s, decays, square, s**2])
    spread = _spreads(swing)
    rows = np.vstack([terms * spread, 1e-3 * swing * np.eye(spread.size)])
    smooth, _ = np.linalg.qr(rows)
    target = np.concatenate([y, np.zeros(spread.size)])
    return smooth, target - smooth @ (smooth.T @ target)


def _kinks(s: FloatArray, integral: FloatArray, places: np.ndarray, rows: int) -> FloatArray:
    """(s − s_c)₊ and [I − I_c]₊ for every place, shape (places, rows, 2)."""
    later = np.arange(s.size) > places[:, None]
    out = np.zeros((places.size, rows, 2))
    out[:, : s.size, 0] = np.where(later, s - s[places][:, None], 0.0)
    out[:, : s.size, 1] = np.where(later, integral - integral[places][:, None], 0.0)
    return out


def _bends(s: FloatArray, places: np.ndarray, rows: int) -> FloatArray:
    """(s_c − s)₊² and (s_c − s)₊³ for every place: heat that ends there smoothly."""
    left = np.clip(s[places][:, None] - s, 0.0, None) / 100.0
    out = np.zeros((places.size, rows, 2))
    out[:, : s.size, 0], out[:, : s.size, 1] = left**2, left**3
    return out


def _scan(
    smooth: FloatArray, target: FloatArray, kinks: FloatArray, n: int
) -> tuple[FloatArray, int, FloatArray, FloatArray]:
    """Drop of the sum of squares at every place, the best place, its slopes and residuals."""
    flat = kinks.transpose(1, 0, 2).reshape(kinks.shape[1], -1)  # one product, not one a place
    rest = (flat - smooth @ (smooth.T @ flat)).reshape(-1, len(kinks), 2).transpose(1, 0, 2)
    rest = np.ascontiguousarray(rest)
    gram = rest.transpose(0, 2, 1) @ rest
    gram += 1e-6 * np.trace(gram, axis1=1, axis2=2)[:, None, None] * np.eye(2) + 1e-12 * np.eye(2)
    hit = np.einsum("pia,i->pa", rest, target)
    slopes = np.linalg.solve(gram, hit[..., None])[..., 0]
    gain = np.einsum("pa,pa->p", hit, slopes)
    best = int(np.argmax(gain))
    return gain, best, slopes[best], (target - rest[best] @ slopes[best])[:n]


def _memory(residual: FloatArray) -> float:
    """(1 + r)/(1 − r) of the residuals, r their lag-1 correlation, 1 where it is negative."""
    power = float(residual @ residual)
    r = float(residual[1:] @ residual[:-1]) / power if power > 0 else 0.0
    r = float(np.clip(r + 4 / residual.size, 0.0, 0.9))
    return (1 + r) / (1 - r)
