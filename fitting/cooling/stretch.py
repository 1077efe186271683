"""A stretch of pure cooling, averaged over short bins, with what else is known of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fitting.cooling.laws import Span
from fitting.cup.circumstances import U_ROOM_K
from fitting.cup.knowledge import SURROUNDINGS, USUAL_RATE_PER_S
from fitting.curve import Curve, FloatArray
from fitting.errors import CurveError

MOST_BINS = 60
FEWEST_BINS = 12
_SHORTEST_BIN_S = 8.0
STIRRING_K = SURROUNDINGS.stirring_K_per_s.value / USUAL_RATE_PER_S
"""How much a stirrer warms a usual cup above its room. [K]"""


@dataclass(frozen=True, slots=True)
class ForeDrift:
    """Drift before the mixing: dT/dt [K/s] at a temperature [°C], ``before_s`` [s] earlier.

    ``ratio`` is the heat capacity before the mixing over that after it.
    """

    slope_K_per_s: float
    u_slope_K_per_s: float
    at_C: float
    before_s: float
    ratio: float


@dataclass(frozen=True, eq=False)
class Stretch:
    """Averaged readings of one stretch of cooling.

    Attributes:
        t: time since the start of the stretch, s, shape (n,).
        y: mean reading of each bin, °C, shape (n,).
        step_K: smallest scatter of a bin's mean that is believed, K.
        settles: room temperature with what stirring adds, °C, and the room's u, K; or None.
        fore: drift before the mixing, where there was one.
        from_s: start of the stretch on the curve's clock.
    """

    t: FloatArray
    y: FloatArray
    step_K: float
    settles: tuple[float, float] | None
    fore: ForeDrift | None
    from_s: float

    @cached_property
    def span(self) -> Span:
        """Middle temperature, length and bin width."""
        return Span(float(self.y.mean()), float(self.t[-1]), float(np.median(np.diff(self.t))))

    def first(self, share: float) -> Stretch:
        """The first part of the stretch, at least `FEWEST_BINS` - 4 bins of it."""
        keep = max(round(share * self.t.size), FEWEST_BINS - 4)
        return Stretch(
            self.t[:keep], self.y[:keep], self.step_K, self.settles, self.fore, self.from_s
        )


def stretch_of(
    curve: Curve,
    from_s: float,
    to_s: float,
    *,
    room_C: float | None = None,
    u_room_K: float = U_ROOM_K,
    fore: ForeDrift | None = None,
) -> Stretch:
    """Average a part of a curve over bins of equal time.

    Raises:
        CurveError: too few readings in the part for a cooling law.
    """
    inside = (curve.time_s >= from_s) & (curve.time_s <= to_s)
    time, temperature = curve.time_s[inside], curve.temperature_C[inside]
    length = float(np.ptp(time)) if time.size else 0.0
    width = max(length / MOST_BINS, _SHORTEST_BIN_S, curve.step_s)
    count = int(length / width) if width > 0 else 0
    if count < FEWEST_BINS:
        raise CurveError(
            f"{time.size} readings over {length:.0f} s are too few to tell cooling laws apart; "
            f"expected some {FEWEST_BINS * width:.0f} s or more: log for longer"
        )
    index = np.minimum(((time - time[0]) / length * count).astype(int), count - 1)
    sizes = np.bincount(index, minlength=count).astype(np.float64)
    full = sizes > 0
    t = np.bincount(index, time - time[0], count)[full] / sizes[full]
    y = np.bincount(index, temperature, count)[full] / sizes[full]
    settles = None if room_C is None else (room_C + STIRRING_K, u_room_K)
    step = max(curve.resolution_K / np.sqrt(12 * float(np.median(sizes[full]))), 2e-4)
    return Stretch(t, y, float(step), settles, fore, float(time[0]))
