"""Cooling laws on the after period of a corrected curve."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitting.cooling_laws.comparing import compare_laws
from fitting.cooling_laws.result import LawComparison
from fitting.cooling_laws.stretch import ForeDrift, stretch_of
from fitting.corrections.case import Case, fit_line
from fitting.errors import CurveError

if TYPE_CHECKING:
    from fitting.corrections.result import Corrected

_SOONEST_S = 45.0  # the sensor's lag and pouring are over
_UNSETTLED_SHARE = 0.4  # of the time after mixing, where nothing says when the release was over
_FEW_FORE = 6


def laws_of(case: Case, corrected: Corrected) -> LawComparison | None:
    """Laws on the after period; None where it is too short to tell any apart.

    The drift before the mixing and the room's temperature, where noted, are used as well. A slow
    release looks like a slow wall here: both fade as e^(−t/τ).
    """
    last = float(case.s[-1])
    settled = corrected.settled_after_s
    start = max(_SOONEST_S, _UNSETTLED_SHARE * last if settled is None else settled)
    fore = None
    if case.fore.stop >= _FEW_FORE:
        line = fit_line(case.s[case.fore], case.y[case.fore], case.noise)
        middle = line.centre_s
        fore = ForeDrift(
            line.slope_K_per_s, line.u_slope_K_per_s, line.at(middle), start - middle,
            case.known.capacity_ratio,
        )  # fmt: skip
    try:
        stretch = stretch_of(
            case.curve, corrected.mixed_at_s + start, float(case.curve.time_s[-1]),
            room_C=case.known.room_C, u_room_K=case.known.u_room_K, fore=fore,
        )  # fmt: skip
    except CurveError:
        return None
    return compare_laws(stretch)
