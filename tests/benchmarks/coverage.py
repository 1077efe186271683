"""Corrected rises of simulated curves against the truth: rmse, bias, coverage of the intervals.

    python -m tests.benchmarks.coverage --n 400 --find

Truth: ``fitting/simulated_cup.py`` (slow wall, vapour, quantised lagging sensor, drifting room).
Errors are in per cent of the true rise. ``--find`` adds rows with the moment of mixing not given.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, field

import numpy as np

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.simulated_cup import draw_experiment, simulate


@dataclass
class Cell:
    """Errors of one method in one cell of the table, in % of the rise."""

    errors: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)

    @property
    def rmse(self) -> float:
        return math.sqrt(float(np.mean(np.square(self.errors))))

    @property
    def bias(self) -> float:
        return float(np.mean(self.errors))

    @property
    def coverage(self) -> float:
        return float(np.mean(self.held))


def score(
    family: str,
    n: int,
    *,
    resolution_K: float | None = None,
    after_s: float | None = None,
    given: bool = True,
    first_seed: int = 10_000,
) -> dict[str, Cell]:
    """Correct so many curves of a family; cells by method, ``default`` for the chosen one."""
    cells: dict[str, Cell] = {}
    for seed in range(first_seed, first_seed + n):
        rng = np.random.default_rng(seed)
        experiment = draw_experiment(family, rng, resolution_K=resolution_K, after_s=after_s)
        run = simulate(experiment, rng)
        curve = Curve.from_arrays(
            run.time_s, run.temperature_C, resolution_K=experiment.sensor.step_K
        )
        corrected = correct(
            curve,
            mixed_at_s=run.mixed_at_s if given else None,
            room_C=round(run.room_C, 1),
            capacity_ratio=run.capacity_ratio,
        )
        for name, one in [
            ("default", corrected.chosen),
            *((m.method, m) for m in corrected.methods),
        ]:
            cell = cells.setdefault(name, Cell())
            cell.errors.append(100 * (one.rise_K / run.true_rise_K - 1))
            low, high = one.interval95_K
            cell.held.append(low <= run.true_rise_K <= high)
    return cells


def main() -> None:
    """Print the table that DEVELOPERS.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--family", action="append")
    parser.add_argument("--n", type=int, default=400)
    parser.add_argument("--find", action="store_true")
    parser.add_argument("--resolution", type=float)
    parser.add_argument("--after", type=float)
    args = parser.parse_args()
    print("| family | mixing | method | rmse % | bias % | 95 % interval holds |")
    print("|---|---|---|---|---|---|")
    for family in args.family or ["fast", "mixing", "slow", "pellets"]:
        for given in (True, False) if args.find else (True,):
            cells = score(
                family, args.n, resolution_K=args.resolution, after_s=args.after, given=given
            )
            for name, cell in cells.items():
                print(
                    f"| {family} | {'given' if given else 'found'} | {name} | {cell.rmse:.3f} |"
                    f" {cell.bias:+.3f} | {100 * cell.coverage:.1f} % |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
