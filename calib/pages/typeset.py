"""Numbers as a page shows them: true minus signs, dashes where there is none."""

from __future__ import annotations

import re
from collections.abc import Sequence

from calib.rounding import interval, with_u

_INDEX = re.compile(r"(?<=[A-Za-z)\]])\d+")
_LOWERED = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
_HYPHEN = re.compile(r"(?<![\w.])-(?=\d)")


def minus(text: str) -> str:
    """The text with hyphens before numbers made minus signs; dates and names stay.

    >>> minus("-5.3 to -5.1"), minus("2026-03-02")
    ('−5.3 to −5.1', '2026-03-02')
    """
    return _HYPHEN.sub("−", text)


def signed(value: float, places: int = 1) -> str:
    """A difference with its sign; what rounds to nothing has none.

    >>> signed(-0.04), signed(1.25, 2)
    ('0.0', '+1.25')
    """
    text = f"{value:+.{places}f}"
    return text[1:] if not text.strip("+-0.") else minus(text)


def plus_minus(value: float | None, u: float | None) -> str:
    """``value ± u``, a dash where there is no value."""
    return "–" if value is None else minus(with_u(value, u))


def span(low_high: Sequence[float] | None) -> str:
    """``lo to hi``, a dash where there is none."""
    return "–" if low_high is None else minus(interval((low_high[0], low_high[1])))


def dash(value: object) -> str:
    """Anything as text, a dash for None and for an empty text."""
    return "–" if value is None or value == "" else str(value)


def reaction_text(equation: str) -> str:
    """An equation for people: an arrow and lowered indices.

    >>> reaction_text("2 KOH(aq) + H2SO4(aq) -> K2SO4(aq) + 2 H2O(l)")
    '2 KOH(aq) + H₂SO₄(aq) → K₂SO₄(aq) + 2 H₂O(l)'
    """
    lowered = _INDEX.sub(lambda match: match.group(0).translate(_LOWERED), equation)
    return lowered.replace("<->", "⇌").replace("->", "→")
