"""When a curve had settled: from when on it shows all but one per cent of its change.

The loss-corrected reading T + k ∫ (T − T∞) dt, sensor and pouring left in it, goes from the
temperature before mixing to that plus the rise. It is described by the smoothest flow that explains
the readings (`fitting.release.flow`), so that noise does not decide. Settled is the time from
which it stays within 1 % of the rise. The interval is where the share shown, ± 1.96 u, passes 99 %:
u holds noise and smoothing, the rise's own uncertainty (of which the share is a part), the slow
wall and the clock.

This is not where the after period begins (`fitting.corrections.case.settled_from`): that is a
choice, the first reading from which Newton cooling alone describes the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.release.heat_release import flow_case, solve_flow
from fitting.release.result import Lag

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected

SHOWN_SHARE = 0.99


@dataclass(frozen=True, slots=True)
class Settled:
    """When 99 % of the change was shown, s since mixing.

    Attributes:
        after_s, u_s: the time and its standard uncertainty; None where the interval is open.
        interval95_s: where it lies with 95 % probability; an end of None is the log's or later.
    """

    after_s: float | None
    u_s: float | None
    interval95_s: tuple[float, float | None]


def settled(curve: Curve, corrected: Corrected) -> Settled | None:
    """When the curve had settled; None where no method knows what the cup loses.

    Args:
        curve: the readings.
        corrected: what `correct` gave for them.
    """
    try:
        case = flow_case(corrected.used_of(curve), corrected, SHOWN_SHARE)
        times = solve_flow(case, Lag(0.0, 0.0)).times
    except CurveError:
        return None
    if times.over_s is None or times.over_statistical_s is None:
        return None
    low, high = times.over_statistical_s
    if high is None or corrected.settled_after_s is None:
        return Settled(None, None, (low, None))
    return Settled(times.over_s, (high - low) / 3.92, (low, high))
