"""Constants that travel: export to a file, import of one, merging of another registry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError
from calib.jobs.verifying import unreadable_facts
from calib.outputs import EXPORT, Outputs, outputs_beside

if TYPE_CHECKING:
    from calib.registry import Registry
    from calib.registry.merging import MergeReport


def export_file(
    path: Path,
    registry: str | None = None,
    *,
    apparatus: Sequence[str] = (),
    results: bool = False,
    outputs: Outputs | None = None,
) -> dict[str, Any]:
    """Write constants to a text file and read it back; what it holds and its checksum.

    Raises:
        OutputError: the file may not or cannot be written, see `calib.registry.exchange.write`.
        RegistryError: a cup is not known.
    """
    from calib.registry import exchange, open_registry

    outputs = outputs or outputs_beside(registry)
    outputs.claim(EXPORT, path, "FILE")
    with open_registry(registry, create=False) as store:
        checksum, left_out = store.export_apart(
            path, apparatus=apparatus or None, results=results, outputs=outputs
        )
        where = store.where
    written = exchange.read(path)
    return {
        "file": str(path),
        "sha256": checksum,
        "format": exchange.FORMAT,
        "format_version": exchange.FORMAT_VERSION,
        "apparatus": [row["id"] for row in written["apparatus"]],
        "constants": len(written["constants"]),
        "results": len(written["results"]),
        "trail_lines": len(written["audit"]),
        "chain_head": written["chain_head"],
        "left_out": unreadable_facts(left_out),
        "registry": where,
    }


def import_file(
    path: Path,
    registry: str | None = None,
    *,
    rename: Mapping[str, str] | None = None,
    by: str | None = None,
    keep_status: bool = False,
) -> dict[str, Any]:
    """Bring in an exported file: all of it, or on any error nothing; conflicts are listed.

    Approvals come in as drafts; with ``keep_status`` they stand, but for what cannot well be true.

    Raises RegistryError: the file is no export, was changed since, or does not fit together.
    """
    from calib.registry import exchange, open_registry

    exchange.read(path)  # before a registry is made for it
    with open_registry(registry) as store:
        report = store.import_constants(path, rename=rename, by=by, keep_status=keep_status)
        return {"source": str(path), **_facts(report, store)}


def merge_from(
    other: str,
    registry: str | None = None,
    *,
    rename: Mapping[str, str] | None = None,
    by: str | None = None,
    keep_status: bool = False,
) -> dict[str, Any]:
    """Bring in all that another registry holds; it stays as it is. Conflicts are listed.

    ``keep_status`` as with ``import_file``. What cannot be read there is left out and named.

    Raises RegistryError: one of the two cannot be opened, or the records do not fit together.
    """
    from calib.registry import open_registry

    with (
        open_registry(other, read_only=True) as theirs,
        open_registry(registry) as store,
    ):
        report = store.merge(theirs, rename=rename, by=by, keep_status=keep_status)
        return {"source": theirs.where, **_facts(report, store)}


def renames(pairs: Sequence[str]) -> dict[str, str]:
    """``OLD=NEW`` pairs as a mapping. Raises InputError for anything else, or one given twice."""
    found: dict[str, str] = {}
    for pair in pairs:
        old, equals, new = (part.strip() for part in pair.partition("="))
        if not (old and equals and new):
            raise InputError(f"--rename {pair!r} cannot be read; expected OLD=NEW, such as H1=H1b")
        if found.setdefault(old, new) != new:
            raise InputError(f"--rename gives two new names for {old}: {found[old]} and {new}")
    return found


def _facts(report: MergeReport, store: Registry) -> dict[str, Any]:
    return {
        "registered": list(report.registered),
        "constants": list(report.constants),
        "moved_on": list(report.moved_on),
        "arrived": [
            {
                "id": one.constant_id,
                "apparatus": one.apparatus,
                "constant_J_per_K": one.constant_J_per_K,
                "u_constant_J_per_K": one.u_constant_J_per_K,
                "status_there": one.status_there,
                "status": one.status,
                "from": one.source,
                "doubts": list(one.doubts),
            }
            for one in report.arrivals
        ],
        "waiting": list(report.waiting),
        "left_out": unreadable_facts(report.left_out),
        "results": report.results,
        "trail_lines": report.audit_lines,
        "conflicts": [
            {"apparatus": c.apparatus, "message": c.message, "constant_id": c.constant_id}
            for c in report.conflicts
        ],
        "changed": report.changed,
        "registry": store.where,
        "registry_made": store.migrated_from == 0,
    }
