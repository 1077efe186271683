"""Heated cups of the foam judge: the corrected rise against the truth, and how often it holds.

    python -m tests.benchmarks.heater_runs --n 400

A heater of known power is on for 200 to 600 s (``tests/benchmarks/judges/foam.py``); the moment of
switching on is given, the room read to 0.1 K. Errors in per cent of the true rise, by both conventions
of a wall (`tests.benchmarks.judges.record`). Seeds from 500 000, for the report only.
"""

from __future__ import annotations

import argparse

import numpy as np

from fitting.cup.circumstances import Circumstances
from fitting.curve import Curve
from fitting.newton.heated import heated_rise
from tests.benchmarks.judges import foam

FIRST_SEED = 500_000


def scored(seed: int, step_K: float) -> tuple[float, float, bool, bool]:
    """Error and u in %, and whether the interval holds the rise of the whole and of the steady wall."""
    run = foam.run("heater", seed)
    curve = Curve.from_arrays(run.time_s, run.shown_C(step_K), resolution_K=step_K)
    known = Circumstances(mixed_at_s=run.mixed_at_s, room_C=round(run.room_C, 1))
    found = heated_rise(curve, run.heater_s, known)
    low, high = found.interval95_K
    truth, steady = run.true_rise_K, run.steady_rise_K or run.true_rise_K
    return (
        100 * (found.rise_K / truth - 1), 100 * found.u_rise_K / truth,
        low <= truth <= high, low <= steady <= high,
    )  # fmt: skip


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=400)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    args = parser.parse_args()
    print("| step K | n | rmse % | bias % | mean u % | 95 % holds | by the steady wall |")
    print("|---|---|---|---|---|---|---|")
    for step in (0.01, 0.1):
        rows = [scored(s, step) for s in range(args.first_seed, args.first_seed + args.n)]
        error, u, whole, steady = (
            np.array(column, dtype=float) for column in zip(*rows, strict=True)
        )
        print(
            f"| {step:g} | {args.n} | {np.sqrt(np.mean(error**2)):.3f} | {error.mean():+.3f} |"
            f" {u.mean():.3f} | {100 * whole.mean():.1f} % | {100 * steady.mean():.1f} % |"
        )


if __name__ == "__main__":
    main()
