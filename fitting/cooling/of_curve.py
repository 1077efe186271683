"""Cooling laws on the after period of a corrected curve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitting.cooling.comparing import compare_laws
from fitting.cooling.result import LawComparison, LawFit, Meant, meant_by
from fitting.cooling.stretch import ForeDrift, stretch_of
from fitting.corrections.case import Case, fit_line, settled_from
from fitting.errors import CurveError
from fitting.periods import quick_noise

_SOONEST_S = 45.0  # the sensor's lag and pouring are over
_UNSETTLED_SHARE = 0.4  # of the time after mixing, where nothing says when the release was over
_FEW_FORE = 6
_FADING = "slow-wall"
_TITLES = {
    Meant.WALL: "Newton's law with a slow inner wall",
    Meant.LATE_HEAT: "Newton's law with heat still being released",
}


def laws_of(case: Case) -> LawComparison | None:
    """Laws on the after period; None where it is too short to tell any apart.

    The drift before the mixing and the room's temperature, where noted, are used as well. A slow
    release and a slow wall both fade as e^(−t/τ); the sign of the term against the rise's tells
    which it is (`Meant`).
    """
    start_s = _start(case)
    fore = None
    if case.fore.stop >= _FEW_FORE:
        line = fit_line(case.s[case.fore], case.y[case.fore], case.noise)
        middle = line.centre_s
        fore = ForeDrift(
            line.slope_K_per_s, line.u_slope_K_per_s, line.at(middle),
            start_s - case.mixing.time_s - middle, case.known.capacity_ratio,
        )  # fmt: skip
    try:
        stretch = stretch_of(
            case.curve, start_s, float(case.curve.time_s[-1]),
            room_C=case.known.room_C, u_room_K=case.known.u_room_K, fore=fore,
        )  # fmt: skip
    except CurveError:
        return None
    return named_by_sign(compare_laws(stretch), case.swing_K)


def _start(case: Case) -> float:
    """Where the stretch starts on the curve's clock, s; the same for every moment of mixing noted.

    Times count from the reading at which half the change is passed, which the curve itself tells.
    """
    time = case.curve.time_s
    half = _half_passed_s(case)
    s = time - half
    first = int(np.searchsorted(case.s, 0.0, side="right"))
    settled, why = settled_from(s, case.y, case.integral_Ks, first, quick_noise(case.curve))
    if "not yet settled" in why:
        settled = _UNSETTLED_SHARE * float(s[-1])
    return half + max(_SOONEST_S, settled)


def _half_passed_s(case: Case) -> float:
    """When the readings first pass half of the largest change, s on the curve's clock."""
    ahead = case.s > 0
    passed = (case.y - case.before_C)[ahead] / case.swing_K >= 0.5
    return float(case.curve.time_s[ahead][int(np.argmax(passed))])


def named_by_sign(found: LawComparison, rise_K: float) -> LawComparison:
    """The comparison with the fading term named for what it stands for after this rise."""
    return replace(found, laws=tuple(_named(one, rise_K) for one in found.laws))


def _named(one: LawFit, rise_K: float) -> LawFit:
    if one.name != _FADING:
        return one
    b = next(value for name, value, _, _ in one.parameters if name == "b")
    meant = meant_by(b, rise_K)
    return replace(one, meant=meant, title=_TITLES.get(meant, one.title))
