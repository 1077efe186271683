"""What a registered cup's heat loss buys when the after period is short.

    python -m tests.benchmarks.prior_rescue --n 100

Truth: ``fitting/practice/simulated_cup.py``. The registered rate is off by 10 % (1 standard deviation) and
says so. Errors of the default method in % of the rise, with and without it.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace

import numpy as np

from fitting.checks.prior_weight import weigh_prior
from fitting.corrections import correct
from fitting.curve import Curve
from fitting.practice.simulated_cup import draw_experiment, simulate

MINUTES = (1.0, 2.0, 5.0, 10.0)
U_RATE = 0.10


@dataclass
class Cell:
    """Errors [%], interval held, and the prior's share of the information on k."""

    without: list[float] = field(default_factory=list)
    with_prior: list[float] = field(default_factory=list)
    held_without: list[bool] = field(default_factory=list)
    held_with: list[bool] = field(default_factory=list)
    share: list[float] = field(default_factory=list)

    def rmse(self) -> tuple[float, float]:
        """Without and with the prior, %."""
        first, second = (np.sqrt(np.mean(np.square(e))) for e in (self.without, self.with_prior))
        return float(first), float(second)


def score(family: str, minutes: float, n: int, *, lid: bool = True, first_seed: int = 0) -> Cell:
    """Correct so many curves that end so many minutes after the mixing, twice each.

    Without a lid the loss is 0.15 to 0.3 W/K, far from what usual cups lose.
    """
    cell = Cell()
    for seed in range(first_seed, first_seed + n):
        rng = np.random.default_rng(seed)
        e = draw_experiment(family, rng, resolution_K=0.01, after_s=60 * minutes)
        if not lid:
            e = replace(e, cup=replace(e.cup, loss_W_per_K=rng.uniform(0.15, 0.3)))
        run = simulate(e, rng)
        curve = Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=0.01)
        rate = run.true_rate_per_s * (1 + U_RATE * rng.normal())
        common = {
            "mixed_at_s": run.mixed_at_s,
            "room_C": round(run.room_C, 1),
            "capacity_ratio": run.capacity_ratio,
        }
        choices = {
            **common,
            "prior_rate_per_s": rate,
            "u_prior_rate_per_s": U_RATE * run.true_rate_per_s,
        }
        known = correct(curve, **choices)
        weight = weigh_prior(curve, known)
        assert weight is not None
        alone = correct(curve, **common).chosen
        truth = run.true_rise_K
        cell.without.append(100 * (alone.rise_K / truth - 1))
        cell.with_prior.append(100 * (known.chosen.rise_K / truth - 1))
        cell.held_without.append(alone.holds(truth))
        cell.held_with.append(known.chosen.holds(truth))
        cell.share.append(weight.share)
    return cell


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=100)
    parser.add_argument("--family", action="append")
    args = parser.parse_args()
    print(
        "| family | lid | after period | rmse without % | rmse with % | 95 % holds without | with |"
        " prior's share of what is known of k |"
    )
    print("|---|---|---|---|---|---|---|---|")
    families = args.family or ["fast", "mixing", "slow", "pellets"]
    for family, lid in [(f, lid) for f in families for lid in (True, False)]:
        for minutes in MINUTES:
            cell = score(family, minutes, args.n, lid=lid)
            without, with_prior = cell.rmse()
            print(
                f"| {family} | {'yes' if lid else 'no'} | {minutes:g} min | {without:.3f} | {with_prior:.3f} |"
                f" {100 * float(np.mean(cell.held_without)):.0f} % |"
                f" {100 * float(np.mean(cell.held_with)):.0f} % |"
                f" {100 * float(np.mean(cell.share)):.0f} % |",
                flush=True,
            )


if __name__ == "__main__":
    main()
