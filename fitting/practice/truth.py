"""What lies behind a practice curve: a simulated cup with chosen difficulties, drawn from a seed.

The plainest curve has a quick release, a cup that loses by Newton's law, a still room and a fine
quick sensor. Each difficulty adds one thing that real cups have. All ranges: common practice, no
source. They are no priors and stay apart from `fitting.cup.knowledge` on purpose: an answer drawn
from what the corrections take as known would judge nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from fitting.curve import FloatArray
from fitting.practice.simulated_cup import Cup, Experiment, Room, Sensor, SimulatedRun, simulate

DIFFICULTIES: Mapping[str, str] = MappingProxyType(
    {
        "noise": "readings in steps of 0.1 K with noise",
        "lag": "a sensor that follows the content 12 to 20 s late",
        "slow-wall": "an inner wall that warms up over a minute",
        "evaporation": "a rise of 25 to 40 K, so that vapour carries heat away",
        "slow-dissolution": "a solid that dissolves for minutes, with two rates",
        "drifting-room": "a room that warms up or cools down during the log",
        "no-fore": "three readings before the mixing only",
        "spill": "some of the liquid spilt while pouring",
    }
)


@dataclass(frozen=True, slots=True, eq=False)
class PracticeRun:
    """A log and its truth.

    ``rise_K`` is what a perfectly insulated cup would have risen by with the liquid that stayed in
    it; ``rise_unspilt_K`` with all of it.
    """

    time_s: FloatArray
    temperature_C: FloatArray
    step_K: float
    mixed_at_s: float
    before_C: float
    rise_K: float
    rise_unspilt_K: float
    capacity_ratio: float
    room_C: float
    kind: str
    facts: dict[str, float]


def practice_run(difficulties: Sequence[str], seed: int) -> PracticeRun:
    """Simulate one practice run. The same arguments give the same run."""
    chosen = frozenset(difficulties)
    experiment = _experiment(chosen, np.random.default_rng([seed, 1]))
    run = simulate(experiment, np.random.default_rng([seed, 2]))
    first = 0
    if "no-fore" in chosen:
        first = max(int(np.searchsorted(run.time_s, run.mixed_at_s)) - 3, 0)
    start = float(run.time_s[first])
    return PracticeRun(
        time_s=run.time_s[first:] - start,
        temperature_C=run.temperature_C[first:],
        step_K=experiment.sensor.step_K,
        mixed_at_s=run.mixed_at_s - start,
        before_C=run.true_before_C,
        rise_K=_insulated_rise(experiment, run, 1 - experiment.spilt_share),
        rise_unspilt_K=_insulated_rise(experiment, run, 1.0),
        capacity_ratio=_capacity_ratio(experiment),
        room_C=round(run.room_C, 1),
        kind=_kind(chosen),
        facts=_facts(experiment),
    )


def _experiment(chosen: frozenset[str], rng: np.random.Generator) -> Experiment:
    """Draw everything in one order, so that a difficulty changes nothing but itself."""
    room_C, start = rng.uniform(19.5, 23.5), rng.normal(0.0, 0.5)
    first, share = rng.uniform(180.0, 260.0), rng.uniform(0.5, 1.0)
    quick_K, hot_K, cold_K = rng.uniform(4.0, 12.0), rng.uniform(25.0, 40.0), rng.uniform(4.0, 8.0)
    sign = -1.0 if rng.random() < 0.7 else 1.0
    slow = "slow-dissolution" in chosen
    rise = hot_K if "evaporation" in chosen else sign * cold_K if slow else quick_K
    liquid = rng.uniform(330.0, 460.0) if slow else first
    added = rng.uniform(6.0, 18.0) if slow else first * share
    cup, room, sensor = _cup(chosen, rng), _room(chosen, room_C, rng), _sensor(chosen, rng)
    rates = (1 / rng.uniform(12.0, 30.0), 1 / rng.uniform(50.0, 110.0))
    slow_share, spilt = rng.uniform(0.1, 0.4), rng.uniform(0.02, 0.08)
    total = liquid + added + cup.constant_J_per_K
    return Experiment(
        cup=cup,
        room=room,
        sensor=sensor,
        in_cup_J_per_K=liquid,
        in_cup_C=room_C + start,
        added_J_per_K=added,
        added_C=room_C + start,
        heat_J=rise * total,
        rates_per_s=rates if slow else (1.0, 0.05),
        slow_share=slow_share if slow else 0.0,
        fore_s=180.0,
        after_s=720.0 if slow else 600.0,
        pour_s=2.0,
        spilt_share=spilt if "spill" in chosen else 0.0,
    )


def _cup(chosen: frozenset[str], rng: np.random.Generator) -> Cup:
    fast, wall, wall_s = rng.uniform(7.0, 15.0), rng.uniform(3.0, 6.0), rng.uniform(40.0, 80.0)
    loss, vapour, stirrer = rng.uniform(0.03, 0.08), rng.uniform(3e-6, 6e-6), rng.uniform(0, 0.04)
    has_wall = "slow-wall" in chosen
    return Cup(
        fast_J_per_K=fast,
        slow_wall_J_per_K=wall if has_wall else 0.0,
        slow_wall_s=wall_s,
        loss_W_per_K=loss,
        wall_loss_share=0.3 if has_wall else 0.0,
        evaporation_g_per_s_kPa=vapour if "evaporation" in chosen else 0.0,
        stirrer_W=stirrer,
    )


def _room(chosen: frozenset[str], room_C: float, rng: np.random.Generator) -> Room:
    drift = rng.choice([-1.0, 1.0]) * rng.uniform(0.6, 1.5) / 1200.0
    return Room(start_C=room_C, drift_K_per_s=drift if "drifting-room" in chosen else 0.0)


def _sensor(chosen: frozenset[str], rng: np.random.Generator) -> Sensor:
    late, quick, noisy = rng.uniform(12.0, 20.0), rng.uniform(1.5, 3.0), rng.uniform(0.02, 0.04)
    rough = "noise" in chosen
    return Sensor(
        lag_s=late if "lag" in chosen else quick,
        noise_K=noisy if rough else 0.003,
        step_K=0.1 if rough else 0.01,
        wander_K=0.004 if rough else 0.0,
        every_s=2.0,
    )


def _insulated_rise(e: Experiment, run: SimulatedRun, keep: float) -> float:
    """keep [Q + C_2 (T_2 − T_1)] / [keep (C_1 + C_2) + C_cup], with keep the share that stayed."""
    released = keep * (e.heat_J + e.added_J_per_K * (e.added_C - run.true_before_C))
    return released / (keep * (e.in_cup_J_per_K + e.added_J_per_K) + e.cup.constant_J_per_K)


def _capacity_ratio(e: Experiment) -> float:
    """Heat capacity before over after mixing, as one would take it who saw nothing spilt."""
    before = e.in_cup_J_per_K + e.cup.constant_J_per_K
    return before / (before + e.added_J_per_K)


def _kind(chosen: frozenset[str]) -> str:
    what = "a solid dissolved in water" if "slow-dissolution" in chosen else "two liquids mixed"
    return f"{what}, both from the same bench"


def _facts(e: Experiment) -> dict[str, float]:
    """Numbers that explain the curve once the answer is open."""
    total = e.in_cup_J_per_K + e.added_J_per_K + e.cup.constant_J_per_K
    return {
        "heat_J": e.heat_J,
        "heat_capacity_J_per_K": total,
        "heat_loss_W_per_K": e.cup.loss_W_per_K,
        "cooling_rate_per_s": e.cup.loss_W_per_K / total,
        "slow_wall_J_per_K": e.cup.slow_wall_J_per_K,
        "sensor_lag_s": e.sensor.lag_s,
        "spilt_share": e.spilt_share,
        "room_drift_K_per_min": 60 * e.room.drift_K_per_s,
    }
