"""Forged exports, forged and damaged registries: is what was there before still there to be read?

    python -m tests.benchmarks.forged_registries --imports 400 --merges 400 --flips 400 --own 400

Four attacks on registries of an invented school:

1. **imports**: an export of a good registry with one to three things changed (values of the wrong
   kind, dates that are none, numbers that no cup can have, statuses, rows left out, doubled, made
   up), with a right checksum, brought in by ``constants import``;
2. **merges**: the same things changed in a registry's file, its guards taken away, brought in by
   ``constants merge``;
3. **flips**: one bit of a registry's file turned over, the file brought in by ``constants merge``;
4. **own**: the same two things done to the registry itself.

Each is brought into a new registry, one with cups of its own, or one that shares a history with it;
half of them with ``--keep-status``. Afterwards every command that reads must give a list: exit code
0, or 1 with rows named; what was readable before must be read the same. In attack 4 exit code 2 is
counted apart: SQLite itself cannot read the file any more, and the sentence says so.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from calib.registry import NewConstant, NewResult, open_registry
from calib.registry.exchange import checksum

KIND = "double foam cup, foam lid"
TABLES = ("apparatus", "constants", "results", "audit")
TEXTS: tuple[Any, ...] = (
    "", " ", "x", "\x00", "a\x00b", "\x1b[31mred", "\u202eabc", "\ud7ff", "e\u0301", "[", "[1",
    "{}", "[]", "null", "NaN", '{"a":', "[" * 5000, '{"interval95_J_per_K": "x"}',
    '{"interval95_J_per_K": [1, null]}', '{"runs": [1], "budget": 2}', "[1, 2]", '["a", 3]',
    "2026-13-01", "1 Sept", "0000-00-00", "9999-12-31", "0001-01-01", "2026-09-01", "now",
    "2026-09-01T00:00:00", "2026-09-01T25:00:00+00:00", "y" * 70000, "approved", "superseded",
    "withdrawn", "draft", "Approved", "H1", "H9", "approve", "withdraw", "0" * 32,
)  # fmt: skip
NUMBERS: tuple[Any, ...] = (
    0, 1, -1, 2, 0.0, -0.0, 0.5, -5.0, 12000.0, 1e-300, 4.9e-324, 1e15, 1e100, 1e308, -1e308,
    2**31, 2**53 + 1, 2**63 - 1, 2**63, -(2**63) - 1, 10**400,
)  # fmt: skip
OTHERS: tuple[Any, ...] = (None, True, False, [], [1], ["x"], {}, {"a": 1})
MOST_J_PER_K = 1000.0  # no cup of a school takes up more than a litre's fifth


def constant(cup: str, value: float, day: date, **other: Any) -> NewConstant:
    """An invented constant with all that a calibration leaves."""
    details = {
        "interval95_J_per_K": [value - 1.4, value + 1.4],
        "budget": [{"source": "thermometer", "u_J_per_K": 0.5, "share_percent": 70.0}],
        "runs": [{"run": "1", "date": str(day), "constant_J_per_K": value + 0.2}],
    }
    values: dict[str, Any] = {
        "heat_loss_W_per_K": 0.081,
        "u_heat_loss_W_per_K": 0.004,
        "sensor_lag_s": 4.5,
        "runs": 4,
        "between_run_sd_J_per_K": 0.5,
        "fill_mL": (95.0, 105.0),
        "temperature_C": (18.0, 45.0),
        "recheck_due": date(2027, 8, 31),
        "recheck_uses": 200,
        "digests": ("ab" * 32,),
        "rows_json": '[{"run": "1", "in_cup_g": "50.02"}]',
        "warnings": ("run 3: leverage 0.61",),
        "note": "first weeks of term",
        "details_json": json.dumps(details),
    }
    return NewConstant(cup, "hot/cold mixing", value, 0.7, day, **(values | other))


def fill(path: Path) -> None:
    """A registry with constants of every status, a result, a cup that is out of use."""
    with open_registry(path) as registry:
        registry.register_all(["H1", "H2", "H3", "H4"], KIND, by="R. Voss")
        autumn, winter = date(2025, 9, 1), date(2026, 1, 12)
        made = [constant(cup, 20.0 + k, autumn) for k, cup in enumerate(("H1", "H2", "H3"))]
        first = registry.add_drafts(made, approve=True, by="R. Voss", reason="start of term")
        registry.add_drafts([constant("H1", 21.0, winter)], approve=True, by="R. Voss")
        registry.withdraw(first[2], "the lid was cracked", "L. Okafor")
        registry.add_draft(constant("H2", 21.5, winter))
        registry.record([NewResult("bench 1", "H1", -55.9, 0.7, (first[0],), run_date=autumn)])
        registry.retire("H4", "lost", on=winter)


def destinations(folder: Path, base: Path) -> dict[str, Path]:
    """The registries that things are brought into."""
    found = {name: folder / f"to_{name}.sqlite" for name in ("new", "own", "shared")}
    with open_registry(found["new"]):
        pass
    with open_registry(found["own"]) as registry:
        registry.register_all(["K1", "K2", "H2"], KIND)
        registry.add_drafts(
            [constant(cup, 19.0, date(2025, 9, 1)) for cup in ("K1", "K2")], approve=True
        )
    with open_registry(found["shared"]) as registry, open_registry(base) as other:
        bring(registry, other)
        registry.add_draft(constant("H2", 22.5, date(2026, 2, 2)))
    return found


def bring(registry: Any, other: Any) -> None:
    """Merge with the statuses there, in this release and in those that knew no choice."""
    try:
        registry.merge(other, keep_status=True)
    except TypeError:
        registry.merge(other)


# Forging


def anything(chance: random.Random) -> Any:
    """A value that may or may not be of the right kind."""
    return chance.choice(chance.choice((TEXTS, NUMBERS, OTHERS)))


def near(chance: random.Random, old: Any) -> Any:
    """Another value of the same kind, where there is one: what a person who forges would write."""
    if isinstance(old, bool) or old is None:
        return anything(chance)
    if isinstance(old, int | float):
        return chance.choice([old * 1000, -old, old + 7, *NUMBERS[:14]])
    if isinstance(old, str) and len(old) == 10 and old[4:5] == "-":
        return chance.choice(["1900-01-01", "2099-12-31", "2025-09-02", "2025-09-1"])
    return chance.choice(TEXTS)


def forge(chance: random.Random, content: dict[str, Any]) -> None:
    """Change one to three things of an export's content."""
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        rows = content[chance.choice(TABLES)]
        if not isinstance(rows, list) or not rows:
            continue
        row = chance.choice(rows)
        what = chance.random()
        if what < 0.06:
            rows.remove(row)
        elif what < 0.10:
            rows.append(dict(row) if isinstance(row, dict) else row)
        elif what < 0.14 and isinstance(row, dict):
            made_up = dict(row)
            made_up["uid"] = f"{chance.getrandbits(128):032x}"
            rows.append(made_up)
        elif what < 0.16:
            rows[rows.index(row)] = anything(chance)
        elif isinstance(row, dict):
            name = chance.choice(list(row))
            change = near(chance, row[name]) if chance.random() < 0.5 else anything(chance)
            row[name] = change


def forged_export(chance: random.Random, base: Path, file: Path) -> None:
    """An export of the base with things changed and a right checksum."""
    document = json.loads(base.with_suffix(".json").read_text(encoding="utf-8"))
    while True:
        changed = json.loads(json.dumps(document["content"]))
        forge(chance, changed)
        if changed != document["content"]:
            break
    document |= {"content": changed, "sha256": checksum(changed)}
    file.write_text(json.dumps(document), encoding="utf-8")


def forged_registry(chance: random.Random, file: Path) -> None:
    """Change one cell of a registry's file behind its back, guards and rules taken away."""
    connection = sqlite3.connect(file)
    connection.isolation_level = None
    triggers = [
        r[0] for r in connection.execute("select name from sqlite_master where type = 'trigger'")
    ]
    for name in triggers:
        connection.execute(f"drop trigger {name}")
    connection.execute("pragma ignore_check_constraints = on")
    connection.execute("pragma foreign_keys = off")
    table = chance.choice(TABLES)
    connection.row_factory = sqlite3.Row
    row = dict(chance.choice(connection.execute(f"select rowid as r, * from {table}").fetchall()))
    column = chance.choice([name for name in row if name != "r"])
    value = near(chance, row[column]) if chance.random() < 0.5 else anything(chance)
    if isinstance(value, list | dict):
        value = b"\xff\xfe\x00\xe9"
    if isinstance(value, int) and abs(value) >= 2**63:
        value = float(min(value, 10**300))
    with contextlib.suppress(sqlite3.Error):
        connection.execute(f'update {table} set "{column}" = ? where rowid = ?', (value, row["r"]))
    connection.close()


def flipped(chance: random.Random, file: Path) -> None:
    """Turn over one bit of a file."""
    content = bytearray(file.read_bytes())
    content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    file.write_bytes(content)


# Looking


@dataclass
class Said:
    code: int
    out: str
    err: str

    @property
    def internal(self) -> bool:
        return "something went wrong" in self.err or "Traceback" in self.err


def cupledger(*words: object) -> Said:
    """The command in this process."""
    from calib.cli.main import main

    out, err = io.StringIO(), io.StringIO()
    before = sys.argv
    sys.argv = ["cupledger", *map(str, words)]
    code = 0
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main()
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
    except BaseException as error:  # counted, not hidden
        return Said(99, out.getvalue(), f"Traceback {error!r}")
    finally:
        sys.argv = before
    return Said(code, out.getvalue(), err.getvalue())


def readings(registry: Path, folder: Path) -> list[tuple[object, ...]]:
    """Every command that reads a registry."""
    place = ("--registry", registry)
    return [
        ("constants", "--json", *place),
        ("constants", *place),
        ("constants", "--history", "--json", *place),
        ("apparatus", "list", "--json", *place),
        ("apparatus", "show", "H1", "--json", *place),
        ("constants", "drift", "--json", *place),
        ("constants", "recheck", "--json", *place),
        ("constants", "export", folder / "again.json", "--overwrite", "--results", *place),
        ("constants", "certificate", "--folder", folder / "pages", *place),
        ("constants", "verify", "--json", *place),
    ]


@dataclass
class Outcome:
    """What became of one attack."""

    tried: int = 0
    came_in: int = 0
    told: int = 0
    refused: int = 0
    damaged: int = 0
    named: int = 0
    unnamed_absurd: int = 0
    failures: list[str] = field(default_factory=list)
    causes: Counter[str] = field(default_factory=Counter)

    def line(self, name: str) -> str:
        return (
            f"| {name} | {self.tried} | {self.came_in} | {self.told} | {self.refused} | {self.damaged}"
            f" | {self.named} | {self.unnamed_absurd} | {len(self.failures)} |"
        )


HEADER = (
    "| attack | tried | came in | ... with something said (exit 1) | refused in a sentence"
    " | file that SQLite cannot read | named by verify | absurd and in force | internal errors, registries that cannot be listed |\n"
    "|---|---|---|---|---|---|---|---|---|"
)


def look(outcome: Outcome, registry: Path, folder: Path, label: str, *, own: bool = False) -> None:
    """Read the registry by every command; note what fails."""
    names = False
    for words in readings(registry, folder):
        said = cupledger(*words)
        if said.internal or (said.code not in {0, 1} and not _may_refuse(words, said, own=own)):
            outcome.failures.append(f"{label}: {' '.join(map(str, words[:2]))}: {said.err[-300:]}")
            outcome.causes[said.err.strip().splitlines()[-1][:90] if said.err else "?"] += 1
            return
        if own and said.code == 2 and words[0] == "constants" and words[1] == "--json":
            outcome.damaged += 1
            return
        names = names or (words[1] == "verify" and said.code == 1)
        if words[:2] == ("constants", "--json"):
            for one in json.loads(said.out)["constants"]:
                absurd = abs(one["constant_J_per_K"]) > MOST_J_PER_K
                absurd = absurd or (one["heat_loss_W_per_K"] or 0.0) < 0.0
                outcome.unnamed_absurd += absurd and one["status"] == "approved"
    outcome.named += names


def _may_refuse(words: tuple[object, ...], said: Said, *, own: bool) -> bool:
    """A cup that is not there, no constant to certify; a file of our own that SQLite gives up."""
    if "No such command" in said.err:  # a release without verify
        return True
    one = words[1] in {"show", "certificate"}
    return said.code == 2 and (own or one) and bool(said.err.strip())


def attack(
    name: str,
    count: int,
    spoil: Callable[[random.Random, Path], Path],
    to: dict[str, Path],
    folder: Path,
    seed: int,
) -> Outcome:
    """Bring so many forged things into registries, and look at each afterwards."""
    outcome = Outcome()
    for number in range(count):
        chance = random.Random(f"{name} {seed} {number}")
        work = folder / "work"
        shutil.rmtree(work, ignore_errors=True)
        work.mkdir()
        where, start = chance.choice(list(to.items()))
        registry = work / "registry.sqlite"
        shutil.copy(start, registry)
        outcome.tried += 1
        label = f"{name} {number} into {where}"
        if name == "own":
            shutil.copy(spoil(chance, work), registry)
            look(outcome, registry, work, label, own=True)
            continue
        source = spoil(chance, work)
        verb = "import" if source.suffix == ".json" else "merge"
        words: list[object] = ["constants", verb, source, "--registry", registry, "--json"]
        if chance.random() < 0.5 and KEEPS:
            words.append("--keep-status")
        before = cupledger("constants", "--json", "--registry", registry).out
        said = cupledger(*words)
        if said.internal or said.code not in {0, 1, 2}:
            outcome.failures.append(f"{label}: {verb}: {said.err[-300:]}")
            outcome.causes[said.err.strip().splitlines()[-1][:90] if said.err else "?"] += 1
        elif said.code == 2:
            outcome.refused += 1
            if cupledger("constants", "--json", "--registry", registry).out != before:
                outcome.failures.append(f"{label}: refused, and something changed")
        else:
            outcome.came_in += 1
            outcome.told += said.code == 1
        look(outcome, registry, work, label)
    return outcome


def _knows_keep_status() -> bool:
    return "--keep-status" in cupledger("constants", "import", "--help").out


KEEPS = False


def run(counts: dict[str, int], *, seed: int = 1) -> dict[str, Outcome]:
    """The attacks asked for, each so many times."""
    globals()["KEEPS"] = _knows_keep_status()
    outcomes = {}
    with tempfile.TemporaryDirectory(prefix="cups-") as name:
        folder = Path(name)
        base = folder / "base.sqlite"
        fill(base)
        with open_registry(base) as registry:
            registry.export_constants(base.with_suffix(".json"), results=True)
        to = destinations(folder, base)

        def export(chance: random.Random, work: Path) -> Path:
            forged_export(chance, base, work / "forged.json")
            return work / "forged.json"

        def cell(chance: random.Random, work: Path) -> Path:
            shutil.copy(base, work / "forged.sqlite")
            forged_registry(chance, work / "forged.sqlite")
            return work / "forged.sqlite"

        def flip(chance: random.Random, work: Path) -> Path:
            shutil.copy(base, work / "flipped.sqlite")
            flipped(chance, work / "flipped.sqlite")
            return work / "flipped.sqlite"

        def either(chance: random.Random, work: Path) -> Path:
            return (cell if chance.random() < 0.5 else flip)(chance, work)

        spoilers = {"imports": export, "merges": cell, "flips": flip, "own": either}
        for attacked, count in counts.items():
            outcomes[attacked] = attack(attacked, count, spoilers[attacked], to, folder, seed)
    return outcomes


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    for name in ("imports", "merges", "flips", "own"):
        parser.add_argument(f"--{name}", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    os.environ.pop("CUPLEDGER_DEBUG", None)
    counts = {name: getattr(given, name) for name in ("imports", "merges", "flips", "own")}
    outcomes = run(counts, seed=given.seed)
    print(HEADER)
    for name, outcome in outcomes.items():
        print(outcome.line(name))
    for name, outcome in outcomes.items():
        for cause, times in outcome.causes.most_common(12):
            print(f"{name}: {times} x {cause}", file=sys.stderr)
    return 1 if any(outcome.failures for outcome in outcomes.values()) else 0


if __name__ == "__main__":
    raise SystemExit(main())
