"""Sets of six cups calibrated by mixing: bias, scatter against the best attainable, coverage.

    python -m tests.benchmarks.calibration_sets --sets 200

Truth: energy conserved with water of IAPWS-95 from the library chemicals (``tests/calib/energy.py``).
Each set draws what its runs share (balance linearity; each cup's probe offset and slope) and what is
each run's own (display steps, the corrected rise's error, drops of water left in the cup, which no
budget holds). The best attainable is the Cramér–Rao figure of the same data for normal errors: with
V the covariance of the runs' errors as drawn (budgets and true between-run spread τ), no unbiased
estimate has a variance below 1/(1ᵀ (V + τ² I)⁻¹ 1).

``--curves N`` calibrates N sets through whole simulated curves and their corrections instead.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, field

import numpy as np

from calib.calibration.combine import combine
from calib.calibration.one_run import CalibrationRun
from calib.calibration.per_cup import combine_cup
from calib.calibration.ways import constant_of_run
from calib.run_model.measured import measure
from calib.run_model.prepared import prepare
from calib.run_model.rise import Rise
from calib.uncertainty import covariance_matrix
from tests.calib.energy import mixed_water_C, water_J_per_g
from tests.calib.made_tables import instruments, run

U_RISE_K = 0.012
LEFT_G = 0.12  # standard deviation of the water left in a cup between runs
TAU = LEFT_G * 4.18
STEP_C, STEP_G = 0.01, 0.01
BALANCE_HALF_WIDTH_G = 2 * STEP_G
OFFSET_K, SLOPE = 0.1, 0.0029
RUNS = (2, 4, 8)


@dataclass
class Score:
    """What came out for one number of runs."""

    errors: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    best: list[float] = field(default_factory=list)
    stated: list[float] = field(default_factory=list)

    @property
    def bias(self) -> float:
        return float(np.mean(self.errors))

    @property
    def rms(self) -> float:
        return float(np.sqrt(np.mean(np.square(self.errors))))

    @property
    def over_best(self) -> float:
        return self.rms / float(np.sqrt(np.mean(np.square(self.best))))

    @property
    def coverage(self) -> float:
        return float(np.mean(self.held))


def tools():
    """The instruments as the analyst knows them; the world draws from the same limits."""
    return instruments(
        temperature={"halfwidth": OFFSET_K, "slope_percent": 100 * SLOPE, "step": STEP_C},
        mass={"step": STEP_G},
    )


def rounded(value: float, step: float) -> float:
    return round(value / step) * step


def one_set(rng: np.random.Generator, scores: dict[int, Score], between: str) -> None:
    balance = rng.uniform(-BALANCE_HALF_WIDTH_G, BALANCE_HALF_WIDTH_G)
    known = tools()
    for number in range(6):
        name, truth = f"K{number}", float(rng.normal(14.0, 3.0))
        offset, slope = rng.uniform(-OFFSET_K, OFFSET_K), rng.uniform(-SLOPE, SLOPE)
        runs = [
            one_run(rng, known, name, i, truth, balance, offset, slope) for i in range(max(RUNS))
        ]
        for count in RUNS:
            (found,) = combine_cup(name, runs[:count], between=between)
            c = found.combined
            V = covariance_matrix([r.constant for r in runs[:count]]) + TAU**2 * np.eye(count)
            ones = np.ones(count)
            score = scores[count]
            score.errors.append(c.value - truth)
            score.held.append(c.interval95[0] <= truth <= c.interval95[1])
            score.best.append(1.0 / math.sqrt(ones @ np.linalg.solve(V, ones)))
            score.stated.append(c.u)


def one_run(rng, known, name, i, C, balance, offset, slope) -> CalibrationRun:
    """One mixing run: cold water in the cup, hot water in, read with this set's instruments."""
    cold, hot = 100.0 + rng.normal(0, 2), 100.0 + rng.normal(0, 2)
    T1, T2 = 21.0 + rng.normal(0, 0.4), 50.0 + rng.normal(0, 2)
    left = rng.normal(0.0, LEFT_G)
    final = mixed_water_C(C + 4.18 * left, cold, T1, hot, T2)

    def shown(t):
        return rounded(t + offset + slope * (t - 20.0), STEP_C)

    row = run(
        f"{name}-{i}", apparatus=name, in_cup="water", added="water",
        in_cup_g=rounded(cold + balance, STEP_G), added_g=rounded(hot + balance, STEP_G),
        added_C=shown(T2), room_C=21.0, extra={"added_read_s": "0"},
    )  # fmt: skip
    before = T1 + offset + slope * (T1 - 20.0)
    rise_K = (final - T1) * (1.0 + slope) + rng.normal(0.0, U_RISE_K)
    rise = Rise(rise_K, U_RISE_K, before, before + rise_K, "made", True, ())
    measured = measure(prepare(row, known), rise)
    return CalibrationRun(row, "mixing", constant_of_run(measured, "mixing")[0], measured, ())


def run_sets(sets: int, seed: int = 2026, between: str = "mandel-paule") -> dict[int, Score]:
    """Scores by number of runs."""
    rng, scores = np.random.default_rng(seed), {n: Score() for n in RUNS}
    for _ in range(sets):
        one_set(rng, scores, between)
    return scores


@dataclass
class World:
    """One set of cups and what all its runs are read with."""

    rng: np.random.Generator
    known: object
    balance: float
    offset: float = 0.0
    slope: float = 0.0

    def weighs(self, grams: float) -> float:
        return rounded(grams + self.balance, STEP_G)

    def shows(self, t):
        return np.round((t + self.offset + self.slope * (t - 20.0)) / STEP_C) * STEP_C


def logged_run(world: World, cup, name: str):
    """One mixing run as a simulated curve, corrected as ``calibrate`` does it; its constant."""
    from fitting.corrections import correct
    from fitting.curve import Curve
    from fitting.newton.explain import WALL_LOSS
    from fitting.practice.simulated_cup import Experiment, Room, Sensor, simulate

    rng = world.rng
    cold, hot, left = 100 + rng.normal(0, 2), 100 + rng.normal(0, 2), rng.normal(0.0, LEFT_G)
    T2, start = 50.0 + rng.normal(0, 1), 21.0 + rng.normal(0, 0.4)
    room = Room(start, rng.normal(0, 0.15) / 1200, 0.1, 900.0, rng.uniform(0, 6.28))
    T1 = start + rng.normal(0, 0.3)
    ends = mixed_water_C(cup.constant_J_per_K + 4.18 * left, cold, T1, hot, T2)
    cp = [(water_J_per_g(ends) - water_J_per_g(t)) / (ends - t) for t in (T1, T2)]
    e = Experiment(
        cup=cup, room=room, sensor=Sensor(6.0, 0.008, 0.0, 0.002), in_cup_C=T1,
        in_cup_J_per_K=(cold + left) * cp[0], added_J_per_K=hot * cp[1], added_C=T2, heat_J=0.0,
    )  # fmt: skip
    made = simulate(e, rng)
    got = correct(
        Curve.from_arrays(made.time_s, world.shows(made.temperature_C)), mixed_at_s=made.mixed_at_s,
        u_mixed_at_s=1.2, room_C=round(made.room_C, 1), u_room_K=0.5,
        capacity_ratio=(cold * 4.18 + 14) / ((cold + hot) * 4.18 + 14),
    ).chosen  # fmt: skip
    row = run(
        name, apparatus=name, in_cup="water", added="water", in_cup_g=world.weighs(cold),
        added_g=world.weighs(hot), added_C=float(world.shows(T2)), room_C=round(made.room_C, 1),
        extra={"added_read_s": "0"},
    )  # fmt: skip
    rise = Rise(
        got.rise_K, got.u_rise_K, got.before_C, got.final_C, got.method, True, (),
        u_wall_K=dict(got.parts).get(WALL_LOSS, 0.0),
    )  # fmt: skip
    return constant_of_run(measure(prepare(row, world.known), rise), "mixing")[0]


def curve_sets(sets: int, seed: int = 7) -> dict[int, Score]:
    """The same world through simulated curves and their corrections: the whole chain, any cups.

    The best attainable is the Cramér–Rao figure of errors with the spread they turned out to have over
    all sets: r within a cup and s common to a cup's runs (its slow wall), √(s² + r²/n).
    """
    from fitting.practice.simulated_cup import draw_cup

    rng, scores, known = np.random.default_rng(seed), {n: Score() for n in RUNS}, tools()
    errors: list[list[float]] = []
    for _ in range(sets):
        balance = rng.uniform(-BALANCE_HALF_WIDTH_G, BALANCE_HALF_WIDTH_G)
        for number in range(6):
            cup = draw_cup(rng)
            world = World(rng, known, balance, rng.uniform(-OFFSET_K, OFFSET_K),
                          rng.uniform(-SLOPE, SLOPE))  # fmt: skip
            truth = cup.constant_J_per_K
            found = [logged_run(world, cup, f"K{number}") for _ in range(max(RUNS))]
            errors.append([one.value - truth for one in found])
            for count in RUNS:
                c = combine(found[:count])
                score = scores[count]
                score.errors.append(c.value - truth)
                score.held.append(c.interval95[0] <= truth <= c.interval95[1])
                score.stated.append(c.u)
    within = float(np.mean(np.var(errors, axis=1, ddof=1)))
    common = float(np.mean(np.square(np.mean(errors, axis=1)))) - within / max(RUNS)
    for count, score in scores.items():
        score.best = [math.sqrt(max(common, 0.0) + within / count)] * len(score.errors)
    return scores


def planned_u(count: int) -> float:
    """What a plan of such runs says beforehand of u. [J/K]"""
    from calib.planning.calibration_plan import MixingSetup, plan_calibration

    setup = MixingSetup(hot_C=50.0, between_J_per_K=TAU, wait_s=0.0)
    return plan_calibration(14.0, tools(), setup, runs=count).u_J_per_K


def table(scores: dict[int, Score]) -> str:
    """The scores as a Markdown table."""
    lines = [
        "| runs a cup | cups | bias J/K | rms J/K | best J/K | rms/best | mean u | planned u | "
        "95 % holds |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for count, s in scores.items():
        best = float(np.sqrt(np.mean(np.square(s.best))))
        lines.append(
            f"| {count} | {len(s.errors)} | {s.bias:+.3f} | {s.rms:.3f} | {best:.3f} | "
            f"{s.over_best:.2f} | {np.mean(s.stated):.3f} | {planned_u(count):.3f} | "
            f"{100 * s.coverage:.1f} % |"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=200)
    parser.add_argument("--between", default="mandel-paule")
    parser.add_argument("--curves", type=int, default=0)
    args = parser.parse_args()
    if args.curves:
        print(table(curve_sets(args.curves)))
        return
    print(table(run_sets(args.sets, between=args.between)))


if __name__ == "__main__":
    main()
