"""Which correction to use, by stated rules, in the order in which they are asked.

1. A method that was asked for by name is used.
2. The integral of Newton's law, averaged over models, is used wherever it is admissible; where it
   is not, the next in ``PREFERENCE`` that is. The order is that of their rmse on simulated cups
   (DEVELOPERS.md).
3. The reason that is told is the first that applies: the after period is short against the release
   or the release is not over; its readings are not white about any drawn line; the methods that
   may be used differ by more than they state; they agree.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitting.corrections import newton_integral
from fitting.corrections.case import Case
from fitting.corrections.result import Correction, replaced
from fitting.periods import quick_noise

PREFERENCE = (
    newton_integral.NAME, "exponential", "regnault-pfaundler", "dickinson",
    "straight-line", "extreme",
)  # fmt: skip
_SHORT = 2.0  # times the main period: an after period below that is short against the release
_OFF_TIMES, _OFF_SHARE = 8.0, 0.005
_DRAWN = ("exponential", "regnault-pfaundler", "dickinson", "straight-line")


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
    words = _too_short(case, found) or _not_white(case, found) or _agreement(found)
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


def _too_short(case: Case, found: Mapping[str, Correction]) -> str:
    """Period lengths against the release and 1/k."""
    last, settled = float(case.s[-1]), case.periods.after_s[0] - case.mixing.time_s
    if "not yet settled" in case.periods.why:
        return (
            f"the release is not seen to end within {last:.0f} s, so no line may be drawn through "
            "an after period; the average over models carries what may still be released"
        )
    after = last - settled
    if after < _SHORT * settled:
        k = found[newton_integral.NAME].cooling_rate_per_s or 0.0
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
    apart = [
        m for m in others
        if abs(m.rise_K - one.rise_K) > 2 * float(np.hypot(m.u_rise_K, one.u_rise_K))
    ]  # fmt: skip
    if not others:
        return "no method that draws a line may be used here; the average over models needs none"
    if apart:
        named = ", ".join(f"{m.method} {m.rise_K - one.rise_K:+.3g} K" for m in apart)
        return (
            f"of {len(others)} other methods that may be used {len(apart)} differ by more than "
            f"both state ({named}); the average over models needs no knowledge of the release"
        )
    return (
        f"all {len(others)} other methods that may be used agree within the stated uncertainties; "
        "the average over models needs no knowledge of how the heat was released"
    )
