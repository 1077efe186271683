"""Writers killed at random moments, many writers at once, a server killed under them.

    python -m tests.benchmarks.kill_registry --kills 1000 --processes 8 --changes 500 --postgres

Three questions, a table each:

1. A writer is ended by SIGKILL at a random moment. Does the registry open, pass its checks, and
   hold every change that the writer had been told was done? Is the change under way there whole or
   not at all?
2. Several processes write at once. Is any change lost or doubled?
3. The same on PostgreSQL while the server itself is killed and restarted.

A writer makes the changes that the commands make: ``calibrate --approve`` (several drafts stored
and approved in one go), ``approve``, ``withdraw`` and ``import``. It says what it is about to do
and, once told that it is done, that it is done, through a pipe that outlives it.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

from calib.registry import NewConstant, Registry, RegistryError, StoredConstant, open_registry
from calib.registry.errors import RegistryUnreachable
from tests.calib.registry import postgres_server

CUPS = ("H1", "H2", "H3", "H4")
START = date(2026, 9, 1)
IMPORTS = 40
KILLS_PER_REGISTRY = 50


def constant(apparatus: str, note: str, number: int) -> NewConstant:
    return NewConstant(
        apparatus=apparatus,
        method="mixing",
        constant_J_per_K=20.0 + number % 7,
        u_constant_J_per_K=0.6,
        valid_from=START + timedelta(days=number % 400),
        rows_json=json.dumps([{"run": str(k), "in_cup_g": "50.02"} for k in range(20)]),
        note=note,
    )


# The changes a writer makes. Each has a name of its own, which its records carry.


def calibrate(registry: Registry, name: str, number: int, folder: Path) -> None:
    new = [constant(cup, f"{name}/{cup}", number) for cup in CUPS[:3]]
    registry.add_drafts(new, approve=True, reason="new")


def approve(registry: Registry, name: str, number: int, folder: Path) -> None:
    drafts = [k.id for k in registry.constants(status="draft")]
    if not drafts:
        drafts = [registry.add_draft(constant(CUPS[number % 4], "spare", number))]
    registry.approve(drafts[number % len(drafts)], reason=name)


def withdraw(registry: Registry, name: str, number: int, folder: Path) -> None:
    there = [k.id for k in registry.constants() if k.status != "withdrawn"]
    if not there:
        there = [registry.add_draft(constant(CUPS[number % 4], "spare", number))]
    registry.withdraw(there[number % len(there)], name)


def bring_in(registry: Registry, name: str, number: int, folder: Path) -> None:
    registry.import_constants(folder / f"import-{number % IMPORTS}.json")


Change = Callable[[Registry, str, int, Path], None]
CHANGES: dict[str, Change] = {
    "calibrate --approve": calibrate,
    "approve": approve,
    "withdraw": withdraw,
    "import": bring_in,
}


def prepare_imports(registry: Registry, folder: Path) -> None:
    """Files with three new constants each, as somebody else's registry would write them."""
    with open_registry(":memory:") as other:
        for number in range(IMPORTS):
            other.merge(registry, keep_status=True)
            other.add_drafts([constant("H4", f"import-{number}/{k}", 0) for k in range(3)])
            other.export_constants(folder / f"import-{number}.json")


def present(stored: Iterable[StoredConstant], kind: str, name: str, number: int) -> tuple[int, int]:
    """How many of a change's records are there, and how many a whole one has."""
    match kind:
        case "calibrate --approve":
            return sum(k.note.startswith(f"{name}/") and bool(k.approved_at) for k in stored), 3
        case "approve":
            return sum(k.approved_why == name for k in stored), 1
        case "withdraw":
            return sum(k.withdrawn_why == name for k in stored), 1
        case _:
            return sum(k.note.startswith(f"import-{number % IMPORTS}/") for k in stored), 3


def table(title: str, rows: Iterable[tuple[str, object]]) -> str:
    return "\n".join([f"| {title} | |", "|---|---|", *(f"| {a} | {b} |" for a, b in rows)])


# Question 1


@dataclass
class Kills:
    kills: int = 0
    in_mid_change: int = 0
    with_journal: int = 0
    done: Counter[str] = field(default_factory=Counter)
    under_way_kept: int = 0
    under_way_dropped: int = 0
    failures: list[str] = field(default_factory=list)
    seconds: float = 0.0

    def table(self, where: str) -> str:
        return table(
            f"writers killed, {where}",
            [
                ("kill -9", self.kills),
                ("... while a change was under way", self.in_mid_change),
                ("... with a journal left to roll back", self.with_journal),
                *((f"changes reported as done: {kind}", self.done[kind]) for kind in CHANGES),
                ("changes under way, found whole", self.under_way_kept),
                ("changes under way, not found at all", self.under_way_dropped),
                ("reported changes missing, half changes, failed checks", len(self.failures)),
                ("seconds", round(self.seconds)),
            ],
        )


def kill_writers(
    new_address: Callable[[], str], kills: int, *, seed: int = 1, longest_s: float = 0.4
) -> Kills:
    """Start a writer, kill it at a random moment, look; ``kills`` times over."""
    chance = random.Random(seed)
    outcome = Kills()
    begun = time.monotonic()
    while outcome.kills < kills and not outcome.failures:
        turns = min(KILLS_PER_REGISTRY, kills - outcome.kills)
        _kill_on_one(new_address(), turns, chance, longest_s, outcome)
    outcome.seconds = time.monotonic() - begun
    return outcome


def _kill_on_one(
    address: str, turns: int, chance: random.Random, longest_s: float, outcome: Kills
) -> None:
    reported: list[tuple[str, str, int]] = []
    with tempfile.TemporaryDirectory(prefix="cups-") as name:
        folder = Path(name)
        with open_registry(address) as registry:
            registry.register_all(CUPS, "foam cup")
            prepare_imports(registry, folder)
        journal = Path(f"{address}-journal")
        for _ in range(turns):
            said = _one_killed_writer(
                address, chance.random(), chance.uniform(0, longest_s), folder
            )
            outcome.kills += 1
            outcome.with_journal += journal.exists() and journal.stat().st_size > 0
            with open_registry(address) as registry:
                outcome.failures += registry.check()
                outcome.failures += [one.message for one in registry.verify().findings]
                stored = registry.constants()
            _look(stored, said, outcome)
            reported += [
                (kind, name, number) for word, kind, name, number in said if word == "done"
            ]
        for change in reported:  # and later kills took nothing back
            found, whole = present(stored, *change)
            if found != whole:
                outcome.failures.append(f"{' '.join(map(str, change))}: gone after later kills")


def _one_killed_writer(
    address: str, seed: float, after_s: float, folder: Path
) -> list[tuple[str, str, str, int]]:
    ends, begins = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(ends)
        try:
            _write_until_killed(address, seed, begins, folder)
        except BaseException as error:
            os.write(begins, json.dumps(["failed", repr(error), "", 0]).encode() + b"\n")
        finally:
            os._exit(1)
    os.close(begins)
    with os.fdopen(ends, "rb") as pipe:
        first = pipe.readline()  # the writer has opened the registry and begins
        if seed < 0.5:  # half of them live until a change is done, however slow the machine is
            first += pipe.readline()
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return [tuple(json.loads(line)) for line in (first + pipe.read()).splitlines()]


def _write_until_killed(address: str, seed: float, pipe: int, folder: Path) -> None:
    chance = random.Random(seed)
    with open_registry(address) as registry:
        while True:
            kind = chance.choice(list(CHANGES))
            name, number = f"{chance.getrandbits(64):016x}", chance.randrange(10_000)
            os.write(pipe, json.dumps(["begin", kind, name, number]).encode() + b"\n")
            CHANGES[kind](registry, name, number, folder)
            os.write(pipe, json.dumps(["done", kind, name, number]).encode() + b"\n")


def _look(
    stored: Iterable[StoredConstant], said: list[tuple[str, str, str, int]], outcome: Kills
) -> None:
    """Find every change that was reported, and the one under way whole or not at all."""
    stored = list(stored)
    done = {name for word, _, name, _ in said if word == "done"}
    for word, kind, name, number in said:
        if word == "failed":
            outcome.failures.append(f"the writer failed: {kind}")
            continue
        found, whole = present(stored, kind, name, number)
        if word == "done":
            outcome.done[kind] += 1
            if found != whole:
                outcome.failures.append(f"{kind} {name}: {found} of {whole} records")
        elif name not in done:
            outcome.in_mid_change += 1
            outcome.under_way_kept += found == whole
            outcome.under_way_dropped += found == 0
            if found not in {0, whole}:
                outcome.failures.append(f"{kind} {name}: {found} of {whole} records, half done")


# Questions 2 and 3


@dataclass
class Crowd:
    processes: int
    changes: int
    reported: int = 0
    lost: int = 0
    doubled: int = 0
    made_again: int = 0
    server_kills: int = 0
    failures: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def good(self) -> bool:
        whole = self.reported == self.processes * self.changes
        return whole and not (self.lost or self.doubled or self.failures)

    def table(self, where: str) -> str:
        return table(
            f"{self.processes} processes x {self.changes} changes, {where}",
            [
                ("changes reported as done", self.reported),
                ("lost", self.lost),
                ("doubled", self.doubled),
                ("times the server was killed and restarted", self.server_kills),
                ("changes refused meanwhile and made again", self.made_again),
                ("failed checks", len(self.failures)),
                ("seconds", round(self.seconds)),
            ],
        )


def crowd(
    address: str,
    processes: int,
    changes: int,
    *,
    server: postgres_server.Server | None = None,
    kill_every_s: float = 3.0,
) -> Crowd:
    """Let several processes write at once, on cups of their own and on one they share."""
    outcome = Crowd(processes, changes)
    begun = time.monotonic()
    with open_registry(address) as registry:
        registry.register_all(["shared", *(f"P{k}" for k in range(processes))], "foam cup")
    with tempfile.TemporaryDirectory(prefix="cups-") as name:
        children = [_start_worker(address, k, changes, Path(name)) for k in range(processes)]
        _wait(children, server, kill_every_s, outcome)
        logs = [json.loads((Path(name) / f"{k}.json").read_text()) for k in range(processes)]
    with open_registry(address) as registry:
        outcome.failures += registry.check()
        outcome.failures += [one.message for one in registry.verify().findings]
        stored = registry.constants()
    outcome.seconds = time.monotonic() - begun
    _compare(logs, stored, outcome)
    return outcome


def _start_worker(address: str, worker: int, changes: int, folder: Path) -> int:
    child = os.fork()
    if child == 0:
        log: dict[str, object] = {"done": [], "again": 0, "failed": []}
        try:
            log = _work(address, worker, changes)
        except BaseException as error:
            log["failed"] = [f"worker {worker}: {error!r}"]
        finally:
            (folder / f"{worker}.json").write_text(json.dumps(log))
            os._exit(0)
    return child


def _work(address: str, worker: int, changes: int) -> dict[str, object]:
    """Store, approve and withdraw in turn; a change that was not done is made again."""
    done: list[str] = []
    again = 0
    drafts: list[int] = []
    with open_registry(address, timeout_s=60.0) as registry:
        for step in range(changes):
            name = f"{worker}.{step}"
            while True:
                try:
                    _one_change(registry, worker, step, name, drafts)
                    break
                except RegistryUnreachable as error:
                    if error.done is None:
                        raise
                    again += 1
                    time.sleep(0.05)
            done.append(name)
    return {"done": done, "again": again, "failed": []}


def _one_change(registry: Registry, worker: int, step: int, name: str, drafts: list[int]) -> None:
    cup = "shared" if step % 2 else f"P{worker}"
    match step % 4:
        case 0 | 1:
            new = constant(cup, name, 7 * step + worker)
            drafts.append(registry.add_draft(new, by=name))
        case 2:
            registry.approve(drafts[-1], by=name)
        case _:
            registry.withdraw(drafts[-2], name, by=name)


def _wait(
    children: list[int], server: postgres_server.Server | None, every_s: float, outcome: Crowd
) -> None:
    chance = random.Random(5)
    running = set(children)
    while running:
        if server is not None:
            # the first kill comes early: a fast machine may be done before a later one
            time.sleep(chance.uniform(0.3, 2.0 * every_s) if outcome.server_kills else 0.3)
        for child in list(running):
            if os.waitpid(child, os.WNOHANG if server else 0)[0]:
                running.discard(child)
        if server is not None and running:
            server.kill()
            outcome.server_kills += 1
            server.start()


def _compare(
    logs: list[dict[str, list[str]]], stored: Iterable[StoredConstant], outcome: Crowd
) -> None:
    """Each change carries its name as the person who made it; the trail would do as well."""
    found = Counter(
        name
        for k in stored
        for name in (k.made_by, k.approved_by, k.withdrawn_by)
        if name and name != "somebody"
    )
    for log in logs:
        outcome.failures += log["failed"]
        outcome.made_again += int(log["again"])  # type: ignore[call-overload]
        outcome.reported += len(log["done"])
        outcome.lost += sum(found[name] == 0 for name in log["done"])
    outcome.doubled = sum(count > 1 for count in found.values())


# From the command line


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--processes", type=int, default=4)
    parser.add_argument("--changes", type=int, default=25)
    parser.add_argument("--postgres", action="store_true")
    parser.add_argument("--longest", type=float, default=0.4, help="kill within so many seconds")
    given = parser.parse_args(arguments)
    bad = 0
    with tempfile.TemporaryDirectory(prefix="cups-") as folder:
        count = iter(range(10_000))

        def new_file() -> str:
            return str(Path(folder) / f"{next(count)}.sqlite")

        bad += _question_1("SQLite", new_file, given)
        bad += _question_2("SQLite", new_file(), None, given)
    if given.postgres:
        server = postgres_server.Server()
        try:
            server.start()
            bad += _question_1("PostgreSQL", server.new_database, given)
            bad += _question_2("PostgreSQL", server.new_database(), None, given)
            bad += _question_2(
                "PostgreSQL, server killed meanwhile", server.new_database(), server, given
            )
        finally:
            server.remove()
    return bad


def _question_1(where: str, new_address: Callable[[], str], given: argparse.Namespace) -> int:
    outcome = kill_writers(new_address, given.kills, longest_s=given.longest)
    print(outcome.table(where), *outcome.failures, "", sep="\n", flush=True)
    return bool(outcome.failures)


def _question_2(
    where: str, address: str, server: postgres_server.Server | None, given: argparse.Namespace
) -> int:
    outcome = crowd(address, given.processes, given.changes, server=server)
    print(outcome.table(where), *outcome.failures, "", sep="\n", flush=True)
    return not outcome.good


if __name__ == "__main__":
    # Load once what every forked writer needs.
    with open_registry(":memory:") as _warm:
        _warm.register("H1", "foam cup")
        assert isinstance(RegistryError("loaded"), Exception)
    sys.exit(main())
