"""Is the registry in order? The database's own checks, and what must hold of constants."""

from __future__ import annotations

from datetime import date

from sqlalchemy import Connection, select

from calib.registry import schema
from calib.registry.validation import plain

NEEDS = {
    "draft": "draft",
    "approved": "approve",
    "superseded": "supersede",
    "withdrawn": "withdraw",
}
"""The action of the trail that a status needs."""
STEPS = tuple(NEEDS.values())


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
        if not isinstance(row.valid_from, date) or not isinstance(row.valid_to, date | None):
            continue  # a row that cannot be read is named elsewhere
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
    """Every constant's status is told by the trail, in an order that a constant can go through.

    Lines from another registry may stand in any order beside ours; those made here may not: a draft
    first, approved once, nothing after it was withdrawn.
    """
    c, a = schema.constants.c, schema.audit.c
    told: dict[str, list[tuple[str, str, bool]]] = {}
    lines = select(a.constant_uid, a.action, a.at, a.imported_in).where(a.action.in_(STEPS))
    for line in connection.execute(lines.order_by(a.id)):
        told.setdefault(line.constant_uid, []).append((line.action, line.at, not line.imported_in))
    found = []
    columns = (c.id, c.uid, c.apparatus, c.status, c.approved_at, c.withdrawn_at)
    for row in connection.execute(select(*columns)):
        steps = told.get(row.uid, [])
        action = NEEDS.get(row.status, "draft")
        name = f"constant {row.id} of {plain(row.apparatus)}"
        if action not in {step[0] for step in steps}:
            found.append(f"{name} is {plain(row.status)}, and the trail has no line for it")
            continue
        moments = {"approve": row.approved_at, "withdraw": row.withdrawn_at}
        found += [
            f"{name}: the trail has no line '{verb}' of the moment that it gives, {plain(moment)}"
            for verb, moment in moments.items()
            if moment is not None and (verb, moment) not in {step[:2] for step in steps}
        ]
        here = [step[0] for step in steps if step[2]]
        if steps[0][0] != "draft":
            found.append(f"{name}: the trail tells what became of it before its draft")
        if here.count("approve") > 1 or "withdraw" in here[:-1]:
            found.append(f"{name} goes back: the trail tells {', '.join(here)}")
    return tuple(found)
