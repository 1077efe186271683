"""Was anything in the registry changed behind its back? Rows and lines against the chain of hashes.

What the chain is, what it can tell and what it cannot stands in ``calib.registry.chain``. Besides
the chain this looks for rows that cannot be read, for what cannot be (``checks.py``), and for
constants whose value disagrees with the interval that their own calibration left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from calib.registry import chain, checks
from calib.registry.judging import own_interval
from calib.registry.rows import all_unreadable, constants_query, read_constants
from calib.registry.triggers import missing_guards
from calib.registry.validation import plain

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it was left: the row it concerns, and a sentence.

    ``table`` is apparatus, constants, audit (a line of the trail), results, guards or registry;
    ``number`` the row's number there, or the cup's identifier; ``uid`` that of a constant.
    """

    table: str
    number: int | str | None
    apparatus: str
    message: str
    uid: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was looked at, and what is not as it was left.

    ``head`` is the newest hash; ``since`` the moment at which the chain begins; ``older`` the lines
    before it, which one hash holds together; ``after_head`` the lines added since the head that was
    asked for.
    """

    head: str
    since: str
    lines: int
    older: int
    constants_seen: int
    apparatus_seen: int
    findings: tuple[Finding, ...]
    after_head: int | None = None

    @property
    def fine(self) -> bool:
        """Whether nothing was found."""
        return not self.findings

    def constants(self) -> dict[str, str]:
        """What was found of each constant, by uid."""
        return {one.uid: one.message for one in self.findings if one.uid}

    def of_the_whole(self) -> tuple[str, ...]:
        """What was found of apparatus, trail and guards, without the rows that cannot be read."""
        return tuple(
            one.message
            for one in self.findings
            if one.table in {"apparatus", "audit", "guards"}
            and " cannot be read: " not in one.message
        )

    def against(self, constant_id: int, apparatus: str) -> tuple[str, ...]:
        """What speaks against a certificate of this constant: of itself, its cup, the trail."""
        return tuple(
            one.message
            for one in self.findings
            if (one.table == "constants" and one.number == constant_id)
            or (one.table == "constants" and one.number is None and one.apparatus == apparatus)
            or (one.table == "apparatus" and one.number == apparatus)
            or one.table in {"audit", "registry"}
        )


def verify(connection: Connection, head: str = "") -> Verdict:
    """Hold every line, constant and apparatus against the chain.

    ``head`` is a hash that was written down before (on a certificate, from an earlier call): it
    must be found in the chain.
    """
    lines = chain.raw_rows(connection, "audit")
    constants = chain.raw_rows(connection, "constants")
    apparatus = chain.raw_rows(connection, "apparatus")
    older = [line for line in lines if not line["chain_sha256"]]
    chained = [line for line in lines if line["chain_sha256"]]
    findings = [
        Finding(bad.table, bad.number, bad.apparatus, str(bad))
        for bad in all_unreadable(connection)
    ]
    findings += _links(lines)
    uid_of = {row["id"]: row["uid"] for row in constants}
    told = _newest(chained)
    findings += _rows("constants", constants, told, uid_of)
    findings += _rows("apparatus", apparatus, told, {})
    findings += _gone(told, constants, apparatus)
    findings += [Finding("registry", None, "", problem) for problem in checks.problems(connection)]
    readable, _ = read_constants(connection, constants_query())
    findings += [
        Finding("constants", k.id, k.apparatus, f"constant {k.id} of {k.apparatus}: {why}", k.uid)
        for k in readable
        for why in own_interval(k)
    ]
    missing = missing_guards(connection)
    if missing:
        names = ", ".join(missing[:3]) + (", ..." if len(missing) > 3 else "")
        findings.append(
            Finding(
                "guards",
                None,
                "",
                f"{len(missing)} of the database's own guards are gone ({names}): another program"
                " has taken them away to change what may not be changed",
            )
        )
    hashes = [line["chain_sha256"] for line in chained]
    after = None
    if head:
        wanted = [
            n for n, one in enumerate(hashes) if str(one).startswith("".join(head.lower().split()))
        ]
        if wanted:
            after = len(hashes) - 1 - wanted[-1]
        else:
            findings.append(
                Finding(
                    "audit",
                    None,
                    "",
                    f"the head {plain(head)} is nowhere in the chain: the trail is another one, or"
                    " lines were taken away since it was written down",
                )
            )
    return Verdict(
        head=str(hashes[-1]) if hashes else "",
        since=plain(chained[0]["at"]) if chained else "",
        lines=len(lines),
        older=len(older),
        constants_seen=len(constants),
        apparatus_seen=len(apparatus),
        findings=_once(findings),
        after_head=after,
    )


def _once(findings: list[Finding]) -> tuple[Finding, ...]:
    return tuple(dict.fromkeys(findings))


def _name(line: Row) -> str:
    what = ", ".join(plain(line[key]) for key in ("at", "action", "apparatus") if line[key])
    return f"line {line['id']} of the trail ({what})"


def _links(lines: list[Row]) -> list[Finding]:
    """Each line as it was written, after the one it was written after."""
    found: list[Finding] = []
    older: list[Row] = []
    seen: set[str] = set()
    last: Row | None = None

    def say(line: Row, message: str) -> None:
        found.append(Finding("audit", line["id"], plain(line["apparatus"]), message))

    for line in lines:
        if not line["chain_sha256"]:
            if last is None:
                older.append(line)
            else:
                say(line, f"{_name(line)} is in no chain: it was put in by another program")
            continue
        if chain.digest_of_line(line) != line["chain_sha256"]:
            say(line, f"{_name(line)} was changed after it was written")
        previous = line["previous_sha256"]
        if last is None:
            if previous:
                say(line, f"the beginning of the trail, before {_name(line)}, is gone")
            elif chain.digest_of_earlier(older) != line["row_sha256"]:
                say(
                    line,
                    f"of the {len(older)} lines of the trail that are older than its chain, one was"
                    " changed, taken away or put in since the chain began",
                )
        elif previous != last["chain_sha256"]:
            what = (
                f"after {_name(last)} a line was put in" if previous in seen
                else f"between {_name(last)} and {_name(line)} a line is gone or was changed"
            )  # fmt: skip
            say(line, what)
        seen.add(str(line["chain_sha256"]))
        last = line
    return found


def _newest(chained: list[Row]) -> dict[tuple[str, str], Row]:
    """The newest line of this registry that holds each row: by table and uid or identifier."""
    told: dict[tuple[str, str], Row] = {}
    for line in chained:
        if line["imported_in"] or not line["row_sha256"]:
            continue
        if line["constant_uid"]:
            told["constants", line["constant_uid"]] = line
        elif line["apparatus"]:
            told["apparatus", line["apparatus"]] = line
    return told


def _rows(
    table: str, rows: list[Row], told: Mapping[tuple[str, str], Row], uid_of: Mapping[Any, Any]
) -> list[Finding]:
    """Each row as its newest line left it."""
    found = []
    for row in rows:
        cup = plain(row["id" if table == "apparatus" else "apparatus"])
        number = cup if table == "apparatus" else row["id"]
        name = cup if table == "apparatus" else f"constant {row['id']} of {cup}"
        uid = str(row["uid"]) if table == "constants" else ""
        line = told.get((table, row["id" if table == "apparatus" else "uid"]))
        if line is None:
            message = f"{name} stands in no line of the trail: it was put in by another program"
        elif chain.digest_of_row(table, row, uid_of) == line["row_sha256"]:
            continue
        else:
            message = (
                f"{name} was changed since {_name(line)} was written: {plain_long(line['what'])}"
            )
        found.append(Finding(table, number, cup, message, uid))
    return found


def plain_long(value: object) -> str:
    """A sentence of the trail as a message shows it."""
    return "".join(c if c.isprintable() else " " for c in str(value))[:200]


def _gone(
    told: Mapping[tuple[str, str], Row], constants: list[Row], apparatus: list[Row]
) -> list[Finding]:
    """Rows that the trail holds and that are not there any more."""
    there = {("constants", row["uid"]) for row in constants}
    there |= {("apparatus", row["id"]) for row in apparatus}
    return [
        Finding(
            key[0],
            None,
            plain(line["apparatus"]),
            f"{'a constant' if key[0] == 'constants' else 'the apparatus'}"
            f" {'of ' if key[0] == 'constants' else ''}{plain(line['apparatus'])} is gone that"
            f" {_name(line)} tells of: {plain_long(line['what'])}",
        )
        for key, line in told.items()
        if key not in there
    ]
