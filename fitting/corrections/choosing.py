"""Which correction to use, by stated rules, in the order in which they are asked.

1. A method that was asked for by name is used.
2. The average over models is used wherever it is admissible; where it is not, the next in
   ``PREFERENCE`` that is. The order is that of their rmse on simulated cups
   (tests/benchmarks/FIGURES.md).
3. The reason that is told is the first that applies: the after period is short against the release
   or the release is not over; its readings are not white about any drawn line; the methods that
   may be used agree, or there are none.

A method that draws one law is held against the average (`held_against_the_average`): admissible
means that its picture holds on this curve, and its interval carries what the picture leaves out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from fitting.cooling.result import Meant
from fitting.corrections import newton_integral
from fitting.corrections.case import Case, once_a_case
from fitting.corrections.result import Correction, replaced
from fitting.periods import quick_noise

if TYPE_CHECKING:
    from fitting.cooling.result import LawComparison

PREFERENCE = (
    newton_integral.NAME, "integral", "exponential", "regnault-pfaundler", "equal-areas",
    "straight-line", "extreme",
)  # fmt: skip
_SHORT = 2.0  # times the main period: an after period below that is short against the release
_OFF_TIMES, _OFF_SHARE = 8.0, 0.005
_DRAWN = ("integral", "exponential", "regnault-pfaundler", "equal-areas", "straight-line")
MODEL_PART = "what the averaged models say otherwise"
_MORE_LIKELY_THAN_NOT = 0.5


FAST_LOSS_PER_S = 1.5e-3
_LATE_LOSS_PER_S, _LATE_S = 4e-4, 240.0
_UNKNOWN_SHARE, _UNKNOWN_SHARE_LATE = 0.9, 1.2  # of the loss, where it looks like release
_STILL_RISING = 0.06  # of the change, in the second half of the log


def widened_for_fast_loss(case: Case, one: Correction) -> Correction:
    """The same correction, its uncertainty widened where loss, release and sensor look alike.

    No usual cup loses its heat within minutes (k = 0.0015 1/s empties it in a quarter of an hour),
    so that what is known of cups says nothing, and rates of loss, release and sensor that are alike
    cannot be told apart on one curve. With the rate of the fall from the extreme to the end,
    k' = −ln(1 − fall)/t, the loss up to the end is k'·∫(T − T1) ds; most of it becomes a component
    of its own. The same where the extreme comes after minutes and the fall is steeper than a lidded
    cup's. Where the temperature still rises in the second half, three equal rates would put the
    extreme at 2/k: k' is then two over its time.
    """
    rate, share = _rate_alike(case)
    if rate <= 0:
        return one
    part = share * rate * abs(float(case.integral_Ks[-1]))
    u = float(np.hypot(one.u_rise_K, part))
    low, high = (edge - one.rise_K for edge in one.interval95_K)
    interval = (
        one.rise_K - float(np.hypot(low, 1.96 * part)),
        one.rise_K + float(np.hypot(high, 1.96 * part)),
    )
    why = (
        f"the cup may lose its heat within minutes (about {60 * rate:.2g} 1/min): loss, release and"
        " the sensor's lag cannot be told apart on this curve"
    )
    parts = (*one.parts, ("loss and release that look alike", part))
    return replaced(one, u_rise_K=u, interval95_K=interval, parts=parts, admissible=False, why=why)


@once_a_case
def _rate_alike(case: Case) -> tuple[float, float]:
    """k' [1/s] and the share of its loss that is unknown; (0, 0) on usual curves."""
    away = np.abs(case.y - case.before_C) * (case.s > 0)
    at = int(np.argmax(away))
    top, last = float(away[at]), float(case.s[-1])
    doubt = 6 * quick_noise(case.curve).sigma_K + 3 * case.noise.resolution_K
    if top < doubt:
        return 0.0, 0.0
    late = away[case.s >= 0.5 * last]
    if float(case.s[at]) > 0.6 * last and last > _LATE_S:
        before = float(np.median(late[:5]))
        if top - before > _STILL_RISING * top + doubt:
            return 2 / float(case.s[at]), _UNKNOWN_SHARE
    span, fall = last - float(case.s[at]), 1 - float(np.mean(away[-3:])) / top
    if span <= 0 or fall <= 0 or fall * top < doubt:
        return 0.0, 0.0
    rate = -float(np.log(max(1 - fall, 0.02))) / span
    if rate >= FAST_LOSS_PER_S:
        return rate, _UNKNOWN_SHARE
    if rate >= _LATE_LOSS_PER_S and case.s[at] >= _LATE_S:
        return rate, _UNKNOWN_SHARE_LATE
    return 0.0, 0.0


def against_lines(case: Case, default: Correction, laws: LawComparison | None) -> str:
    """Why nothing may be drawn through this curve's after period; empty where it may.

    The release must be seen to end, with an after period twice as long as it; and neither a slow
    wall nor late heat may be at work in it: by the average's own weights where it tells them, else
    by the cooling law in use (``laws``, None where they were not compared).
    """
    short = too_short(case, default)
    if short:
        return short
    wall, late = default.wall_weight, default.late_weight
    if wall is not None or late is not None:
        both = {Meant.WALL: wall or 0.0, Meant.LATE_HEAT: late or 0.0}
        meant = max(both, key=lambda one: both[one])
        likely = both[meant]
        said = f"{100 * likely:.0f} % of the averaged models' weight"
    else:
        meant = Meant.NOTHING if laws is None else laws.meant
        likely, said = 1.0, "the cooling law in use"
    if meant == Meant.NOTHING or likely <= _MORE_LIKELY_THAN_NOT:
        return ""
    what = {
        Meant.WALL: "a slow wall was still warming",
        Meant.LATE_HEAT: "heat was still being released",
    }
    return f"{what[meant]} in the after period ({said})"


def held_against_the_average(one: Correction, default: Correction, against: str) -> Correction:
    """The same correction with a model error, and not admissible where its picture does not hold.

    A method that draws one law states what it is uncertain by if that law holds. The averaged
    models see the same readings and allow for walls, late heat, vapour and a drifting room: by them
    the method is off by d = ΔT_method − ΔT_average, and this is known to u_average. So

        u² = d² + max(u_own, u_average)²,

    and the sides of the 95 % interval likewise (with 1.96 d). Nothing is tuned: where both agree,
    the method is as sure as the average, never surer, since it sees less. Where d lies outside the
    95 % of both, the readings tell of something that the method does not see, and it is not
    admissible. An average that is not admissible itself judges nothing.

    ``against``: `against_lines`, the same for all that draw one.

    Source: JCGM 100:2008, F.2.4.5, on an effect that is known and not corrected.
    """
    if one.method == default.method or not default.admissible:
        return one
    off = abs(one.rise_K - default.rise_K)
    rest = float(np.sqrt(max(default.u_rise_K**2 - one.u_rise_K**2, 0.0)))
    part = float(np.hypot(off, rest))

    def side(edge: int) -> float:
        own, average = (abs(found.interval95_K[edge] - found.rise_K) for found in (one, default))
        return float(np.hypot(1.96 * off, max(own, average)))

    wider = replaced(
        one,
        u_rise_K=float(np.hypot(one.u_rise_K, part)),
        interval95_K=(one.rise_K - side(0), one.rise_K + side(1)),
        parts=(*one.parts, (MODEL_PART, part)),
    )
    if not against and off > 1.96 * float(np.hypot(one.u_rise_K, default.u_rise_K)):
        against = _apart(one, default)
    if one.method not in _DRAWN or not one.admissible or not against:
        return wider
    return replaced(wider, admissible=False, why=against)


def _apart(one: Correction, default: Correction) -> str:
    return (
        f"models that allow for a wall, late heat and a drifting room lie "
        f"{1000 * (default.rise_K - one.rise_K):+.0f} mK from it on the same readings, more than "
        "the 95 % of both"
    )


def ruled_out_by_residuals(case: Case, one: Correction, best_rms_K: float) -> Correction:
    """The same correction, not admissible where its drawn line plainly misses the after period.

    A line or an exponential that stands off the readings eight times as far as the default's
    models do (``best_rms_K``), and by half a per cent of the change, cannot be carried back.
    """
    limit = max(_OFF_TIMES * best_rms_K, _OFF_SHARE * abs(case.swing_K))
    if one.method not in _DRAWN or not one.admissible or not one.residual_rms_K > limit:
        return one
    why = (
        f"the readings of the after period do not lie on what is drawn through them: "
        f"{one.residual_rms_K:.2g} K rms, where {best_rms_K:.2g} K can be had"
    )
    return replaced(one, admissible=False, why=why)


def decide(case: Case, found: Mapping[str, Correction], method: str | None) -> tuple[str, str]:
    """Name of the method to use and the rule that decided, in words."""
    if method is not None:
        return method, "asked for by name"
    default = newton_integral.NAME
    if not found[default].admissible:
        return _next_best(found)
    words = too_short(case, found[default]) or _not_white(case, found) or _agreement(found)
    return default, words


def _next_best(found: Mapping[str, Correction]) -> tuple[str, str]:
    default = newton_integral.NAME
    usable = [name for name in PREFERENCE if name in found and found[name].admissible]
    if not usable:
        return default, (
            f"no method's assumptions hold on this curve ({default}: {found[default].why}); its "
            "uncertainty is not to be trusted"
        )
    return usable[0], (
        f"{default} cannot be used ({found[default].why}); {usable[0]} is the next in order of "
        "preference whose assumptions hold"
    )


def too_short(case: Case, default: Correction) -> str:
    """Whether release and after period are long enough against one another to draw anything."""
    last, settled = float(case.s[-1]), case.periods.after_s[0] - case.mixing.time_s
    if "not yet settled" in case.periods.why:
        return (
            f"the release is not seen to end within {last:.0f} s, so no line may be drawn through "
            "an after period; the average over models carries what may still be released"
        )
    after = last - settled
    if after < _SHORT * settled:
        k = default.cooling_rate_per_s or 0.0
        seen = f", in which the cup cools by {100 * k * after:.1f} % of its height" if k > 0 else ""
        return (
            f"the after period ({after:.0f} s{seen}) is short against the main period "
            f"({settled:.0f} s): lines drawn through it miss what is still released, the average "
            "over models carries it"
        )
    return ""


def _not_white(case: Case, found: Mapping[str, Correction]) -> str:
    """Whether residuals of the after period about each drawn line are as white as the noise."""
    n = case.s[case.after].size
    allowed = case.noise.rho + 2.5 / np.sqrt(max(n, 4))
    lags = [found[m].lag1_autocorrelation for m in _DRAWN if m in found and found[m].admissible]
    if not lags or min(lags) <= allowed:
        return ""
    return (
        f"the readings of the after period are not white about any drawn line (lag-1 "
        f"{min(lags):.2f}, {allowed:.2f} would be noise): a slow wall, late heat or a drifting "
        "room is averaged over"
    )


def _agreement(found: Mapping[str, Correction]) -> str:
    """Whether the other methods that may be used agree with the default."""
    one = found[newton_integral.NAME]
    others = [m for m in found.values() if m.admissible and m.method not in (one.method, "extreme")]
    if not others:
        return "no method that draws a line may be used here; the average over models needs none"
    return (
        f"the {len(others)} other methods that may be used agree with it within the stated "
        "uncertainties; the average over models weighs several ways in which the heat may have come"
    )
