"""Thousands of simulated cups at once: the energy balance of ``fitting/practice/simulated_cup.py`` in arrays.

One column a cup, integrated together by the classical Runge-Kutta method; experiments, sensors and
readings are the simulation's own. ``tests/fitting/test_many_cups.py`` holds it against the
simulation, cup by cup.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from fitting.practice import simulated_cup as one_cup
from fitting.practice.simulated_cup import LATENT_HEAT_J_PER_G, Experiment, draw_experiment

FORE_STEPS = 400
AFTER_S = 480.0
SINCE_S = np.concatenate(
    [np.arange(0.0, 12.0, 0.1), np.arange(12.0, 60.0, 0.5), np.arange(60.0, AFTER_S + 7.0, 2.0)]
)
State = tuple[np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Readings:
    """What is kept of each run, arrays of shape (n,): the two readings, the time of the second [s],
    the room [°C], the rate [1/s], the cup's share of the heat capacity, and the true rise [K]."""

    before_C: np.ndarray
    extreme_C: np.ndarray
    after_s: np.ndarray
    room_C: np.ndarray
    rate_per_s: np.ndarray
    cup_share: np.ndarray
    rise_K: np.ndarray

    @property
    def change_K(self) -> np.ndarray:
        """Uncorrected change."""
        return self.extreme_C - self.before_C


def draw(
    family: str, n: int, *, lid: bool = True, first_seed: int = 0
) -> tuple[list[Experiment], list[np.random.Generator]]:
    """Experiments of a family, and each one's random numbers for its noise.

    Without a lid the loss is 0.15 to 0.3 W/K. The pouring ends on a tenth of a second.
    """
    experiments, rngs = [], []
    for seed in range(first_seed, first_seed + n):
        rng = np.random.default_rng(seed)
        e = draw_experiment(family, rng, resolution_K=0.0, after_s=AFTER_S)
        e = replace(e, pour_s=round(e.pour_s, 1))
        if not lid:
            e = replace(e, cup=replace(e.cup, loss_W_per_K=rng.uniform(0.15, 0.3)))
        experiments.append(e)
        rngs.append(rng)
    return experiments, rngs


@dataclass(frozen=True)
class Cups:
    """The energy balance of many experiments; time counts from the mixing."""

    experiments: list[Experiment]

    def of(self, path: str) -> np.ndarray:
        """A field of every experiment, such as ``cup.loss_W_per_K``."""
        found: list[object] = list(self.experiments)
        for name in path.split("."):
            found = [getattr(one, name) for one in found]
        return np.array(found, dtype=float)

    @cached_property
    def rooms(self) -> tuple[np.ndarray, ...]:
        names = ("fore_s", *(f"room.{x}" for x in ("start_C", "drift_K_per_s", "swing_K")))
        return tuple(self.of(name) for name in (*names, "room.period_s", "room.phase"))

    def room(self, since_s: np.ndarray | float) -> np.ndarray:
        """Room temperature. [°C]"""
        fore, start, drift, swing, period, phase = self.rooms
        clock = since_s + fore
        return start + drift * clock + swing * np.sin(2 * np.pi * clock / period + phase)

    def integrate(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Times of the fore period's end, what the sensor shows at them and at ``SINCE_S``, and
        the content's temperature at the mixing."""
        p = {path: self.of(path) for path in _FIELDS}
        rates = np.array([e.rates_per_s for e in self.experiments])
        p |= {"fast_per_s": rates[:, 0], "slow_per_s": rates[:, 1]}
        start = -(p["standing_s"] + p["fore_s"])
        room = self.room(start)
        state = (p["in_cup_C"].copy(), 0.5 * (p["in_cup_C"] + room), p["in_cup_C"].copy())
        h = -start / FORE_STEPS
        times, fore = [], []
        for i in range(FORE_STEPS):
            state = self._step(p, start + i * h, state, h, mixed=False)
            if i >= FORE_STEPS - 60:
                times.append(start + (i + 1) * h)
                fore.append(state[2])
        before, after = state[0].copy(), [state[2]]
        for now, then in pairwise(SINCE_S):
            state = self._step(p, np.full_like(h, now), state, then - now, mixed=True)
            after.append(state[2])
        return np.array(times), np.array(fore), np.array(after), before

    def _step(
        self, p: dict[str, np.ndarray], t: np.ndarray, state: State, h: np.ndarray, *, mixed: bool
    ) -> State:
        pouring = mixed & (t + h / 2 < p["pour_s"] - 1e-6)

        def moved(slope: State, by: np.ndarray) -> State:
            return tuple(x + by * s for x, s in zip(state, slope, strict=True))

        k1 = self._slopes(p, t, state, pouring, mixed)
        k2 = self._slopes(p, t + h / 2, moved(k1, h / 2), pouring, mixed)
        k3 = self._slopes(p, t + h / 2, moved(k2, h / 2), pouring, mixed)
        k4 = self._slopes(p, t + h, moved(k3, h), pouring, mixed)
        mean = tuple((a + 2 * b + 2 * c + d) / 6 for a, b, c, d in zip(k1, k2, k3, k4, strict=True))
        return moved(mean, h)

    def _slopes(
        self,
        p: dict[str, np.ndarray],
        t: np.ndarray,
        state: State,
        pouring: np.ndarray,
        mixed: bool,
    ) -> State:
        liquid, wall, shown = state
        room = self.room(t)
        heat, poured = 0.0, 0.0
        if mixed:
            poured = np.clip(t / p["pour_s"], 0.0, 1.0)
            fast, slow = p["fast_per_s"], p["slow_per_s"]
            heat = (1 - p["slow_share"]) * fast * np.exp(-fast * t)
            heat = p["heat_J"] * (heat + p["slow_share"] * slow * np.exp(-slow * t))
        C_2 = p["added_J_per_K"]
        capacity = p["in_cup_J_per_K"] + poured * C_2 + p["cup.fast_J_per_K"]
        to_wall = p["cup.slow_wall_J_per_K"] / p["cup.slow_wall_s"] * (liquid - wall)
        vapour = np.maximum(_vapour_kPa(liquid) - 0.45 * _vapour_kPa(room), 0.0)
        g, G = p["cup.wall_loss_share"], p["cup.loss_W_per_K"]
        loss = (1 - g) * G * (liquid - room)
        loss = loss + LATENT_HEAT_J_PER_G * p["cup.evaporation_g_per_s_kPa"] * vapour
        pour_W = np.where(pouring, C_2 / p["pour_s"], 0.0) * (p["added_C"] - liquid)
        return (
            (heat + pour_W + p["cup.stirrer_W"] - loss - to_wall) / capacity,
            (to_wall - g * G * (wall - room)) / p["cup.slow_wall_J_per_K"],
            (liquid - shown) / p["sensor.lag_s"],
        )


_FIELDS = (
    "standing_s", "fore_s", "pour_s", "in_cup_C", "in_cup_J_per_K", "added_C", "added_J_per_K",
    "heat_J", "slow_share", "cup.fast_J_per_K", "cup.slow_wall_J_per_K", "cup.slow_wall_s",
    "cup.loss_W_per_K", "cup.wall_loss_share", "cup.evaporation_g_per_s_kPa", "cup.stirrer_W",
    "sensor.lag_s",
)  # fmt: skip


def _vapour_kPa(celsius: np.ndarray) -> np.ndarray:
    t = np.clip(celsius, -20.0, 110.0)
    return 0.61094 * np.exp(17.625 * t / (t + 243.04))


def read_extremes(
    family: str, n: int, steps_K: tuple[float, ...], *, lid: bool = True, first_seed: int = 0
) -> dict[float, Readings]:
    """Readings of so many runs on displays of those steps; the noise is the same for every step."""
    experiments, rngs = draw(family, n, lid=lid, first_seed=first_seed)
    cups = Cups(experiments)
    times, fore, after, before = cups.integrate()
    total = sum(cups.of(name) for name in ("in_cup_J_per_K", "added_J_per_K"))
    total = total + cups.of("cup.constant_J_per_K")
    rise = (cups.of("heat_J") + cups.of("added_J_per_K") * (cups.of("added_C") - before)) / total
    room = cups.room(0.0)
    kept: dict[float, list[tuple[float, float, float]]] = {step: [] for step in steps_K}
    for i, (e, rng) in enumerate(zip(experiments, rngs, strict=True)):
        every = e.sensor.every_s
        first = len(np.arange(0.0, e.fore_s, every))
        clock = np.arange(first - 5, (e.fore_s + AFTER_S) / every + 0.5) * every - e.fore_s
        true = np.concatenate(
            [np.interp(clock[:5], times[:, i], fore[:, i]),
             np.interp(clock[5:], SINCE_S, after[:, i])]
        )  # fmt: skip
        shown = one_cup._read(true, e.sensor, rng)
        for step in steps_K:
            seen = np.round(np.round(shown / step) * step, 6)
            start = float(np.median(seen[:5]))
            at = int(np.argmax(np.abs(seen[5:] - start)))
            kept[step].append((start, seen[5 + at], clock[5 + at]))
    share, rate = cups.of("cup.constant_J_per_K") / total, cups.of("cup.loss_W_per_K") / total
    return {
        step: Readings(*np.array(rows).T, room, rate, share, rise) for step, rows in kept.items()
    }
