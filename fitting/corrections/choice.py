"""From a curve to its corrected rise: find the mixing, run the methods, choose by stated rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitting.checks.faults import refuse_faults
from fitting.checks.glitches import said
from fitting.checks.loss_change import before_the_change
from fitting.checks.moment import held_against_the_jump
from fitting.checks.plausible import held_to_the_reading
from fitting.checks.range_end import stands_long
from fitting.checks.thinning import sifted
from fitting.corrections.case import Case, build_case
from fitting.corrections.choosing import (
    against_lines,
    decide,
    held_against_the_average,
    ruled_out_by_residuals,
    widened_for_fast_loss,
)
from fitting.corrections.extreme import extreme_index
from fitting.corrections.methods import METHODS
from fitting.corrections.result import Corrected, Correction
from fitting.cup.circumstances import U_ROOM_K, Circumstances
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.periods import CurveRefused, MixingMoment, find_mixing, given_mixing

if TYPE_CHECKING:
    from fitting.cooling.result import LawComparison

DEFAULT = "newton-integral"
_WORTH_S = 60.0  # readings after the mixing that may do by themselves


def correct(
    curve: Curve,
    *,
    mixed_at_s: float | None = None,
    u_mixed_at_s: float = 0.0,
    method: str | None = None,
    room_C: float | None = None,
    u_room_K: float = U_ROOM_K,
    capacity_ratio: float = 1.0,
    prior_rate_per_s: float | None = None,
    u_prior_rate_per_s: float | None = None,
    vessel: str | None = None,
    lid: str | None = None,
    hidden_share: float | None = None,
    u_hidden_share: float = 0.0,
) -> Corrected:
    """Rise that a perfectly insulated cup would have shown, with every method beside it.

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
            (`fitting.cup`). None: a cup, unless the curve itself shows a flask's
            heavy slow wall.
        lid: ``closed``, ``hole`` or ``open``: how much vapour leaves. None: not told.
        hidden_share, u_hidden_share: share of the rise that this cup's wall hides, where its
            calibration tells. None: the curve's own estimate.

    Raises:
        CurveRefused: no correction can be taken from the curve; the message says why, and what
            can still be said.
        CurveError: an argument is out of its range.
    """
    known = Circumstances(
        mixed_at_s=mixed_at_s, u_mixed_at_s=u_mixed_at_s, capacity_ratio=capacity_ratio,
        room_C=room_C, u_room_K=u_room_K, rate_per_s=prior_rate_per_s,
        u_rate_per_s=u_prior_rate_per_s, vessel=vessel, lid=lid,
        hidden_share=hidden_share, u_hidden_share=u_hidden_share,
    )  # fmt: skip
    return correct_known(curve, known, method)


def correct_known(curve: Curve, known: Circumstances, method: str | None = None) -> Corrected:
    """As `correct`, with all that is known in one record. Raises as `correct`."""
    case = lay_out(curve, known, method)
    return assemble(case, every_method(case), method)


def lay_out(curve: Curve, known: Circumstances, method: str | None = None) -> Case:
    """What the methods see; faults of the curve refused. Raises as `correct`."""
    if method is not None and method not in METHODS:
        raise CurveError(f"there is no method {method!r}; expected one of {', '.join(METHODS)}")
    curve = sifted(curve)
    mixing = held_against_the_jump(curve, moment_of(curve, known))
    try:
        refuse_faults(curve, mixing)
        curve = before_the_change(curve, mixing)
    except CurveRefused as refused:
        raise _with_the_sound_part(curve, mixing, refused, known) from None
    return build_case(curve, mixing, known)


def every_method(case: Case) -> dict[str, Correction]:
    """Each method's own answer, before they are held against one another."""
    return {name: one.function(case) for name, one in METHODS.items()}


def as_used(case: Case, name: str) -> Correction:
    """One method's answer on a case, widened and judged as it would be if it were in use."""
    found = {one: METHODS[one].function(case) for one in dict.fromkeys((DEFAULT, name))}
    return assemble(case, found, name).chosen


def moment_of(curve: Curve, known: Circumstances) -> MixingMoment:
    """The moment of mixing that was told, checked against the curve; else found from it."""
    if known.mixed_at_s is None:
        return find_mixing(curve)
    return given_mixing(curve, known.mixed_at_s, known.u_mixed_at_s)


def _with_the_sound_part(
    curve: Curve, mixing: MixingMoment, refused: CurveRefused, known: Circumstances
) -> CurveRefused:
    """The refusal, with what the readings up to the fault give by themselves."""
    until = refused.good_until_s
    if until is None or until - mixing.time_s < _WORTH_S:
        return refused
    try:
        sound = curve.window(float(curve.time_s[0]), until)
        case = build_case(sound, mixing, known)
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


def assemble(
    case: Case,
    found: dict[str, Correction],
    method: str | None,
    laws: LawComparison | None = None,
) -> Corrected:
    """Put the methods' answers together and state the rule that chose one.

    ``laws``: cooling laws on the after period, where they were compared.
    """
    default = widened_for_fast_loss(case, found[DEFAULT])
    default, against_sign = held_to_the_reading(case, default)
    against = against_lines(case, default, laws)

    def judged(one: Correction) -> Correction:
        if one.method == DEFAULT:
            return default
        one = ruled_out_by_residuals(case, widened_for_fast_loss(case, one), default.residual_rms_K)
        return held_against_the_average(one, default, against)

    found = {name: judged(one) for name, one in found.items()}
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
        case.known,
        case.curve.left_out,
        None if case.curve.cut is None else case.curve.cut.at_s,
        case.mixing.warning if case.mixing.given else "",
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
    if chosen.note:
        out.append(chosen.note)
    stood = stands_long(case.curve, case.mixing.time_s)
    if stood:
        out.append(stood)
    if case.known.vessel is None and chosen.vessel == "flask":
        out.append(
            "the readings after the mixing show a heavy wall that warms slowly, as a flask's glass "
            "does: the vessel was taken for a flask; tell the vessel if that is wrong"
        )
    if case.mixing.u_s > 5:
        out.append(f"the moment of mixing is uncertain by {case.mixing.u_s:.1f} s; note it")
    return tuple(out)


__all__ = ["DEFAULT", "MixingMoment", "correct", "correct_known"]
