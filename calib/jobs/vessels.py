"""Rows of a table, each with the vessel and lid that its registered apparatus' kind tells."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from calib.runs.kind_words import lid_of_kind, vessel_of_kind

if TYPE_CHECKING:
    from calib.registry import Registry
    from calib.runs.model import Table

__all__ = ["told_kinds"]


def told_kinds(table: Table, store: Registry) -> Table:
    """The table, each row with the vessel and lid that the registry's kind of its cup tells.

    The cup is called as the registry calls it, whichever way an accent is written in the table.
    """
    from calib.registry.validation import same_name

    cups = {same_name(one.id): (one.id, one.kind) for one in store.list_apparatus()}
    rows = tuple(
        replace(run, apparatus=name, vessel=vessel_of_kind(kind), lid=lid_of_kind(kind))
        for run in table.rows
        for name, kind in (cups.get(same_name(run.apparatus or ""), (run.apparatus, "")),)
    )
    return replace(table, rows=rows)
