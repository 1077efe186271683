"""Slips in typing, found or not, and honest rows accused: a table for FIGURES.md.

    python -m tests.benchmarks.slips_in_classes --slips 200 --honest 1000 --seed 1

For classes of 3, 8 and 30 benches: so many single slips, each by itself in a fresh class of
`tests.benchmarks.simulated_classes` (the three kinds in curves one after another in one class); then so many classes without any. A slip is

* *refused*: the row is refused at one of the columns that hold the slip;
* *named*: the first slip named is in these columns, and mended the row gives what it gave before the
  slip, within 2 u or 3 % (a curve in two rows: both rows are named; a
  moment: a warning gives both moments);
* *among*: it stands among the slips named, not first;
* *wrong*: only other slips are named, or another row is;
* *left out*: the row leaves the mean with a reason, no slip named;
* *told*: the row has a warning that it had not before, and stays in;
* *silent*: none of these. *Within 2 u*: of the silent ones, how many changed the result by less than
  twice its own u, which no test can see.

Seeds below 1000 are for reports, from 1000 on for choosing thresholds.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from calib.enthalpies.one_run import RunResult
from calib.enthalpies.same_rows import same_files
from calib.enthalpies.tested import Mend, RunTest, run_tests, with_remarks
from calib.enthalpy import FixedConstants, evaluate_run
from calib.run_model.refusal import NOT_COMPUTED, RowRefusedError
from calib.runs.checks import Checker
from calib.runs.instruments import Instruments
from calib.runs.model import Run
from calib.runs.readings_file import Settings
from tests.benchmarks.simulated_classes import (
    CURVE_KINDS,
    KINDS,
    Class,
    Planted,
    draw_class,
    draw_curve_class,
    plant,
)

SIZES = (3, 8, 30)
OUTCOMES = ("refused", "named", "among", "wrong", "left out", "told", "silent", "within 2 u")


@dataclass
class Evaluated:
    """A class with its rows computed; ``results`` are of ``places``, the others were refused."""

    made: Class
    tools: Instruments
    constants: FixedConstants
    places: list[int] = field(default_factory=list)
    results: list[RunResult] = field(default_factory=list)

    def again(self, run: Run, rise: Any = None) -> RunResult:
        return evaluate_run(run, self.tools, self.constants, rise=rise)

    def tests(self, results: list[RunResult]) -> tuple[RunTest, ...]:
        return run_tests(results, self.again)


def evaluated(made: Class) -> Evaluated:
    """All rows of a class, computed as ``enthalpy`` computes them."""
    tools = Instruments(Settings(sections={}, columns={}), made.steps)
    one = Evaluated(made, tools, FixedConstants(made.constants, made.losses))
    for place, run in enumerate(made.rows):
        try:
            result = one.again(run)
        except (RowRefusedError, *NOT_COMPUTED):
            continue
        one.places.append(place)
        one.results.append(result)
    return one


def refused_at(run: Run, one: Evaluated) -> tuple[RunResult | None, set[str]]:
    """The row computed, or the columns that the reader or the computation refuses it at."""
    fields = {c: getattr(run, c) for c in Run.__dataclass_fields__ if getattr(run, c) is not None}
    problems = Checker(list(fields)).problems(run.run, fields)
    if problems:
        return None, {p.column for p in problems}
    try:
        return one.again(run), set()
    except RowRefusedError as error:
        return None, {p.column for p in error.problems}
    except NOT_COMPUTED:
        return None, {"run"}


def outcome(planted: Planted, one: Evaluated) -> str:
    """What became of a slip."""
    result, columns = refused_at(planted.run, one)
    if result is None and planted.kind == "another bench's curve":
        rows = [*one.made.rows]
        rows[planted.place] = planted.run
        return "named" if planted.run.run in same_files(rows) else "wrong"
    if result is None:
        return "refused" if columns & set(planted.columns) else "wrong"
    where = one.places.index(planted.place)
    honest = one.results[where]
    results = [*one.results]
    results[where] = result
    tests = one.tests(results)
    own = tests[where]
    told = with_remarks(results, tests)[where].warnings
    if planted.kind == "another bench's curve":
        return "named" if own.reason and "very same file" in own.reason else "silent"
    new = " ".join(set(told) - set(honest.warnings))
    if planted.kind == "moment off the jump" and "the moment of mixing given" in new:
        return "named"  # in a warning that gives both moments
    right = [
        bool(set(m.columns) & set(planted.columns)) and _gives_back(m, honest) for m in own.mends
    ]
    if right:
        return "named" if right[0] else "among" if any(right) else "wrong"
    if own.left_out:
        return "left out"
    if any(test.left_out for test in tests):
        return "wrong"
    if new:
        return "told"
    off = abs(result.result.value - honest.result.value)
    return "within 2 u" if off <= 2.0 * honest.result.u else "silent"


def _gives_back(mend: Mend, honest: RunResult) -> bool:
    """Whether the mended row gives what the row gave before the slip; amounts unknown do not say."""
    off = abs(mend.gives - honest.result.value)
    return bool(np.isnan(off) or off <= max(2.0 * honest.result.u, 0.03 * abs(honest.result.value)))


def slips(
    count: int, size: int, seed: int, folder: Path, kinds: tuple[str, ...] = tuple(KINDS)
) -> dict[str, Counter[str]]:
    """So many slips, kinds in turn, each in a class of its own; kinds of curves share one."""
    found: dict[str, Counter[str]] = {kind: Counter() for kind in kinds}
    rng = np.random.default_rng([seed, size])
    logged: list[Evaluated] = []
    for number in range(count):
        kind = kinds[number % len(kinds)]
        if kind == CURVE_KINDS[0]:
            logged.clear()
        for _ in range(60):
            if kind in CURVE_KINDS and logged:
                planted = plant(rng, kind, logged[0].made)
                if planted is not None and planted.place in logged[0].places:
                    found[kind][outcome(planted, logged[0])] += 1
                    break
            made = draw_curve_class(rng, size, folder) if kind in CURVE_KINDS else draw_class(rng, size)  # fmt: skip
            planted = plant(rng, kind, made)
            if planted is None:
                continue
            one = evaluated(made)
            if kind in CURVE_KINDS:
                logged[:] = [one]
            if planted.place in one.places:
                found[kind][outcome(planted, one)] += 1
                break
    return found


@dataclass
class Honest:
    """What was said of classes without a slip."""

    classes: int = 0
    rows: int = 0
    refused: int = 0
    accused: list[str] = field(default_factory=list)
    accused_classes: int = 0
    told: int = 0


def honest(
    count: int, seed: int, folder: Path, sizes: Sequence[int] = SIZES, curves: int = 20
) -> Honest:
    """So many classes without a slip, sizes in turn; one in ``curves`` logs curves."""
    said = Honest()
    rng = np.random.default_rng([seed, 0])
    for number in range(count):
        size = sizes[number % len(sizes)]
        made = (
            draw_curve_class(rng, size, folder) if number % curves == 0 else draw_class(rng, size)
        )
        one = evaluated(made)
        tests = one.tests(one.results)
        said.classes += 1
        said.rows += len(made.rows)
        said.refused += len(made.rows) - len(one.results)
        bad = [t for t in tests if t.reason]
        said.accused_classes += bool(bad)
        said.accused += [f"{made.what} of {size}: {t.reason}" for t in bad]
        told = with_remarks(one.results, tests)
        said.told += sum(
            r.warnings != w.warnings for r, w in zip(one.results, told, strict=True)
        ) - len(bad)
    return said


def table(found: dict[str, Counter[str]]) -> list[str]:
    """Lines of the table, one a kind, and their sum."""
    total: Counter[str] = sum(found.values(), Counter())
    rows = [*found.items(), ("all", total)]
    return [
        f"| {kind} | {sum(c.values())} | " + " | ".join(str(c[o]) for o in OUTCOMES) + " |"
        for kind, c in rows
    ]


def main() -> None:
    """Print the tables that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--slips", type=int, default=200)
    parser.add_argument("--honest", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sizes", type=int, nargs="+", default=list(SIZES))
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        for size in given.sizes if given.slips else ():
            began = time.perf_counter()
            print(f"\nClasses of {size}:\n\n| slip | planted | {' | '.join(OUTCOMES)} |")
            print("|---" * (2 + len(OUTCOMES)) + "|")
            print("\n".join(table(slips(given.slips, size, given.seed, Path(name)))))
            print(f"({time.perf_counter() - began:.0f} s)", flush=True)
        said = honest(given.honest, given.seed, Path(name), given.sizes)
    print(
        f"\n{said.classes} honest classes, {said.rows} rows, {said.refused} refused: "
        f"{len(said.accused)} rows accused in {said.accused_classes} classes; "
        f"{said.told} told to be far off what is expected"
    )
    for line in said.accused:
        print(f"  {line}")


if __name__ == "__main__":
    main()
