"""The registry as everybody else uses it: one class, one transaction per method."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from datetime import date
from types import TracebackType
from typing import TYPE_CHECKING, Self

from sqlalchemy import select

from calib.registry import cups, lifecycle, lookup, results, schema
from calib.registry.connection import TIMEOUT_S, Store
from calib.registry.errors import RegistryError
from calib.registry.opening import prepare
from calib.registry.place import find_place
from calib.registry.records import (
    Apparatus,
    AuditLine,
    NewConstant,
    NewResult,
    StoredConstant,
    StoredResult,
)
from calib.registry.rows import all_unreadable, apart, read_apparatus
from calib.registry.sharing import Sharing
from calib.registry.validation import Unreadable

if TYPE_CHECKING:
    from calib.registry.drift import CupDrift, SetDrift, TodayCheck
    from calib.registry.pooling import KindPooled


def open_registry(
    url_or_path: str | os.PathLike[str] | None = None,
    *,
    read_only: bool = False,
    create: bool = True,
    timeout_s: float = TIMEOUT_S,
) -> Registry:
    """Open the registry at a path or database URL; make it where there is none.

    Without an address: the environment's CUPLEDGER_REGISTRY, else a SQLite file in the platform's
    data folder. ``read_only`` and ``create=False`` refuse to make one. A registry of an older
    schema is brought up to date (``migrated_from`` says from which version). ``timeout_s`` is how
    long to wait for other writers.

    Raises RegistryError (or one of its kinds in ``calib.registry.errors``) with what to do.
    """
    store = Store(find_place(url_or_path), read_only=read_only, timeout_s=timeout_s)
    try:
        return Registry(store, migrated_from=prepare(store, create=create))
    except BaseException:
        store.close()
        raise


class Registry(Sharing):
    """Apparatus, their constants and the trail of who decided what. Close it, or use ``with``.

    ``by`` is the person to be named in the trail (default: whoever is logged in). A method that
    changes something either does all of it or, on any error, nothing.
    """

    def __init__(self, store: Store, *, migrated_from: int | None) -> None:
        self._store = store
        self.migrated_from = migrated_from

    @property
    def where(self) -> str:
        """The address, fit for printing: a password is masked."""
        return self._store.place.shown

    def __repr__(self) -> str:
        return f"<Registry {self.where}>"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file or the server."""
        self._store.close()

    # Apparatus

    def register(self, id: str, kind: str, note: str = "", *, by: str | None = None) -> Apparatus:
        """Add one apparatus to the register."""
        return self.register_all((id,), kind, note, by=by)[0]

    def register_all(
        self, ids: Iterable[str], kind: str, note: str = "", *, by: str | None = None
    ) -> tuple[Apparatus, ...]:
        """Add several apparatus of one kind: all of them, or on any error none."""
        names = [name.strip() for name in ids]
        with self._store.change(by) as change:
            for name in names:
                cups.register(change, name, kind, note)
            return tuple(cups.find(change.connection, name) for name in names)

    def apparatus(self, id: str) -> Apparatus:
        """One apparatus. Raises UnknownApparatus, which lists those that exist."""
        with self._store.reading() as connection:
            return cups.find(connection, id)

    def list_apparatus(
        self, *, kind: str | None = None, retired: bool = True
    ) -> tuple[Apparatus, ...]:
        """Every apparatus in order of identifier; of one kind, or without the retired ones."""
        query = select(schema.apparatus).order_by(schema.apparatus.c.id)
        if kind is not None:
            query = query.where(schema.apparatus.c.kind == kind)
        if not retired:
            query = query.where(schema.apparatus.c.retired_on.is_(None))
        with self._store.reading() as connection:
            rows = connection.execute(query).mappings().all()
            good, _ = apart(read_apparatus(dict(row)) for row in rows)
            return tuple(good)

    def describe(
        self,
        id: str,
        *,
        kind: str | None = None,
        note: str | None = None,
        reason: str = "",
        by: str | None = None,
    ) -> Apparatus:
        """Correct the kind or the note of an apparatus; the trail keeps the old words."""
        with self._store.change(by) as change:
            cups.describe(change, id, kind=kind, note=note, reason=reason)
            return cups.find(change.connection, id)

    def retire(
        self, id: str, reason: str, *, on: date | None = None, by: str | None = None
    ) -> Apparatus:
        """Take an apparatus out of use from a day on (default: today), with the reason."""
        with self._store.change(by) as change:
            cups.retire(change, id, reason, on or date.today())
            return cups.find(change.connection, id)

    def reinstate(self, id: str, reason: str, *, by: str | None = None) -> Apparatus:
        """Put a retired apparatus back into use, with the reason."""
        with self._store.change(by) as change:
            cups.reinstate(change, id, reason)
            return cups.find(change.connection, id)

    # Constants

    def add_draft(self, new: NewConstant, *, by: str | None = None) -> int:
        """Store a constant as a draft and return its number."""
        return self.add_drafts((new,), by=by)[0]

    def add_drafts(
        self,
        new: Iterable[NewConstant],
        *,
        approve: bool = False,
        by: str | None = None,
        reason: str = "",
    ) -> tuple[int, ...]:
        """Store constants, and approve them if asked: all of them, or on any error none.

        They are stored as they are given; approving asks what speaks against each (see ``keep``).
        """
        with self._store.change(by) as change:
            numbers = tuple(lifecycle.add_draft(change, constant) for constant in new)
            if approve:
                lifecycle.approve_together(change, numbers, reason, None)
            return numbers

    def keep(
        self,
        new: Iterable[NewConstant],
        *,
        approve: bool = False,
        by: str | None = None,
        reason: str = "",
    ) -> tuple[tuple[StoredConstant, bool], ...]:
        """Store what a calibration found, all or on any error none; approve it if asked.

        Each is given back with whether it was stored before (same inputs, method and result); then
        it is not stored twice. What speaks against a value is stored with it; one that failed its
        checks is approved with a reason only.
        """
        with self._store.change(by) as change:
            found = lifecycle.judged(change.connection, list(new))
            kept = [lifecycle.keep(change, one, approved=approve, reason=reason) for one in found]
            return tuple((lookup.constant(change.connection, n), there) for n, there in kept)

    def approve(
        self,
        constant_id: int,
        by: str | None = None,
        reason: str = "",
        *,
        valid_from: date | None = None,
    ) -> StoredConstant:
        """Put a draft in force from its date (or ``valid_from``) on, superseding what was.

        A draft that failed its checks, or against which something speaks, needs a reason.
        """
        with self._store.change(by) as change:
            lifecycle.approve(change, constant_id, reason, valid_from)
            return lookup.constant(change.connection, constant_id)

    def approve_all(
        self,
        constant_ids: Iterable[int],
        by: str | None = None,
        reason: str = "",
        *,
        valid_from: date | None = None,
    ) -> tuple[StoredConstant, ...]:
        """Approve several drafts: all of them, or on any error none."""
        numbers = list(constant_ids)
        with self._store.change(by) as change:
            lifecycle.approve_together(change, numbers, reason, valid_from)
            return tuple(lookup.constant(change.connection, number) for number in numbers)

    def supersede(
        self,
        old_id: int,
        new_id: int,
        by: str | None = None,
        reason: str = "",
        *,
        valid_from: date | None = None,
    ) -> StoredConstant:
        """Approve the draft ``new_id`` in place of ``old_id``; both must be of one apparatus."""
        with self._store.change(by) as change:
            old, new = lifecycle.get(change, old_id), lifecycle.get(change, new_id)
            if old.apparatus != new.apparatus:
                raise RegistryError(
                    f"constant {old_id} is of {old.apparatus} and constant {new_id} of"
                    f" {new.apparatus};"
                    " nothing was changed"
                )
            lifecycle.approve(change, new_id, reason, valid_from)
            after = lookup.constant(change.connection, old_id)
            if after.superseded_by != new_id:
                raise RegistryError(
                    f"constant {old_id} ({old.status}) is not in force on"
                    f" {valid_from or new.valid_from}, when"
                    " constant"
                    f" {new_id} begins; nothing was changed; approve {new_id} by itself"
                )
            return lookup.constant(change.connection, new_id)

    def withdraw(
        self, constant_id: int, reason: str, by: str | None = None
    ) -> StoredConstant | Unreadable:
        """Take a constant out of use for all dates, with the reason; an unreadable one too."""
        with self._store.change(by) as change:
            lifecycle.withdraw(change, constant_id, reason)
            return lookup.constant_or_why(change.connection, constant_id)

    def constant(self, constant_id: int) -> StoredConstant:
        """One constant by its number."""
        with self._store.reading() as connection:
            return lookup.constant(connection, constant_id)

    def constants(
        self, apparatus: str | None = None, *, status: str | None = None
    ) -> tuple[StoredConstant, ...]:
        """All constants, or those of one apparatus or status, by apparatus and date.

        Without those that cannot be read: ``unreadable`` names them.
        """
        with self._store.reading() as connection:
            return lookup.constants(connection, apparatus, status)[0]

    def constants_apart(
        self, apparatus: str | None = None
    ) -> tuple[tuple[StoredConstant, ...], tuple[Unreadable, ...]]:
        """All constants or those of one apparatus, and the rows among them that cannot be read."""
        with self._store.reading() as connection:
            return lookup.constants(connection, apparatus, None)

    def unreadable(self) -> tuple[Unreadable, ...]:
        """Every stored row that cannot be read, with the reason; all others are used."""
        with self._store.reading() as connection:
            return all_unreadable(connection)

    def constant_for(self, apparatus: str, on: date | None = None) -> StoredConstant:
        """The constant in force for an apparatus on a day (default: today).

        Raises UnknownApparatus or NoConstant; the message names the cups that exist or the command
        that would mend it.
        """
        with self._store.reading() as connection:
            return lookup.constant_for(connection, apparatus, on or date.today())

    def kind_pooled(self, kind: str, on: date | None = None) -> KindPooled:
        """Mean and between-cup spread of a kind, for a cup of it without its own constant.

        Raises NoConstant where fewer than two cups of the kind have a constant in force that day.
        """
        with self._store.reading() as connection:
            return lookup.kind_pooled(connection, kind, on or date.today())

    def same_as(self, new: NewConstant) -> StoredConstant | None:
        """The stored constant that holds the same result of the same inputs, if there is one."""
        for stored in self.constants():
            if stored.status != "withdrawn" and lifecycle.is_same(stored, new):
                return stored
        return None

    # Results

    def record(self, new: Iterable[NewResult], *, by: str | None = None) -> tuple[int, ...]:
        """Keep results and return their numbers; one that is kept already is not kept twice."""
        with self._store.change(by) as change:
            return results.record(change, list(new))

    def results(self, apparatus: str | None = None) -> tuple[StoredResult, ...]:
        """Kept results, oldest first; all, or those of one cup."""
        with self._store.reading() as connection:
            return results.kept(connection, apparatus=apparatus)[0]

    def impact(self, constant_id: int) -> tuple[StoredResult, ...]:
        """The kept results that rest on a constant, by itself or in its kind's pooled value."""
        with self._store.reading() as connection:
            return results.kept(connection, constant_id=constant_id)[0]

    # Drift

    def drift(self, apparatus: str, *, rules: str = "Nelson") -> CupDrift:
        """Has this cup changed? Its constants on a control chart, the newest against the rest."""
        from calib.registry.drift import cup_drift

        return cup_drift(apparatus, self.history(apparatus), rules=rules)

    def drift_of_kind(self, kind: str, *, rules: str = "Nelson") -> SetDrift:
        """Has the whole set changed? Every cup of the kind, and the shift that they share."""
        from calib.registry.drift import set_drift

        cups_of_kind = self.list_apparatus(kind=kind)
        if not cups_of_kind:
            kinds = sorted({cup.kind for cup in self.list_apparatus()})
            raise RegistryError(
                f"no apparatus of the kind {kind!r}; kinds: {', '.join(kinds) or 'none'}"
            )
        return set_drift(kind, {cup.id: self.history(cup.id) for cup in cups_of_kind}, rules=rules)

    def check_today(
        self,
        apparatus: str,
        constants_J_per_K: Sequence[float],
        u_J_per_K: Sequence[float] | None = None,
        *,
        on: date | None = None,
    ) -> TodayCheck:
        """Do today's runs agree with the constant in force? See ``calib.registry.drift``."""
        from calib.registry.drift import check_today

        return check_today(self.constant_for(apparatus, on), constants_J_per_K, u_J_per_K)

    # The trail

    def history(self, apparatus: str) -> tuple[StoredConstant, ...]:
        """Every constant an apparatus ever had, withdrawn and superseded ones too, by date."""
        return self.constants(apparatus)

    def audit(
        self,
        apparatus: str | None = None,
        *,
        constant_id: int | None = None,
        limit: int | None = None,
    ) -> tuple[AuditLine, ...]:
        """Who did what, when and why, oldest first; of one apparatus or one constant."""
        with self._store.reading() as connection:
            return lookup.audit(connection, apparatus, constant_id, limit)[0]
