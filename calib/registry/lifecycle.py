"""A constant's life: draft, approved, superseded or withdrawn. Its values are never edited.

The periods of one apparatus' constants never overlap. A constant that is approved takes over from
its ``valid_from`` on: the one that was in force that day ends there and is superseded; where a
later one is already approved, the new one ends where that begins. A withdrawn constant leaves a
gap, and nothing fills it by itself: a cup whose constant was withdrawn may have changed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from sqlalchemy import Connection, insert, select, update

from calib.plausible import doubts_about, remarks_about
from calib.plausible.facts import details_of
from calib.registry import cups, judging, schema
from calib.registry.connection import Change
from calib.registry.errors import RegistryError
from calib.registry.records import NewConstant, StoredConstant
from calib.registry.rows import constant_values, constants_query, read_constants
from calib.registry.validation import plain, same_name

c = schema.constants.c


def add_draft(change: Change, new: NewConstant) -> int:
    """Store one constant as a draft and return its number."""
    cup = cups.find(change.connection, new.apparatus.strip())
    if cup.retired_on is not None and new.valid_from >= cup.retired_on:
        raise RegistryError(
            f"{cup.id} was retired on {cup.retired_on} ({cup.retired_why}), and the constant"
            " would hold"
            f" from {new.valid_from}; nothing was changed"
        )
    values = constant_values(new, by=change.by, at=change.at) | {"apparatus": cup.id}
    number = change.connection.execute(
        insert(schema.constants).values(**values).returning(c.id)
    ).scalar_one()
    change.note(
        "draft",
        f"constant of {cup.id} drafted: {new.constant_J_per_K:.2f} ±"
        f" {new.u_constant_J_per_K:.2f} J/K by {new.method}, valid from {new.valid_from}",
        apparatus=cup.id,
        constant_uid=values["uid"],
        why=new.note,
    )
    return int(number)


def keep(change: Change, new: NewConstant, *, approved: bool, reason: str) -> tuple[int, bool]:
    """Store one constant unless it is there already: its number, and whether it was there.

    With ``approved`` it is put in force too, unless it failed its checks and no reason is given.
    A twin that was held back for what no longer holds (a date that is told now) is no twin.
    """
    cup = cups.stored_name(change.connection, new.apparatus.strip())
    query = constants_query().where(c.apparatus == cup, c.status != "withdrawn")
    stored, _ = read_constants(change.connection, query.order_by(c.id))
    same = [k for k in stored if is_same(k, new)]
    twin = next((k for k in same if new.failed_quality or not k.held_back), None)
    number = add_draft(change, new) if twin is None else twin.id
    is_draft = twin is None or twin.status == "draft"
    if approved and is_draft and (not new.failed_quality or reason.strip()):
        approve(change, number, reason, None, judged=True)
    return number, twin is not None


def judged(connection: Connection, new: Sequence[NewConstant]) -> list[NewConstant]:
    """Constants as they are to be stored: with what speaks against each, and what to know of it.

    They are held against one another and against what is in force (`calib.registry.judging`).
    """
    found = []
    for one in new:
        around = judging.beside(connection, one, companions=new)
        doubts = doubts_about(one, around)
        said = [text for text in (one.failed_quality, judging.sentence(doubts)) if text]
        details = {**details_of(one), "doubts": [doubt.to_json() for doubt in doubts]}
        remarks = () if said else remarks_about(one, around)
        found.append(replace(
            one,
            failed_quality="; ".join(said),
            warnings=(*one.warnings, *remarks),
            details_json=json.dumps(details, ensure_ascii=False, default=str),
        ))  # fmt: skip
    return found


def approve(
    change: Change,
    number: int,
    reason: str,
    valid_from: date | None,
    *,
    judged: bool = False,
    companions: Sequence[StoredConstant] = (),
) -> None:
    """Put a draft in force from its date on, ending what was in force before.

    What speaks against it is asked anew (``judged``: it was just now), since other cups and other
    constants may have come since it was stored; then a reason is needed, and the trail keeps both.
    """
    draft = get(change, number)
    if draft.status != "draft":
        raise RegistryError(
            f"constant {number} of {draft.apparatus} is {draft.status}, and only a draft can be"
            " approved;"
            " nothing was changed"
        )
    against = draft.failed_quality
    if not judged:
        kept = {one["check"] for one in draft.doubts}
        fresh = judging.doubts(
            change.connection, draft, valid_from=valid_from, companions=companions
        )
        said = [one.message for one in fresh if one.check not in kept]
        against = "; ".join([*((against,) if against else ()), *said])
    if against and not reason.strip():
        raise RegistryError(
            f"constant {number} of {draft.apparatus} failed its checks ({against});"
            " approve"
            " it all the same by giving a reason with --reason; nothing was changed"
        )
    start = valid_from or draft.valid_from
    although = f", although: {against}" if against else ""
    earlier, later = _neighbours(change, draft.apparatus, start)
    if earlier is not None:  # before the draft: at most one is approved at any moment
        _end(change, earlier, start, draft.id)
    values = {
        "status": "approved" if later is None else "superseded",
        "valid_from": start,
        "valid_to": None if later is None else later.valid_from,
        "superseded_by": None if later is None else later.id,
        "approved_by": change.by,
        "approved_at": change.at,
        "approved_why": reason.strip(),
    }
    change.connection.execute(update(schema.constants).where(c.id == number).values(**values))
    change.note(
        "approve",
        f"constant of {draft.apparatus} approved, in force from {start}{although}",
        apparatus=draft.apparatus,
        constant_uid=draft.uid,
        why=reason.strip(),
    )
    if earlier is not None:
        _note_superseded(change, earlier, start)
    if later is not None:
        _note_superseded(change, draft, later.valid_from)


def approve_together(
    change: Change, numbers: Sequence[int], reason: str, valid_from: date | None
) -> None:
    """Put several drafts in force, all or none; they are held against one another."""
    drafts = [get(change, number) for number in numbers]
    for number in numbers:
        approve(change, number, reason, valid_from, companions=drafts)


def _neighbours(
    change: Change, apparatus: str, day: date
) -> tuple[StoredConstant | None, StoredConstant | None]:
    """The constant in force on ``day``, and the first one that begins after it."""
    in_use = constants_query().where(
        c.apparatus == apparatus, c.status.in_(("approved", "superseded"))
    )
    found, bad = read_constants(change.connection, in_use.order_by(c.valid_from))
    if bad:
        raise RegistryError(
            f"{bad[0]}, and it may be in force; take it out of use first (cupledger constants"
            f' withdraw {bad[0].number} --reason "…"); nothing was changed'
        )
    covering = [k for k in found if k.in_force_on(day)]
    following = [
        k for k in found if k.valid_from > day and (k.valid_to is None or k.valid_to > k.valid_from)
    ]
    return covering[-1] if covering else None, following[0] if following else None


def _end(change: Change, old: StoredConstant, day: date, by_number: int) -> None:
    change.connection.execute(
        update(schema.constants)
        .where(c.id == old.id)
        .values(status="superseded", valid_to=day, superseded_by=by_number)
    )


def _note_superseded(change: Change, old: StoredConstant, day: date) -> None:
    change.note(
        "supersede",
        f"constant of {old.apparatus} superseded by a newer one from {day} on",
        apparatus=old.apparatus,
        constant_uid=old.uid,
    )


def withdraw(change: Change, number: int, reason: str) -> None:
    """Take a constant out of use for all dates, one that cannot be read, too; say why."""
    query = select(c.uid, c.apparatus, c.status, c.withdrawn_why).where(c.id == number)
    old = change.connection.execute(query).first()
    if old is None:
        raise no_such_constant(number)
    cup = plain(old.apparatus)
    if not reason.strip():
        raise RegistryError(
            f"say why constant {number} of {cup} is withdrawn (--reason); nothing was changed"
        )
    if old.status == "withdrawn":
        raise RegistryError(
            f"constant {number} of {cup} was withdrawn before ({plain(old.withdrawn_why)});"
            " nothing was"
            " changed"
        )
    change.connection.execute(
        update(schema.constants)
        .where(c.id == number)
        .values(
            status="withdrawn",
            withdrawn_by=change.by,
            withdrawn_at=change.at,
            withdrawn_why=reason.strip(),
        )
    )
    change.note(
        "withdraw",
        f"constant of {cup} withdrawn (it was {plain(old.status)})",
        apparatus=old.apparatus if plain(old.apparatus) == old.apparatus else "",
        constant_uid=old.uid if plain(old.uid) == old.uid else "",
        why=reason.strip(),
    )


def get(change: Change, number: int) -> StoredConstant:
    """The constant of that number. Raises RegistryError where there is none that can be read."""
    found, bad = read_constants(change.connection, constants_query().where(c.id == number))
    if bad:
        raise RegistryError(f"{bad[0]}; nothing was changed")
    if not found:
        raise no_such_constant(number)
    return found[0]


def no_such_constant(number: int) -> RegistryError:
    """The error for a number that no constant has."""
    return RegistryError(
        f"there is no constant {number}; 'cupledger constants' lists those there are; nothing"
        " was changed"
    )


def is_same(stored: StoredConstant, new: NewConstant) -> bool:
    """Whether ``new`` is what ``stored`` holds already: same inputs, method and result."""
    return (
        same_name(stored.apparatus) == same_name(new.apparatus)
        and stored.method == new.method
        and stored.digests == new.digests
        and stored.rows_json == new.rows_json
        and math.isclose(stored.constant_J_per_K, new.constant_J_per_K, rel_tol=1e-9, abs_tol=1e-9)
        and math.isclose(stored.u_constant_J_per_K, new.u_constant_J_per_K, rel_tol=1e-9)
    )
