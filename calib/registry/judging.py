"""What a constant is held against before it is put in force, gathered from the registry.

`doubts` is the one question that approving, importing, restoring and pooling ask. What the limits
are, and why, stands in `calib.plausible`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from sqlalchemy import Connection, or_, select

from calib.plausible import Beside, Doubt, OtherCup, UsedCurve, curves_of, doubts_about
from calib.registry import schema
from calib.registry.records import NewConstant, StoredConstant
from calib.registry.rows import constants_query, read_constants

__all__ = ["absurd", "beside", "doubts", "own_interval", "sentence"]

Constant = NewConstant | StoredConstant
NARROWEST, WIDEST = 0.9, 65.0
"""Half a 95 % interval in u: normal 1.96, Student with 1 degree of freedom 12.7, with room."""
_OF_THE_VALUE = ("negative", "uncertainty", "kind", "range", "content")


def doubts(
    connection: Connection,
    constant: Constant,
    *,
    valid_from: date | None = None,
    companions: Sequence[Constant] = (),
    today: date | None = None,
) -> tuple[Doubt, ...]:
    """Why a constant should not be in force without a reason; empty where nothing speaks against.

    ``companions`` are constants that are stored or brought in together with it: the other cups of a
    table are held against one another before any of them is in force. ``valid_from`` is the first
    day in force where it is not the constant's own.
    """
    around = beside(connection, constant, companions=companions, today=today)
    said = own_interval(constant) if isinstance(constant, StoredConstant) else ()
    amiss = tuple(Doubt("interval", text) for text in said)
    return (*doubts_about(constant, around, valid_from=valid_from), *amiss)


def own_interval(k: StoredConstant) -> tuple[str, ...]:
    """Whether the value and u agree with the 95 % interval that the calibration left."""
    low, high = k.interval95_J_per_K
    value, u = k.constant_J_per_K, k.u_constant_J_per_K
    slack = 1e-9 * max(abs(low), abs(high), u)
    if not low - slack <= value <= high + slack:
        return (f"the value, {value:.4g} J/K, lies outside its own interval, {low:.4g} to"
                f" {high:.4g} J/K",)  # fmt: skip
    if not NARROWEST * u <= (high - low) / 2.0 <= WIDEST * u:
        return (f"u, {u:.2g} J/K, does not fit its own interval, {low:.4g} to {high:.4g} J/K",)
    return ()


def sentence(found: Iterable[Doubt]) -> str:
    """Doubts as one text, as ``failed_quality`` keeps them; empty for none."""
    return "; ".join(one.message for one in found)


def absurd(constant: StoredConstant, kind: Sequence[StoredConstant]) -> bool:
    """Whether a constant's value is no cup's: it may hold for its own cup, and tells none other.

    ``kind`` are the constants of its kind's cups, itself among them or not.
    """
    others = tuple(
        OtherCup(one.apparatus, one.constant_J_per_K, one.u_constant_J_per_K)
        for one in kind
        if one.apparatus != constant.apparatus
    )
    found = doubts_about(constant, Beside(kind=constant.kind, others=others))
    return any(one.check in _OF_THE_VALUE for one in found)


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
    cups = {row.id: row for row in connection.execute(select(schema.apparatus))}
    own = cups.get(constant.apparatus)
    kind = "" if own is None else str(own.kind)
    together = [one for one in companions if one is not constant and not _is(one, constant)]
    alike = {
        name
        for name, row in cups.items()
        if name != constant.apparatus and str(row.kind).casefold() == kind.casefold()
    }
    return Beside(
        kind=kind,
        note="" if own is None else str(own.note),
        others=_others(connection, alike, together),
        curves=tuple(_curves(connection, constant, together)),
        today=today or date.today(),
    )


def _others(
    connection: Connection, alike: set[str], together: Sequence[Constant]
) -> tuple[OtherCup, ...]:
    if not alike:
        return ()
    k = schema.constants.c
    query = (
        select(k.apparatus, k.constant_j_per_k, k.u_constant_j_per_k, k.status)
        .where(k.apparatus.in_(sorted(alike)), k.status != "withdrawn")
        .order_by(k.id)
    )
    rank = {"draft": 0, "superseded": 1, "approved": 2}
    stored = sorted(connection.execute(query), key=lambda row: rank.get(row.status, 0))
    found = {row.apparatus: OtherCup(row.apparatus, row[1], row[2]) for row in stored}
    for one in together:
        if one.apparatus in alike:
            found[one.apparatus] = OtherCup(
                one.apparatus, one.constant_J_per_K, one.u_constant_J_per_K
            )
    return tuple(found.values())


def _curves(
    connection: Connection, constant: Constant, together: Sequence[Constant]
) -> list[UsedCurve]:
    """Curves of this constant that others in force rest on, or that come with this one."""
    mine = {one.sha256 for one in curves_of(constant)}
    if not mine:
        return []
    k = schema.constants.c
    named = or_(*(k.digests_json.contains(sha, autoescape=True) for sha in sorted(mine)))
    query = constants_query().where(k.status.in_(("approved", "superseded")), named).order_by(k.id)
    found: list[UsedCurve] = []
    for one in read_constants(connection, query)[0]:
        if not _is(one, constant):
            found += curves_of(one, f"on which constant {one.id} rests")
    for other in together:
        found += curves_of(other, "in this table")
    return [one for one in found if one.sha256 in mine]


def _is(one: Constant, other: Constant) -> bool:
    """Whether two are one record: by number where both are stored."""
    mine, theirs = getattr(one, "uid", None), getattr(other, "uid", None)
    return mine is not None and mine == theirs
