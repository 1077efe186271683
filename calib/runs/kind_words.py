"""What vessel and lid a registered apparatus has, told from the words of its kind.

A vacuum flask holds its heat longer than a foam cup, and its glass takes much of it, over minutes;
vapour leaves an open cup many times as fast as one with a lid. What is known before a curve is seen
differs (`fitting.cup`).
"""

from __future__ import annotations

import re

__all__ = ["lid_of_kind", "vessel_of_kind"]

_FLASK = ("flask", "vacuum")
_NOT_INSULATED = ("conical", "erlenmeyer", "volumetric")
_COVER = r"(?:lids?|covers?|stoppers?|bungs?|caps?)"
_NONE = re.compile(
    rf"\b(?:no|without(?: an?| any)?) {_COVER}\b|\b(?:lidless|uncovered|unlidded|not covered)\b"
)
_HOLE = re.compile(r"\b(?:holes?|slots?|slits?|openings?|notch|notched|pierced)\b")
_OPEN = re.compile(r"\bopen(?:ed)?\b(?![- ]cell)")
_CLOSED = re.compile(rf"\b{_COVER}\b|\bcovered\b|\bclosed\b(?![- ]cell)")


def vessel_of_kind(kind: str) -> str | None:
    """``flask`` where a kind's words say a vacuum or insulated flask, ``cup`` for a cup, else None.

    >>> vessel_of_kind("vacuum flask, 500 mL"), vessel_of_kind("double foam cup, foam lid")
    ('flask', 'cup')
    >>> vessel_of_kind("conical flask in a foam jacket") is None
    True
    """
    words = kind.casefold()
    if any(word in words for word in _FLASK) and not any(w in words for w in _NOT_INSULATED):
        return "flask"
    return "cup" if "cup" in words else None


def lid_of_kind(kind: str) -> str | None:
    """``open`` where a kind's words say that nothing covers it, ``hole`` for a lid with a hole,
    ``closed`` for a lid; None where they say nothing of it.

    >>> [lid_of_kind(f"foam cup, {words}") for words in ("no lid", "lid with a hole", "foam lid")]
    ['open', 'hole', 'closed']
    >>> lid_of_kind("double foam cup") is None
    True
    """
    words = " ".join(re.split(r"[\s_]+", kind.casefold()))
    if _NONE.search(words):
        return "open"
    if _HOLE.search(words):
        return "hole"
    if _OPEN.search(words):
        return "open"
    return "closed" if _CLOSED.search(words) else None
