"""What an estimator learnt from thousands of curves of one narrow family reaches: a check of a bound.

The narrow family is one seed of a judge with its room, sensor, clock, vessel's kind, lid and kind of
release kept; walls, losses, vapour, amounts, temperatures, pour and rates are drawn anew from the
judge's own distributions. A polynomial of the curve's shape and of what textbook methods make of it is fitted to the true rise by ridge
regression and scored on curves that it never saw. What it reaches is reachable; the best may be better.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from tests.benchmarks.judges.linearised import Bench, bench, parts_on, replayed
from tests.benchmarks.judges.notebook_way import rises_K
from tests.benchmarks.judges.record import FloatArray, Judged
from tests.benchmarks.judges.tape import OtherPathError, Tape

KEPT = ("room", "lag")
RIDGES = 10.0 ** np.arange(-4.0, 3.1, 0.5)


def narrow(judge: str, family: str, seed: int, rng: np.random.Generator) -> Iterator[Bench]:
    """Experiments of the narrow family about a seed, without end."""
    first = bench(judge, family, seed)
    free = [which for which, part in parts_on(first).items() if part not in KEPT]
    while True:
        kept = list(first.tape.kept)
        for which in free:
            kept[which] = (kept[which][0], float(rng.normal()))
        try:
            yield replayed(judge, family, seed, Tape(kept=kept))
        except OtherPathError:
            continue  # a release that the judge would have drawn again


def noisy(run: Judged, one: Bench, step_K: float, rng: np.random.Generator) -> FloatArray:
    """Readings with the sensor's noise, wander and steps, shape (n,). [°C]"""
    from scipy.signal import lfilter

    n, s = len(run.raw_C), one.sensor
    keep = np.exp(-s.every_s / s.wander_s)
    kicks = rng.normal(0.0, s.wander_K * np.sqrt(1 - keep**2), n)
    kicks[0] = rng.normal(0.0, s.wander_K)
    read = run.raw_C + lfilter([1.0], [1.0, -keep], kicks) + rng.normal(0.0, s.noise_K, n)
    return np.asarray(np.round(read / step_K) * step_K if step_K > 0 else read)


def features(run: Judged, shown_C: FloatArray) -> tuple[FloatArray, float]:
    """Shape of a curve, and the rise by the textbook integral that it is scaled by. [K]

    Means of the readings over 5 parts of the fore period and over about 30 of the after period that get longer,
    from the last of the fore period and over that rise; the start against the room; capacity ratio; the rise
    itself; what the other textbook methods make of it (`notebook_way`).
    """
    before = int(np.searchsorted(run.time_s, run.mixed_at_s))
    fore = [float(np.mean(part)) for part in np.array_split(shown_C[:before], 5)]
    after = shown_C[before:]
    edges = np.unique(np.round(len(after) * np.linspace(0.0, 1.0, 31) ** 2).astype(int))
    late = [float(np.mean(after[a:b])) for a, b in pairwise(edges)]
    by_hand = rises_K(run.time_s, shown_C, run.mixed_at_s, run.capacity_ratio)
    scale = by_hand.pop("integral")
    means = (np.array(fore[:-1] + late) - fore[-1]) / scale
    others = [rise / scale - 1.0 for rise in by_hand.values()]
    more = [(fore[-1] - run.room_C) / scale, run.capacity_ratio, 1 / scale, *others]
    return np.append(means, more), scale


def _polynomial(x: FloatArray, squares: int, cubes: int) -> FloatArray:
    columns = [np.ones(len(x)), *x.T]
    columns += [x[:, i] * x[:, j] for i in range(squares) for j in range(i + 1)]
    columns += [
        x[:, i] * x[:, j] * x[:, k]
        for i in range(cubes)
        for j in range(i + 1)
        for k in range(j + 1)
    ]
    return np.column_stack(columns)


def learnt_rmse(x: FloatArray, y: FloatArray, weight: FloatArray) -> float:
    """Held-out relative rmse [%] of a cubic ridge regression of y (true rise over the scale) on x (n, m),
    each curve with its weight (n,).

    Three fifths learn, one chooses ridge and degree, one scores. Coordinates are the principal ones of the
    learners, of unit variance each, so that a small but telling curvature counts.
    """
    a, b = int(0.6 * len(x)), int(0.8 * len(x))
    mean, spread = x[:a].mean(axis=0), x[:a].std(axis=0) + 1e-12
    scaled = (x - mean) / spread
    _, size, axes = np.linalg.svd(scaled[:a], full_matrices=False)
    p = np.clip(scaled @ axes.T / (size / np.sqrt(a) + 1e-9), -4.0, 4.0)
    best = (np.inf, np.inf)
    for squares, cubes in ((0, 0), (6, 0), (12, 0), (12, 6), (20, 8)):
        f = _polynomial(p, min(squares, p.shape[1]), min(cubes, p.shape[1]))
        weighed = f[:a].T * weight[:a]
        gram, right = weighed @ f[:a], weighed @ (y[:a] - 1.0)
        for ridge in RIDGES:
            guess = 1.0 + f @ np.linalg.solve(gram + ridge * np.eye(len(gram)), right)
            error = 100 * (guess / y - 1.0)
            best = min(best, (_rms(error[a:b]), _rms(error[b:])))
    return best[1]


def _rms(x: FloatArray) -> float:
    return float(np.sqrt(np.mean(np.square(x))))


def reached(judge: str, family: str, seed: int, n: int, step_K: float) -> float:
    """`learnt_rmse` over n curves of the narrow family about a seed. [%]

    A curve weighs 1/(1 + (m/r)²), m the middle one of the rises r: noise counts for less on a large one.
    """
    rng = np.random.default_rng([11, seed])
    xs, ys, sizes = [], [], []
    for _, one in zip(range(n), narrow(judge, family, seed, rng), strict=False):
        run = one.quiet(one.experiment)
        x, scale = features(run, noisy(run, one, step_K, rng))
        xs.append(x)
        ys.append(run.true_rise_K / scale)
        sizes.append(scale)
    size = np.abs(sizes)
    return learnt_rmse(np.array(xs), np.array(ys), 1 / (1 + (np.median(size) / size) ** 2))
