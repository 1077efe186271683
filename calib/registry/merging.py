"""Bringing another registry's records into this one: conflicts are reported, nothing is lost.

Records are known by uid. What is new comes in; what both have takes the status that is further on
(draft, approved, superseded, withdrawn). A constant that would be in force on days for which this
registry has another one comes in as a draft, and the conflict is reported: a person decides.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import insert, select, update

from calib.registry import checks, cups, schema
from calib.registry.connection import Change
from calib.registry.errors import RegistryError
from calib.registry.exchange import Content
from calib.registry.migrations import V1_FROZEN, V3_COLUMNS, V4_COLUMNS
from calib.registry.results import insert_result
from calib.registry.timelines import Decision, Row, decide

_LATER = [text.split()[0] for text in (*V3_COLUMNS, *V4_COLUMNS)]
FROZEN = [*(name for name in V1_FROZEN if name != "id"), *_LATER]
APPROVAL = ("approved_by", "approved_at", "approved_why")
STATE = ("status", *APPROVAL, "withdrawn_by", "withdrawn_at", "withdrawn_why")


@dataclass(frozen=True, slots=True)
class Conflict:
    """One thing on which two registries disagree, and what was done about it."""

    apparatus: str
    message: str
    constant_id: int | None = None  # the draft that waits for a decision, where there is one


@dataclass(frozen=True, slots=True)
class MergeReport:
    """What an import or a merge brought, and what a person has to decide."""

    registered: tuple[str, ...]
    constants: tuple[int, ...]
    moved_on: tuple[str, ...]
    results: int
    audit_lines: int
    conflicts: tuple[Conflict, ...]

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
    names: dict[str, str] = field(default_factory=dict)  # their identifier -> ours
    strangers: set[str] = field(default_factory=set)  # our identifiers that name another cup there
    numbers: dict[str, int] = field(default_factory=dict)  # uid -> our number
    registered: list[str] = field(default_factory=list)
    brought: list[int] = field(default_factory=list)
    moved_on: list[str] = field(default_factory=list)
    conflicts: list[Conflict] = field(default_factory=list)

    def run(self) -> MergeReport:
        """Bring everything in, and check the whole before it is kept."""
        self._require_renames()
        for theirs in self.content["apparatus"]:
            self._apparatus(theirs)
        self._constants()
        lines = self._audit()
        results = self._results()
        report = MergeReport(
            tuple(self.registered),
            tuple(self.brought),
            tuple(self.moved_on),
            results,
            lines,
            tuple(self.conflicts),
        )
        problems = checks.problems(self.change.connection)
        if problems:
            raise RegistryError(
                f"these records do not fit together: {problems[0]}; nothing was imported"
            )
        if report.changed:
            self._note(report)
        return report

    def _require_renames(self) -> None:
        there = {row["id"] for row in self.content["apparatus"]}
        for old, new in self.rename.items():
            if old not in there:
                raise RegistryError(
                    f"{old} is not among the apparatus to bring in ({', '.join(sorted(there))});"
                    " nothing was imported"
                )
            cups.require_usable(new, "any")

    def _note(self, report: MergeReport) -> None:
        self.change.note(
            "import",
            f"{len(report.registered)} apparatus, {len(report.constants)} constants,"
            f" {report.results} results and {report.audit_lines} lines of the trail brought in;"
            f" {len(report.conflicts)} conflicts",
        )

    def _apparatus(self, theirs: Row) -> None:
        table = schema.apparatus
        execute = self.change.connection.execute
        known = execute(select(table).where(table.c.uid == theirs["uid"])).mappings().first()
        name = self.rename.get(theirs["id"], theirs["id"] if known is None else known["id"])
        self.names[theirs["id"]] = name
        ours = execute(select(table).where(table.c.id == name)).mappings().first()
        if ours is None and known is None:
            execute(insert(table).values({**theirs, "id": name}))
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
        table = schema.constants
        ours = {
            row["uid"]: dict(row)
            for row in self.change.connection.execute(select(table)).mappings()
        }
        self.numbers = {uid: row["id"] for uid, row in ours.items()}
        theirs: dict[str, dict[str, Any]] = {}
        for row in self.content["constants"]:
            mine = {**row, "apparatus": self._our_name(row["apparatus"])}
            twin = ours.get(mine["uid"])
            if twin is not None and any(twin[name] != mine[name] for name in FROZEN):
                mine = self._copy_of(mine, twin["id"])
            theirs[mine["uid"]] = mine
        fresh = [uid for uid in theirs if uid not in ours]
        for uid in fresh:
            self.numbers[uid] = self._insert_draft(theirs[uid])
            self.brought.append(self.numbers[uid])
        self._states(theirs, ours)

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
        for decision in decide(theirs, ours, self.strangers):
            if decision.why is None:
                self._take_state(decision)
            elif decision.ours is None or decision.ours["status"] == "draft":
                self._waits(decision.theirs, decision.why)

    def _waits(self, row: Row, why: str) -> None:
        number, cup = self.numbers[row["uid"]], row["apparatus"]
        self._conflict(
            cup,
            f"a constant of {cup} ({row['constant_j_per_k']:.2f} J/K, in force there from"
            f" {row['valid_from']}) waits as draft {number}: {why}; to use it: cupledger constants"
            f" approve {number}",
            number,
        )

    def _take_state(self, decision: Decision) -> None:
        row, here = decision.theirs, decision.ours
        number = self.numbers[row["uid"]]
        values = {name: row[name] for name in STATE}
        values |= {"valid_from": decision.start, "valid_to": decision.end}
        values["superseded_by"] = self.numbers.get(row["superseded_by"] or "")
        if here is not None:
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
            execute(
                insert(table).values({**line, "apparatus": name, "imported_in": self.change.token})
            )
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
            insert_result(
                self.change.connection, values, [self.numbers[uid] for uid in row["constants"]]
            )
            count += 1
        return count
