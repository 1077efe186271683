"""The list of constants for a command that must start at once.

Loading SQLAlchemy takes longer than all the rest of such a command. A SQLite file of the present
schema is therefore listed with the standard library alone, which reads and cannot write; anything
else (another database, an older schema, a file that is missing or odd) goes the full way, which
also knows what to say about it. A test holds both ways against each other.
"""

from __future__ import annotations

import os
import sqlite3
from dataclasses import dataclass

from calib.registry.layout import SCHEMA_VERSION, as_text, read_constant
from calib.registry.place import Place, find_place, sqlite_uri
from calib.registry.records import StoredConstant
from calib.registry.validation import Unreadable

CONSTANTS = """
select constants.*, apparatus.kind, (
    select count(distinct results.table_digest || ' ' || results.table_name || ' ' || results.run)
    from results join result_constants on result_constants.result_id = results.id
    where result_constants.constant_id = constants.id and results.pooled = 0
) as uses
from constants left join apparatus on apparatus.id = constants.apparatus
where ? is null or constants.apparatus = ?
order by constants.apparatus, constants.valid_from, constants.id
"""


@dataclass(frozen=True, slots=True)
class Listing:
    """Constants by apparatus and date, and the address they were read from (password masked).

    ``unreadable``: what is stored and cannot be read, each with the reason.
    """

    where: str
    constants: tuple[StoredConstant, ...]
    unreadable: tuple[Unreadable, ...] = ()


def list_constants(
    url_or_path: str | os.PathLike[str] | None = None, apparatus: str | None = None
) -> Listing:
    """All stored constants, or those of one apparatus; the same as ``Registry.constants``.

    No registry is made where there is none: the default place is then an empty list.

    Raises what ``open_registry`` and ``Registry.constants`` raise.
    """
    place = find_place(url_or_path)
    if place.not_yet_made:
        return Listing(place.shown, ())
    found = _quickly(place, apparatus)
    if found is not None:
        return Listing(place.shown, *found)
    from calib.registry.store import open_registry

    with open_registry(url_or_path, create=False) as registry:
        return Listing(registry.where, *registry.constants_apart(apparatus))


def _quickly(
    place: Place, apparatus: str | None
) -> tuple[tuple[StoredConstant, ...], tuple[Unreadable, ...]] | None:
    """The constants of a SQLite file of the present schema; None where it takes the full way."""
    if place.path is None or not place.path.is_file():
        return None
    try:
        connection = sqlite3.connect(sqlite_uri(place.path, "ro"), uri=True, timeout=30.0)
    except sqlite3.Error:
        return None
    try:
        connection.row_factory = sqlite3.Row
        connection.text_factory = as_text
        connection.execute("begin")
        version = connection.execute("select max(version) from cupledger_schema").fetchone()[0]
        known = connection.execute("select 1 from apparatus where id = ?", (apparatus,)).fetchone()
        if version != SCHEMA_VERSION or (apparatus is not None and known is None):
            return None
        rows = connection.execute(CONSTANTS, (apparatus, apparatus)).fetchall()
    except (sqlite3.Error, UnicodeDecodeError):
        return None
    finally:
        connection.close()
    found = [read_constant(dict(row), uses=row["uses"]) for row in rows]
    good = tuple(one for one in found if isinstance(one, StoredConstant))
    return good, tuple(one for one in found if isinstance(one, Unreadable))
