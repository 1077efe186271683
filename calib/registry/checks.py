"""Is the registry in order? The database's own checks, and what must hold of constants."""

from __future__ import annotations

from datetime import date

from sqlalchemy import Connection, select

from calib.registry import schema


def problems(connection: Connection) -> tuple[str, ...]:
    """What is out of order, in sentences; empty where all is well."""
    return (*database_problems(connection), *timeline_problems(connection), *untold(connection))


def database_problems(connection: Connection) -> tuple[str, ...]:
    """What the database finds wrong with its own pages and links (SQLite only)."""
    if connection.dialect.name != "sqlite":
        return ()
    found = [
        f"the file is damaged: {row[0]}"
        for row in connection.exec_driver_sql("pragma integrity_check")
        if row[0] != "ok"
    ]
    found += [
        f"a row of {row[0]} points to a row of {row[2]} that is not there"
        for row in connection.exec_driver_sql("pragma foreign_key_check")
    ]
    return tuple(found)


def timeline_problems(connection: Connection) -> tuple[str, ...]:
    """No two constants of one apparatus are in force on the same day; at most one is approved."""
    c = schema.constants.c
    query = (
        select(c.id, c.apparatus, c.valid_from, c.valid_to, c.status)
        .where(c.status.in_(("approved", "superseded")))
        .order_by(c.apparatus, c.valid_from, c.id)
    )
    found = []
    before = None
    for row in connection.execute(query):
        if row.valid_to is not None and row.valid_to <= row.valid_from:
            continue
        same = before is not None and before.apparatus == row.apparatus
        if before is not None and same and (before.valid_to or date.max) > row.valid_from:
            found.append(
                f"constants {before.id} and {row.id} of {row.apparatus} are both in force on"
                f" {row.valid_from}"
            )
        before = row
    return tuple(found)


def untold(connection: Connection) -> tuple[str, ...]:
    """Every constant's status is told by the trail."""
    c, a = schema.constants.c, schema.audit.c
    told: dict[str, set[str]] = {}
    for line in connection.execute(select(a.constant_uid, a.action).where(a.constant_uid != "")):
        told.setdefault(line.constant_uid, set()).add(line.action)
    needs = {"approved": "approve", "superseded": "supersede", "withdrawn": "withdraw"}
    found = []
    for row in connection.execute(select(c.id, c.uid, c.apparatus, c.status)):
        action = needs.get(row.status, "draft")
        if action not in told.get(row.uid, set()):
            found.append(
                f"constant {row.id} of {row.apparatus} is {row.status}, and the trail has no"
                " line for it"
            )
    return tuple(found)
