"""False accusations among honest classes, and slips found: ``python -m tests.benchmarks.marking``.

``--classes`` simulated honest classes of thirty, each student with readings, habits and roundings
of their own (``simulated_students.py``, which shares no code with the marker); then as many
students again with one planted slip, or two.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from dataclasses import dataclass, field

from calib.classwork.marking.marked import Marked, mark_row
from calib.classwork.marking.ways import Taught
from calib.enthalpy import FixedConstants, evaluate_run
from calib.runs.instruments import Instruments
from calib.runs.readings_file import Settings
from tests.benchmarks import simulated_students as students

ACCUSED = ("slip", "several slips fit")
SINGLE = ("sign", "J for kJ", "one mass only", "not divided", "other moles", "sum of moles",
          "mL for L", "kelvin added", "calories", "final temperature", "solute left out")  # fmt: skip
KIND = {"other moles": "wrong moles", "sum of moles": "wrong moles", "mL for L": "wrong moles"}
STAGE = {
    "one mass only": "mass", "solute left out": "mass", "kelvin added": "rise",
    "final temperature": "rise", "calories": "heat", "not divided": "amount",
    "other moles": "amount", "sum of moles": "amount", "mL for L": "amount", "J for kJ": "unit",
    "sign": "sign",
}  # fmt: skip


@dataclass
class Outcome:
    """What the marker said of honest students."""

    students: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    accused: list[str] = field(default_factory=list)
    not_right: list[str] = field(default_factory=list)


def honest_classes(classes: int, seed: int = 1, size: int = 30) -> Outcome:
    """Mark so many classes of honest students at the simple depth."""
    rng, outcome, tools = (
        random.Random(seed),
        Outcome(),
        Instruments(Settings(sections={}, columns={})),
    )
    for number in range(classes):
        for place in range(size):
            bench = students.draw_bench(rng, f"{number}-{place}")
            habits = students.draw_habits(rng)
            typed = students.answer(bench, habits)
            marked = mark_row(students.row(bench, typed), tools, None, Taught())
            outcome.students += 1
            outcome.verdicts[marked.verdict] += 1
            said = f"{bench} {habits} {typed}: {marked.verdict}"
            if marked.verdict in ACCUSED:
                assert isinstance(marked, Marked)
                outcome.accused.append(f"{said} {marked.kinds}")
            elif not marked.verdict.startswith("right"):
                outcome.not_right.append(said)
    return outcome


def honest_full_depth(classes: int, seed: int = 4, size: int = 30) -> Outcome:
    """The same at the full depth. The work sheet's specific heat is cupledger's, to three digits;
    density and all arithmetic are the students' own. No cup here has a stored heat loss.
    """
    rng, outcome, tools = (
        random.Random(seed),
        Outcome(),
        Instruments(Settings(sections={}, columns={})),
    )
    for number in range(classes):
        cup = f"{rng.uniform(8.0, 25.0):.1f}"
        constants = FixedConstants({"A": (float(cup), 0.4)})
        for place in range(size):
            bench = students.draw_bench(rng, f"{number}-{place}")
            habits = students.draw_habits(rng)
            blank = students.row(bench, None)
            whole = evaluate_run(blank, tools, constants)
            c = whole.measured.quantities.value("c_mix")
            typed = students.full_answer(bench, habits, {"c": f"{c:.2f}", "cup": cup})
            row = students.row(bench, typed)
            marked = mark_row(row, tools, constants, Taught("full"))
            outcome.students += 1
            outcome.verdicts[marked.verdict] += 1
            said = f"{bench} {habits} {typed} c {c:.3f} cup {cup}: {marked.verdict}"
            if marked.verdict in ACCUSED:
                assert isinstance(marked, Marked)
                outcome.accused.append(f"{said} {marked.kinds}")
            elif not marked.verdict.startswith("right"):
                outcome.not_right.append(said)
    return outcome


@dataclass
class Planted:
    """What became of planted slips, by kind."""

    named: Counter[str] = field(default_factory=Counter)
    among_several: Counter[str] = field(default_factory=Counter)
    coincide: Counter[str] = field(default_factory=Counter)
    unexplained: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def rows(self, names: tuple[str, ...]) -> list[str]:
        """Lines of the table."""
        wrong = Counter(line.partition(":")[0] for line in self.wrong)
        return [
            f"| {n} | {self.named[n]} | {self.among_several[n]} | {self.coincide[n]} | "
            f"{self.unexplained[n]} | {wrong[n]} |"
            for n in names
        ]


def planted(count: int, *, pairs: bool = False, seed: int = 2) -> Planted:
    """Mark so many students for each slip (or for pairs of slips at random)."""
    rng, outcome, tools = (
        random.Random(seed),
        Planted(),
        Instruments(Settings(sections={}, columns={})),
    )
    for first in SINGLE:
        for place in range(count):
            bench, slips = _draw(rng, first, pairs, f"{first}-{place}")
            habits = students.draw_habits(rng)
            value = students.compute(bench, habits, frozenset(slips))
            typed = students.write_down(value, habits)
            marked = mark_row(students.row(bench, typed), tools, None, Taught())
            assert isinstance(marked, Marked)
            _count(outcome, first, slips, marked, f"{slips} {bench} {habits} {typed}")
    return outcome


def _draw(
    rng: random.Random, first: str, pairs: bool, label: str
) -> tuple[students.Bench, set[str]]:
    """A bench at which the slip, with another where pairs are wanted, can happen."""
    while True:
        slips = {first}
        if pairs:
            slips.add(rng.choice([s for s in SINGLE if STAGE[s] != STAGE[first]]))
        bench = students.draw_bench(rng, label)
        if _possible(bench, slips):
            return bench, slips


def _possible(bench: students.Bench, slips: set[str]) -> bool:
    solid = bench.added_g is not None
    metal = bench.experiment.added in ("Zn(s)",)
    if slips & {"other moles", "sum of moles"} and bench.added_mL is None:
        return False
    if "mL for L" in slips and bench.experiment.limiting == "added":
        return False
    if "solute left out" in slips and (not solid or metal):
        return False
    return not ("one mass only" in slips and solid)


def _count(outcome: Planted, name: str, slips: set[str], marked: Marked, said: str) -> None:
    wanted = {KIND.get(slip, slip) for slip in slips}
    found = [set(kinds) for kinds in marked.kinds]
    if wanted in found:
        (outcome.named if len(found) == 1 else outcome.among_several)[name] += 1
    elif marked.verdict.startswith("right"):
        outcome.coincide[name] += 1
    elif marked.verdict == "not explained":
        outcome.unexplained[name] += 1
    else:
        outcome.wrong.append(f"{name}: {said}: {marked.kinds}")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--classes", type=int, default=1000)
    parser.add_argument("--full", type=int, default=100, help="classes at the full depth")
    parser.add_argument("--slips", type=int, default=200)
    parser.add_argument("--show", type=int, default=0, help="print so many examples")
    options = parser.parse_args()
    started = time.monotonic()
    for depth, honest in (
        ("simple", honest_classes(options.classes)),
        ("full", honest_full_depth(options.full)),
    ):
        print(f"honest classes at the {depth} depth: {honest.students} students")
        for verdict, many in honest.verdicts.most_common():
            print(f"| {verdict} | {many} | {100.0 * many / honest.students:.3f} % |")
        print(f"| accused | {len(honest.accused)} | |")
        for line in [*honest.accused[: options.show], *honest.not_right[: options.show]]:
            print("   ", line)
    for pairs in (False, True):
        found = planted(options.slips, pairs=pairs)
        print(f"\n{'two slips' if pairs else 'one slip'}, {options.slips} students each")
        print("| planted | named | among several | taken for right | not explained | other |")
        print("\n".join(found.rows(SINGLE)))
        for line in found.wrong[: options.show]:
            print("   ", line)
    print(f"\n{time.monotonic() - started:.0f} s")


if __name__ == "__main__":
    main()
