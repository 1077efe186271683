"""Which law is found in simulated cooling logs, and how well k is.

    python -m tests.benchmarks.cooling_laws --n 40

Logs of 1.5 h from 45 °C in a room of 19 to 24 °C; truth: ``fitting/simulated_cup.py``, whose vapour
follows the saturation pressure and not a power law. Each kind has one thing beside Newton's law:
``newton`` none, ``slow-wall`` a wall of 15 to 40 J/K and 150 to 600 s, ``steeper`` an open cup with
much vapour, ``drifting-room`` 1 to 2.5 K/h; ``lidded`` has a little of each.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from fitting.cooling_laws import CoolingLog, fit_cooling_log
from fitting.curve import Curve
from fitting.simulated_cup import (
    LATENT_HEAT_J_PER_G,
    Cup,
    Experiment,
    Room,
    Sensor,
    draw_cup,
    simulate,
)

KINDS = ("newton", "slow-wall", "steeper", "drifting-room", "lidded")
HOURS, START_C = 1.5, 45.0


@dataclass(frozen=True)
class Draw:
    """A simulated log and what it came from."""

    curve: Curve
    experiment: Experiment

    def true_rate_per_s(self, at_C: float) -> float:
        """Loss over temperature difference at a temperature, over the heat capacity with the wall.

        The loss is G (T − T_room) + L E [e(T) − 0.45 e(T_room)] − P, with e by Magnus, and the
        difference is taken from where it is zero; the room as at the start.
        """
        from scipy.optimize import brentq

        e = self.experiment

        def vapour(T: float) -> float:
            return float(0.61094 * np.exp(17.625 * T / (T + 243.04)))

        def loss(T: float) -> float:
            wet = LATENT_HEAT_J_PER_G * e.cup.evaporation_g_per_s_kPa
            wet *= vapour(T) - 0.45 * vapour(e.room.start_C)
            return e.cup.loss_W_per_K * (T - e.room.start_C) + wet - e.cup.stirrer_W

        settles = float(brentq(loss, e.room.start_C - 15, e.room.start_C + 15))
        capacity = e.in_cup_J_per_K + e.cup.constant_J_per_K
        return loss(at_C) / (at_C - settles) / capacity


def draw_log(kind: str, seed: int, *, step_K: float = 0.01) -> Draw:
    """One log of a kind."""
    rng = np.random.default_rng(seed)
    cup = Cup(
        rng.uniform(3, 15), 1e-3, 20.0, rng.uniform(0.02, 0.08), 0.0, 0.0, rng.uniform(0, 0.05)
    )
    room = Room(start_C=rng.uniform(19, 24))
    if kind == "slow-wall":
        cup = replace(cup, slow_wall_J_per_K=rng.uniform(15, 40), slow_wall_s=rng.uniform(150, 600))
    elif kind == "steeper":
        cup = replace(cup, evaporation_g_per_s_kPa=rng.uniform(1e-5, 4e-5))
    elif kind == "drifting-room":
        drift = float(rng.choice([-1, 1])) * rng.uniform(1.0, 2.5) / 3600
        room = replace(room, drift_K_per_s=drift)
    elif kind == "lidded":
        cup = draw_cup(rng)
        room = replace(
            room,
            drift_K_per_s=rng.normal(0, 0.2) / 1200,
            swing_K=rng.uniform(0, 0.15),
            period_s=rng.uniform(500, 1500),
        )
    sensor = Sensor(5.0, rng.uniform(0.003, 0.015), step_K, rng.uniform(0, 0.004), every_s=10.0)
    e = Experiment(
        cup=cup,
        room=room,
        sensor=sensor,
        in_cup_J_per_K=rng.uniform(300, 450),
        in_cup_C=START_C,
        added_J_per_K=0.0,
        heat_J=0.0,
        fore_s=HOURS * 3600,
        after_s=20.0,
        standing_s=5.0 if kind == "slow-wall" else 1200.0,
    )
    run = simulate(e, rng)
    cooling = run.time_s < e.fore_s
    return Draw(Curve.from_arrays(run.time_s[cooling], run.temperature_C[cooling]), e)


def score(kind: str, n: int, *, room: bool, first_seed: int = 0) -> dict[str, object]:
    """Laws chosen, rmse of k in %, share of 95 % intervals that hold k."""
    chosen: Counter[str] = Counter()
    errors, held = [], []
    for seed in range(first_seed, first_seed + n):
        draw = draw_log(kind, seed)
        room_C = round(draw.experiment.room.start_C, 1) if room else None
        found: CoolingLog = fit_cooling_log(draw.curve, room_C=room_C)
        truth = draw.true_rate_per_s(found.middle_C)
        chosen[found.laws.chosen] += 1
        errors.append(100 * (found.rate_per_s / truth - 1))
        held.append(abs(found.rate_per_s - truth) < 1.96 * found.u_rate_per_s)
    return {
        "chosen": chosen,
        "rmse": float(np.sqrt(np.mean(np.square(errors)))),
        "held": float(np.mean(held)),
    }


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=40)
    args = parser.parse_args()
    print("| what holds | room noted | laws chosen | rmse of k % | 95 % interval holds |")
    print("|---|---|---|---|---|")
    for kind in KINDS:
        for room in (True, False):
            cell = score(kind, args.n, room=room)
            laws = ", ".join(f"{name} {count}" for name, count in cell["chosen"].most_common())
            print(
                f"| {kind} | {'yes' if room else 'no'} | {laws} | {cell['rmse']:.1f} |"
                f" {100 * cell['held']:.0f} % |",
                flush=True,
            )


if __name__ == "__main__":
    main()
