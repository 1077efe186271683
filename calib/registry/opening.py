"""Opening: tell a registry from anything else, bring an older one up to date."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, func, insert, inspect, select
from sqlalchemy.exc import DBAPIError, OperationalError, ProgrammingError

from calib.registry import chain, failures, schema
from calib.registry.connection import Store, now
from calib.registry.errors import NewerRegistry, NotARegistry, RegistryError
from calib.registry.layout import SCHEMA_VERSION
from calib.version import __version__

SQLITE_MAGIC = b"SQLite format 3\0"  # sqlite.org/fileformat2.html, 1.3.1


def prepare(store: Store, *, create: bool) -> int | None:
    """Make sure that the tables of this release are there.

    Returns the version found where the registry was brought up to date, 0 where it was made anew,
    None where nothing had to be done.
    """
    _require_place(store, create=create)
    if _is_current(store):
        return None
    with store.reading() as connection:
        found = read_version(connection, store.place.shown)
    if found == SCHEMA_VERSION:
        return None
    if store.read_only or (found == 0 and not create):
        raise RegistryError(_unread(store, found))
    for version in range(found + 1, SCHEMA_VERSION + 1):
        _step(store, version)
    return found


def _is_current(store: Store) -> bool:
    """The quick way: one look at the version. Anything else is left to ``read_version``."""
    try:
        with store.engine.connect() as connection, connection.begin():
            found = connection.execute(select(func.max(schema.versions.c.version))).scalar()
    except (OperationalError, ProgrammingError, UnicodeDecodeError):
        return False
    except DBAPIError as error:
        raise failures.explain(error, store.place) from None
    return found == SCHEMA_VERSION


def _require_place(store: Store, *, create: bool) -> None:
    place = store.place
    if place.path is None:
        return
    if place.is_default and create and not store.read_only:
        try:
            place.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RegistryError(
                f"the folder {place.path.parent} for the registry cannot be made"
                f" ({error.strerror});"
                " give another path with --registry"
            ) from None
    if place.path.is_dir() or not place.path.parent.is_dir():
        raise RegistryError(failures.cannot_open(place))
    if not place.path.exists():
        if store.read_only or not create:
            raise RegistryError(failures.cannot_open(place))
    elif not place.path.is_file():  # a pipe would be waited for without end
        raise NotARegistry(
            f"{place.shown} is not a registry: it is a pipe or a device, no file; give the"
            " registry's own path with --registry"
        )
    elif not _may_be_sqlite(place.path):
        raise NotARegistry(failures.not_a_registry(place))


def _may_be_sqlite(path: Path) -> bool:
    """Whether the file is empty or begins as SQLite's do.

    SQLite itself takes a file of a few bytes for an empty database and would write over it.
    """
    try:
        with path.open("rb") as file:
            return file.read(len(SQLITE_MAGIC)) in {b"", SQLITE_MAGIC}
    except OSError:
        return True  # SQLite will say why it cannot be read


def read_version(connection: Connection, shown: str) -> int:
    """The schema's version; 0 for an empty database.

    Raises NotARegistry where other tables are there, NewerRegistry where this release is too old.
    """
    tables = set(inspect(connection).get_table_names())
    if schema.versions.name not in tables:
        ours = tables & set(schema.metadata.tables)
        if ours or (tables and connection.dialect.name == "sqlite"):
            raise NotARegistry(
                f"{shown} is not a registry: it is a database with other tables"
                f" ({', '.join(sorted(tables)[:5])}); it was left as it is; give the registry's"
                " own path"
                " with --registry"
            )
        return 0
    version = connection.execute(select(func.max(schema.versions.c.version))).scalar()
    found = int(version or 0)
    if found > SCHEMA_VERSION:
        raise NewerRegistry(
            f"the registry {shown} has schema version {found}, and this release ({__version__})"
            " reads up"
            f" to version {SCHEMA_VERSION}; it was left as it is; install a newer cupledger",
            found=found,
            known=SCHEMA_VERSION,
        )
    return found


def _step(store: Store, version: int) -> None:
    """Take one step of the schema, unless another process has taken it in the meantime."""
    from calib.registry.migrations import MIGRATIONS

    migration = MIGRATIONS[version - 1]
    with store.change() as change:
        if read_version(change.connection, store.place.shown) >= version:
            return
        change.chained = version >= chain.SINCE_VERSION
        migration.run(change.connection)
        change.connection.execute(
            insert(schema.versions).values(
                version=version,
                title=migration.title,
                applied_at=now(),
                software_version=__version__,
            )
        )
        what = f"schema version {version}: {migration.title}"
        if version == chain.SINCE_VERSION:
            chain.begin(change, what)
        else:
            change.note("migrate", what)


def _unread(store: Store, found: int) -> str:
    if found == 0:
        return (
            f"{store.place.shown} is empty: there is no registry in it yet; 'cupledger apparatus"
            " add' makes one there, or give another with --registry"
        )
    return (
        f"the registry {store.place.shown} has schema version {found}, this release reads version"
        f" {SCHEMA_VERSION}; open it once for writing to bring it up to date"
    )
