"""From a curve to its corrected rise: find the mixing, run the methods, choose by stated rules."""

from __future__ import annotations

from typing import Any

import numpy as np

from fitting.checks.faults import refuse_faults
from fitting.checks.glitches import said
from fitting.checks.loss_change import before_the_change
from fitting.checks.moment import held_against_the_jump
from fitting.checks.plausible import held_to_the_reading
from fitting.checks.range_end import stands_long
from fitting.corrections.case import Case, build_case
from fitting.corrections.choosing import (
    decide,
    ruled_out_by_residuals,
    widened_for_fast_loss,
)
from fitting.corrections.extreme import extreme_index
from fitting.corrections.methods import METHODS
from fitting.corrections.result import Corrected, Correction
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.newton import VESSELS
from fitting.periods import CurveRefused, MixingMoment, find_mixing, given_mixing
from fitting.thinning import sifted

DEFAULT = "newton-integral"
_WORTH_S = 60.0  # readings after the mixing that may do by themselves
ON_REQUEST = frozenset({"dynamic"})  # takes longer than all others together


def correct(
    curve: Curve,
    *,
    mixed_at_s: float | None = None,
    u_mixed_at_s: float = 0.0,
    method: str | None = None,
    room_C: float | None = None,
    u_room_K: float = 0.5,
    capacity_ratio: float = 1.0,
    prior_rate_per_s: float | None = None,
    u_prior_rate_per_s: float | None = None,
    vessel: str | None = None,
) -> Corrected:
    """Rise that a perfectly insulated cup would have shown, with every cheap method beside it.

    Args:
        curve: the readings.
        mixed_at_s: moment of mixing on the curve's clock, s; found from the curve where None.
        u_mixed_at_s: its standard uncertainty, s.
        method: name in ``METHODS`` to use; the default is the integral of Newton's law.
        room_C, u_room_K: room temperature, °C, and its standard uncertainty, K.
        capacity_ratio: heat capacity of cup and content before mixing over that after it; 1
            for a solid, less where liquid was added.
        prior_rate_per_s, u_prior_rate_per_s: expected cooling rate after mixing (a registered
            cup's conductance over the heat capacity), 1/s.
        vessel: ``cup`` or ``flask``: what is known of its wall and loss beforehand
            (`fitting.newton.VESSELS`). None: a cup, unless the curve itself shows a flask's
            heavy slow wall.

    Raises:
        CurveRefused: no correction can be taken from the curve; the message says why, and what
            can still be said.
        CurveError: an argument is out of its range.
    """
    _check_arguments(method, capacity_ratio, room_C, u_room_K, prior_rate_per_s, u_prior_rate_per_s)
    if vessel is not None and vessel not in VESSELS:
        raise CurveError(f"there is no vessel {vessel!r}; expected one of {', '.join(VESSELS)}")
    curve = sifted(curve)
    mixing = (
        find_mixing(curve) if mixed_at_s is None else given_mixing(curve, mixed_at_s, u_mixed_at_s)
    )
    mixing = held_against_the_jump(curve, mixing)
    known: dict[str, Any] = {
        "capacity_ratio": capacity_ratio,
        "room_C": room_C,
        "u_room_K": u_room_K,
        "prior_rate_per_s": prior_rate_per_s,
        "u_prior_rate_per_s": u_prior_rate_per_s,
        "vessel": vessel,
    }
    try:
        refuse_faults(curve, mixing)
        curve = before_the_change(curve, mixing)
    except CurveRefused as refused:
        raise _with_the_sound_part(curve, mixing, refused, known) from None
    case = build_case(curve, mixing, **known)
    wanted = DEFAULT if method is None else method
    names = [name for name in METHODS if name not in ON_REQUEST or name == wanted]
    return assemble(case, {name: METHODS[name].function(case) for name in names}, method)


def _with_the_sound_part(
    curve: Curve, mixing: MixingMoment, refused: CurveRefused, known: dict[str, Any]
) -> CurveRefused:
    """The refusal, with what the readings up to the fault give by themselves."""
    until = refused.good_until_s
    if until is None or until - mixing.time_s < _WORTH_S:
        return refused
    try:
        sound = curve.window(float(curve.time_s[0]), until)
        case = build_case(sound, mixing, **known)
        found = {name: METHODS[name].function(case) for name in (DEFAULT, "extreme")}
        one = assemble(case, found, None).chosen
    except (CurveError, np.linalg.LinAlgError):
        return refused
    low, high = one.interval95_K
    words = (
        f"The readings up to {until:g} s alone give a corrected rise of {one.rise_K:+.3f} ± "
        f"{one.u_rise_K:.3f} K (95 %: {low:+.3f} to {high:+.3f} K)."
    )
    return CurveRefused(curve, refused.reason, (words, *refused.said), until)


def assemble(case: Case, found: dict[str, Correction], method: str | None) -> Corrected:
    """Put the methods' answers together and state the rule that chose one."""
    found = {
        name: ruled_out_by_residuals(
            case, widened_for_fast_loss(case, one), found[DEFAULT].residual_rms_K
        )
        for name, one in found.items()
    }
    found[DEFAULT], against_sign = held_to_the_reading(case, found[DEFAULT])
    name, rule = decide(case, found, method)
    chosen = found[name]
    at = extreme_index(case)
    settled = case.periods.after_s[0] - case.mixing.time_s
    return Corrected(
        chosen,
        tuple(found.values()),
        case.mixing.time_s,
        case.mixing.u_s,
        case.mixing.given,
        None if "not yet settled" in case.periods.why else settled,
        float(case.y[at]),
        float(case.curve.time_s[at]),
        (*((against_sign,) if against_sign else ()), *warnings_for(case, chosen)),
        rule,
        case.curve.left_out,
        None if case.curve.cut is None else case.curve.cut.at_s,
    )


def warnings_for(case: Case, chosen: Correction) -> tuple[str, ...]:
    """What the user should know before trusting the number."""
    out = [*said(case.curve), *filter(None, [case.mixing.warning])]
    if not chosen.admissible:
        out.append(f"{chosen.method}: {chosen.why}")
    if case.fore.stop < 5:
        out.append(
            f"only {case.fore.stop} readings up to the mixing: the temperature at mixing "
            "and the drift before it rest on them"
        )
    if chosen.rise_K and chosen.u_rise_K > 0.02 * abs(chosen.rise_K):
        out.append(
            f"the rise is uncertain by {100 * chosen.u_rise_K / abs(chosen.rise_K):.1f} %: "
            "log for longer after the mixing, or with a finer reading"
        )
    stood = stands_long(case.curve, case.mixing.time_s)
    if stood:
        out.append(stood)
    if case.vessel is None and chosen.vessel == "flask":
        out.append(
            "the readings after the mixing show a heavy wall that warms slowly, as a flask's glass "
            "does: the vessel was taken for a flask; tell the vessel if that is wrong"
        )
    if case.mixing.u_s > 5:
        out.append(f"the moment of mixing is uncertain by {case.mixing.u_s:.1f} s; note it")
    return tuple(out)


def _check_arguments(
    method: str | None, ratio: float, room_C: float | None, u_room_K: float,
    rate: float | None, u_rate: float | None,
) -> None:  # fmt: skip
    if method is not None and method not in METHODS:
        raise CurveError(f"there is no method {method!r}; expected one of {', '.join(METHODS)}")
    if not (np.isfinite(ratio) and 0 < ratio <= 1.5):
        raise CurveError(
            f"capacity_ratio is {ratio}; expected heat capacity before mixing over that after it, "
            "more than 0 and usually not above 1"
        )
    if room_C is not None and not (np.isfinite(room_C) and np.isfinite(u_room_K) and u_room_K >= 0):
        raise CurveError(f"room_C is {room_C} ± {u_room_K}; expected a temperature in °C")
    for name, value in (("prior_rate_per_s", rate), ("u_prior_rate_per_s", u_rate)):
        if value is not None and not (np.isfinite(value) and value >= 0):
            raise CurveError(f"{name} is {value}; expected a number of 1/s, 0 or more")


__all__ = ["DEFAULT", "MixingMoment", "correct"]
