"""Which law is named in simulated cooling logs, how well k, G and T∞ are, and what can be told.

    python -m tests.benchmarks.cooling_laws --n 60
    python -m tests.benchmarks.cooling_laws --power --n 60

Logs of 1.5 h from 45 °C in a room of 19 to 24 °C; truth: ``tests/benchmarks/cooling_truth.py``,
which integrates what no fitted law describes. Where the room was noted it was noted wrongly by
0.5 K (one standard deviation), as the default of the command says; the heat capacity is off by 1 %.

The second table sorts logs by how far the true course departs from Newton's law: S is the root of
the sum of squares of what the best Newton fit leaves of the noiseless course in 60 bins, over the
noise of a bin.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.optimize import curve_fit

from fitting.cooling import fit_cooling_log
from tests.benchmarks.cooling_truth import EVERY_S, KINDS, Draw, draw_logs

U_ROOM_K, U_CAPACITY = 0.5, 0.01
NOT_LINEAR = ("steeper", "convection")
EDGES = (0.0, 3.0, 6.0, 12.0, 25.0, 1e9)
BATCH = 20


def one_row(draw: Draw, kind: str, seed: int, *, room: bool) -> dict[str, object]:
    """One log fitted and held against its truth."""
    rng = np.random.default_rng([seed, 77])
    noted = draw.room_C + rng.normal(0, U_ROOM_K) if room else None
    off = 1 + rng.normal(0, U_CAPACITY)
    k, G, settles = draw.answer(float(draw.curve.temperature_C.mean()))
    capacity = off * G / k
    found = fit_cooling_log(
        draw.curve, room_C=noted, heat_capacity_J_per_K=capacity,
        u_heat_capacity_J_per_K=U_CAPACITY * capacity,
    )  # fmt: skip
    (low, high), T95 = found.rate_interval95_per_s, found.t_inf_interval95_C
    G95 = found.conductance_interval95_W_per_K
    assert G95 is not None
    return {
        "kind": kind, "seed": seed, "room": room, "law": found.law, "k": found.rate_per_s / k - 1,
        "u": found.u_rate_per_s / k, "holds_k": bool(low < k < high),
        "holds_G": bool(G95[0] < G < G95[1]), "holds_T": bool(T95[0] < settles < T95[1]),
        "T": found.t_inf_C - settles, "u_T": found.u_t_inf_K, "chances": dict(found.chances),
        "newton_k": found.laws.named("newton").rate_per_s / k - 1,
    }  # fmt: skip


def rows_of(kind: str, n: int, first_seed: int) -> Iterator[dict[str, object]]:
    """All logs of a kind, the room noted and not."""
    for start in range(first_seed, first_seed + n, BATCH):
        seeds = range(start, min(start + BATCH, first_seed + n))
        for seed, draw in zip(seeds, draw_logs(kind, seeds), strict=True):
            for room in (True, False):
                yield one_row(draw, kind, seed, room=room)


def print_table(rows: Sequence[dict[str, object]]) -> None:
    """One line a kind and room."""
    print("| what holds | room noted | laws named | rmse of k % | bias % | mean u % | k holds |"
          " G holds | T∞ holds | Newton's law alone: rmse of k % |")  # fmt: skip
    print("|---|---|---|---|---|---|---|---|---|---|")
    for kind in KINDS:
        for room in (True, False):
            mine = [row for row in rows if row["kind"] == kind and row["room"] == room]
            if not mine:
                continue
            named = Counter(str(row["law"]) for row in mine)
            laws = ", ".join(f"{name} {count}" for name, count in named.most_common())
            k, u, newton = (
                100 * np.array([row[x] for row in mine], float) for x in ("k", "u", "newton_k")
            )
            holds = (100 * np.mean([bool(row[f"holds_{x}"]) for row in mine]) for x in "kGT")
            shares = " | ".join(f"{share:.0f} %" for share in holds)
            print(f"| {kind} | {'yes' if room else 'no'} | {laws} | {np.sqrt(np.mean(k**2)):.1f} |"
                  f" {k.mean():+.1f} | {u.mean():.1f} | {shares} |"
                  f" {np.sqrt(np.mean(newton**2)):.1f} |", flush=True)  # fmt: skip


def strengths(kind: str, seeds: Sequence[int]) -> list[float]:
    """S of each log: what Newton's law leaves of the noiseless course, over the noise of a bin."""
    noisy = draw_logs(kind, seeds)
    smooth = draw_logs(kind, seeds, step_K=0.0, noise=0.0, wander=0.0)
    out = []
    for clean, read in zip(smooth, noisy, strict=True):
        y = clean.curve.temperature_C
        size = y.size // 60
        y = y[: 60 * size].reshape(60, size).mean(axis=1)
        t = (np.arange(60) + 0.5) * size * EVERY_S

        def newton(t, a, b, k):
            return a + b * np.exp(-1e-4 * k * t)

        p, _ = curve_fit(newton, t, y, (20.0, 25.0, 1.0))
        own = read.truth["noise"] ** 2 / size
        own += read.truth["wander"] ** 2 * min(2 * 40.0 / (size * EVERY_S), 1.0)
        out.append(float(np.sqrt(np.sum((y - newton(t, *p)) ** 2) / own)))
    return out


def print_power(all_rows: Sequence[dict[str, object]]) -> None:
    """How often a loss that is not linear is named, by how strongly it shows."""
    print("| kind | room noted | S | logs | steeper named | Newton's | another | chance of"
          " steeper, mean |")  # fmt: skip
    print("|---|---|---|---|---|---|---|---|")
    for kind in NOT_LINEAR:
        for room in (True, False):
            mine = [row for row in all_rows if row["kind"] == kind and row["room"] == room]
            if not mine:
                continue
            S = strengths(kind, [int(str(row["seed"])) for row in mine])
            for low, high in pairwise(EDGES):
                inside = [row for row, s in zip(mine, S, strict=True) if low <= s < high]
                if not inside:
                    continue
                named = Counter(str(row["law"]) for row in inside)
                other = len(inside) - named["steeper"] - named["newton"]
                chance = np.mean([row["chances"]["steeper"] for row in inside])
                span = f"{low:g} to {high:g}" if high < 1e9 else f"{low:g} or more"
                print(f"| {kind} | {'yes' if room else 'no'} | {span} | {len(inside)} |"
                      f" {named['steeper']} | {named['newton']} | {other} |"
                      f" {100 * chance:.0f} % |", flush=True)  # fmt: skip


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=60)
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--first-seed", type=int, default=100_000, help="not looked at in tuning")
    parser.add_argument("--power", action="store_true", help="what can be told, by strength")
    parser.add_argument("--rows", type=Path, help="keep one JSON line a log in this file")
    parser.add_argument("--table", type=Path, help="print the table of such a file and stop")
    args = parser.parse_args()
    show = print_power if args.power else print_table
    if args.table is not None:
        lines = args.table.read_text(encoding="utf-8").splitlines()
        show([json.loads(line) for line in lines])
        return
    if args.power:
        args.kinds = ",".join(NOT_LINEAR)
    rows = []
    for start in range(0, args.n, BATCH):
        for kind in args.kinds.split(","):
            for row in rows_of(kind, min(BATCH, args.n - start), args.first_seed + start):
                rows.append(row)
                if args.rows is not None:
                    with args.rows.open("a", encoding="utf-8") as stream:
                        stream.write(json.dumps(row) + "\n")
    show(rows)


if __name__ == "__main__":
    main()
