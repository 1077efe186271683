"""Damaged input for every reader, through the command itself; what must never happen is counted.

    python -m tests.benchmarks.fuzz_readers --cases 100000 --rows failures.jsonl
    python -m tests.benchmarks.fuzz_readers --replay xlsx:4711        # one case again, with its stack

Each case is one call of the command in this process on files in a folder of its own (in memory
where the machine has /dev/shm). A case is known by its reader and number: the number is its seed,
whatever was run before it. What was sound is taken from the sample runs or written here; a small
mutator that knows cells, headings, numbers, units, JSON and packages damages it.

Counted: answers that should never be given (``internal``: the last net caught something;
``traceback``; ``silent``: exit 2 without a sentence; ``no JSON``: not one object, or one that is not
finite; ``not UTF-8``; ``poisoned``: a registry that took the file in and cannot be listed after), and
cases of more than 5 s of this process (``slow``).
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path

from tests.benchmarks import damaged_files as files
from tests.benchmarks.damage import NUMBERS, words_of
from tests.benchmarks.damaged_files import bench
from tests.benchmarks.in_process import Done, call

COUNTED = ("internal", "traceback", "silent", "no JSON", "not UTF-8", "poisoned", "slow")

PORTIONS = (
    "50 mL 1.0 mol/L HCl(aq)",
    "100 g water",
    "50 mL 2 mol/L NaOH(aq) at 22 °C",
    "5.0 g KNO3(s)",
    "60 g Cu(s) at 98 °C",
)
EQUATIONS = (
    "HCl(aq) + NaOH(aq) -> NaCl(aq) + H2O(l)",
    "H+ + OH- -> H2O",
    "KNO3(s) -> K+ + NO3-",
    "2 Ag+ + Zn -> 2 Ag + Zn2+",
)


def _plan(rng: random.Random, place: Path) -> list[str]:
    words = ["plan", "--", *words_of(rng, *PORTIONS), *words_of(rng, *PORTIONS)]
    return (
        words
        if rng.random() < 0.7
        else ["plan", "--reaction", *words_of(rng, *EQUATIONS), *words[1:]]
    )


def _reference(rng: random.Random, place: Path) -> list[str]:
    return [
        "reference",
        "--",
        *words_of(rng, *EQUATIONS, "KNO3(s)", "balance", "ice melting", "neutralization"),
    ]


def _labels(rng: random.Random, place: Path) -> list[str]:
    target = str(place / rng.choice(("t.xlsx", "t.csv")))
    return ["template", target, "--labels", *words_of(rng, "Larch, Fennel , Ash", "1,2,3"), "--in-cup",
            *words_of(rng, "HNO3(aq)", "water"), "--added", *words_of(rng, "KNO3(s)", "KOH(aq)")]  # fmt: skip


@cache
def numeric_options() -> dict[tuple[str, ...], list[str]]:
    """Every option of every command that takes a number, found in the commands themselves."""
    import typer

    from calib.cli.main import app

    found: dict[tuple[str, ...], list[str]] = {}

    def look(command: object, path: tuple[str, ...]) -> None:
        for name in getattr(command, "commands", {}):
            look(command.commands[name], (*path, name))  # type: ignore[attr-defined]
        names = [p.opts[0] for p in getattr(command, "params", ()) if _is_number(p)]
        if names:
            found[path] = names

    look(typer.main.get_command(app), ())
    return found


def _is_number(param: object) -> bool:
    kind = str(getattr(param, "type", "")) + str(getattr(param, "type_descriptor", ""))
    return getattr(param, "param_type_name", "") == "option" and (
        "int" in kind.casefold() or "float" in kind.casefold()
    )


def sound_call(path: tuple[str, ...], place: Path) -> list[str]:
    """Arguments with which each command that takes numbers does its work."""
    source = bench().folder
    known = {
        ("correct",): [str(source / "curves/class_bench02.csv"), "--heat-capacity", "850"],
        ("cooldown",): [str(source / "curves/cooling_P1.csv")],
        ("plan",): ["50 mL 1 mol/L HCl(aq)", "50 mL 1 mol/L NaOH(aq)"],
        ("practice",): [str(place / "p.csv")],
        ("template",): [str(place / "t.xlsx"), "--in-cup", "water", "--added", "KNO3(s)"],
        ("calibrate",): [str(source / "calibrations.csv")],
        ("constants", "approve"): ["1"],
        ("constants", "certificate"): ["--folder", str(place)],
    }
    return known.get(path, [])


def _options(rng: random.Random, place: Path) -> list[str]:
    path = rng.choice(sorted(numeric_options()))
    words = [*path, *sound_call(path, place)]
    for option in rng.sample(
        numeric_options()[path], min(rng.randint(1, 2), len(numeric_options()[path]))
    ):
        words.append(f"{option}={rng.choice(NUMBERS)}")
    return words


def _on(
    *before: str, write: Callable[[random.Random, Path], Path], after: tuple[str, ...] = ()
) -> Callable[..., list[str]]:
    return lambda rng, place: [*before, str(write(rng, place)), *after]


# Share of the cases, whether the registry is written, and what makes the words of one case.
READERS: dict[str, tuple[float, bool, Callable[[random.Random, Path], list[str]]]] = {
    "enthalpy readings": (10, False, _on("enthalpy", write=files.table("class_readings.csv", 2))),
    "enthalpy kinds": (12, False, _on("enthalpy", write=files.kinds)),
    "enthalpy curves": (2, False, _on("enthalpy", write=files.table("class_curves.csv", 1))),
    "enthalpy record": (2, True, _on("enthalpy", "--record", write=files.kinds)),
    "mark": (8, False, _on("mark", write=files.table("class_answers.csv", 2))),
    "mark full": (
        3,
        False,
        _on("mark", "--depth", "full", write=files.table("class_answers.csv", 1)),
    ),
    "key": (
        5,
        False,
        lambda rng, place: ["key", str(files.kinds(rng, place)), "--run", rng.choice("abcdefgh")],
    ),
    "calibrate": (3, True, _on("calibrate", "--approve", write=files.table("calibrations.csv", 1))),
    "check": (1, False, _on("constants", "check", write=files.table("calibrations.csv", 1))),
    "cycles": (4, False, _on("cycles", write=files.kinds)),
    "correct": (2, False, _on("correct", write=files.curve("class_bench02.csv"))),
    "correct text": (1, False, _on("correct", write=files.curve("class_bench03.txt"))),
    "cooldown": (1, False, _on("cooldown", write=files.curve("cooling_P1.csv"))),
    "readings.toml": (5, False, _on("enthalpy", write=files.settings)),
    "import": (4, True, _on("constants", "import", write=files.export)),
    "merge": (3, True, _on("constants", "merge", write=files.damaged_registry)),
    "open": (
        2,
        False,
        lambda rng, place: ["constants", "--registry", str(files.damaged_registry(rng, place))],
    ),
    "answer": (3, False, _on("practice", "--reveal", write=files.answer)),
    "xlsx": (10, False, _on("enthalpy", write=files.package(files.workbook, "t.xlsx"))),
    "ods": (4, False, _on("enthalpy", write=files.package(files.ods, "t.ods"))),
    "portions": (6, False, _plan),
    "equations": (5, False, _reference),
    "labels": (2, False, _labels),
    "options": (4, True, _options),
}


def one_case(reader: str, number: int) -> Done:
    """One case, from its reader and its number alone."""
    rng = random.Random(f"{reader}:{number}")
    _, writes, make = READERS[reader]
    place = Path(tempfile.mkdtemp(dir=bench().folder))
    try:
        registry = bench().fresh_registry(place) if writes else bench().registry
        words = make(rng, place)
        if rng.random() < 0.5 and reader != "options":
            words.insert(
                2 if words[0] == "constants" and words[1] in ("import", "merge", "check") else 1,
                "--json",
            )
        words = [
            word.encode("utf-8", "replace").decode("utf-8").replace("\x00", "") for word in words
        ]
        done = call(words, registry)
        if (
            reader in ("import", "merge")
            and done.code in (0, 1)
            and not _can_be_listed(registry, place)
        ):
            done.faults.append("poisoned")
        done.stack = done.stack or " ".join(words)
        return done
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _can_be_listed(registry: Path, place: Path) -> bool:
    asked = (["constants"], ["constants", "--history"], ["apparatus", "list"], ["constants", "recheck"],
             ["constants", "drift"], ["constants", "export", str(place / "again.json")])  # fmt: skip
    return all(call(words, registry).code in (0, 1) for words in asked)


def shares(cases: int) -> dict[str, int]:
    """How many cases each reader gets."""
    whole = sum(share for share, *_ in READERS.values())
    return {reader: max(1, round(cases * share / whole)) for reader, (share, *_) in READERS.items()}


def run(cases: int, start: int = 0, rows: Path | None = None) -> dict[str, Counter[str]]:
    """Counts by reader; each fault goes to ``rows`` as a line of JSON."""
    found: dict[str, Counter[str]] = {}
    lines = rows.open("w", encoding="utf-8") if rows else contextlib.nullcontext()
    with lines as file:
        for reader, many in shares(cases).items():
            counts = found[reader] = Counter()
            for number in range(start, start + many):
                done = one_case(reader, number)
                counts.update(["cases", *dict.fromkeys(done.faults)])
                counts["ms"] += round(1000 * done.seconds)
                if done.faults and file is not None:
                    said = done.err.decode("utf-8", "replace").strip().splitlines()[-1:]
                    line = {
                        "case": f"{reader}:{number}",
                        "faults": done.faults,
                        "said": said,
                        "words": done.stack[-900:],
                    }
                    file.write(json.dumps(line) + "\n")
                    file.flush()
    return found


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--start", type=int, default=0, help="first number of a case")
    parser.add_argument("--rows", type=Path)
    parser.add_argument("--replay", metavar="READER:NUMBER")
    given = parser.parse_args()
    try:
        if given.replay:
            reader, _, number = given.replay.partition(":")
            os.environ["CUPLEDGER_DEBUG"] = "1"
            done = one_case(reader, int(number))
            print(done.stack, done.err.decode("utf-8", "replace"), done.faults, sep="\n")
            return
        found = run(given.cases, given.start, given.rows)
    finally:
        shutil.rmtree(bench().folder, ignore_errors=True)
    print(f"| reader | cases | {' | '.join(COUNTED)} | ms a case |")
    print("|---" * (len(COUNTED) + 3) + "|")
    for reader, counts in [*found.items(), ("all", sum(found.values(), Counter()))]:
        cells = [str(counts[name]) for name in ("cases", *COUNTED)]
        print(f"| {reader} | {' | '.join(cells)} | {counts['ms'] / counts['cases']:.0f} |")


if __name__ == "__main__":
    main()
