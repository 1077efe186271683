"""Heat release of simulated curves against the truth: when it was over, how fast, how much when.

    python -m tests.benchmarks.heat_release --n 200

Truth: the same experiment in a cup of ``fitting/practice/simulated_cup.py`` that loses nothing and whose
wall follows at once, read by a perfect sensor; pouring stays in it. A release is over when its
share stays within one per cent of all. Each curve is judged twice: with the sensor's lag given,
and with nothing known of it.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace

import numpy as np

from fitting.corrections import correct
from fitting.curve import Curve, FloatArray
from fitting.practice.simulated_cup import FAMILIES, Experiment, draw_experiment, simulate
from fitting.release.heat_release import heat_release

OVER, ONE_TIME_CONSTANT, RESOLVED_FROM_S = 0.99, 1 - np.exp(-1), 5.0


@dataclass
class Cell:
    """One family with the lag known or not: what the stated intervals held, and how wide."""

    over_held: list[bool] = field(default_factory=list)
    constant_held: list[bool] = field(default_factory=list)
    fraction_held: list[float] = field(default_factory=list)
    resolved: list[bool] = field(default_factory=list)
    width_s: list[float] = field(default_factory=list)
    late_s: list[float] = field(default_factory=list)


def true_release(experiment: Experiment) -> tuple[FloatArray, FloatArray]:
    """Seconds since mixing and the share of the whole change that a perfect cup would show."""
    cup = replace(
        experiment.cup,
        fast_J_per_K=experiment.cup.constant_J_per_K,
        slow_wall_J_per_K=0.0,
        loss_W_per_K=0.0,
        wall_loss_share=0.0,
        evaporation_g_per_s_kPa=0.0,
        stirrer_W=0.0,
    )
    sensor = replace(
        experiment.sensor, lag_s=0.0, noise_K=0.0, step_K=0.0, wander_K=0.0, every_s=0.2
    )
    perfect = replace(experiment, cup=cup, sensor=sensor, standing_s=0.0, fore_s=1.0, after_s=600.0)
    run = simulate(perfect, 0)
    return run.time_s - run.mixed_at_s, (run.temperature_C - run.true_before_C) / run.true_rise_K


def times_of(since_s: FloatArray, share: FloatArray) -> tuple[float, float]:
    """Time to 63 % of the change, and the time from which it stays within 1 % of all."""
    away = np.flatnonzero(np.abs(share - 1) > 1 - OVER)
    last = min(int(away[-1]) + 1, since_s.size - 1)
    return float(since_s[np.argmax(share >= ONE_TIME_CONSTANT)]), float(since_s[last])


def judge(family: str, seeds: range) -> dict[str, Cell]:
    """Cells ``lag given`` and ``lag not known`` of one family."""
    cells = {"given": Cell(), "not known": Cell()}
    for seed in seeds:
        experiment = draw_experiment(family, np.random.default_rng(seed))
        run = simulate(experiment, seed)
        curve = Curve.from_arrays(run.time_s, run.temperature_C)
        corrected = correct(curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio)
        since, share = true_release(experiment)
        constant, over = times_of(since, share)
        for name, cell in cells.items():
            lag = experiment.sensor.lag_s if name == "given" else None
            found = heat_release(curve, corrected, sensor_lag_s=lag)
            low, high = found.over_interval95_s or (0.0, None)
            cell.over_held.append(low <= over <= (np.inf if high is None else high))
            off = abs((found.release_time_s or np.inf) - constant)
            cell.constant_held.append(off <= 1.96 * (found.u_release_time_s or 0.0))
            late = found.since_mixing_s > RESOLVED_FROM_S
            error = np.abs(found.fraction - np.interp(found.since_mixing_s, since, share))
            cell.fraction_held.append(float(np.mean((error <= 1.96 * found.u_fraction)[late])))
            cell.resolved.append(found.resolved)
            cell.width_s.append(np.inf if high is None else high - low)
            cell.late_s.append((found.over_after_s or np.inf) - over)
    return cells


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--family", action="append", choices=FAMILIES)
    parser.add_argument("--n", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=40_000)
    args = parser.parse_args()
    print(
        "| family | sensor's lag | time to 99 % held | its interval, median s | end told from"
        " pouring | time constant held | share released held |"
    )
    print("|---|---|---|---|---|---|---|")
    for family in args.family or FAMILIES:
        cells = judge(family, range(args.first_seed, args.first_seed + args.n))
        for name, cell in cells.items():
            print(
                f"| {family} | {name} | {100 * np.mean(cell.over_held):.1f} % |"
                f" {np.median(cell.width_s):.0f} | {100 * np.mean(cell.resolved):.0f} % |"
                f" {100 * np.mean(cell.constant_held):.1f} % |"
                f" {100 * np.mean(cell.fraction_held):.1f} % |",
                flush=True,
            )


if __name__ == "__main__":
    main()
