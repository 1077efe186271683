"""What stands beside the rise, against the simulator's own state: do the stated intervals hold?

    python -m tests.benchmarks.coverage_beside --n 200

Temperature before mixing, temperature without loss, temperature that the cup tends to, and when
99 % of the change was shown. Truths: the liquid's temperature at the mixing; that plus the rise of
an insulated cup; the temperature at which the simulated cup would rest, stirrer, vapour and wall
included, in the room as it was at the mixing; and the same experiment, its sensor without noise, in
a cup that loses nothing and whose wall follows at once.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace

import numpy as np

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.practice.simulated_cup import (
    FAMILIES,
    Experiment,
    Room,
    SimulatedRun,
    _slopes,
    draw_experiment,
    simulate,
)
from fitting.release.settling import SHOWN_SHARE, settled

FIRST_SEED = 90_000  # not looked at while the intervals were made
NAMES = ("before", "without loss", "tends to", "settled")


@dataclass
class Cell:
    """One number on one family: what its intervals held, how wide they were, how far it was off."""

    held: list[bool] = field(default_factory=list)
    width: list[float] = field(default_factory=list)
    error: list[float] = field(default_factory=list)
    open: int = 0
    missing: int = 0

    def add(self, truth: float, value: float | None, interval: tuple[float, float | None]) -> None:
        low, high = interval
        top = np.inf if high is None else high
        self.held.append(bool(low <= truth <= top))
        self.width.append(top - low)
        self.open += high is None
        if value is not None:
            self.error.append(value - truth)


def rests_at(e: Experiment, room_C: float) -> float:
    """Temperature at which the simulated cup and its wall would stand still in a still room, °C."""
    still, cup = replace(e, room=Room(start_C=room_C)), e.cup
    through = cup.slow_wall_J_per_K / cup.slow_wall_s
    out = cup.wall_loss_share * cup.loss_W_per_K
    low, high = room_C - 30.0, room_C + 30.0
    for _ in range(60):
        middle = (low + high) / 2
        wall = (through * middle + out * room_C) / (through + out)
        warming = _slopes(still, 0.0, (middle, wall, middle), -1e9, False)[0]
        low, high = (middle, high) if warming > 0 else (low, middle)
    return (low + high) / 2


def shown_after(e: Experiment) -> float:
    """Seconds since mixing from which a sensor without noise shows all but 1 % of the change."""
    cup = replace(
        e.cup, fast_J_per_K=e.cup.constant_J_per_K, slow_wall_J_per_K=0.0, loss_W_per_K=0.0,
        wall_loss_share=0.0, evaporation_g_per_s_kPa=0.0, stirrer_W=0.0,
    )  # fmt: skip
    sensor = replace(e.sensor, noise_K=0.0, step_K=0.0, wander_K=0.0, every_s=0.25)
    run = simulate(replace(e, cup=cup, sensor=sensor, standing_s=0.0, fore_s=1.0, after_s=900.0), 0)
    share = (run.temperature_C - run.true_before_C) / run.true_rise_K
    away = np.flatnonzero(np.abs(share - 1) > 1 - SHOWN_SHARE)
    return float(run.time_s[min(int(away[-1]) + 1, share.size - 1)] - run.mixed_at_s)


def judge(family: str, seeds: range, resolution_K: float, *, room_noted: bool) -> dict[str, Cell]:
    """Cells by name for one family and display."""
    cells = {name: Cell() for name in NAMES}
    for seed in seeds:
        rng = np.random.default_rng(seed)
        experiment = draw_experiment(family, rng, resolution_K=resolution_K)
        run = simulate(experiment, rng)
        curve = Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=resolution_K)
        found = correct(
            curve,
            mixed_at_s=run.mixed_at_s,
            capacity_ratio=run.capacity_ratio,
            room_C=round(run.room_C, 1) if room_noted else None,
        )
        one = found.chosen
        tells = (
            ("before", run.true_before_C, one.before_C, one.before_interval95_C),
            ("without loss", run.true_final_C, one.final_C, one.final_interval95_C),
            ("tends to", _resting(run), one.t_inf_C, one.t_inf_interval95_C),
        )
        for name, truth, value, interval in tells:
            if interval is None:
                cells[name].missing += 1
            else:
                cells[name].add(truth, value, interval)
        when = settled(curve, found)
        if when is None:
            cells["settled"].missing += 1
        else:
            cells["settled"].add(shown_after(experiment), when.after_s, when.interval95_s)
    return cells


def _resting(run: SimulatedRun) -> float:
    return rests_at(run.experiment, run.room_C)


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--family", action="append", choices=FAMILIES)
    parser.add_argument("--n", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--room", action="store_true", help="the room was noted, too")
    args = parser.parse_args()
    print(
        "| family | step K | number | curves | rmse | bias | median width of 95 % | holds | open |"
        " not told |\n|---|---|---|---|---|---|---|---|---|---|"
    )
    for family in args.family or FAMILIES:
        for step in (0.01, 0.1):
            seeds = range(args.first_seed, args.first_seed + args.n)
            for name, cell in judge(family, seeds, step, room_noted=args.room).items():
                error = np.array(cell.error)
                unit, places = ("s", 1) if name == "settled" else ("K", 4)
                print(
                    f"| {family} | {step:g} | {name} | {len(cell.held)} |"
                    f" {np.sqrt(np.mean(error**2)):.{places}f} {unit} |"
                    f" {np.mean(error):+.{places}f} {unit} |"
                    f" {np.median(cell.width):.{places}f} {unit} |"
                    f" {100 * np.mean(cell.held):.1f} % | {cell.open} | {cell.missing} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
