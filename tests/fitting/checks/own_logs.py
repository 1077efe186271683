"""Logs of the checks' own: one cup after another by small steps, wide ranges, no shared code.

Many cups are stepped side by side (arrays of shape (n,)), so that hundreds cost a second. Content
loses heat to a drifting room, faster than in proportion where vapour leaves; a wall takes a share;
heat comes while it is poured and as the release goes on; the sensor lags, flickers and is rounded.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitting.curve import Curve

STEP_S = 0.25


@dataclass(frozen=True)
class Log:
    """One log and what was put in; ``rise_K`` with the wall at the content's temperature."""

    curve: Curve
    mixed_at_s: float
    rise_K: float
    lag_s: float
    noise_K: float
    sampled_s: float
    ratio: float


def logs(
    seed: int, n: int, *, release=("quick", "slow", "solid"), lasts_s=900.0, samples=(1.0, 2.0, 5.0),
    steps=(0.001, 0.01, 0.1), noise_K=(0.002, 0.03), rise_K=(1.5, 10.0), loss_per_s=(5e-5, 8e-4),
    slow_s=(8.0, 60.0), wall_share=(0.0, 0.04), vapour=(0.0, 0.6), drift_K_per_h=0.6, slug=0.2,
    lag_s=(1.0, 15.0), changes_at_s=None, changes_by=1.0, ratios=(0.5, 0.95, 1.0), memory=0.8,
) -> list[Log]:  # fmt: skip
    """Draw ``n`` logs; ``changes_by`` multiplies the loss from ``changes_at_s`` after mixing on."""
    rng = np.random.default_rng(seed)
    u = lambda low, high: rng.uniform(low, high, n)  # noqa: E731
    kinds = rng.choice(list(release), n)
    t0 = u(70.0, 200.0)
    rise = u(*rise_K) * np.where(rng.random(n) < 0.35, -1.0, 1.0)
    k = np.exp(u(*np.log(loss_per_s)))
    room = 21.0 + u(-2.0, 2.0)
    start = room + u(-1.5, 1.5)
    drift = u(-drift_K_per_h, drift_K_per_h) / 3600
    beta = u(*vapour) / 20.0
    share, wall_s = u(*wall_share), np.exp(u(np.log(2.0), np.log(120.0)))
    pour, tau, lag = u(1.0, 5.0), np.exp(u(*np.log(slow_s))), np.exp(u(*np.log(lag_s)))
    ratio = rng.choice(list(ratios), n)
    quick = np.where(kinds == "quick", 1.0, u(0.0, 0.4))
    slugs = np.where(rng.random(n) < slug, u(0.05, 0.5), 0.0) * rise
    slug_s = u(1.0, 5.0)
    T, wall, sensor = start.copy(), start.copy(), start.copy()
    count = round((lasts_s + 200.0) / STEP_S) + 1
    seen, gone = np.empty((count, n)), np.zeros(n)
    for i in range(count):
        seen[i] = sensor
        s = i * STEP_S + STEP_S - t0
        out = quick * np.clip(s / pour, 0, 1)
        later = np.clip(s, 0, None)
        solid = 1 - np.clip(1 - later / (4 * tau), 0, 1) ** 3
        out += (1 - quick) * np.where(kinds == "solid", solid, 1 - np.exp(-later / tau))
        rate = k * np.where(s < 0, 1 / ratio, 1.0)
        if changes_at_s is not None:
            rate = np.where(s > changes_at_s, rate * changes_by, rate)
        above = T - room - drift * i * STEP_S
        flow = rate * above * (1 + beta * np.clip(above, 0, None))
        to_wall = share / wall_s * (T - wall)
        T = T + rise * (out - gone) - STEP_S * (flow + to_wall)
        wall = wall + STEP_S * to_wall / np.maximum(share, 1e-9)
        gone = out
        near = T + slugs * (s > 0) * np.exp(-later / slug_s)
        sensor = sensor + (near - sensor) * (1 - np.exp(-STEP_S / lag))
    made = []
    for j in range(n):
        every = float(rng.choice(list(samples)))
        time = np.arange(0.0, t0[j] + lasts_s - 1, every)
        smooth = np.interp(time, np.arange(count) * STEP_S, seen[:, j])
        sigma, rho = float(np.exp(rng.uniform(*np.log(noise_K)))), rng.uniform(0.0, memory)
        white = rng.normal(0, sigma, time.size)
        noise = np.empty_like(white)
        noise[0] = white[0]
        for i in range(1, white.size):
            noise[i] = rho * noise[i - 1] + np.sqrt(1 - rho**2) * white[i]
        q = float(rng.choice(list(steps)))
        shown = np.round((smooth + noise) / q) * q
        made.append(Log(Curve(time, shown, q), float(t0[j]), float(rise[j] / (1 + share[j])), float(lag[j]), sigma,
                        every, float(ratio[j])))  # fmt: skip
    return made
