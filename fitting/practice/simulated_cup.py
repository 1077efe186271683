"""A simulated cup that does not obey the models that are fitted to it.

The energy balance of a stirred liquid in a thin fast wall, a slow inner wall behind it, a room
that drifts, vapour that escapes, a second portion poured in over seconds and a sensor that lags,
makes noise and shows steps only::

    (C_l + C_f) dT/dt = q(t) + p(t) (T_2 - T) + P - G (T - T_room) - L E(T) - G_w (T - T_w)
    C_w dT_w/dt       = G_w (T - T_w) - g G (T_w - T_room)
    tau dT_s/dt       = T - T_s

with C_l the liquid's and C_f the fast wall's heat capacity [J/K] (both may grow while the second
portion is poured at p [W/K], the rate of heat capacity coming in), q the heat of reaction [W], P
the stirrer [W], G the loss conductance [W/K], C_w and G_w the slow wall's capacity and its
coupling, E the evaporation [g/s], proportional to the difference of vapour pressure (Magnus
formula, Alduchov & Eskridge 1996, from memory) and L its latent heat, 2430 J/g (from memory).
The heat of reaction is released by up to two first-order processes.

The true answer is what a perfectly insulated cup, wall included, would have risen by::

    rise = [Q + C_2 (T_2 - T_1)] / (C_l + C_2 + C_f + C_w),    T_1 = liquid's temperature at mixing

It is computed from the energies, never from a curve. The equations are integrated by the classical
Runge-Kutta method. Nothing here is shared with the corrections: it serves as their judge, and
keeps numbers of its own on purpose (not those of `fitting.cup.knowledge`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LATENT_HEAT_J_PER_G = 2430.0


@dataclass(frozen=True, slots=True)
class Cup:
    """The apparatus. Heat capacities in J/K, conductances in W/K."""

    fast_J_per_K: float = 8.0
    slow_wall_J_per_K: float = 4.0
    slow_wall_s: float = 60.0  # time constant of the slow wall, C_w / G_w
    loss_W_per_K: float = 0.035
    wall_loss_share: float = 0.2  # g: share of the loss that leaves through the slow wall too
    evaporation_g_per_s_kPa: float = 2e-6
    stirrer_W: float = 0.02

    @property
    def constant_J_per_K(self) -> float:
        """What a calibration should find: fast and slow wall together."""
        return self.fast_J_per_K + self.slow_wall_J_per_K


@dataclass(frozen=True, slots=True)
class Room:
    """Room temperature: T + drift t + swing sin(2 pi t / period + phase); relative humidity."""

    start_C: float = 21.0
    drift_K_per_s: float = 0.0
    swing_K: float = 0.0
    period_s: float = 900.0
    phase: float = 0.0
    humidity: float = 0.45

    def at(self, time_s: float) -> float:
        """Room temperature [°C] at a time [s]."""
        return (
            self.start_C
            + self.drift_K_per_s * time_s
            + self.swing_K * math.sin(2 * math.pi * time_s / self.period_s + self.phase)
        )


@dataclass(frozen=True, slots=True)
class Sensor:
    """Lag [s], white noise [K], step of the display [K], slow noise [K] and step time [s]."""

    lag_s: float = 6.0
    noise_K: float = 0.01
    step_K: float = 0.01
    wander_K: float = 0.003
    wander_s: float = 40.0
    every_s: float = 2.0


@dataclass(frozen=True, slots=True)
class Experiment:
    """One run: what is in the cup, what comes in, how much heat, how it is logged."""

    cup: Cup = field(default_factory=Cup)
    room: Room = field(default_factory=Room)
    sensor: Sensor = field(default_factory=Sensor)
    in_cup_J_per_K: float = 209.0
    in_cup_C: float = 21.0
    added_J_per_K: float = 209.0
    added_C: float = 21.0
    heat_J: float = 2800.0
    rates_per_s: tuple[float, float] = (1.0, 0.05)
    slow_share: float = 0.0  # part of the heat that follows the second rate
    fore_s: float = 180.0
    after_s: float = 600.0
    pour_s: float = 3.0
    standing_s: float = 240.0  # liquid 1 stood in the cup so long before the log begins
    spilt_share: float = 0.0  # part of the liquid lost at the moment of mixing


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedRun:
    """A log and its sealed answer. Arrays have shape (n,), clock starts at 0."""

    time_s: FloatArray
    temperature_C: FloatArray
    mixed_at_s: float
    true_before_C: float
    true_rise_K: float
    true_final_C: float
    capacity_ratio: float  # before / after mixing, cup included
    true_rate_per_s: float  # G / heat capacity after mixing
    room_C: float
    experiment: Experiment


def _vapour_kPa(temperature_C: float) -> float:
    t = max(min(temperature_C, 110.0), -20.0)
    return 0.61094 * math.exp(17.625 * t / (t + 243.04))


def _slopes(
    e: Experiment,
    time_s: float,
    state: tuple[float, float, float],
    since_s: float,
    pouring: bool,
) -> tuple[float, float, float]:
    liquid, wall, shown = state
    cup = e.cup
    room = e.room.at(time_s)
    keep = 1.0 - e.spilt_share if since_s >= 0 else 1.0
    poured = min(max(since_s / e.pour_s, 0.0), 1.0) if e.pour_s > 0 else float(since_s >= 0)
    pour_W_per_K = keep * e.added_J_per_K / e.pour_s if pouring else 0.0
    heat_W = 0.0
    if since_s >= 0:
        fast, slow = e.rates_per_s
        heat_W = e.heat_J * keep * (1 - e.slow_share) * fast * math.exp(-fast * since_s)
        heat_W += e.heat_J * keep * e.slow_share * slow * math.exp(-slow * since_s)
    capacity = keep * (e.in_cup_J_per_K + poured * e.added_J_per_K) + cup.fast_J_per_K
    to_wall = cup.slow_wall_J_per_K / cup.slow_wall_s * (liquid - wall)
    vapour = max(_vapour_kPa(liquid) - e.room.humidity * _vapour_kPa(room), 0.0)
    loss = cup.loss_W_per_K * (liquid - room) * (1 - cup.wall_loss_share)
    loss += LATENT_HEAT_J_PER_G * cup.evaporation_g_per_s_kPa * vapour
    d_liquid = (
        heat_W + pour_W_per_K * (e.added_C - liquid) + cup.stirrer_W - loss - to_wall
    ) / capacity
    wall_loss = cup.wall_loss_share * cup.loss_W_per_K * (wall - room)
    d_wall = (to_wall - wall_loss) / cup.slow_wall_J_per_K if cup.slow_wall_J_per_K > 0 else 0.0
    d_shown = (liquid - shown) / e.sensor.lag_s if e.sensor.lag_s > 0 else 0.0
    return d_liquid, d_wall, d_shown


def _step(
    e: Experiment, time_s: float, state: tuple[float, float, float], since_s: float, h: float
) -> tuple[float, float, float]:
    """One classical Runge-Kutta step of length h [s]."""

    def moved(slope: tuple[float, float, float], by: float) -> tuple[float, float, float]:
        return state[0] + by * slope[0], state[1] + by * slope[1], state[2] + by * slope[2]

    pouring = 0 <= since_s + h / 2 < e.pour_s  # a step never spans the end of the pour
    k1 = _slopes(e, time_s, state, since_s, pouring)
    k2 = _slopes(e, time_s + h / 2, moved(k1, h / 2), since_s + h / 2, pouring)
    k3 = _slopes(e, time_s + h / 2, moved(k2, h / 2), since_s + h / 2, pouring)
    k4 = _slopes(e, time_s + h, moved(k3, h), since_s + h, pouring)
    mean = tuple((k1[i] + 2 * k2[i] + 2 * k3[i] + k4[i]) / 6 for i in range(3))
    return moved((mean[0], mean[1], mean[2]), h)


def _run(
    e: Experiment,
    state: tuple[float, float, float],
    start_s: float,
    end_s: float,
    times: FloatArray,
    since_mixing: bool,
) -> tuple[tuple[float, float, float], list[float], list[float]]:
    """Integrate from start to end; return the last state and (liquid, shown) at ``times``."""
    liquid: list[float] = []
    shown: list[float] = []
    now = start_s
    stops = [*times.tolist(), end_s]
    for stop in stops:
        while now < stop - 1e-9:
            h = 0.1 if since_mixing and now - start_s < 40 else 1.0
            if since_mixing and now - start_s < e.pour_s - 1e-6:
                h = min(h, start_s + e.pour_s - now)
            h = min(h, stop - now)
            state = _step(e, now, state, now - start_s if since_mixing else -1e9, h)
            now += h
        if len(liquid) < len(times):
            liquid.append(state[0])
            shown.append(state[2] if e.sensor.lag_s > 0 else state[0])
    return state, liquid, shown


def simulate(experiment: Experiment, seed: int | np.random.Generator = 0) -> SimulatedRun:
    """Integrate one experiment and read it with its sensor.

    Returns the log with its true answer. The same seed gives the same log.
    """
    e = experiment
    rng = np.random.default_rng(seed)
    room0 = e.room.at(-e.standing_s)
    start = (e.in_cup_C, 0.5 * (e.in_cup_C + room0), e.in_cup_C)
    state, _, _ = _run(e, start, -e.standing_s, 0.0, np.empty(0), since_mixing=False)
    every = e.sensor.every_s
    fore_times = np.arange(0.0, e.fore_s, every)
    state, _, shown_fore = _run(e, state, 0.0, e.fore_s, fore_times, since_mixing=False)
    before = state[0]
    after_times = np.arange(len(fore_times) * every, e.fore_s + e.after_s + every / 2, every)
    if e.pour_s <= 0:
        keep = 1 - e.spilt_share
        base = keep * e.in_cup_J_per_K + e.cup.fast_J_per_K
        warm = (base * state[0] + keep * e.added_J_per_K * e.added_C) / (
            base + keep * e.added_J_per_K
        )
        state = (warm, state[1], state[2])
    end = float(after_times[-1])
    _, _, shown_after = _run(e, state, e.fore_s, end, after_times, since_mixing=True)
    time_s = np.concatenate([fore_times, after_times])
    shown = _read(np.array(shown_fore + shown_after), e.sensor, rng)
    total = e.in_cup_J_per_K + e.added_J_per_K + e.cup.constant_J_per_K
    rise = (e.heat_J + e.added_J_per_K * (e.added_C - before)) / total
    return SimulatedRun(
        time_s=time_s,
        temperature_C=shown,
        mixed_at_s=e.fore_s,
        true_before_C=before,
        true_rise_K=rise,
        true_final_C=before + rise,
        capacity_ratio=(e.in_cup_J_per_K + e.cup.constant_J_per_K) / total,
        true_rate_per_s=e.cup.loss_W_per_K / total,
        room_C=e.room.at(e.fore_s),
        experiment=e,
    )


def _read(true_C: FloatArray, sensor: Sensor, rng: np.random.Generator) -> FloatArray:
    """What the display shows: wander (AR(1)), white noise, then the step."""
    n = len(true_C)
    keep = math.exp(-sensor.every_s / sensor.wander_s) if sensor.wander_s > 0 else 0.0
    kicks = rng.normal(0.0, sensor.wander_K * math.sqrt(1 - keep**2), n)
    wander = np.empty(n)
    level = rng.normal(0.0, sensor.wander_K)
    for i in range(n):
        level = keep * level + kicks[i]
        wander[i] = level
    shown = true_C + wander + rng.normal(0.0, sensor.noise_K, n)
    if sensor.step_K > 0:
        # 1.23 not 1.2299999: what a file would hold
        shown = np.round(np.round(shown / sensor.step_K) * sensor.step_K, 6)
    return shown


def draw_cup(rng: np.random.Generator) -> Cup:
    """A foam cup with lid, drawn from common practice (ranges: common practice, no source)."""
    return Cup(
        fast_J_per_K=rng.uniform(3.0, 15.0),
        slow_wall_J_per_K=rng.uniform(1.0, 5.0),
        slow_wall_s=rng.uniform(20.0, 75.0),
        loss_W_per_K=rng.uniform(0.02, 0.08),
        wall_loss_share=rng.uniform(0.1, 0.5),
        evaporation_g_per_s_kPa=rng.uniform(0.5e-6, 4e-6),
        stirrer_W=rng.uniform(0.0, 0.05),
    )


def draw_flask(rng: np.random.Generator) -> Cup:
    """A closed vacuum flask whose glass takes 40 to 120 J/K over minutes, 0.0005 to 0.002 1/min.

    (ranges: common practice, no source)
    """
    return Cup(
        fast_J_per_K=rng.uniform(3.0, 15.0),
        slow_wall_J_per_K=rng.uniform(40.0, 120.0),
        slow_wall_s=rng.uniform(60.0, 200.0),
        loss_W_per_K=rng.uniform(0.0035, 0.014),
        wall_loss_share=rng.uniform(0.1, 0.5),
        evaporation_g_per_s_kPa=rng.uniform(0.5e-6, 2e-6),
        stirrer_W=rng.uniform(0.0, 0.05),
    )


VESSELS = {"cup": draw_cup, "flask": draw_flask}


def draw_experiment(
    family: str,
    rng: np.random.Generator,
    *,
    resolution_K: float | None = None,
    after_s: float | None = None,
    vessel: str = "cup",
    **changes: Any,
) -> Experiment:
    """One experiment of a family: ``fast``, ``mixing``, ``slow`` or ``pellets``.

    fast: two solutions, all heat within seconds, rise 3 to 14 K. mixing: hot water into cold.
    slow: a salt that dissolves with two rate constants, 6 to 30 s and a slower one, rise -8 to
    +8 K. pellets: a rise of 20 to 55 K, vapour counts. ``resolution_K`` and ``after_s`` override
    what is drawn; ``vessel`` is ``cup`` or ``flask``; further keyword arguments replace fields of
    the experiment.
    """
    room = Room(
        start_C=rng.uniform(19.0, 24.0),
        drift_K_per_s=rng.normal(0.0, 0.2) / 1200.0,
        swing_K=rng.uniform(0.0, 0.15),
        period_s=rng.uniform(500.0, 1500.0),
        phase=rng.uniform(0.0, 2 * math.pi),
    )
    sensor = Sensor(
        lag_s=rng.uniform(3.0, 12.0),
        noise_K=rng.uniform(0.003, 0.015),
        step_K=float(rng.choice([0.01, 0.1])) if resolution_K is None else resolution_K,
        wander_K=rng.uniform(0.0, 0.004),
        every_s=float(rng.choice([1.0, 2.0, 5.0])),
    )
    start = room.start_C + rng.normal(0.0, 0.6)
    e = Experiment(
        cup=VESSELS[vessel](rng),
        room=room,
        sensor=sensor,
        in_cup_C=start,
        fore_s=rng.uniform(150.0, 300.0),
        after_s=rng.uniform(480.0, 720.0) if after_s is None else after_s,
        pour_s=rng.uniform(1.0, 4.0),
    )
    e = _FAMILIES[family](e, rng)
    return replace(e, **changes) if changes else e


def _total(e: Experiment) -> float:
    return e.in_cup_J_per_K + e.added_J_per_K + e.cup.constant_J_per_K


def _fast(e: Experiment, rng: np.random.Generator) -> Experiment:
    first = rng.uniform(180.0, 260.0)
    e = replace(
        e,
        in_cup_J_per_K=first,
        added_J_per_K=first * rng.uniform(0.4, 1.1),
        added_C=e.in_cup_C + rng.normal(0.0, 0.4),
        rates_per_s=(rng.uniform(0.4, 2.0), 0.05),
    )
    return replace(e, heat_J=rng.uniform(3.0, 14.0) * _total(e))


def _mixing(e: Experiment, rng: np.random.Generator) -> Experiment:
    first = rng.uniform(180.0, 260.0)
    return replace(
        e,
        in_cup_J_per_K=first,
        added_J_per_K=first * rng.uniform(0.6, 1.2),
        added_C=e.in_cup_C + rng.uniform(20.0, 32.0),
        heat_J=0.0,
    )


def _slow(e: Experiment, rng: np.random.Generator) -> Experiment:
    e = replace(
        e,
        in_cup_J_per_K=rng.uniform(300.0, 520.0),
        added_J_per_K=rng.uniform(4.0, 20.0),
        added_C=e.room.start_C,
        rates_per_s=(1 / rng.uniform(6.0, 30.0), 1 / rng.uniform(30.0, 90.0)),
        slow_share=rng.uniform(0.05, 0.35),
    )
    sign = -1.0 if rng.random() < 0.7 else 1.0
    return replace(e, heat_J=sign * rng.uniform(3.0, 8.0) * _total(e))


def _pellets(e: Experiment, rng: np.random.Generator) -> Experiment:
    e = replace(
        e,
        in_cup_J_per_K=rng.uniform(300.0, 430.0),
        added_J_per_K=rng.uniform(15.0, 45.0),
        added_C=e.room.start_C,
        rates_per_s=(1 / rng.uniform(6.0, 25.0), 1 / rng.uniform(25.0, 60.0)),
        slow_share=rng.uniform(0.0, 0.3),
    )
    return replace(e, heat_J=rng.uniform(20.0, 55.0) * _total(e))


_FAMILIES = {"fast": _fast, "mixing": _mixing, "slow": _slow, "pellets": _pellets}
FAMILIES: tuple[str, ...] = tuple(_FAMILIES)
