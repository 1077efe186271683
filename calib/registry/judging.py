"""What a constant is held against before it is put in force, gathered from the registry.

`doubts` is the one question that approving, importing, restoring and pooling ask. What the limits
are, and why, stands in `calib.plausible`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from sqlalchemy import Connection, select

from calib.plausible import Beside, Doubt, OtherCup, UsedCurve, curves_of, doubts_about
from calib.registry import schema
from calib.registry.records import NewConstant, StoredConstant
from calib.registry.rows import constants_query, stored_constant

__all__ = ["beside", "doubts", "sentence"]

Constant = NewConstant | StoredConstant


def doubts(
    connection: Connection,
    constant: Constant,
    *,
    valid_from: date | None = None,
    companions: Sequence[Constant] = (),
    today: date | None = None,
) -> tuple[Doubt, ...]:
    """Why a constant should not be in force without a reason; empty where nothing speaks against it.

    ``companions`` are constants that are stored or brought in together with it: the other cups of a
    table are held against one another before any of them is in force. ``valid_from`` is the first
    day in force where it is not the constant's own.
    """
    around = beside(connection, constant, companions=companions, today=today)
    return doubts_about(constant, around, valid_from=valid_from)


def sentence(found: Iterable[Doubt]) -> str:
    """Doubts as one text, as ``failed_quality`` keeps them; empty for none."""
    return "; ".join(one.message for one in found)


def beside(
    connection: Connection,
    constant: Constant,
    *,
    companions: Sequence[Constant] = (),
    today: date | None = None,
) -> Beside:
    """The kind's other cups and the curves in use, as `calib.plausible` asks for them.

    Of each other cup: its constant among the companions, else the one in force, else its newest
    draft. A cup that nobody has calibrated tells nothing.
    """
    rows = connection.execute(select(schema.apparatus)).mappings().all()
    cups = {row["id"]: row for row in rows}
    own = cups.get(constant.apparatus)
    stored = [
        one
        for row in connection.execute(constants_query().order_by(schema.constants.c.id)).mappings()
        if (one := stored_constant(row)).status != "withdrawn" and not _is(one, constant)
    ]
    together = [one for one in companions if one is not constant and not _is(one, constant)]
    kind = "" if own is None else str(own["kind"])
    alike = {
        name
        for name, row in cups.items()
        if name != constant.apparatus and str(row["kind"]).casefold() == kind.casefold()
    }
    newest: dict[str, OtherCup] = {}
    ranked: list[Constant] = [
        *(one for one in stored if one.status == "draft"),
        *(one for one in stored if one.status == "superseded"),
        *(one for one in stored if one.status == "approved"),
        *together,
    ]
    for one in ranked:
        if one.apparatus in alike:
            newest[one.apparatus] = OtherCup(
                one.apparatus, one.constant_J_per_K, one.u_constant_J_per_K
            )
    return Beside(
        kind=kind,
        note="" if own is None else str(own["note"]),
        others=tuple(newest.values()),
        curves=tuple(_curves(stored, together)),
        today=today or date.today(),
    )


def _curves(stored: Iterable[StoredConstant], together: Iterable[Constant]) -> list[UsedCurve]:
    """Curves of the constants in force, and of those that come with this one."""
    found: list[UsedCurve] = []
    for one in stored:
        if one.status in ("approved", "superseded"):
            found += curves_of(one, f"on which constant {one.id} rests")
    for other in together:
        found += curves_of(other, "in this table")
    return found


def _is(one: Constant, other: Constant) -> bool:
    """Whether two are one record: by number where both are stored."""
    mine, theirs = getattr(one, "uid", None), getattr(other, "uid", None)
    return mine is not None and mine == theirs
