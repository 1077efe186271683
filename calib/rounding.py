"""The one place that rounds: a value is shown to the second digit of its uncertainty.

Rule: the standard uncertainty keeps two significant digits and the value stops at the same decimal
(JCGM 100:2008, 7.2.6: "it usually suffices to quote uc(y) to at most two significant digits").
"""

from __future__ import annotations

import math


def decimals_for(u: float, digits: int = 2) -> int:
    """How many decimals show ``digits`` significant digits of ``u``. Never negative.

    >>> decimals_for(0.0231)
    3
    >>> decimals_for(17.0)
    0
    """
    if not math.isfinite(u) or u <= 0:
        return 4
    exponent = math.floor(math.log10(u))
    if round(float(f"{u:.17e}".partition("e")[0]), digits - 1) >= 10:  # 0.0997 rounds to 0.10
        exponent += 1
    return max(digits - 1 - exponent, 0)


def with_u(value: float | None, u: float | None) -> str:
    """``value ± u`` for people.

    >>> with_u(-57.6213, 0.3456)
    '-57.62 ± 0.35'
    >>> with_u(12.3, None)
    '12.3'
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if u is None or not math.isfinite(u) or u <= 0:
        return f"{value:.5g}"
    places = decimals_for(u)
    return f"{value:.{places}f} ± {u:.{places}f}"


def interval(low_high: tuple[float, float] | list[float] | None) -> str:
    """``lo to hi`` to three digits of its width.

    >>> interval((11.8234, 14.4567))
    '11.82 to 14.46'
    """
    if low_high is None:
        return "not known"
    low, high = low_high
    if not (math.isfinite(low) and math.isfinite(high)):
        return "unbounded"
    places = decimals_for(abs(high - low), 3)
    return f"{low:.{places}f} to {high:.{places}f}"


def figures(value: float | None, digits: int = 4) -> str:
    """A number to so many significant digits, a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{value:.{digits}g}"
