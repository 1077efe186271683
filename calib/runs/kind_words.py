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
_WRAPPED = re.compile(
    r"\b(?:foam\w*|styrofoam|insulat\w*|jacket\w*|lagg\w*|double|nested|polystyrene)\b"
)
_BEAKER = re.compile(r"\bbeakers?\b")
_METAL = re.compile(r"\b(?:steel|metal|aluminium|aluminum|copper|tin)\b")
_METAL_THING = re.compile(r"\b(?:cups?|mugs?|cans?|beakers?|vessels?|calorimeters?)\b")
_PAPER = re.compile(r"\b(?:paper|cardboard)\b")
_CUP = re.compile(r"\b(?:cups?|mugs?)\b")
_NO_LID = re.compile(r"\b(?:with|and|under)\b.*|[,;].*")  # what comes with it, a foam lid say
_COVER = r"(?:lids?|covers?|stoppers?|bungs?|caps?)"
_NONE = re.compile(
    rf"\b(?:no|without(?: an?| any)?) {_COVER}\b|\b(?:lidless|uncovered|unlidded|not covered)\b"
)
_HOLE = re.compile(r"\b(?:holes?|slots?|slits?|openings?|notch|notched|pierced)\b")
_OPEN = re.compile(r"\bopen(?:ed)?\b(?![- ]cell)")
_CLOSED = re.compile(rf"\b{_COVER}\b|\bcovered\b|\bclosed\b(?![- ]cell)")


def vessel_of_kind(kind: str) -> str | None:
    """The vessel that a kind's words name: one of `fitting.cup.knowledge.VESSELS`, else None.

    ``flask`` for a vacuum or insulated flask; ``beaker``, ``metal`` and ``paper`` for what stands
    free; ``cup`` for any other cup, and for a paper cup or a mug that foam or a second cup holds.
    A beaker in a foam jacket is none of them.

    >>> vessel_of_kind("vacuum flask, 500 mL"), vessel_of_kind("double foam cup, foam lid")
    ('flask', 'cup')
    >>> vessel_of_kind("conical flask in a foam jacket") is None
    True
    >>> [vessel_of_kind(kind) for kind in ("paper cup, foam lid", "glass beaker", "steel mug")]
    ['paper', 'beaker', 'metal']
    >>> vessel_of_kind("paper cup in a foam cup")
    'cup'
    """
    words = kind.casefold()
    if any(word in words for word in _FLASK) and not any(w in words for w in _NOT_INSULATED):
        return "flask"
    wrapped = bool(_WRAPPED.search(_NO_LID.sub("", words)))
    if _METAL.search(words) and _METAL_THING.search(words) and not wrapped:
        return "metal"
    if _BEAKER.search(words):
        return None if wrapped else "beaker"
    if _PAPER.search(words) and _CUP.search(words) and not wrapped:
        return "paper"
    return "cup" if _CUP.search(words) or "cup" in words else None


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
