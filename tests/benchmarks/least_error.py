"""The least error that any correction can have on the simulated families, told what it may know.

    python -m tests.benchmarks.least_error --n 100

What one log can tell of a rise is bounded by physics: a cup whose slow wall passes on a little of the
loss looks, on the log, like one whose wall does not. For each drawn experiment the log is linearised
about the truth, ``y = h(theta) + J (theta - theta_0) + e``, e being the sensor's own noise (white,
wander, and a display's step as white noise of step²/12), and theta spread as the family draws it. The
posterior variance of the rise r(theta) is then, with C the covariance of theta and R that of e,

    u² = g' (C⁻¹ + J' R⁻¹ J)⁻¹ g,        g = dr/dtheta

(C. M. Bishop, *Pattern Recognition and Machine Learning* (2006), eq. 3.51, from memory). This is the
least mean square error of a linear estimate. It is computed twice: for a reader who is *told*
everything but the heat, the temperature at mixing, the loss conductance and the share of it that
leaves through the wall, and for one who knows of a cup only what the family's ranges say. The first is
a bound that nobody passes: telling more can only help. Neither uses any code of the corrections.

A coarse display (``--steps``) is no white noise. There the reader is told everything but the heat and
the temperature at mixing, the wander of the sensor included, and the posterior of the two is computed
on a grid from the exact probability of each shown step::

    P(shown y | reading m) = F((y + q/2 - m)/sigma) - F((y - q/2 - m)/sigma)

with q the step, sigma the white noise and F the normal distribution. Its mean variance bounds the mean
square error of any estimate.

For the two judges of `tests.benchmarks.two_judges` (``--judge foam,lumped --rows rows.jsonl``) the reader
knows the judge's own distributions exactly, more than any program can: theta is every number that the judge
drew, in coordinates that are standard normal (`tests.benchmarks.judges.tape`), the noise is told, and so are the
kinds of vessel, lid and release, the moment (or that it lies within three readings), the capacity ratio, and
the room to 0.1 K, as the default correction is. The same equation then, beside the default's error on the same
curves. Readings shown in steps are a function of those that are not, so the bound for the finer display
holds for the coarser too, where white noise of step²/12 is a stand-in only.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fitting.practice.simulated_cup import (
    FAMILIES,
    Experiment,
    FloatArray,
    SimulatedRun,
    draw_experiment,
    simulate,
)
from tests.benchmarks.judges.linearised import Linearised, linearised, linearised_at, opened

_ROOT12 = math.sqrt(12.0)
ROOM_READ_K = 0.1  # the room's thermometer, as two_judges rounds it
MOMENT_WITHIN = 3.0  # reading intervals to either side, where the moment is found
TOLD: dict[str, tuple[str, ...]] = {
    "nothing": (),
    "wall": ("wall", "follower"),
    "vapour": ("vapour",),
    "loss": ("loss",),
    "room": ("room",),
    "lag": ("lag",),
    "release": ("release",),
    "pour": ("pour",),
    "cup": ("wall", "follower", "vapour", "loss"),
    "cup, room": ("wall", "follower", "vapour", "loss", "room"),
    "cup, room, lag": ("wall", "follower", "vapour", "loss", "room", "lag"),
}
"""What the reader of a judge's curve may be told besides: parts of `tests.benchmarks.judges.linearised`."""


@dataclass(frozen=True)
class Unknown:
    """One quantity that the log must tell: how far it is spread, and an experiment with it moved."""

    name: str
    spread: float
    moved: Callable[[Experiment, float], Experiment]


def _cup(name: str, low: float, high: float) -> Unknown:
    def moved(e: Experiment, by: float) -> Experiment:
        return replace(e, cup=replace(e.cup, **{name: getattr(e.cup, name) + by}))

    return Unknown(name, (high - low) / _ROOT12, moved)


def _plain(name: str, spread: float) -> Unknown:
    def moved(e: Experiment, by: float) -> Experiment:
        return replace(e, **{name: getattr(e, name) + by})

    return Unknown(name, spread, moved)


def _room(name: str, spread: float) -> Unknown:
    def moved(e: Experiment, by: float) -> Experiment:
        return replace(e, room=replace(e.room, **{name: getattr(e.room, name) + by}))

    return Unknown(name, spread, moved)


def _lag(e: Experiment, by: float) -> Experiment:
    return replace(e, sensor=replace(e.sensor, lag_s=e.sensor.lag_s + by))


def _first_rate(e: Experiment, by: float) -> Experiment:
    """The first release time [s] moved."""
    first, second = e.rates_per_s
    return replace(e, rates_per_s=(1 / (1 / first + by), second))


def _second_rate(e: Experiment, by: float) -> Experiment:
    first, second = e.rates_per_s
    return replace(e, rates_per_s=(first, 1 / (1 / second + by)))


_HIDDEN = (
    _plain("heat_J", 1e5),
    _plain("in_cup_C", 10.0),
    _cup("loss_W_per_K", 0.02, 0.08),
    _cup("wall_loss_share", 0.1, 0.5),
)
"""What even the reader who is told everything else does not know."""

_OF_A_CUP = (
    _cup("slow_wall_J_per_K", 1.0, 5.0),
    _cup("slow_wall_s", 20.0, 75.0),
    _cup("evaporation_g_per_s_kPa", 0.5e-6, 4e-6),
    _cup("stirrer_W", 0.0, 0.05),
    _room("start_C", 0.06),  # read to 0.1 K
    _room("drift_K_per_s", 0.2 / 1200.0),
    _room("swing_K", 0.15 / _ROOT12),
    Unknown("lag_s", 9.0 / _ROOT12, _lag),
    _plain("pour_s", 3.0 / _ROOT12),
)
_RELEASE = {
    "fast": (Unknown("first release", 0.6, _first_rate),),
    "mixing": (),
    "slow": (
        Unknown("first release", 24.0 / _ROOT12, _first_rate),
        Unknown("second release", 60.0 / _ROOT12, _second_rate),
        _plain("slow_share", 0.3 / _ROOT12),
    ),
    "pellets": (
        Unknown("first release", 19.0 / _ROOT12, _first_rate),
        Unknown("second release", 35.0 / _ROOT12, _second_rate),
        _plain("slow_share", 0.3 / _ROOT12),
    ),
}


def unknowns(family: str, told: bool) -> tuple[Unknown, ...]:
    """Quantities that a reader of a log of this family does not know."""
    heat = _HIDDEN if family != "mixing" else (_plain("added_C", 50.0), *_HIDDEN[1:])
    return heat if told else (*heat, *_OF_A_CUP, *_RELEASE[family])


def quiet(e: Experiment) -> SimulatedRun:
    """The same run, read without noise or steps."""
    return simulate(replace(e, sensor=replace(e.sensor, noise_K=0.0, wander_K=0.0, step_K=0.0)))


def information(J: FloatArray, white_K2: float, wander_K: float, keep: float) -> FloatArray:
    """J' R⁻¹ J, shape (m, m), for equally spaced readings; J has shape (n, m).

    R = s I + A with s = ``white_K2`` [K²] and A_ij = w² k^|i-j|, w = ``wander_K``, k = ``keep``. The
    inverse Q of A has three diagonals (a first-order autoregression), and R⁻¹ = [I - (I + s Q)⁻¹]/s.
    """
    from scipy.linalg import solveh_banded

    n = len(J)
    scale = white_K2 / (max(wander_K, 1e-9) ** 2 * (1.0 - keep**2))
    bands = np.zeros((2, n))
    bands[0, 1:] = -scale * keep
    bands[1] = 1.0 + scale * (1.0 + keep**2)
    bands[1, [0, -1]] = 1.0 + scale
    found: FloatArray = J.T @ (J - solveh_banded(bands, J)) / white_K2
    return 0.5 * (found + found.T)


def least_u(e: Experiment, free: tuple[Unknown, ...], parts: bool = False) -> dict[str, float]:
    """Least standard error of the rise [K]; with ``parts`` also with each quantity told in turn."""
    columns, slopes = [], []
    for one in free:
        step = one.spread * (1e-3 if one.spread > 5 else 2e-2)
        up, down = quiet(one.moved(e, step)), quiet(one.moved(e, -step))
        columns.append((up.temperature_C - down.temperature_C) / (2 * step) * one.spread)
        slopes.append((up.true_rise_K - down.true_rise_K) / (2 * step) * one.spread)
    J, g = np.column_stack(columns), np.array(slopes)
    s = e.sensor
    white_K2 = s.noise_K**2 + s.step_K**2 / 12
    known = information(J, white_K2, s.wander_K, math.exp(-s.every_s / s.wander_s))
    known += np.eye(len(free))

    def u(use: list[int]) -> float:
        at = np.ix_(use, use)
        return math.sqrt(float(g[use] @ np.linalg.solve(known[at], g[use])))

    every = list(range(len(free)))
    out = {"all": u(every)}
    if parts:
        for i, one in enumerate(free):
            out[one.name] = u([j for j in every if j != i])
    return out


def least_u_of_steps(e: Experiment, family: str, rng: np.random.Generator, grid: int = 61) -> float:
    """Posterior standard deviation of the rise [K] from a coarse display, all else told."""
    from scipy.special import ndtr

    q, sensor, centre = e.sensor.step_K, e.sensor, quiet(e)
    n = centre.time_s.size
    columns, slopes = [], []
    heat = unknowns(family, told=True)[0]
    for one, step in ((_plain("in_cup_C", 1.0), 0.02), (heat, 1e-3 * heat.spread)):
        up = quiet(one.moved(e, step))
        columns.append((up.temperature_C - centre.temperature_C) / step)
        slopes.append((up.true_rise_K - centre.true_rise_K) / step)
    per_kelvin = columns[1] / slopes[1]  # of rise
    keep = math.exp(-sensor.every_s / sensor.wander_s)
    wander = np.empty(n)
    level = rng.normal(0.0, sensor.wander_K)
    for i in range(n):
        level = keep * level + rng.normal(0.0, sensor.wander_K * math.sqrt(1 - keep**2))
        wander[i] = level
    told = centre.temperature_C + wander
    shown = np.round((told + rng.normal(0.0, sensor.noise_K, n)) / q) * q
    by_before, by_final = np.meshgrid(
        np.linspace(-1.2 * q, 1.2 * q, grid), np.linspace(-q, q, grid)
    )
    by_rise = by_final - by_before * (
        columns[0][-1] + slopes[0]
    )  # a warmer start moves the end too
    log_p = np.zeros(by_before.shape)
    for i in range(n):
        m = told[i] + columns[0][i] * by_before + per_kelvin[i] * by_rise
        up, down = (shown[i] + q / 2 - m) / sensor.noise_K, (shown[i] - q / 2 - m) / sensor.noise_K
        swap = down > 0  # both in the upper tail: take the lower one
        p = np.where(swap, ndtr(-down) - ndtr(-up), ndtr(up) - ndtr(down))
        log_p += np.log(np.maximum(p, 1e-300))
    weight = np.exp(log_p - log_p.max())
    weight /= weight.sum()
    rise = by_rise + slopes[0] * by_before
    mean = float(np.sum(weight * rise))
    return math.sqrt(float(np.sum(weight * (rise - mean) ** 2)))


@dataclass(frozen=True)
class Row:
    """Root mean squares over the drawn experiments, % of the rise."""

    told: float
    ranges: float
    if_told: dict[str, float]


def score(
    family: str, n: int, *, after_s: float | None, resolution_K: float, first_seed: int
) -> Row:
    """Least errors over so many experiments of a family, after periods cut as asked."""
    told, ranges = [], []
    single: dict[str, list[float]] = {}
    for seed in range(first_seed, first_seed + n):
        e = draw_experiment(family, np.random.default_rng(seed), resolution_K=resolution_K)
        if after_s is not None:
            e = replace(e, after_s=after_s)
        rise = abs(quiet(e).true_rise_K)
        told.append(100 * least_u(e, unknowns(family, told=True))["all"] / rise)
        found = least_u(e, unknowns(family, told=False), parts=True)
        ranges.append(100 * found.pop("all") / rise)
        for name, value in found.items():
            single.setdefault(name, []).append(100 * value / rise)
    return Row(_rms(told), _rms(ranges), {name: _rms(v) for name, v in single.items()})


def _rms(values: list[float]) -> float:
    return math.sqrt(float(np.mean(np.square(values))))


def _print_steps(families: list[str], n: int, first_seed: int, step_K: float) -> None:
    print("| family | after s | step K | told all but T1 and heat: % |\n|---|---|---|---|")
    for family in families:
        least = []
        for seed in range(first_seed, first_seed + n):
            rng = np.random.default_rng(seed)
            e = draw_experiment(family, rng, resolution_K=step_K)
            least.append(100 * least_u_of_steps(e, family, rng) / abs(quiet(e).true_rise_K))
        print(f"| {family} | own | {step_K:g} | {_rms(least):.3f} |", flush=True)


def posterior(known: FloatArray, exactly: list[FloatArray]) -> FloatArray:
    """Covariance of coordinates, (m, m), from their information and from linear forms told exactly.

    ``known`` is J' R⁻¹ J + C⁻¹. A form d'theta that is told takes C d d' C / (d' C d) off the covariance C.
    """
    cov: FloatArray = np.linalg.inv(known)
    for form in exactly:
        along = cov @ form
        spread = float(form @ along)
        if spread > 1e-10 * float(form @ form):
            cov = cov - np.outer(along, along) / spread
    return cov


def least_of_curve(
    curve: Linearised, step_K: float, found: bool, tell: dict[str, tuple[str, ...]] = TOLD
) -> dict[str, float]:
    """Least standard errors of one curve, % of its rise, by what is told besides.

    "heat": of the heat, % of it, told the cup's constant and what was poured; "matched": with each uniform
    quantity's own variance in place of its near-normal coordinate.
    """
    moment = MOMENT_WITHIN * 2 * curve.every_s / _ROOT12
    J = np.column_stack([curve.J, curve.by_moment * moment])
    slopes = {
        aim: np.append(d, curve.slopes_by_moment[aim] * moment) for aim, d in curve.slopes.items()
    }
    parts = (*curve.parts, "moment")
    seen = information(J, curve.noise_K**2 + step_K**2 / 12, curve.wander_K, curve.wander_keep)
    seen += 12 / ROOM_READ_K**2 * np.outer(slopes["room_C"], slopes["room_C"])

    def u(told: tuple[str, ...], aim: str, exactly: tuple[str, ...], shrink: FloatArray) -> float:
        use = [i for i, part in enumerate(parts) if part not in told]
        at = np.ix_(use, use)
        known = (seen * np.outer(shrink, shrink))[at] + np.eye(len(use))
        forms = {name: (d * shrink)[use] for name, d in slopes.items()}
        cov = posterior(known, [forms[name] for name in exactly])
        value = getattr(curve.run, aim)
        return 100 * math.sqrt(max(float(forms[aim] @ cov @ forms[aim]), 0.0)) / abs(value)

    plain, away = np.ones(len(parts)), () if found else ("moment",)
    ratio = ("capacity_ratio",)
    out = {name: u((*told, *away), "true_rise_K", ratio, plain) for name, told in tell.items()}
    out["matched"] = u(away, "true_rise_K", ratio, np.append(curve.shrink, 1.0))
    if curve.run.heat_J:
        amounts = ("liquid_J_per_K", "added_J_per_K", "added_C", "constant_J_per_K")
        out["heat"] = u(away, "heat_J", (*ratio, *amounts), plain)
    return out


def judge_rows(judge: str, family: str, seed: int) -> list[dict[str, Any]]:
    """The four cells of one seed: least errors, and the error of the default correction there. [%]"""
    from tests.benchmarks.two_judges import JUDGES, MIXING, STEPS_K, Key, row_of

    curve, run = linearised(judge, family, seed), JUDGES[judge](family, seed)
    out = []
    for mixing in MIXING:
        for step in STEPS_K:
            key = Key(judge, family, mixing, step)
            row = row_of(run, key)
            done = None if "refused" in row else row["methods"][row["default"]][0]
            least = least_of_curve(curve, step, mixing == "found")
            out.append({**vars(key), "seed": seed, "default": done, "least": least})
    return out


def judge_tables(rows: list[dict[str, Any]]) -> str:
    """Least errors cell by cell beside the default's rmse, then what being told more would buy."""
    cells: dict[tuple[Any, ...], list[dict[str, Any]]] = {}
    for row in rows:
        key = (row["judge"], row["family"], row["mixing"], row["step_K"])
        cells.setdefault(key, []).append(row)
    first = [
        "| judge | family | mixing | step K | n | least % | its median | variance-matched % | wall told % |"
        " the wall's part % | default's rmse % | default / least: rms, middle | least, heat % |",
        "|" + "---|" * 13,
    ]
    names = " | ".join(TOLD)
    then = [
        f"| judge | family | mixing | step K | {names} | room quiet: n | least % | default's rmse % |",
        "|" + "---|" * (7 + len(TOLD)),
    ]
    for key, cell in cells.items():
        fair = [row for row in cell if row["default"] is not None]

        def rms(name: str, some: list[dict[str, Any]] = cell) -> float:
            return _rms([row["least"].get(name, math.nan) for row in some])

        default = _rms([row["default"] for row in fair])
        of = [abs(row["default"]) / row["least"]["nothing"] for row in fair]
        head = f"| {' | '.join(str(x) for x in key)} |"
        least = np.square([row["least"]["nothing"] for row in cell])
        within = float(np.std(least)) / (2 * math.sqrt(float(np.mean(least)) * len(cell)))
        heat = f"{rms('heat'):.3f}" if not math.isnan(rms("heat")) else ""
        wall = math.sqrt(max(rms("nothing") ** 2 - rms("wall") ** 2, 0.0))
        median = float(np.median([row["least"]["nothing"] for row in cell]))
        first.append(
            f"{head} {len(cell)} | {rms('nothing'):.3f} ± {within:.3f} | {median:.3f} | {rms('matched'):.3f} |"
            f" {rms('wall'):.3f} | {wall:.3f} | {default:.3f} | {_rms(of):.2f}, {np.median(of):.2f} |"
            f" {heat} |"
        )
        if key[2:] == ("given", min(k[3] for k in cells)):  # the others go alike
            quiet_room = [
                row for row in fair if not opened(row["judge"], row["family"], row["seed"])
            ]
            told = " | ".join(f"{rms(name):.3f}" for name in TOLD)
            beside = _rms([row["default"] for row in quiet_room])
            then.append(
                f"{head} {told} | {len(quiet_room)} | {rms('nothing', quiet_room):.3f} | {beside:.3f} |"
            )
    return "\n".join(first) + "\n\n" + "\n".join(then)


def _print_ensembles(judges: list[str], families: list[str], n: int, seeds: range) -> None:
    """Narrow families: what is reached by learning from n curves, and the least error of 60 of them."""
    from tests.benchmarks.judges.ensemble import KEPT, narrow, reached

    print("| judge | family | about seed | n | learnt: rmse % | least % | least, wall told % |")
    print("|---|---|---|---|---|---|---|")
    tell = {"kept": KEPT, "wall": (*KEPT, *TOLD["wall"])}
    for seed in seeds:
        for judge in judges:
            for family in families:
                some = narrow(judge, family, seed, np.random.default_rng([12, seed]))
                least = [
                    least_of_curve(linearised_at(next(some)), 0.01, False, tell) for _ in range(60)
                ]
                learnt = reached(judge, family, seed, n, 0.01)
                told = " | ".join(f"{_rms([x[name] for x in least]):.3f}" for name in tell)
                print(f"| {judge} | {family} | {seed} | {n} | {learnt:.3f} | {told} |", flush=True)


def _print_judges(judges: list[str], families: list[str], seeds: range, path: Path | None) -> None:
    from tests.benchmarks.two_judges import read_rows

    kept = read_rows([path] if path else [])
    done = {(row["judge"], row["family"], row["seed"]) for row in kept}
    for seed in seeds:
        for judge in judges:
            for family in families:
                if (judge, family, seed) in done:
                    continue
                rows = judge_rows(judge, family, seed)
                kept += rows
                if path:
                    with path.open("a", encoding="utf-8") as file:
                        file.writelines(json.dumps(row) + "\n" for row in rows)
    wanted = [row for row in kept if row["judge"] in judges and row["seed"] in seeds]
    order = {family: i for i, family in enumerate(families)}
    wanted.sort(key=lambda row: (row["judge"], order.get(row["family"], 9), row["mixing"] != "given",
                                 row["step_K"]))  # fmt: skip
    print(judge_tables(wanted))


def main() -> None:
    """Print the table that tests/benchmarks/FIGURES.md keeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=100)
    parser.add_argument("--first-seed", type=int, help="300 000; with --judge 500 000")
    parser.add_argument("--judge", help="foam,lumped: the judges' curves instead")
    parser.add_argument(
        "--ensemble", type=int, help="learn from so many curves about a seed instead"
    )
    parser.add_argument("--rows", type=Path, help="where the judges' rows are kept and resumed")
    parser.add_argument("--family", default=",".join(FAMILIES))
    parser.add_argument("--after", default="own,300,150")
    parser.add_argument("--resolution", default="0.01")
    parser.add_argument("--parts", action="store_true", help="what each quantity told would buy")
    parser.add_argument("--steps", type=float, help="bound for a display of this step instead")
    args = parser.parse_args()
    first_seed = args.first_seed or (500_000 if args.judge else 300_000)
    if args.judge:
        seeds = range(first_seed, first_seed + args.n)
        if args.ensemble:
            judges, families = args.judge.split(","), args.family.split(",")
            _print_ensembles(judges, families, args.ensemble, seeds)
            return
        _print_judges(args.judge.split(","), args.family.split(","), seeds, args.rows)
        return
    if args.steps:
        _print_steps(args.family.split(","), args.n, first_seed, args.steps)
        return
    print("| family | after s | step K | told all but T1, heat, G, g: % | ranges only: % |")
    print("|---|---|---|---|---|")
    for family in args.family.split(","):
        for after in args.after.split(","):
            for step in args.resolution.split(","):
                row = score(
                    family, args.n, after_s=None if after == "own" else float(after),
                    resolution_K=float(step), first_seed=first_seed,
                )  # fmt: skip
                print(
                    f"| {family} | {after} | {step} | {row.told:.3f} | {row.ranges:.3f} |",
                    flush=True,
                )
                if args.parts:
                    print(", ".join(f"{k} {v:.3f}" for k, v in row.if_told.items()))


if __name__ == "__main__":
    main()
