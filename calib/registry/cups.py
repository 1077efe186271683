"""The register of apparatus: who is in it, since when, of which kind, and which are out of use."""

from __future__ import annotations

import uuid
from datetime import date

from sqlalchemy import Connection, insert, select, update

from calib.registry import schema
from calib.registry.connection import Change
from calib.registry.errors import RegistryError, UnknownApparatus
from calib.registry.records import Apparatus
from calib.registry.rows import one_apparatus

LONGEST_ID = 64


def register(change: Change, identifier: str, kind: str, note: str = "") -> None:
    """Add one apparatus. Raises RegistryError where the identifier is taken or cannot serve."""
    identifier, kind = identifier.strip(), kind.strip()
    require_usable(identifier, kind)
    for known in identifiers(change.connection):
        if known == identifier:
            raise RegistryError(f"{known} is already registered; nothing was changed")
        if known.casefold() == identifier.casefold():
            raise RegistryError(
                f"{identifier} would be mistaken for {known}, which is registered; nothing was"
                " changed;"
                " choose an identifier that differs in more than capitals"
            )
    change.connection.execute(
        insert(schema.apparatus).values(
            id=identifier,
            uid=uuid.uuid4().hex,
            kind=kind,
            note=note,
            registered_at=change.at,
            registered_by=change.by,
            retired_why="",
        )
    )
    change.note("register", f"{identifier} registered as {kind}", apparatus=identifier, why=note)


def require_usable(identifier: str, kind: str) -> None:
    """Raise RegistryError where these words cannot serve as identifier and kind."""
    if not identifier or not identifier.isprintable() or len(identifier) > LONGEST_ID:
        raise RegistryError(
            f"{identifier!r} cannot be an identifier: expected 1 to {LONGEST_ID} printable"
            " characters;"
            " nothing was changed"
        )
    if not kind:
        raise RegistryError(
            f'{identifier} needs a kind, such as --kind "double foam cup, foam lid": cups of one'
            " kind are"
            " pooled; nothing was changed"
        )


def identifiers(connection: Connection) -> tuple[str, ...]:
    """Every identifier in the register, in order."""
    column = schema.apparatus.c.id
    return tuple(connection.execute(select(column).order_by(column)).scalars())


def find(connection: Connection, identifier: str) -> Apparatus:
    """One apparatus. Raises UnknownApparatus, which lists those that exist."""
    query = select(schema.apparatus).where(schema.apparatus.c.id == identifier)
    row = connection.execute(query).mappings().first()
    if row is None:
        raise unknown(connection, identifier)
    return one_apparatus(dict(row))


def unknown(connection: Connection, identifier: str) -> UnknownApparatus:
    """The error for an identifier that is not in the register."""
    import difflib

    known = identifiers(connection)
    folded = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(identifier.casefold(), folded, n=1, cutoff=0.7)
    if not known:
        there = "no apparatus is registered yet"
    else:
        there = "registered: " + ", ".join(known[:30]) + (", ..." if len(known) > 30 else "")
    hint = f" (did you mean {folded[close[0]]}?)" if close else ""
    return UnknownApparatus(
        f"no apparatus {identifier!r} in the registry{hint}; {there}; register it with:"
        f' cupledger apparatus add {identifier} --kind "..."',
        apparatus=identifier,
    )


def describe(
    change: Change, identifier: str, *, kind: str | None, note: str | None, reason: str
) -> None:
    """Correct the kind or the note of an apparatus; the trail keeps the old words."""
    old = find(change.connection, identifier)
    new_kind = old.kind if kind is None else kind.strip()
    new_note = old.note if note is None else note
    if not new_kind:
        raise RegistryError(f"{identifier} needs a kind; nothing was changed")
    _update(change, identifier, kind=new_kind, note=new_note)
    change.note(
        "describe",
        f"{identifier}: kind {old.kind!r} became {new_kind!r}, note {old.note!r} became"
        f" {new_note!r}",
        apparatus=identifier,
        why=reason,
    )


def retire(change: Change, identifier: str, reason: str, day: date) -> None:
    """Take an apparatus out of use from ``day`` on; its constants keep their dates."""
    old = find(change.connection, identifier)
    if not reason.strip():
        raise RegistryError(f"say why {identifier} is retired (--reason); nothing was changed")
    if old.retired_on is not None:
        raise RegistryError(
            f"{identifier} was retired on {old.retired_on} ({old.retired_why}); nothing was changed"
        )
    _update(change, identifier, retired_on=day, retired_why=reason.strip())
    change.note(
        "retire", f"{identifier} retired on {day}", apparatus=identifier, why=reason.strip()
    )


def reinstate(change: Change, identifier: str, reason: str) -> None:
    """Put a retired apparatus back into use."""
    old = find(change.connection, identifier)
    if old.retired_on is None:
        raise RegistryError(f"{identifier} is in use; nothing was changed")
    if not reason.strip():
        raise RegistryError(f"say why {identifier} comes back (--reason); nothing was changed")
    _update(change, identifier, retired_on=None, retired_why="")
    change.note("reinstate", f"{identifier} back in use", apparatus=identifier, why=reason.strip())


def _update(change: Change, identifier: str, **values: object) -> None:
    change.connection.execute(
        update(schema.apparatus).where(schema.apparatus.c.id == identifier).values(**values)
    )
