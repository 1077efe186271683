"""Transactions on the registry's database: writers queue, readers do not, nothing is half done.

SQLite: rollback journal (a write-ahead log does not work on network shares), every commit on disk
before it is reported (synchronous = FULL), foreign keys on, and a write takes its lock at once
(BEGIN IMMEDIATE) so that two writers wait for each other in place of failing. PostgreSQL: one
advisory lock per write does the same.
"""

from __future__ import annotations

import getpass
import os
import random
import sqlite3
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, insert, select
from sqlalchemy.exc import DBAPIError, DisconnectionError, NoSuchModuleError
from sqlalchemy.pool import QueuePool, StaticPool

from calib.registry import chain, failures, schema, validation
from calib.registry.errors import RegistryError, RegistryReadOnly, RegistryUnreachable
from calib.registry.layout import as_text
from calib.registry.place import Place, sqlite_uri

WRITER_LOCK = 0x43757073  # the advisory lock that PostgreSQL writers queue for
TIMEOUT_S = 30.0
LONGEST_NAP_S = 0.04  # between two attempts to begin a change, for one who has just come


def now() -> str:
    """The present moment as the registry writes it: UTC, ISO 8601, to the microsecond."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def who() -> str:
    """The name of the person logged in, or ``unknown`` where the system does not say."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"


@dataclass(slots=True)
class Change:
    """One transaction that writes: its connection, and who does it, when, under which name."""

    connection: Connection
    by: str
    at: str
    token: str
    lines: int = field(default=0)
    chained: bool = True  # False while the schema is older than the chain
    head: str | None = None  # hash of the newest line, once it was looked up

    def note(
        self, action: str, what: str, *, apparatus: str = "", constant_uid: str = "", why: str = ""
    ) -> None:
        """Add one line to the trail; it is kept or lost together with the change itself.

        To be called after the row it tells of was written: the line carries that row's hash.
        """
        line = self.line(action, what, apparatus=apparatus, constant_uid=constant_uid, why=why)
        wrong = validation.problems("audit", line, coming_in=True, whole=False)
        if wrong:
            raise RegistryError(f"this cannot be kept: {'; '.join(wrong)}; nothing was changed")
        told = ""
        if self.chained:
            told = chain.row_told(self.connection, apparatus=apparatus, constant_uid=constant_uid)
        self.add_line(line, row_sha256=told)

    def line(
        self, action: str, what: str, *, apparatus: str = "", constant_uid: str = "", why: str = ""
    ) -> dict[str, Any]:
        """A line of the trail by whoever makes this change, not yet added."""
        return {
            "uid": uuid.uuid4().hex,
            "change": self.token,
            "at": self.at,
            "by": self.by,
            "action": action,
            "apparatus": apparatus,
            "constant_uid": constant_uid,
            "what": what,
            "why": why,
            "imported_in": "",
        }

    def add_line(self, line: dict[str, Any], *, row_sha256: str = "") -> None:
        """Add a line as it stands, chained to the one before it."""
        if self.chained:
            if self.head is None:
                self.head = chain.head(self.connection)
            line = {**line, "row_sha256": row_sha256, "previous_sha256": self.head}
            line["chain_sha256"] = self.head = chain.digest_of_line(line)
        self.connection.execute(insert(schema.audit).values(**line))
        self.lines += 1


class Store:
    """The database at one place, and the only two ways into it: ``reading`` and ``change``."""

    def __init__(self, place: Place, *, read_only: bool, timeout_s: float = TIMEOUT_S) -> None:
        self.place = place
        self.read_only = read_only
        self.timeout_s = timeout_s
        self.engine = (
            _sqlite_engine(place, read_only=read_only, timeout_s=timeout_s)
            if place.is_sqlite
            else _postgres_engine(place, timeout_s=timeout_s)
        )

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that only reads: all its answers are of one moment."""
        options: dict[str, Any] = {"cupledger_write": False}
        if not self.place.is_sqlite:
            options |= {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        try:
            with self.engine.connect() as connection:
                connection.execution_options(**options)
                with connection.begin():
                    yield connection
        except DBAPIError as error:
            raise failures.explain(error, self.place) from None
        except UnicodeDecodeError:  # names of columns that are no text any more
            raise failures.damaged(self.place) from None

    @contextmanager
    def change(self, by: str | None = None) -> Iterator[Change]:
        """A transaction that writes: kept whole on leaving, dropped whole on any error.

        Where the connection breaks while the change is being kept, the registry is asked afterwards
        whether it was; only if that cannot be found out does the error say so.
        """
        if self.read_only:
            raise RegistryReadOnly(
                f"the registry {self.place.shown} was opened for reading only; nothing was changed"
            )
        change: Change | None = None
        ending = False
        try:
            with self.engine.connect() as connection:
                connection.execution_options(cupledger_write=True)
                with connection.begin():
                    change = Change(connection, by or who(), now(), uuid.uuid4().hex)
                    yield change
                    ending = True
        except DBAPIError as error:
            if change is None or not ending or not change.lines:
                raise failures.explain(error, self.place) from None
            if not self._was_kept(change.token, error):
                raise failures.explain(error, self.place) from None
        except UnicodeDecodeError:
            raise failures.damaged(self.place) from None

    def _was_kept(self, token: str, error: DBAPIError) -> bool:
        """Whether the change of that name is in the registry; waits for a server that restarts."""
        deadline = time.monotonic() + self.timeout_s
        while True:
            try:
                with self.reading() as connection:
                    query = select(schema.audit.c.id).where(schema.audit.c.change == token)
                    return connection.execute(query.limit(1)).first() is not None
            except RegistryError:
                if time.monotonic() > deadline or not error.connection_invalidated:
                    raise RegistryUnreachable(
                        f"the connection to the registry {self.place.shown} broke while a change"
                        " was being kept, and it could not be asked again; see whether the"
                        " change is"
                        " there (cupledger constants --history) before making it again",
                        done=None,
                    ) from None
                time.sleep(0.2)


def _sqlite_engine(place: Place, *, read_only: bool, timeout_s: float) -> Engine:
    path = place.path

    def connect() -> sqlite3.Connection:
        if path is None:
            connection = sqlite3.connect(":memory:", check_same_thread=False)
        else:
            mode = "ro" if read_only else "rw" if path.exists() else "rwc"
            address = sqlite_uri(path, mode)
            connection = sqlite3.connect(
                address, uri=True, timeout=timeout_s, check_same_thread=False
            )
        connection.text_factory = as_text  # a byte that is no UTF-8 must not end a whole list
        connection.isolation_level = None  # transactions begin where this module says so
        connection.execute("pragma foreign_keys = on")
        connection.execute("pragma synchronous = full")
        return connection

    engine = create_engine(
        "sqlite://",
        creator=connect,
        poolclass=StaticPool if path is None else QueuePool,
        hide_parameters=True,
    )
    if path is not None:
        _renew_when_stale(engine, path)

    last_end = [-1e9]

    @event.listens_for(engine, "commit")
    def _ended(connection: Connection) -> None:
        if path is not None and connection.get_execution_options().get("cupledger_write", False):
            last_end[0] = time.monotonic()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("cupledger_write", False):
            _wait_for_a_turn(connection, timeout_s, last_end)
        else:
            connection.exec_driver_sql("begin")

    return engine


def _wait_for_a_turn(connection: Connection, timeout_s: float, last_end: list[float]) -> None:
    """Begin to write as soon as nobody else does, those who wait longest trying most often.

    SQLite's own waiting tries ever more seldom, so that newcomers overtake: among writers without a
    pause one may wait for minutes. For the same reason one who has just ended a change (its moment
    is in ``last_end``) pauses before the next. The last attempt raises SQLite's own error.
    """
    raw = connection.connection.dbapi_connection
    assert raw is not None
    begun = time.monotonic()
    if begun - last_end[0] < 1.0:  # one change after the other: let others have a turn
        time.sleep(random.uniform(0.0, LONGEST_NAP_S / 4.0))
    raw.execute("pragma busy_timeout = 0")
    try:
        while (waited := time.monotonic() - begun) < timeout_s:
            try:
                raw.execute("begin immediate")
                return
            except sqlite3.OperationalError as error:
                if (error.sqlite_errorcode or 0) & 0xFF != sqlite3.SQLITE_BUSY:
                    break
            time.sleep(random.uniform(0.0, LONGEST_NAP_S / (1.0 + waited)))
        connection.exec_driver_sql("begin immediate")
    finally:
        raw.execute(f"pragma busy_timeout = {round(timeout_s * 1000)}")


def _renew_when_stale(engine: Engine, path: Path | None) -> None:
    """Never use a connection that another process opened, or whose file has been replaced.

    A forked process that goes on with its parent's SQLite handle breaks the file's locks, and a
    handle on a file that was moved away would take changes that nobody finds again.
    """

    def stamp() -> tuple[int, int, int]:
        if path is None:
            return os.getpid(), 0, 0
        try:
            found = path.stat()
        except OSError:
            return os.getpid(), -1, -1
        return os.getpid(), found.st_dev, found.st_ino

    @event.listens_for(engine, "connect")
    def _connected(_connection: Any, record: Any) -> None:
        record.info["stamp"] = stamp()

    @event.listens_for(engine, "checkout")
    def _checked_out(_connection: Any, record: Any, proxy: Any) -> None:
        if record.info["stamp"] != stamp():
            record.dbapi_connection = proxy.dbapi_connection = None
            raise DisconnectionError("opened by another process, or the file was replaced")


def _postgres_engine(place: Place, *, timeout_s: float) -> Engine:
    try:
        engine = create_engine(
            place.url or "",
            poolclass=QueuePool,
            pool_pre_ping=True,
            hide_parameters=True,
            connect_args={"connect_timeout": max(2, round(timeout_s))},
        )
    except (ImportError, NoSuchModuleError):
        raise failures.missing_driver(place) from None
    _renew_when_stale(engine, None)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("cupledger_write", False):
            connection.exec_driver_sql(f"set local lock_timeout = {round(timeout_s * 1000)}")
            connection.exec_driver_sql(f"select pg_advisory_xact_lock({WRITER_LOCK})")

    return engine
