"""The part of the registry that deals with other registries: export, import, merge, and check."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from calib.registry.connection import Store

if TYPE_CHECKING:
    from calib.outputs import Outputs
    from calib.registry.merging import MergeReport


class Sharing:
    """What a registry gives to others and takes from them."""

    _store: Store

    def export_constants(
        self,
        path: str | os.PathLike[str],
        *,
        apparatus: Iterable[str] | None = None,
        results: bool = False,
        outputs: Outputs | None = None,
    ) -> str:
        """Write constants (of all apparatus or those named) to a text file; its checksum.

        The format is described in ``calib.registry.exchange``. ``results`` adds the kept results,
        ``outputs`` says what else the call reads and whether files of others may be replaced.
        """
        from calib.registry import exchange

        with self._store.reading() as connection:
            content = exchange.collect(connection, apparatus=apparatus, results=results)
        return exchange.write(Path(path), content, outputs=outputs)

    def import_constants(
        self,
        path: str | os.PathLike[str],
        *,
        rename: Mapping[str, str] | None = None,
        by: str | None = None,
    ) -> MergeReport:
        """Bring in an exported file: all of it, or on any error nothing; conflicts are reported."""
        from calib.registry import exchange, merging

        content = exchange.read(Path(path))
        with self._store.change(by) as change:
            return merging.Merge(change, content, rename or {}).run()

    def merge(
        self, other: Sharing, *, rename: Mapping[str, str] | None = None, by: str | None = None
    ) -> MergeReport:
        """Bring in everything another registry holds, kept results too; it stays as it is."""
        from calib.registry import exchange, merging

        with other._store.reading() as connection:
            content = exchange.collect(connection, results=True)
        content = exchange.checked(content, other._store.place.shown)
        with self._store.change(by) as change:
            return merging.Merge(change, content, rename or {}).run()

    def check(self) -> tuple[str, ...]:
        """What is out of order in the registry, in sentences; empty where all is well."""
        from calib.registry import checks

        with self._store.reading() as connection:
            return checks.problems(connection)
