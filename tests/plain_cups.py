"""Simulated logs for judging the methods that draw lines: three kinds of cup, truth known.

    one-body      one temperature, one quick release
    slow-wall     a wall takes 2 to 6 % of the heat with a time constant of 30 to 90 s
    late-release  a tenth to a half of the heat comes with a time constant of 30 to 150 s

Written for these tests alone and from the balance alone; all numbers are invented::

    (1 − a) dT/dt = q(s) − (1 − g) k (T − T_r) − (a/τ_w) (T − W)
          a dW/dt = (a/τ_w) (T − W) − g k (W − T_r)
        τ dS/dt   = T − S

a is the wall's share of the heat capacity, g the loss that leaves through it, q the release [K/s].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import Curve

KINDS = ("one-body", "slow-wall", "late-release")
_STEP_S, _EVERY = 0.25, 8  # a reading every 2 s
_FORE_S = 180.0


@dataclass(frozen=True, eq=False)
class PlainRun:
    """A log, the moment of mixing on its clock [s], the ratio of heat capacities and the rise [K]."""

    curve: Curve
    mixed_at_s: float
    capacity_ratio: float
    true_rise_K: float


def draw(kind: str, n: int, seed: int) -> list[PlainRun]:
    """``n`` logs of one kind."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    rise = rng.choice([-1, 1], n) * rng.uniform(3, 10, n)
    k, room = rng.uniform(0.7e-4, 3e-4, n), rng.uniform(18, 23, n)
    share = rng.uniform(0.02, 0.06, n) if kind == "slow-wall" else np.full(n, 1e-6)
    wall_s, through = rng.uniform(30, 90, n), np.where(share > 1e-3, 0.3, 0.0)
    late = rng.uniform(0.1, 0.5, n) if kind == "late-release" else np.zeros(n)
    rates = 1 / rng.uniform(2, 12, n), 1 / rng.uniform(30, 150, n)
    ratio = rng.choice([0.5, 0.97], n)
    lag, after_s = rng.uniform(2, 8, n), rng.uniform(480, 900, n)
    start = room + rng.uniform(-1.0, 2.0, n)
    before = np.arange(0, _FORE_S, _STEP_S * _EVERY)
    fore = room + (start - room) * np.exp(-k / ratio * before[:, None])
    content = room + (start - room) * np.exp(-k / ratio * _FORE_S)
    wall, sensor = content.copy(), content.copy()
    rows = [sensor.copy()]
    for i in range(int(900 / _STEP_S)):
        s = (i + 0.5) * _STEP_S
        freed = rise * sum(
            part * rate * np.exp(-rate * s)
            for part, rate in zip((1 - late, late), rates, strict=True)
        )
        to_wall = share / wall_s * (content - wall)
        content += _STEP_S * (freed - (1 - through) * k * (content - room) - to_wall) / (1 - share)
        wall += (
            _STEP_S * (to_wall - through * k * (wall - room)) / share if share[0] > 1e-3 else 0.0
        )
        sensor += (content - sensor) * -np.expm1(-_STEP_S / lag)
        if (i + 1) % _EVERY == 0:
            rows.append(sensor.copy())
    clean = np.concatenate([fore, np.array(rows)])
    time = np.arange(clean.shape[0]) * _STEP_S * _EVERY
    shown = np.round(clean + rng.normal(0, 0.008, clean.shape), 2)
    out = []
    for i in range(n):
        use = time <= _FORE_S + after_s[i]
        curve = Curve.from_arrays(time[use], shown[use, i])
        out.append(PlainRun(curve, _FORE_S, float(ratio[i]), float(rise[i])))
    return out
