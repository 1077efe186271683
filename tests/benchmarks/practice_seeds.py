"""Practice curves: how often the default's interval holds the sealed answer, by difficulty.

    python -m tests.benchmarks.practice_seeds --n 200

The curves are those that ``cupledger practice`` writes, seed by seed; they are cups without a wall
(but where a slow one is asked for), so that what the default puts in for an unseen wall stands as a
small bias.
"""

from __future__ import annotations

import argparse

import numpy as np

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.practice.truth import practice_run

CHOSEN = (
    (), ("noise",), ("lag",), ("slow-wall",), ("evaporation",), ("slow-dissolution",),
    ("drifting-room",), ("slow-dissolution", "noise"),
)  # fmt: skip


def scored(difficulties: tuple[str, ...], seed: int) -> tuple[float, float, bool]:
    """Error and u of the rise in %, and whether the interval holds it."""
    run = practice_run(difficulties, seed)
    curve = Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=run.step_K)
    found = correct(curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio).chosen
    size = abs(run.rise_K)
    return (
        100 * (found.rise_K / run.rise_K - 1), 100 * found.u_rise_K / size, found.holds(run.rise_K),
    )  # fmt: skip


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=200)
    n = parser.parse_args().n
    print("| difficulties | seeds | rmse % | bias % | mean u % | 95 % holds |")
    print("|---|---|---|---|---|---|")
    for difficulties in CHOSEN:
        rows = [scored(difficulties, seed) for seed in range(1, n + 1)]
        error, u, held = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
        print(
            f"| {', '.join(difficulties) or 'none'} | {n} | {np.sqrt(np.mean(error**2)):.3f} |"
            f" {error.mean():+.3f} | {u.mean():.3f} | {100 * held.mean():.1f} % |"
        )


if __name__ == "__main__":
    main()
