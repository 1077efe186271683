"""The part of the registry that deals with other registries: export, import, merge, and check."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from calib.registry.connection import Store
from calib.registry.validation import Unreadable

if TYPE_CHECKING:
    from calib.outputs import Outputs
    from calib.registry.merging import MergeReport
    from calib.registry.verifying import Verdict


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
        What cannot be read is left out; ``export_apart`` says what that is.
        """
        return self.export_apart(path, apparatus=apparatus, results=results, outputs=outputs)[0]

    def export_apart(
        self,
        path: str | os.PathLike[str],
        *,
        apparatus: Iterable[str] | None = None,
        results: bool = False,
        outputs: Outputs | None = None,
    ) -> tuple[str, tuple[Unreadable, ...]]:
        """As ``export_constants``; and the rows that cannot be read and were left out."""
        from calib.registry import exchange

        with self._store.reading() as connection:
            content, left_out = exchange.collect(connection, apparatus=apparatus, results=results)
        return exchange.write(Path(path), content, outputs=outputs), left_out

    def import_constants(
        self,
        path: str | os.PathLike[str],
        *,
        rename: Mapping[str, str] | None = None,
        by: str | None = None,
        keep_status: bool = False,
    ) -> MergeReport:
        """Bring in an exported file: all of it, or on any error nothing; conflicts are reported.

        Approvals come in as drafts; ``keep_status`` lets them stand (see ``merging``).
        """
        from calib.registry import exchange, merging

        content = exchange.read(Path(path))
        with self._store.change(by) as change:
            source = Path(path).name
            return merging.Merge(
                change, content, rename or {}, source, keep_status=keep_status
            ).run()

    def merge(
        self,
        other: Sharing,
        *,
        rename: Mapping[str, str] | None = None,
        by: str | None = None,
        keep_status: bool = False,
    ) -> MergeReport:
        """Bring in everything another registry holds, kept results too; it stays as it is.

        Rows of it that cannot be read are left out and named; a constant that was changed behind
        its back comes in as a draft. ``keep_status`` as with ``import_constants``.
        """
        from calib.registry import exchange, merging, verifying

        shown = other._store.place.shown
        with other._store.reading() as connection:
            collected, unread = exchange.collect(connection, results=True)
            verdict = verifying.verify(connection)
        content, wrong = exchange.checked(collected, shown)
        content, resting = exchange.closed(content) if wrong else (content, ())
        with self._store.change(by) as change:
            return merging.Merge(
                change,
                content,
                rename or {},
                shown,
                keep_status=keep_status,
                left_out=(*unread, *wrong, *resting),
                distrusted=verdict.constants(),
                amiss_there=verdict.of_the_whole(),
            ).run()

    def check(self) -> tuple[str, ...]:
        """What is out of order in the registry, in sentences; empty where all is well."""
        from calib.registry import checks

        with self._store.reading() as connection:
            return checks.problems(connection)

    def verify(self, head: str = "") -> Verdict:
        """Was anything changed behind the registry's back? See ``calib.registry.verifying``."""
        from calib.registry import verifying

        with self._store.reading() as connection:
            return verifying.verify(connection, head)
