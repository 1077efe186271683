"""The register of apparatus: who is in it, since when, of which kind, and which are out of use."""

from __future__ import annotations

import uuid
from datetime import date

from sqlalchemy import Connection, insert, select, update

from calib.registry import schema
from calib.registry.connection import Change
from calib.registry.errors import RegistryError, UnknownApparatus
from calib.registry.records import Apparatus
from calib.registry.rows import read_apparatus
from calib.registry.validation import Unreadable, problems, same_name

LONGEST_ID = 64


def register(change: Change, identifier: str, kind: str, note: str = "") -> None:
    """Add one apparatus. Raises RegistryError where the identifier is taken or cannot serve."""
    identifier, kind = same_name(identifier), kind.strip()
    require_usable(identifier, kind, note)
    for known in identifiers(change.connection):
        if same_name(known) == identifier:
            raise RegistryError(f"{known} is already registered; nothing was changed")
        if same_name(known).casefold() == identifier.casefold():
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
            revision=0,
        )
    )
    change.note("register", f"{identifier} registered as {kind}", apparatus=identifier, why=note)


def require_usable(identifier: str, kind: str, note: str = "") -> None:
    """Raise RegistryError where these words cannot serve as identifier, kind and note."""
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
    row = {"id": identifier, "kind": kind, "note": note}
    found = problems("apparatus", row, coming_in=True, whole=False)
    if found:
        raise RegistryError(f"{identifier}: {'; '.join(found)}; nothing was changed")


def identifiers(connection: Connection) -> tuple[str, ...]:
    """Every identifier in the register that is text, in order."""
    column = schema.apparatus.c.id
    found = connection.execute(select(column).order_by(column)).scalars()
    return tuple(name for name in found if isinstance(name, str))


def stored_name(connection: Connection, identifier: str) -> str | None:
    """The identifier as it stands in the register: composed and decomposed accents are one cup."""
    column = schema.apparatus.c.id
    query = select(column).where(column == identifier)
    if connection.execute(query).first() is not None:
        return identifier
    wanted = same_name(identifier)
    return next((name for name in identifiers(connection) if same_name(name) == wanted), None)


def find(connection: Connection, identifier: str) -> Apparatus:
    """One apparatus, its accents written either way.

    Raises UnknownApparatus, which lists those that exist; RegistryError where it cannot be read.
    """
    name = stored_name(connection, identifier)
    query = select(schema.apparatus).where(schema.apparatus.c.id == name)
    row = None if name is None else connection.execute(query).mappings().first()
    if row is None:
        raise unknown(connection, identifier)
    found = read_apparatus(dict(row))
    if isinstance(found, Unreadable):
        raise RegistryError(f"{found}; nothing was changed")
    return found


def unknown(connection: Connection, identifier: str) -> UnknownApparatus:
    """The error for an identifier that is not in the register."""
    import difflib

    known = [name for name in identifiers(connection) if name.isprintable()]
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
    identifier = old.id
    require_usable(identifier, new_kind, new_note)
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
    identifier = old.id
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
    identifier = old.id
    _update(change, identifier, retired_on=None, retired_why="")
    change.note("reinstate", f"{identifier} back in use", apparatus=identifier, why=reason.strip())


def _update(change: Change, identifier: str, **values: object) -> None:
    table = schema.apparatus
    values["revision"] = table.c.revision + 1
    change.connection.execute(update(table).where(table.c.id == identifier).values(**values))
