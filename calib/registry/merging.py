"""Bringing another registry's records into this one: conflicts are reported, nothing is lost.

Records are known by uid. What is new comes in, as a draft: that somebody approved a constant
elsewhere is told and does not put it in force here, and nothing that is in force here changes. A
constant that was withdrawn there before it came here comes in withdrawn.

With ``keep_status`` the other registry's decisions are followed: what both have takes the status
that is further on (draft, approved, superseded, withdrawn). Even then a constant that would be in
force on days for which this registry has another one, or that cannot well be true (``judging.py``),
or that was changed behind the other registry's back, waits as a draft, with the reason: a person
decides.

How the chain of hashes goes on through an import or a merge stands in ``chain.py``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import insert, select, update

from calib.registry import checks, cups, judging, schema
from calib.registry.columns import travelling
from calib.registry.connection import Change
from calib.registry.errors import RegistryError
from calib.registry.exchange import Content
from calib.registry.results import insert_result
from calib.registry.rows import all_unreadable, constants_query, read_constants
from calib.registry.timelines import Decision, Row, decide
from calib.registry.validation import Unreadable, problems, same_name

APPROVAL = ("approved_by", "approved_at", "approved_why")
STATE = ("status", *APPROVAL, "withdrawn_by", "withdrawn_at", "withdrawn_why")
_MOVES = {*STATE, "valid_from", "valid_to", "superseded_by"}
FROZEN = [column.stored for column in travelling("constants") if column.stored not in _MOVES]
NOT_FOLLOWED = "its status there is not followed"


@dataclass(frozen=True, slots=True)
class Conflict:
    """One thing on which two registries disagree, and what was done about it."""

    apparatus: str
    message: str
    constant_id: int | None = None  # the draft that waits for a decision, where there is one


@dataclass(frozen=True, slots=True)
class Arrival:
    """One constant that came in or moved on, for the eye: what, from where, in which status."""

    constant_id: int
    apparatus: str
    constant_J_per_K: float
    u_constant_J_per_K: float
    status_there: str
    status: str
    source: str
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MergeReport:
    """What an import or a merge brought, and what a person has to decide.

    ``waiting``: drafts that somebody put in force there; here they wait for an approval.
    ``left_out``: rows of the other registry that cannot be read, and what rests on them.
    """

    registered: tuple[str, ...]
    constants: tuple[int, ...]
    moved_on: tuple[str, ...]
    results: int
    audit_lines: int
    conflicts: tuple[Conflict, ...]
    arrivals: tuple[Arrival, ...] = ()
    waiting: tuple[int, ...] = ()
    left_out: tuple[Unreadable, ...] = ()

    @property
    def changed(self) -> bool:
        """Whether anything came in."""
        return bool(
            self.registered or self.constants or self.moved_on or self.results or self.audit_lines
        )


@dataclass(slots=True)
class Merge:
    """One merge under way, inside one transaction."""

    change: Change
    content: Content
    rename: Mapping[str, str]
    source: str
    keep_status: bool = False
    left_out: tuple[Unreadable, ...] = ()
    distrusted: Mapping[str, str] = field(
        default_factory=dict
    )  # uid -> what is wrong with it there
    amiss_there: tuple[str, ...] = ()  # what else was changed behind the other registry's back
    names: dict[str, str] = field(default_factory=dict)  # their identifier -> ours
    strangers: set[str] = field(default_factory=set)  # our identifiers that name another cup there
    numbers: dict[str, int] = field(default_factory=dict)  # uid -> our number
    registered: list[str] = field(default_factory=list)
    brought: list[int] = field(default_factory=list)
    moved: list[int] = field(default_factory=list)
    moved_on: list[str] = field(default_factory=list)
    there: dict[int, str] = field(default_factory=dict)  # our number -> the status there
    doubted: dict[int, tuple[str, ...]] = field(default_factory=dict)
    waiting: list[int] = field(default_factory=list)
    conflicts: list[Conflict] = field(default_factory=list)

    def run(self) -> MergeReport:
        """Bring everything in, read the whole back, and check it before it is kept."""
        connection = self.change.connection
        unread = {(bad.table, bad.number) for bad in all_unreadable(connection)}
        amiss = set(checks.problems(connection))
        self._require_renames()
        for message in self.amiss_there:
            self._conflict("", f"in {self.source}: {message}")
        for theirs in self.content["apparatus"]:
            self._apparatus(theirs)
        self._constants()
        lines = self._audit()
        results = self._results()
        arrivals = self._tell_arrivals()
        report = MergeReport(
            tuple(self.registered),
            tuple(self.brought),
            tuple(self.moved_on),
            results,
            lines,
            tuple(self.conflicts),
            arrivals,
            tuple(self.waiting),
            self.left_out,
        )
        if report.changed:
            self._note(report)
        found = [p for p in checks.problems(connection) if p not in amiss]
        found += [
            str(bad) for bad in all_unreadable(connection) if (bad.table, bad.number) not in unread
        ]
        if found:
            raise RegistryError(
                f"these records do not fit together: {found[0]}; nothing was imported"
            )
        return report

    def _require_renames(self) -> None:
        there = {row["id"] for row in self.content["apparatus"]}
        for old, new in self.rename.items():
            if old not in there:
                raise RegistryError(
                    f"{old} is not among the apparatus to bring in ({', '.join(sorted(there))});"
                    " nothing was imported"
                )
            cups.require_usable(same_name(new), "any")

    def _note(self, report: MergeReport) -> None:
        head = self.content.get("chain_head")
        of_chain = f"; the head of their chain was {head}" if _is_hash(head) else ""
        self.change.note(
            "import",
            f"{len(report.registered)} apparatus, {len(report.constants)} constants,"
            f" {report.results} results and {report.audit_lines} lines of the trail brought in"
            f" from {self.source}; {len(report.conflicts)} conflicts{of_chain}",
        )

    def _tell_arrivals(self) -> tuple[Arrival, ...]:
        """A line of the trail and a record for whatever came in or moved on."""
        for name in self.registered:
            self.change.note("import", f"{name} came in from {self.source}", apparatus=name)
        if not (self.brought or self.moved):
            return ()
        wanted = constants_query().where(schema.constants.c.id.in_([*self.brought, *self.moved]))
        found, bad = read_constants(self.change.connection, wanted.order_by(schema.constants.c.id))
        if bad:
            raise RegistryError(f"{bad[0]}; nothing was imported")
        for k in found:
            self.change.note(
                "import",
                f"constant of {k.apparatus} from {self.source}: {self.there[k.id]} there,"
                f" {k.status} here",
                apparatus=k.apparatus,
                constant_uid=k.uid,
            )
        return tuple(
            Arrival(
                k.id,
                k.apparatus,
                k.constant_J_per_K,
                k.u_constant_J_per_K,
                self.there[k.id],
                k.status,
                self.source,
                self.doubted.get(k.id, ()),
            )
            for k in found
        )

    def _apparatus(self, theirs: Row) -> None:
        table = schema.apparatus
        execute = self.change.connection.execute
        known = execute(select(table).where(table.c.uid == theirs["uid"])).mappings().first()
        name = self.rename.get(theirs["id"], theirs["id"] if known is None else known["id"])
        name = cups.stored_name(self.change.connection, name) or same_name(name)
        self.names[theirs["id"]] = name
        ours = execute(select(table).where(table.c.id == name)).mappings().first()
        if ours is None and known is None:
            execute(insert(table).values({**theirs, "id": name, "revision": 0}))
            self.registered.append(name)
        elif ours is None or ours["uid"] != theirs["uid"]:
            self.strangers.add(name)
            self._conflict(
                name,
                f"{name} was registered apart in both registries and may be two cups: constants"
                " of the"
                f" other come in as drafts; to keep them apart: --rename {theirs['id']}=NEW",
            )
        else:
            for column in ("kind", "note", "retired_on"):
                if ours[column] != theirs[column]:
                    here, there = ours[column] or "none", theirs[column] or "none"
                    self._conflict(
                        name, f"{column} of {name} is {here} here and {there} there; ours is kept"
                    )

    def _conflict(self, apparatus: str, message: str, number: int | None = None) -> None:
        self.conflicts.append(Conflict(apparatus, message, number))

    def _constants(self) -> None:
        every = {
            row["uid"]: dict(row)
            for row in self.change.connection.execute(select(schema.constants)).mappings()
        }
        ours = {uid: row for uid, row in every.items() if not problems("constants", row)}
        self.numbers = {uid: row["id"] for uid, row in every.items()}
        theirs: dict[str, dict[str, Any]] = {}
        for row in self.content["constants"]:
            mine = {**row, "apparatus": self._our_name(row["apparatus"])}
            twin = every.get(mine["uid"])
            if twin is not None and any(twin[name] != mine[name] for name in FROZEN):
                mine = self._copy_of(mine, twin["id"])
            theirs[mine["uid"]] = mine
        for uid, row in theirs.items():
            if uid not in every:
                self.numbers[uid] = self._insert_draft(row)
                self.brought.append(self.numbers[uid])
                self.there[self.numbers[uid]] = row["status"]
        self._tell_drafts(theirs)
        self._states(theirs, ours)

    def _tell_drafts(self, theirs: Mapping[str, Row]) -> None:
        """A line of our own for what came without its line, where lines had to be left out."""
        if not any(bad.table == "audit" for bad in self.left_out):
            return
        for uid, actions in self._told(theirs).items():
            if "draft" not in actions and self.numbers[uid] in self.brought:
                cup = theirs[uid]["apparatus"]
                self.change.note(
                    "draft",
                    f"constant of {cup} brought in; its own line of the trail cannot be read",
                    apparatus=cup,
                    constant_uid=uid,
                )

    def _told(self, uids: Iterable[str]) -> dict[str, set[str]]:
        """What the trail, ours and theirs, tells of each constant."""
        table = schema.audit
        told: dict[str, set[str]] = {uid: set() for uid in uids}
        ours = self.change.connection.execute(select(table.c.constant_uid, table.c.action)).all()
        theirs = [(line["constant_uid"], line["action"]) for line in self.content["audit"]]
        for uid, action in [*map(tuple, ours), *theirs]:
            if uid in told:
                told[uid].add(action)
        return told

    def _our_name(self, theirs: str) -> str:
        if theirs not in self.names:
            raise RegistryError(
                f"the records speak of {theirs!r}, which is not among their apparatus; nothing was"
                " imported"
            )
        return self.names[theirs]

    def _copy_of(self, row: dict[str, Any], number: int) -> dict[str, Any]:
        """Another value under a name that is taken: kept beside ours, as a draft of its own."""
        text = json.dumps([str(row[name]) for name in FROZEN], ensure_ascii=False)
        uid = hashlib.sha256(text.encode("utf-8")).hexdigest()[:32]
        cup = row["apparatus"]
        if uid not in self.numbers:
            self.change.note(
                "draft",
                f"a copy with other values of constant {number} of {cup}, brought in",
                apparatus=cup,
                constant_uid=uid,
            )
        self._conflict(
            cup,
            f"constant {number} of {cup} has other values there; ours is kept, and theirs is kept"
            " beside it as a draft of its own",
        )
        return {**row, "uid": uid, "status": "draft", "approved_at": None, "withdrawn_at": None}

    def _insert_draft(self, row: Row) -> int:
        table = schema.constants
        values = {name: row[name] for name in FROZEN} | {
            "status": "draft",
            "valid_from": row["valid_from"],
            "approved_by": "",
            "approved_why": "",
            "withdrawn_by": "",
            "withdrawn_why": "",
        }
        statement = insert(table).values(**values).returning(table.c.id)
        return int(self.change.connection.execute(statement).scalar_one())

    def _states(self, theirs: Mapping[str, Row], ours: Mapping[str, Row]) -> None:
        """Let the constants take their status, as ``timelines.decide`` says."""
        withheld = self._withheld(theirs, ours)
        for decision in decide(theirs, ours, self.strangers, withheld):
            row, here = decision.theirs, decision.ours
            number = self.numbers[row["uid"]]
            if decision.why is None:
                self._take_state(decision)
            elif row["status"] == "withdrawn" and here is not None:
                self._conflict(
                    row["apparatus"],
                    f"constant {number} of {row['apparatus']} was withdrawn there"
                    f" ({row['withdrawn_why']}) and is {here['status']} here; to follow: cupledger"
                    f' constants withdraw {number} --reason "…", or --keep-status',
                    number,
                )
            elif here is None or here["status"] == "draft":
                if decision.why != NOT_FOLLOWED:
                    self._waits(row, decision.why)
                else:
                    self.waiting.append(number)

    def _withheld(self, theirs: Mapping[str, Row], ours: Mapping[str, Row]) -> dict[str, str]:
        """The constants that are not to take their status, with the reason."""
        wanted = constants_query().where(
            schema.constants.c.id.in_([self.numbers[uid] for uid in theirs])
        )
        found, _ = read_constants(self.change.connection, wanted)
        self.doubted = {
            k.id: tuple(
                one.message for one in judging.doubts(self.change.connection, k, companions=found)
            )
            for k in found
        }
        told = self._told(theirs)
        withheld: dict[str, str] = {}
        for uid, row in theirs.items():
            here, status = ours.get(uid), row["status"]
            if status == "draft":
                continue
            if status == "withdrawn":
                if not self.keep_status and here is not None and here["status"] != "draft":
                    withheld[uid] = NOT_FOLLOWED
                continue
            doubted = self.doubted.get(self.numbers[uid], ())
            successor = row["superseded_by"]
            if uid in self.distrusted:
                withheld[uid] = self.distrusted[uid]
            elif doubted and (here is None or here["status"] == "draft"):
                withheld[uid] = "; ".join(doubted)
            elif not self.keep_status:
                withheld[uid] = NOT_FOLLOWED
            elif checks.NEEDS[status] not in told[uid]:
                withheld[uid] = "the trail there does not tell its status"
            elif status == "superseded" and successor not in self.numbers:
                withheld[uid] = "the constant that supersedes it did not come"
        return withheld

    def _waits(self, row: Row, why: str) -> None:
        number, cup = self.numbers[row["uid"]], row["apparatus"]
        reason = ' --reason "…"' if self.doubted.get(number) else ""
        self._conflict(
            cup,
            f"a constant of {cup} ({row['constant_j_per_k']:.2f} J/K, in force there from"
            f" {row['valid_from']}) waits as draft {number}: {why}; to use it: cupledger constants"
            f" approve {number}{reason}",
            number,
        )

    def _take_state(self, decision: Decision) -> None:
        row, here = decision.theirs, decision.ours
        number = self.numbers[row["uid"]]
        values = {name: row[name] for name in STATE}
        values |= {"valid_from": decision.start, "valid_to": decision.end}
        values["superseded_by"] = self.numbers.get(row["superseded_by"] or "")
        if here is not None:
            self.moved.append(number)
            self.there[number] = row["status"]
            self.moved_on.append(
                f"constant {number} of {row['apparatus']}: {here['status']} here, now"
                f" {row['status']}"
            )
            if here["approved_at"] is not None:  # who approved it here stays on record
                values |= {name: here[name] for name in APPROVAL}
            if values["superseded_by"] is None:
                values["superseded_by"] = here["superseded_by"]
        table = schema.constants
        self.change.connection.execute(update(table).where(table.c.id == number).values(**values))

    def _audit(self) -> int:
        table = schema.audit
        execute = self.change.connection.execute
        known = set(execute(select(table.c.uid)).scalars())
        lines = [line for line in self.content["audit"] if line["uid"] not in known]
        for line in lines:
            name = self.names.get(line["apparatus"], line["apparatus"])
            self.change.add_line({**line, "apparatus": name, "imported_in": self.change.token})
        return len(lines)

    def _results(self) -> int:
        table = schema.results
        execute = self.change.connection.execute
        known = set(execute(select(table.c.uid)).scalars())
        known |= set(execute(select(table.c.fingerprint)).scalars())
        count = 0
        for row in self.content["results"]:
            if row["uid"] in known or row["fingerprint"] in known:
                continue
            values = {key: value for key, value in row.items() if key != "constants"}
            values["apparatus"] = self._our_name(row["apparatus"])
            missing = [uid for uid in row["constants"] if uid not in self.numbers]
            if missing:
                raise RegistryError(
                    f"the result of run {row['run']} rests on a constant that is not among the"
                    " records;"
                    " nothing was imported"
                )
            known |= {row["uid"], row["fingerprint"]}
            insert_result(
                self.change.connection, values, [self.numbers[uid] for uid in row["constants"]]
            )
            count += 1
        return count


def _is_hash(value: object) -> bool:
    return (
        isinstance(value, str) and len(value) == 64 and all(c in "0123456789abcdef" for c in value)
    )
