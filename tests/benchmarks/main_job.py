"""The main job on many invented schools: constants and class enthalpies against the truth.

    python -m tests.benchmarks.main_job --schools 40

Each school has six simulated cups with four mixing runs each, and a class of twelve benches with
curves; the cups are drawn from all foam cups with a lid (`fitting.practice.simulated_cup.draw_cup`). The truth comes from ``fitting/practice/simulated_cup.py`` and from heat capacities of the libraries
thermo and chemicals, which this world obeys to ``CP_SPREAD`` only; its balance, probes and stock
bottles are off within the limits that ``readings.toml`` states, each by one error that stays with
it. The job is done by the same calls as the commands make. All runs of a school and a reaction
share one error of the heat capacity, so that coverage settles with the number of schools.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from calib.jobs.calibrating import calibrate_table
from calib.jobs.evaluating import evaluate_table
from calib.registry import open_registry
from sample_runs.invented_school import CUPS, TRUE_KJ_PER_MOL
from sample_runs.make_sample_runs import make_all

CP_SPREAD = 0.0019
"""Standard deviation of the world's heat capacities about the published correlation, relative:
0.0075 of 3.94 J/(g K). Independent tables of 1-1 electrolytes differ from the correlation by 0.004
to 0.010 J/(g K) (``tests/benchmarks/published_checks.py``)."""


@dataclass
class Score:
    """Errors of one kind of result, and how often the stated interval held the truth."""

    errors: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    lost: int = 0

    def add(self, value: float, interval: list[float] | tuple[float, float], truth: float) -> None:
        self.errors.append(value - truth)
        self.held.append(interval[0] <= truth <= interval[1])

    @property
    def rms(self) -> float:
        return float(np.sqrt(np.mean(np.square(self.errors))))

    @property
    def bias(self) -> float:
        return float(np.mean(self.errors))

    @property
    def coverage(self) -> float:
        return float(np.mean(self.held))


def one_school(seed: int, constants: Score, fast: Score, slow: Score) -> None:
    """Invent one school, do its main job, add what came out to the scores (enthalpies in %)."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        cups = make_all(folder, np.random.default_rng(seed), cp_spread=CP_SPREAD, any_cups=True)
        place = str(folder / "registry.sqlite")
        with open_registry(place) as store:
            store.register_all(CUPS, "double foam cup, foam lid")
        made = calibrate_table(
            folder / "calibrations.csv", place, approve=True, reason="as it came out"
        )
        constants.lost += 24 - len(made["runs"])
        for constant in made["constants"]:
            truth = cups[constant["apparatus"]].constant_J_per_K
            constants.add(constant["constant_J_per_K"], constant["interval95_J_per_K"], truth)
        report = evaluate_table(folder / "class_curves.csv", place).facts
        slow.lost += 12 - len(report["runs"])
        for run in report["runs"]:
            acid = int(run["run"].split()[1]) <= 6
            truth = TRUE_KJ_PER_MOL["neutralization" if acid else "KNO3"]
            scale = 100 / abs(truth)
            low_high = [scale * end for end in run["interval95_kJ_per_mol"]]
            score = fast if acid else slow
            score.add(scale * run["dH_kJ_per_mol"], low_high, scale * truth)


def run_schools(schools: int, first_seed: int = 1) -> dict[str, Score]:
    """Score so many schools."""
    scores = {name: Score() for name in ("constant J/K", "neutralization %", "dissolution %")}
    for seed in range(first_seed, first_seed + schools):
        one_school(seed, *scores.values())
    return scores


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--schools", type=int, default=40)
    scores = run_schools(parser.parse_args().schools)
    print("| what | results | rms | bias | 95 % interval holds | lost |")
    print("|---|---|---|---|---|---|")
    for name, s in scores.items():
        print(
            f"| {name} | {len(s.errors)} | {s.rms:.3f} | {s.bias:+.3f} | {100 * s.coverage:.1f} % |"
            f" {s.lost} |"
        )


if __name__ == "__main__":
    main()
