"""How much of an extreme reading's error the registry's heat loss takes away, without any curve.

    python -m tests.benchmarks.extreme_reading --n 400

Truth: the simulated cups of ``fitting/practice/simulated_cup.py`` (integrated many at a time,
``many_cups.py``). From each run only the reading before the mixing, the extreme one, its time and the
room to 0.1 K are kept; the cup's rate is known to 10 % (1 standard deviation).

Four columns of errors: no correction; the closed form that takes the extreme and its time literally
(first-order release, no wall, no lag, no noise); ours; and the best possible from these readings, a
regression of the true error on everything that was read (`best_possible`), fitted for each row by
itself to other runs of the same family, so that it knows what no user can know.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass

import numpy as np

from fitting.cup.circumstances import Circumstances
from fitting.extreme.reading import correct_extreme_reading
from fitting.practice.simulated_cup import FAMILIES
from tests.benchmarks.many_cups import Readings, read_extremes

SLOW = frozenset({"slow", "pellets"})
STEPS_K = (0.01, 0.1)
U_RATE = 0.10
U_ROOM_K = 0.5
U_AFTER_S = 2.0


@dataclass
class Errors:
    """Errors in % of the rise, and whether the interval of ours held."""

    raw: np.ndarray
    literal: np.ndarray
    ours: np.ndarray
    held: np.ndarray

    @property
    def left(self) -> float:
        """Share of the uncorrected rms error that is left."""
        return rms(self.ours) / rms(self.raw)


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def known_rates(readings: Readings, first_seed: int) -> np.ndarray:
    """The registry's idea of every cup's rate. [1/s]"""
    errors = np.random.default_rng([first_seed, 7]).normal(size=len(readings.rise_K))
    return readings.rate_per_s * (1 + U_RATE * errors)


def score(
    family: str, n: int, resolution_K: float, *, told: bool, lid: bool = True, first_seed: int = 0
) -> Errors:
    """Correct so many extreme readings; ``told``: whether the release is known to be slow."""
    steps = {resolution_K, *STEPS_K}
    read = read_extremes(family, n, tuple(steps), lid=lid, first_seed=first_seed)[resolution_K]
    return correct_all(read, known_rates(read, first_seed), family, resolution_K, told=told)


def correct_all(
    read: Readings, rates: np.ndarray, family: str, step_K: float, *, told: bool
) -> Errors:
    """Errors of the three ways to take those readings."""
    u = step_K / math.sqrt(12.0)
    literal, ours, held = [], [], []
    for i, truth in enumerate(read.rise_K):
        before, extreme, after = read.before_C[i], read.extreme_C[i], read.after_s[i]
        room = round(float(read.room_C[i]), 1)
        one = correct_extreme_reading(
            before, extreme, after,
            Circumstances(
                room_C=room, u_room_K=U_ROOM_K, rate_per_s=rates[i],
                u_rate_per_s=U_RATE * read.rate_per_s[i],
            ),
            u_before_K=math.hypot(u, 0.003), u_reading_K=u, u_extreme_after_s=U_AFTER_S, step_K=step_K, cup_share=float(read.cup_share[i]),
            release=("slow" if family in SLOW else "fast") if told else None,
        )  # fmt: skip
        ours.append(100 * (one.rise_K / truth - 1))
        held.append(one.holds(truth))
        literal.append(100 * (taken_literally(before, extreme, room, rates[i], after) / truth - 1))
    raw = 100 * (read.change_K / read.rise_K - 1)
    return Errors(raw, np.array(literal), np.array(ours), np.array(held))


def taken_literally(
    before_C: float, extreme_C: float, room_C: float, rate_per_s: float, after_s: float
) -> float:
    """Rise [K] where dθ/dt = κ ΔT e^(−κt) − k θ has its extreme θ_e exactly at the noted time:
    κ ΔT e^(−κ t) = k θ_e and ΔT = θ_e e^(kt) − θ_0 (1 − k/κ)."""
    start, top = before_C - room_C, extreme_C - room_C
    grown = top * math.exp(rate_per_s * after_s)
    rise, product = grown - start, 5.0
    for _ in range(200):
        kappa = product / max(after_s, 1.0)
        rise = grown - start * (1 - rate_per_s / kappa)
        ratio = kappa * rise / (rate_per_s * top)
        if ratio <= math.e:
            return grown - start
        product = math.log(ratio)
    return rise


def best_possible(
    read: Readings, rates: np.ndarray, step_K: float, *, folds: int = 5
) -> np.ndarray:
    """Errors [%] of a regression on all that was read, each fifth foretold by the others.

    Squares, products and bent lines of k t, k, ln t, room above the start over the change, its
    sign, one over the change, and products of these; ridge, weighted with the display's step.
    """
    x = _features(read, rates)
    target = 100 * (read.rise_K / read.change_K - 1)
    weight = 1 / np.hypot(0.3, 100 * step_K / math.sqrt(6.0) / np.abs(read.change_K))
    foretold = np.empty(len(target))
    for fold in range(folds):
        used = np.arange(len(target)) % folds != fold
        A = x[used] * weight[used, None]
        ridge = 3.0 * np.eye(x.shape[1])
        ridge[0, 0] = 0.0
        coefficients = np.linalg.solve(A.T @ A + ridge, A.T @ (target * weight)[used])
        foretold[~used] = x[~used] @ coefficients
    return 100 * (read.change_K * (1 + foretold / 100) / read.rise_K - 1)


def _features(read: Readings, rates: np.ndarray) -> np.ndarray:
    change, t = read.change_K, read.after_s
    away = (np.round(read.room_C, 1) - read.before_C) / change
    plain = np.stack(
        [rates * t, rates, np.log(t / 60 + 0.05), away, np.sign(change), 1 / np.abs(change),
         rates * t * away, np.abs(change)]
    )  # fmt: skip
    z = (plain - plain.mean(axis=1, keepdims=True)) / (plain.std(axis=1, keepdims=True) + 1e-9)
    found = list(z)
    found += [z[i] * z[j] for i in range(len(z)) for j in range(i, len(z))]
    found += [np.maximum(one - np.quantile(one, q), 0.0) for one in z for q in (0.25, 0.5, 0.75)]
    all_of_them = np.stack(found, axis=1)
    all_of_them = (all_of_them - all_of_them.mean(axis=0)) / (all_of_them.std(axis=0) + 1e-9)
    return np.column_stack([np.ones(len(t)), all_of_them])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=400)
    parser.add_argument("--seed", type=int, default=100_000)
    parser.add_argument("--train", type=int, default=3000, help="runs for the best possible")
    args = parser.parse_args()
    print("| family | lid | step K | uncorrected: rmse, bias % | taken literally | ours |"
          " best possible: rmse % | left of the error | 95 % holds |")  # fmt: skip
    print("|---|---|---|---|---|---|---|---|---|")
    for family in FAMILIES:
        for lid in (True, False):
            drawn = read_extremes(family, args.n, STEPS_K, lid=lid, first_seed=args.seed)
            more = read_extremes(family, args.train, STEPS_K, lid=lid, first_seed=2 * args.seed)
            for step in STEPS_K:
                rates = known_rates(drawn[step], args.seed)
                cell = correct_all(drawn[step], rates, family, step, told=True)
                best = best_possible(more[step], known_rates(more[step], 2 * args.seed), step)
                shown = (f"{rms(e):.2f}, {np.mean(e):+.2f}" for e in
                         (cell.raw, cell.literal, cell.ours))  # fmt: skip
                print(
                    f"| {family} | {'yes' if lid else 'no'} | {step} | {' | '.join(shown)} |"
                    f" {rms(best):.2f} | {100 * cell.left:.0f} % |"
                    f" {100 * float(np.mean(cell.held)):.1f} % |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
