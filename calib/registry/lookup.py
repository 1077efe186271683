"""What is asked of the register: the constant in force on a date, a history, a kind's pool."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Select, or_, select

from calib.registry import cups, judging, results, schema
from calib.registry.errors import NoConstant, RegistryError
from calib.registry.lifecycle import no_such_constant
from calib.registry.records import AuditLine, StoredConstant
from calib.registry.rows import constants_query, read_constants, read_lines
from calib.registry.validation import Unreadable

if TYPE_CHECKING:
    from calib.registry.pooling import KindPooled

c = schema.constants.c


def fetch(
    connection: Connection, query: Select[Any]
) -> tuple[tuple[StoredConstant, ...], tuple[Unreadable, ...]]:
    """The constants of a query, each with its number of recorded uses; and what cannot be read."""
    found, bad = read_constants(connection, query)
    counted = results.uses(connection, found[0].id if len(found) == 1 else None) if found else {}
    return tuple(replace(k, uses=counted.get(k.id, 0)) for k in found), tuple(bad)


def constant(connection: Connection, number: int) -> StoredConstant:
    """One constant by its number. Raises RegistryError where none can be read."""
    found = constant_or_why(connection, number)
    if isinstance(found, Unreadable):
        raise RegistryError(f"{found}; nothing was changed")
    return found


def constant_or_why(connection: Connection, number: int) -> StoredConstant | Unreadable:
    """One constant by its number, or why it cannot be read. Raises RegistryError for none."""
    found, bad = fetch(connection, constants_query().where(c.id == number))
    if not found and not bad:
        raise no_such_constant(number)
    return found[0] if found else bad[0]


def constants(
    connection: Connection, apparatus: str | None, status: str | None
) -> tuple[tuple[StoredConstant, ...], tuple[Unreadable, ...]]:
    """All constants, or those of one apparatus or one status, by apparatus and date.

    Beside them the rows among them that cannot be read.
    """
    query = constants_query().order_by(c.apparatus, c.valid_from, c.id)
    if apparatus is not None:
        query = query.where(c.apparatus == cups.find(connection, apparatus).id)
    if status is not None:
        query = query.where(c.status == status)
    return fetch(connection, query)


def constant_for(connection: Connection, apparatus: str, day: date) -> StoredConstant:
    """The constant in force for that apparatus on that day.

    Raises UnknownApparatus or NoConstant; the message says what would mend it.
    """
    cup = cups.find(connection, apparatus)
    if cup.retired_on is not None and day >= cup.retired_on:
        raise NoConstant(
            f"{apparatus} was retired on {cup.retired_on} ({cup.retired_why}), and the run is"
            f" dated {day};"
            " correct the date or the apparatus",
            apparatus=apparatus,
        )
    query = constants_query().where(c.apparatus == cup.id)
    found, bad = fetch(connection, query.order_by(c.valid_from.desc(), c.id.desc()))
    in_force = [k for k in found if k.in_force_on(day)]
    if not in_force and bad:
        raise NoConstant(
            f"no constant of {apparatus} that can be read is in force on {day}: {bad[0]}; take it"
            f' out of use (cupledger constants withdraw {bad[0].number} --reason "…") and calibrate'
            " the cup again, or bring in an export",
            apparatus=apparatus,
        )
    if not in_force:
        raise _none_in_force(connection, cup.id, day)
    return in_force[0]


def _none_in_force(connection: Connection, apparatus: str, day: date) -> NoConstant:
    """Say why no constant is in force, and which command would mend it."""
    every, _ = constants(connection, apparatus, None)
    later = [k for k in every if k.status in {"approved", "superseded"} and k.valid_from > day]
    withdrawn = [k for k in every if k.status == "withdrawn" and k.valid_from <= day]
    drafts = [k for k in every if k.status == "draft"]
    start = f"no constant of {apparatus} is in force on {day}"
    mend = "calibrate it: cupledger calibrate TABLE --approve"
    if drafts:
        numbers = ", ".join(str(k.id) for k in drafts)
        mend = (
            f"approve a draft ({numbers}): cupledger constants approve {drafts[-1].id}; or {mend}"
        )
    if later:
        why = f"the first after that day is constant {later[0].id}, from {later[0].valid_from}"
    elif withdrawn:
        last = withdrawn[-1]
        why = f"constant {last.id} was withdrawn ({last.withdrawn_why})"
    elif drafts:
        why = "there are only drafts"
    else:
        why = "it has never been calibrated"
    return NoConstant(f"{start}: {why}; {mend}", apparatus=apparatus)


def kind_pooled(connection: Connection, kind: str, day: date) -> KindPooled:
    """The pooled value of a kind, from each cup's constant in force on that day.

    Constants whose value no such cup can have, though a person put them in force, are left out.
    Raises NoConstant where fewer than two cups of the kind have one.
    """
    from calib.registry.pooling import Member, pool

    query = constants_query().where(
        schema.apparatus.c.kind == kind,
        or_(schema.apparatus.c.retired_on.is_(None), schema.apparatus.c.retired_on > day),
        c.status.in_(("approved", "superseded")),
    )
    readable, _ = fetch(connection, query.order_by(c.apparatus))
    in_force = [k for k in readable if k.in_force_on(day)]
    found = tuple(k for k in in_force if not judging.absurd(k, in_force))
    if len(found) < 2:
        raise NoConstant(
            f"the kind {kind!r} has {len(found)} cup{'' if len(found) == 1 else 's'} with a"
            " constant in"
            f" force on {day}, and two are needed to say how cups of a kind differ; calibrate more:"
            " cupledger calibrate TABLE --approve"
        )
    members = tuple(
        Member(
            k.apparatus,
            k.id,
            k.constant_J_per_K,
            k.u_constant_J_per_K,
            k.heat_loss_W_per_K,
            k.u_heat_loss_W_per_K,
        )
        for k in found
    )
    left_out = tuple(one.apparatus for one in in_force if one not in found)
    return replace(pool(kind, members), left_out=left_out)


def audit(
    connection: Connection, apparatus: str | None, number: int | None, limit: int | None
) -> tuple[tuple[AuditLine, ...], tuple[Unreadable, ...]]:
    """The trail, oldest line first; of one apparatus or constant, or the last ``limit`` lines."""
    table = schema.audit
    query = select(table).order_by(table.c.id.desc())
    if apparatus is not None:
        query = query.where(table.c.apparatus == cups.stored_name(connection, apparatus))
    if number is not None:
        query = query.where(table.c.constant_uid == constant(connection, number).uid)
    if limit is not None:
        query = query.limit(limit)
    found, bad = read_lines(connection, query)
    return tuple(reversed(found)), tuple(reversed(bad))
