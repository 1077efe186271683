"""From a driver's error to a sentence for people: what happened, what was kept, what to do."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from calib.registry.errors import (
    NotARegistry,
    RegistryBusy,
    RegistryError,
    RegistryNotWritten,
    RegistryReadOnly,
    RegistryUnreachable,
)
from calib.registry.place import PASSWORD, Place

if TYPE_CHECKING:
    from sqlalchemy.exc import DBAPIError

NOTHING = "nothing was changed"
REFUSALS = ("refused: ",)  # how the messages of our own triggers begin

# Primary result codes of SQLite (sqlite.org/rescode.html); an extended code has it in its low byte.
READONLY_ROLLBACK = 8 | (3 << 8)


def explain(error: DBAPIError, place: Place) -> RegistryError:
    """The error of ours that says what this driver's error means for the registry at ``place``."""
    cause = error.orig
    if isinstance(cause, sqlite3.Error):
        return _explain_sqlite(cause, place)
    return _explain_postgres(cause, place, lost=error.connection_invalidated)


def locked(place: Place) -> RegistryBusy:
    """The error for a registry that others held for longer than the waiting time."""
    return RegistryBusy(
        f"the registry {place.shown} is locked: another program has been writing to it for too"
        f" long; {NOTHING}; close the other program, or wait and try again"
    )


def _explain_sqlite(cause: sqlite3.Error, place: Place) -> RegistryError:
    code = getattr(cause, "sqlite_errorcode", 0) or 0
    text = str(cause)
    match code & 0xFF:
        case _ if code == READONLY_ROLLBACK:
            found: RegistryError = RegistryReadOnly(
                f"a change to the registry {place.shown} was cut short and must be rolled back"
                " first;"
                " open it once where the file and its folder can be written"
            )
        case 5 | 6:  # BUSY, LOCKED
            found = locked(place)
        case 8:  # READONLY
            found = RegistryReadOnly(
                f"the registry {place.shown} can only be read; {NOTHING}; ask for the right to"
                " write"
                " the file and its folder, or give another one with --registry"
            )
        case 13:  # FULL
            found = RegistryNotWritten(
                f"the disk that holds the registry {place.shown} is full; {NOTHING}, and all"
                " that was"
                " stored before is still there; free some space and try again"
            )
        case 19:  # CONSTRAINT
            found = RegistryError(_refusal(text, place))
        case 26:  # NOTADB
            found = NotARegistry(not_a_registry(place))
        case 11:  # CORRUPT
            found = damaged(place)
        case 14:  # CANTOPEN
            found = RegistryError(cannot_open(place))
        case 10:  # IOERR
            found = RegistryNotWritten(
                f"the disk refused to read or write the registry {place.shown} ({text}); {NOTHING};"
                " check the disk, the network share and the space that is left"
            )
        case _:
            found = RegistryError(f"the registry {place.shown} gave an error: {text}; {NOTHING}")
    return found


def damaged(place: Place) -> NotARegistry:
    """The error for a file whose pages, or the names of whose columns, make no sense any more."""
    return NotARegistry(
        f"the registry {place.shown} is damaged (SQLite finds its pages malformed); it was"
        " left as it is; put back a copy, or import an export made by 'cupledger constants"
        " export'"
    )


def not_a_registry(place: Place) -> str:
    """What to say of a file that is no SQLite file."""
    return (
        f"{place.shown} is not a registry: it is no SQLite file; it was left as it is; give the"
        " registry's own path with --registry"
    )


def cannot_open(place: Place) -> str:
    """Why no file can be opened at that place, and what to do."""
    path = place.path
    if path is not None and path.is_dir():
        return (
            f"the registry {place.shown} is a folder; expected a file, such as"
            f" {path / 'cups.sqlite'}"
        )
    if path is not None and not path.parent.is_dir() and not place.is_default:
        return (
            f"the folder {path.parent} of the registry does not exist; make it first, or give"
            " another path"
        )
    if path is not None and not path.exists():
        return (
            f"there is no registry at {place.shown}; 'cupledger apparatus add' makes one there,"
            " or give"
            " another path with --registry"
        )
    return (
        f"the registry {place.shown} cannot be opened; check the right to read and write the"
        " file and"
        " its folder"
    )


def _refusal(text: str, place: Place) -> str:
    for start in REFUSALS:
        if start in text:
            return f"{text[text.index(start) :].splitlines()[0]}; {NOTHING}"
    return f"the registry {place.shown} refused the change ({text.splitlines()[0]}); {NOTHING}"


def _explain_postgres(cause: BaseException | None, place: Place, *, lost: bool) -> RegistryError:
    """By SQLSTATE (PostgreSQL manual, appendix A); a failed connection often has none."""
    state = getattr(cause, "sqlstate", None) or ""
    text = " ".join(str(cause).split())
    if lost or not state or state[:2] in {"08", "28", "3D"} or state.startswith("57P"):
        return _explain_connection(text, place)
    if state in {"55P03", "57014", "40P01"}:
        return locked(place)
    if state in {"25006", "42501"}:
        return RegistryReadOnly(
            f"this database user may only read {place.shown} ({place.hide(text)}); {NOTHING};"
            " ask the database's"
            " keeper for the right to create and write tables"
        )
    if state == "P0001" or state.startswith("23"):
        return RegistryError(_refusal(place.hide(text), place))
    what = "is out of room" if state.startswith("53") else "gave an error"
    return RegistryError(
        f"the database server of {place.shown} {what}: {place.hide(text)}; {NOTHING}"
    )


def _explain_connection(text: str, place: Place) -> RegistryError:
    lower = text.lower()
    if "no password supplied" in lower:
        return RegistryError(
            f"the database server asks for a password, and {place.shown} gives none; {NOTHING};"
            f" {PASSWORD}"
        )
    if "authentication failed" in lower or ("role" in lower and "does not exist" in lower):
        return RegistryError(
            "the database server does not accept the user name or password of"
            f" {place.shown}; {NOTHING}; check both in the URL (write @, : and / inside a password"
            " as %40, %3A and %2F)"
        )
    if "database" in lower and "does not exist" in lower:
        return RegistryError(
            f"the server has no database of that name ({place.shown}); {NOTHING}; ask its keeper to"
            " create it, or correct the URL"
        )
    return RegistryUnreachable(
        f"the database server of {place.shown} cannot be reached ({place.hide(text)}); {NOTHING};"
        " check host, port and network, and try again"
    )


def missing_driver(place: Place) -> RegistryError:
    """The error for a PostgreSQL address on a machine without its driver."""
    return RegistryError(
        f"the registry {place.shown} is a PostgreSQL database, and its driver is not installed;"
        " run: pip install cupledger[postgres]"
    )
