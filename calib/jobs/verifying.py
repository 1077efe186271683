"""Was anything in the registry changed behind its back?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.registry.validation import Unreadable


def verify_registry(registry: str | None = None, *, head: str = "") -> dict[str, Any]:
    """Every row and line of the trail against the chain of hashes; plain data.

    ``head`` is a hash that was written down before, or its beginning: it must be in the chain.

    Raises RegistryError: the registry cannot be opened.
    """
    from calib.registry import open_registry

    with open_registry(registry, create=False) as store:
        verdict = store.verify(head)
        where = store.where
    return {
        "registry": where,
        "fine": verdict.fine,
        "head": verdict.head,
        "since": verdict.since,
        "lines": verdict.lines,
        "older_lines": verdict.older,
        "lines_after_head": verdict.after_head,
        "constants": verdict.constants_seen,
        "apparatus": verdict.apparatus_seen,
        "named": [
            {
                "table": one.table,
                "number": one.number,
                "apparatus": one.apparatus,
                "message": one.message,
            }
            for one in verdict.findings
        ],
    }


def unreadable_facts(bad: Iterable[Unreadable]) -> list[dict[str, Any]]:
    """Rows that cannot be read, as JSON."""
    return [
        {
            "table": one.table,
            "number": one.number,
            "apparatus": one.apparatus,
            "message": str(one),
        }
        for one in bad
    ]
