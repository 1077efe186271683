"""Commands killed at random moments: real processes of ``cupledger``, ended by SIGKILL.

    python -m tests.benchmarks.kill_commands --kills 1000
    python -m tests.benchmarks.kill_commands --kills 1000 --forked
    python -m tests.benchmarks.kill_commands --kills 300 --forked --postgres

One command after the other is started as a person would start it: ``calibrate TABLE --approve``,
``constants approve``, ``constants withdraw``, ``constants import``. Each is killed at a random
moment: half of them anywhere in a command's life, half within milliseconds of its first write (seen
by its journal beside a SQLite file, by its writer's lock on PostgreSQL). Afterwards the registry
must open, pass its own checks, and hold the change whole where the command had said that it was
done (exit code 0, or its sentence on stdout), else whole or not at all; and no later kill may take
anything back.

With ``--forked`` a command runs in a process forked from one that has loaded everything, so that
the kills fall on what the command does and not on the loading of libraries before it.

Every so often a command is left alone, so that changes are reported at all, and the life of each
command is measured from those.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from calib.registry import StoredConstant, open_registry
from tests.benchmarks.kill_registry import CUPS, constant, table
from tests.calib.registry import postgres_server

KINDS = ("calibrate --approve", "constants approve", "constants withdraw", "constants import")
HEADER = "run,apparatus,date,in_cup,added,in_cup_g,added_g,in_cup_C,added_C,extreme_C\n"
LET_LIVE = 8  # one command in so many ends by itself
KILLS_PER_REGISTRY = 40
FIRST_GUESS_S = {KINDS[0]: 2.5, KINDS[1]: 0.9, KINDS[2]: 0.9, KINDS[3]: 0.9}


@dataclass(frozen=True)
class Command:
    """One command about to be run: its kind, its words, and how to know its records again."""

    kind: str
    words: tuple[str, ...]
    says: str  # on stdout, once it is done
    mine: Callable[[StoredConstant], bool]
    whole: int


@dataclass
class Outcome:
    """What became of the commands that were started."""

    kills: int = 0
    ended_first: int = 0
    let_live: int = 0
    at_a_write: int = 0
    with_journal: int = 0
    killed: Counter[str] = field(default_factory=Counter)
    done: Counter[str] = field(default_factory=Counter)
    reported_then_killed: int = 0
    kept_unreported: int = 0
    dropped: int = 0
    failures: list[str] = field(default_factory=list)
    seconds: float = 0.0

    def table(self, where: str) -> str:
        return table(
            f"commands killed, {where}",
            [
                ("kill -9", self.kills),
                *((f"... {kind}", self.killed[kind]) for kind in KINDS),
                ("... aimed at the moments after the first write", self.at_a_write),
                ("... with a journal left to roll back", self.with_journal),
                ("commands that ended before their kill, or were let live", self.let_live),
                *((f"changes reported as done: {kind}", self.done[kind]) for kind in KINDS),
                ("... reported before the kill", self.reported_then_killed),
                ("changes not reported, found whole", self.kept_unreported),
                ("changes not reported, not found at all", self.dropped),
                ("reported changes missing, half changes, failed checks", len(self.failures)),
                ("seconds", round(self.seconds)),
            ],
        )


class Forked:
    """A command in a process forked from this one; what is needed of `subprocess.Popen`."""

    def __init__(self, words: Iterable[str], address: str, output: int) -> None:
        self.returncode: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            code = 1
            try:
                os.dup2(output, 1)
                os.dup2(output, 2)
                sys.stdout = sys.stderr = os.fdopen(1, "w", encoding="utf-8", closefd=False)
                os.environ["CUPLEDGER_REGISTRY"] = address
                sys.argv = ["cupledger", *words]
                code = run_main()
                sys.stdout.flush()
            finally:
                os._exit(code)

    def poll(self) -> int | None:
        if self.returncode is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.returncode = os.waitstatus_to_exitcode(status)
        return self.returncode

    def wait(self, timeout: float = 3600.0) -> int:
        deadline = time.monotonic() + timeout
        while self.poll() is None:
            left = deadline - time.monotonic()
            if left <= 0:
                raise subprocess.TimeoutExpired("cupledger", timeout)
            time.sleep(min(0.001, left))
        assert self.returncode is not None
        return self.returncode

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            os.kill(self.pid, number)


def run_main() -> int:
    """The command line as it stands in ``sys.argv``; its exit code."""
    from calib.cli.main import main

    try:
        main()
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else int(stop.code is not None)
    return 0


class Bench:
    """One registry under attack, with the files that the commands read."""

    def __init__(
        self, address: str, folder: Path, chance: random.Random, *, forked: bool = False
    ) -> None:
        self.address, self.folder, self.chance = address, folder, chance
        self.forked = forked
        self.journal = Path(f"{address}-journal")
        self.count = 0
        self.life_s = dict(FIRST_GUESS_S)
        with open_registry(address) as registry:
            registry.register_all(CUPS, "foam cup")

    def next_command(self) -> Command:
        self.count += 1
        make = self.chance.choice([self._calibrate, self._approve, self._withdraw, self._import])
        return make(f"change-{self.count}-{self.chance.getrandbits(32):08x}")

    def _calibrate(self, name: str) -> Command:
        path = self.folder / f"{name}.csv"
        rows = [
            f"{name}-{cup}-{k},{cup},2026-09-{1 + self.count % 28:02d},water,water,100.0,"
            f"{100 + self.count % 50 / 10:.1f},21.0,50.0,{34.6 + k / 10:.1f}\n"
            for cup in CUPS[:3]
            for k in range(2)
        ]
        path.write_text(HEADER + "".join(rows), encoding="utf-8")
        words = ("calibrate", str(path), "--approve", "--reason", name)
        return Command(KINDS[0], words, "Constants", lambda k: k.approved_why == name, 3)

    def _approve(self, name: str) -> Command:
        with open_registry(self.address) as registry:
            new = [constant(cup, "spare", self.count) for cup in CUPS[:2]]
            numbers = registry.add_drafts(new)
        words = ("constants", "approve", *map(str, numbers), "--reason", name)
        return Command(KINDS[1], words, "is in force from", lambda k: k.approved_why == name, 2)

    def _withdraw(self, name: str) -> Command:
        with open_registry(self.address) as registry:
            spare = [constant(CUPS[3], "spare", self.count)]
            (number,) = registry.add_drafts(spare, approve=True, reason="to be withdrawn")
        words = ("constants", "withdraw", str(number), "--reason", name)
        return Command(KINDS[2], words, "is withdrawn", lambda k: k.withdrawn_why == name, 1)

    def _import(self, name: str) -> Command:
        path = self.folder / f"{name}.json"
        with open_registry(":memory:") as other, open_registry(self.address) as registry:
            other.merge(registry, keep_status=True)
            other.add_drafts([constant(cup, name, self.count) for cup in CUPS[1:]])
            other.export_constants(path)
        words = ("constants", "import", str(path))
        return Command(KINDS[3], words, "constants: ", lambda k: k.note == name, 3)

    def run(self, command: Command, kill: bool, outcome: Outcome) -> tuple[bool, bool]:
        """Start it, kill it if asked. Whether it was killed, and whether it said that it is done."""
        at_write = self.chance.random() < 0.5
        with tempfile.TemporaryFile(dir=self.folder) as said:
            begun = time.monotonic()
            process = self._start(command, said.fileno())
            if kill:
                self._wait_for_the_moment(process, command.kind, at_write)
                process.send_signal(signal.SIGKILL)
            code = process.wait()
            if code >= 0 and not kill:
                self.life_s[command.kind] = time.monotonic() - begun
            said.seek(0)
            text = said.read().decode("utf-8", "replace")
        killed = code == -signal.SIGKILL
        outcome.at_a_write += killed and at_write
        if not killed and code != 0:
            outcome.failures.append(f"{' '.join(command.words)}: exit code {code}: {text}")
        return killed, code == 0 or command.says in text

    def _start(self, command: Command, output: int) -> subprocess.Popen[bytes] | Forked:
        if self.forked:
            return Forked(command.words, self.address, output)
        return subprocess.Popen(
            [sys.executable, "-m", "calib", *command.words],
            stdout=output,
            stderr=subprocess.STDOUT,
            env=os.environ | {"CUPLEDGER_REGISTRY": self.address},
        )

    def _wait_for_the_moment(
        self, process: subprocess.Popen[bytes] | Forked, kind: str, at_write: bool
    ) -> None:
        life_s = self.life_s[kind]
        if not at_write:
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(self.chance.uniform(0.0, 1.1 * life_s))
            return
        with self._writes() as writing:
            while process.poll() is None and not writing():
                time.sleep(0.0005)
        # a change takes some 10 ms on a disk of its own; a second distribution catches slow ones
        time.sleep(self.chance.choice([self.chance.uniform(0, 0.02), self.chance.uniform(0, 0.1)]))

    @contextlib.contextmanager
    def _writes(self) -> Iterator[Callable[[], bool]]:
        if "://" not in self.address:
            yield self.journal.exists
            return
        import psycopg

        query = "select 1 from pg_locks where locktype = 'advisory' limit 1"
        with psycopg.connect(self.address, autocommit=True) as connection:
            yield lambda: connection.execute(query).fetchone() is not None


def load_everything() -> None:
    """Run each kind of command once in this process, so that a forked one finds it all loaded."""
    with tempfile.TemporaryDirectory(prefix="cups-") as name:
        bench = Bench(str(Path(name) / "cups.sqlite"), Path(name), random.Random(0))
        before = dict(os.environ), sys.argv
        os.environ["CUPLEDGER_REGISTRY"] = bench.address
        for make in (bench._calibrate, bench._approve, bench._withdraw, bench._import):
            sys.argv = ["cupledger", *make("load").words]
            with (
                contextlib.redirect_stdout(io.StringIO()),
                contextlib.redirect_stderr(io.StringIO()),
            ):
                run_main()
        os.environ.clear()
        os.environ.update(before[0])
        sys.argv = before[1]


def kill_commands(
    new_address: Callable[[], str], kills: int, *, seed: int = 1, forked: bool = False
) -> Outcome:
    """Start commands and kill them until so many were killed; look after each."""
    chance = random.Random(seed)
    if forked:
        load_everything()
    outcome = Outcome()
    begun = time.monotonic()
    while outcome.kills < kills and not outcome.failures:
        turns = min(KILLS_PER_REGISTRY, kills - outcome.kills)
        with tempfile.TemporaryDirectory(prefix="cups-") as folder:
            bench = Bench(new_address(), Path(folder), chance, forked=forked)
            _on_one_registry(bench, turns, outcome)
        outcome.seconds = time.monotonic() - begun
        print(outcome.table("so far"), file=sys.stderr, flush=True)
    return outcome


def _on_one_registry(bench: Bench, turns: int, outcome: Outcome) -> None:
    reported: list[Command] = []
    killed_here = 0
    for kind in range(len(KINDS)):  # first one of each that is let live
        _one(bench, outcome, reported, live=kind)
    while killed_here < turns and not outcome.failures:
        killed_here += _one(bench, outcome, reported)
    with open_registry(bench.address) as registry:
        stored = registry.constants()
    for command in reported:  # and later kills took nothing back
        found = sum(map(command.mine, stored))
        if found != command.whole:
            outcome.failures.append(f"{' '.join(command.words)}: {found} records in the end")


def _one(bench: Bench, outcome: Outcome, reported: list[Command], live: int | None = None) -> bool:
    if live is None:
        command = bench.next_command()
        kill = bench.chance.randrange(LET_LIVE) > 0
    else:
        makers = (bench._calibrate, bench._approve, bench._withdraw, bench._import)
        bench.count += 1
        command, kill = makers[live](f"first-{live}"), False
    killed, said = bench.run(command, kill, outcome)
    outcome.kills += killed
    outcome.killed[command.kind] += killed
    outcome.let_live += not killed
    outcome.with_journal += bench.journal.exists() and bench.journal.stat().st_size > 0
    with open_registry(bench.address) as registry:
        problems = (*registry.check(), *(one.message for one in registry.verify().findings))
        stored = registry.constants()
    outcome.failures += [f"{' '.join(command.words)}: {problem}" for problem in problems]
    _look(command, stored, killed, said, outcome)
    if said:
        reported.append(command)
    return killed


def _look(
    command: Command, stored: Iterable[StoredConstant], killed: bool, said: bool, outcome: Outcome
) -> None:
    found = sum(map(command.mine, stored))
    if said:
        outcome.done[command.kind] += 1
        outcome.reported_then_killed += killed
    elif found == command.whole:
        outcome.kept_unreported += 1
    elif found == 0:
        outcome.dropped += 1
    if found not in ({command.whole} if said else {0, command.whole}):
        what = "reported as done" if said else "half done"
        outcome.failures.append(
            f"{' '.join(command.words)}: {what}, {found} of {command.whole} records are there"
        )


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--postgres", action="store_true", help="on PostgreSQL, not on SQLite")
    parser.add_argument("--forked", action="store_true", help="in forked processes")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    if given.postgres:
        server = postgres_server.Server()
        try:
            server.start()
            outcome = kill_commands(
                server.new_database, given.kills, seed=given.seed, forked=given.forked
            )
        finally:
            server.remove()
        print(outcome.table("PostgreSQL"), *outcome.failures, sep="\n")
    else:
        with tempfile.TemporaryDirectory(prefix="cups-") as folder:
            numbers = iter(range(10_000))
            outcome = kill_commands(
                lambda: str(Path(folder) / f"{next(numbers)}.sqlite"),
                given.kills,
                seed=given.seed,
                forked=given.forked,
            )
        print(outcome.table("SQLite"), *outcome.failures, sep="\n")
    return bool(outcome.failures)


if __name__ == "__main__":
    sys.exit(main())
