"""The whole job in the cups of two judges: constants and class enthalpies against the truth.

    python -m tests.benchmarks.whole_job --judge foam --schools 16
    python -m tests.benchmarks.whole_job --judge lumped --schools 16 --heater
    python -m tests.benchmarks.whole_job --judge lumped --schools 16 --flask

Each school has six cups of one judge. Each cup is calibrated by four mixing runs, or by a heater
(``--heater``); then twelve benches log curves in the same cups: six neutralize, six dissolve potassium
nitrate, one curve in four without its moment of mixing. World and instruments are those of
`tests.benchmarks.main_job`, with its spread of heat capacities. An enthalpy needs no convention about the
wall; a constant does, and is held against both (`tests.benchmarks.judges.foam`).

*Closure*: the same two reactions in each cup the day after its calibration, with solutions exactly as
labelled and as the published heat capacities say. What is left is loss, constant and reading: the
enthalpy should come out right within its stated u.

The heater's meters are off by no more than the school states, ±0.02 V and ±0.004 A, by one error each.
The power in the cup is less than they say by the leads between, 0 to 0.03 ohm (half a metre of 0.75 mm²
copper there and back has 0.023), and its mean differs from what was noted once by 0.2 % (sd, judgement).
Seeds are split as in `tests.benchmarks.two_judges`.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from calib.jobs.calibrating import calibrate_table
from calib.jobs.evaluating import evaluate_table
from calib.registry import open_registry
from sample_runs.invented_school import (
    CUPS,
    TRUE_KJ_PER_MOL,
    Instruments,
    Probe,
    draw_instruments,
    write_rows,
)
from tests.benchmarks.judges.record import Judged
from tests.benchmarks.judges.school import (
    FoamWorld,
    LumpedWorld,
    Task,
    World,
    dissolution_task,
    heater_task,
    mixing_task,
    neutralization_task,
)
from tests.benchmarks.main_job import CP_SPREAD
from tests.benchmarks.two_judges import seeds_of

READINGS = Path(__file__).resolve().parents[2] / "sample_runs" / "readings.toml"
METERS = {"heater_V": 0.02, "heater_A": 0.004}  # half-widths, V and A
METERS_TOML = """
[voltage]
halfwidth = 0.02
shared = "table"

[current]
halfwidth = 0.004
shared = "table"
"""
Rows = list[dict[str, object]]


@dataclass
class Score:
    """Errors of one kind of result, its stated half-widths and u, and how often the truth was held."""

    errors: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    halfwidths: list[float] = field(default_factory=list)
    over_u: list[float] = field(default_factory=list)
    lost: int = 0

    def add(self, value: float, interval: list[float], u: float, truth: float) -> None:
        """One result more; all in one unit."""
        self.errors.append(value - truth)
        self.held.append(min(interval) <= truth <= max(interval))
        self.halfwidths.append(0.5 * abs(interval[1] - interval[0]))
        self.over_u.append((value - truth) / u)

    def line(self, name: str) -> str:
        """A row of the table."""
        if not self.errors:
            return f"| {name} | 0 | | | | | | {self.lost} |"
        rms = float(np.sqrt(np.mean(np.square(self.errors))))
        ratio = float(np.sqrt(np.mean(np.square(self.over_u))))
        return (
            f"| {name} | {len(self.errors)} | {rms:.3f} | {np.mean(self.errors):+.3f} |"
            f" {100 * np.mean(self.held):.1f} % | {np.median(self.halfwidths):.3f} | {ratio:.2f} |"
            f" {self.lost} |"
        )


HEAD = (
    "| what | results | rms | bias | 95 % interval holds | median half-width | rms of error / u |"
    " lost |\n|" + "---|" * 8
)


@dataclass
class School:
    """One invented school: where its files are, its cups, its instruments, its random numbers."""

    folder: Path
    world: World
    tools: Instruments
    rng: np.random.Generator

    def log(self, name: str, cup: str, task: Task) -> dict[str, str]:
        """Do a task and write its curve; the cells that belong to the curve."""
        run = self.world.done(cup, task, self.rng)
        return {"curve": self.write(name, cup, run), "mixed_at_s": f"{run.mixed_at_s:.0f}",
                "room_C": f"{run.room_C:.1f}"}  # fmt: skip

    def write(self, name: str, cup: str, run: Judged) -> str:
        """The curve as the cup's probe shows it, to 0.01 K; the file's name."""
        shown = self.tools.probes.get(cup, Probe()).shows(run.raw_C, 0.01)
        lines = [f"{t:g},{c:.2f}" for t, c in zip(run.time_s, shown, strict=True)]
        text = "\n".join(["time_s,temperature_C", *lines]) + "\n"
        (self.folder / f"{name}.csv").write_text(text, encoding="utf-8")
        return f"{name}.csv"

    def weighed(self, true: dict[str, float], cup: str) -> dict[str, str]:
        """Masses and ``added_C`` as read."""
        cells: dict[str, str] = {
            name: f"{self.tools.weighs(true[name], self.rng):.2f}"
            for name in ("in_cup_g", "added_g") if name in true
        }  # fmt: skip
        if "added_C" in true:
            shown = self.tools.probes.get(cup, Probe()).shows(true["added_C"], 0.01)
            cells["added_C"] = f"{shown:.2f}"
        return cells

    def calibrations(self, heater: bool) -> Path:
        """Four runs a cup."""
        off = {name: self.rng.uniform(-most, most) for name, most in METERS.items()}
        leads_ohm = self.rng.uniform(0.0, 0.03)
        rows: Rows = []
        for cup in CUPS:
            for number in range(1, 5):
                task, true = heater_task(self.rng, leads_ohm) if heater else mixing_task(self.rng)
                row: dict[str, object] = {
                    "run": f"{cup}-{number}", "apparatus": cup, "date": f"2026-09-{number:02d}",
                    "in_cup": "water", **self.weighed(true, cup),
                    **self.log(f"calibration_{cup}_{number}", cup, task),
                }  # fmt: skip
                if heater:
                    meters = {name: f"{true[name] + off[name]:.3f}" for name in METERS}
                    row |= {**meters, "heater_s": f"{true['heater_s']:.0f}"}
                else:
                    row |= {"added": "water", "added_read_s": "0"}
                rows.append(row)
        write_rows(self.folder / "calibrations.csv", rows)
        return self.folder / "calibrations.csv"

    def reactions(self, name: str, date: str, cp_spread: float, stock: dict[str, float]) -> Path:
        """Each cup neutralizes once and dissolves once."""
        factors = 1 + self.rng.normal(0.0, cp_spread, 2)
        rows: Rows = []
        for index in range(12):
            cup, acid = CUPS[index % 6], index < 6
            task, true = (
                neutralization_task(self.rng, float(factors[0]), stock)
                if acid
                else dissolution_task(self.rng, float(factors[1]))
            )
            cells = self.log(f"{name}_{index + 1}", cup, task)
            if index % 4 == 0:
                cells["mixed_at_s"] = ""
            rows.append(
                {
                    "run": f"bench {index + 1}", "apparatus": cup, "date": date,
                    "in_cup": "HNO3(aq)" if acid else "water",
                    "in_cup_mol_per_L": "1.000" if acid else "",
                    "added": "KOH(aq)" if acid else "KNO3(s)",
                    "added_mol_per_L": "1.000" if acid else "",
                    **self.weighed(true, cup), **cells,
                }
            )  # fmt: skip
        write_rows(self.folder / f"{name}.csv", rows)
        return self.folder / f"{name}.csv"


def new_scores() -> dict[str, Score]:
    """Empty scores by what is scored."""
    return {
        name: Score()
        for name in (
            "constant J/K, whole wall", "constant J/K, steady wall", "neutralization %",
            "dissolution %", "closure: neutralization %", "closure: dissolution %",
        )
    }  # fmt: skip


def make_world(judge: str, rng: np.random.Generator, *, flask: bool) -> World:
    """Six cups of a judge.

    Raises:
        ValueError: the foam judge has no flasks.
    """
    if judge == "lumped":
        return LumpedWorld(rng, flask=flask)
    if flask:
        raise ValueError("the foam judge has no flasks; use --judge lumped")
    return FoamWorld(rng)


def one_school(
    judge: str, seed: int, scores: dict[str, Score], *, heater: bool = False, flask: bool = False
) -> dict[str, Any]:
    """Invent one school, do its job, add what came out; returns the facts of the three tables."""
    rng = np.random.default_rng([7003, ("foam", "lumped").index(judge), seed])
    world = make_world(judge, rng, flask=flask)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(READINGS, folder)
        if heater:
            with (folder / READINGS.name).open("a", encoding="utf-8") as file:
                file.write(METERS_TOML)
        school = School(folder, world, draw_instruments(rng), rng)
        place = str(folder / "registry.sqlite")
        with open_registry(place) as store:
            store.register_all(CUPS, world.kind)
        made = calibrate_table(
            school.calibrations(heater), place, approve=True, reason="as it came out"
        )
        closing = school.reactions("closure", "2026-09-05", 0.0, {})
        lessons = school.reactions("class", "2026-10-14", CP_SPREAD, school.tools.stock)
        facts = {
            "calibration": made,
            "closure": evaluate_table(closing, place).facts,
            "class": evaluate_table(lessons, place).facts,
        }
    add_constants(made, world, scores)
    add_enthalpies(facts["closure"], scores, "closure: ")
    add_enthalpies(facts["class"], scores, "")
    return facts


def add_constants(made: dict[str, Any], world: World, scores: dict[str, Score]) -> None:
    """Each cup's constant against the truth by both conventions."""
    for convention in ("whole wall", "steady wall"):
        score = scores[f"constant J/K, {convention}"]
        score.lost += 24 - len(made["runs"])
        for one in made["constants"]:
            truth = world.constants(one["apparatus"])[convention]
            score.add(
                one["constant_J_per_K"], one["interval95_J_per_K"], one["u_constant_J_per_K"], truth
            )


def add_enthalpies(report: dict[str, Any], scores: dict[str, Score], before: str) -> None:
    """Enthalpies in per cent of the truth."""
    missing = {"neutralization": 6, "dissolution": 6}
    for run in report["runs"]:
        acid = int(run["run"].split()[1]) <= 6
        what = "neutralization" if acid else "dissolution"
        truth = TRUE_KJ_PER_MOL["neutralization" if acid else "KNO3"]
        missing[what] -= 1
        scale = 100 / abs(truth)
        scores[f"{before}{what} %"].add(
            scale * run["dH_kJ_per_mol"],
            [scale * end for end in run["interval95_kJ_per_mol"]],
            scale * run["u_dH_kJ_per_mol"],
            scale * truth,
        )
    for what, count in missing.items():
        scores[f"{before}{what} %"].lost += count


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--judge", choices=("foam", "lumped"), default="foam")
    parser.add_argument("--schools", type=int, default=16)
    parser.add_argument("--heater", action="store_true", help="cups calibrated by a heater")
    parser.add_argument("--flask", action="store_true", help="vacuum flasks in place of cups")
    parser.add_argument("--development", action="store_true")
    parser.add_argument("--first-seed", type=int)
    args = parser.parse_args()
    scores = new_scores()
    for seed in seeds_of(args.schools, development=args.development, first_seed=args.first_seed):
        one_school(args.judge, seed, scores, heater=args.heater, flask=args.flask)
    print(HEAD)
    print("\n".join(score.line(name) for name, score in scores.items()))


if __name__ == "__main__":
    main()
