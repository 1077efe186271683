"""How much of an extreme reading's error the registry's heat loss takes away, without any curve.

    python -m tests.benchmarks.extreme_reading --n 200

Truth: ``fitting/simulated_cup.py``. From each run only the reading before the mixing, the extreme one
and its time are kept; the cup's rate is known to 10 % (1 standard deviation), the room to 0.1 K.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from fitting.extreme_reading import correct_extreme_reading
from fitting.simulated_cup import draw_experiment, simulate

SLOW = frozenset({"slow", "pellets"})
U_RATE = 0.10


@dataclass
class Errors:
    """Errors in % of the rise, uncorrected and corrected, and whether the interval held."""

    raw: list[float]
    corrected: list[float]
    held: list[bool]

    @property
    def left(self) -> float:
        """Share of the uncorrected rms error that is left."""
        return rms(self.corrected) / rms(self.raw)


def rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def score(family: str, n: int, resolution_K: float, *, told: bool, first_seed: int = 0) -> Errors:
    """Correct so many extreme readings; ``told``: whether the release is known to be slow."""
    out = Errors([], [], [])
    for seed in range(first_seed, first_seed + n):
        rng = np.random.default_rng(seed)
        e = draw_experiment(family, rng, resolution_K=resolution_K)
        run = simulate(e, rng)
        fore = run.time_s < run.mixed_at_s
        before = float(np.median(run.temperature_C[fore][-5:]))
        away = np.abs(run.temperature_C - before) * ~fore
        at = int(np.argmax(away))
        u = float(np.hypot(0.012, resolution_K / np.sqrt(12)))
        release = ("slow" if family in SLOW else "fast") if told else None
        one = correct_extreme_reading(
            before,
            float(run.temperature_C[at]),
            float(run.time_s[at] - run.mixed_at_s),
            round(run.room_C, 1),
            run.true_rate_per_s * (1 + U_RATE * rng.normal()),
            U_RATE * run.true_rate_per_s,
            u_before_K=u,
            u_reading_K=u,
            u_extreme_after_s=2.0,
            release=release,
        )
        truth = run.true_rise_K
        out.raw.append(100 * ((run.temperature_C[at] - before) / truth - 1))
        out.corrected.append(100 * (one.rise_K / truth - 1))
        out.held.append(one.holds(truth))
    return out


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=200)
    args = parser.parse_args()
    print(
        "| family | step K | release told | rmse uncorrected % | corrected % | left | 95 % holds |"
    )
    print("|---|---|---|---|---|---|---|")
    for family in ("fast", "mixing", "slow", "pellets"):
        for step in (0.01, 0.1):
            for told in (True, False):
                cell = score(family, args.n, step, told=told)
                print(
                    f"| {family} | {step} | {'yes' if told else 'no'} | {rms(cell.raw):.2f} |"
                    f" {rms(cell.corrected):.2f} | {100 * cell.left:.0f} % |"
                    f" {100 * float(np.mean(cell.held)):.0f} % |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
