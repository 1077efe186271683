"""What kind of vessel a registered apparatus is, told from the words of its kind.

A vacuum flask holds its heat longer than a foam cup, and its glass takes much of it, over minutes:
what is known before a curve is seen differs (`fitting.newton.VESSELS`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calib.registry import Registry
    from calib.runs.model import Table

__all__ = ["told_vessels", "vessel_of_kind"]

_FLASK = ("flask", "vacuum")
_NOT_INSULATED = ("conical", "erlenmeyer", "volumetric")


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


def told_vessels(table: Table, store: Registry) -> Table:
    """The table, each row with the vessel that the registry's kind of its apparatus tells."""
    vessels = {one.id: vessel_of_kind(one.kind) for one in store.list_apparatus()}
    rows = tuple(replace(run, vessel=vessels.get(run.apparatus or "")) for run in table.rows)
    return replace(table, rows=rows)
