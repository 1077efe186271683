"""A judge of the corrections: the project's own simulator, drawn from ranges about twice as wide.

The equations are ``fitting/practice/simulated_cup.py``'s (one fast and one slow wall, two first-order releases);
cups, rooms, probes and runs are not drawn by it. Scale-like quantities are log-uniform over ranges
about twice as wide on that scale as its own, so that a correction whose prior shares its ranges is met
with cups outside them. Every range is judgement; where it goes beyond, the reason stands beside it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from fitting.practice.simulated_cup import (
    LATENT_HEAT_J_PER_G,
    Cup,
    Experiment,
    Room,
    Sensor,
    simulate,
)
from tests.benchmarks.judges.draws import log_uniform
from tests.benchmarks.judges.record import Judged

FAMILIES = ("fast", "mixing", "slow", "pellets")
FLASK = " in a flask"  # after a family's name
OPEN_CUP_G_PER_S_KPA = 6e-5  # 40 cm² without a lid


def draw_cup(rng: np.random.Generator) -> Cup:
    """A cup, from thin foam with a tight lid to a plastic beaker without one.

    Fast wall 1.5-30 J/K (a beaker), slow wall 0.5-10 J/K of 10-150 s, in one cup of five 2-10 s (thin
    foam: L²/(2.5 α) of 2-4 mm is 2-6 s); loss 0.01-0.16 W/K; 0.05-0.8 of it through the slow wall;
    vapour from a tight lid, 0.3e-6 g/(s kPa), to no lid, 6e-5, with a hole between; stirrer 0-0.1 W.
    """
    thin = rng.random() < 0.2
    lid = rng.choice(3, p=[0.5, 0.35, 0.15])
    vapour = (
        log_uniform(rng, 0.3e-6, 2e-6),
        log_uniform(rng, 2e-6, 2e-5),
        log_uniform(rng, 2e-5, OPEN_CUP_G_PER_S_KPA),
    )
    return Cup(
        fast_J_per_K=log_uniform(rng, 1.5, 30.0),
        slow_wall_J_per_K=log_uniform(rng, 0.5, 10.0),
        slow_wall_s=log_uniform(rng, 2.0, 10.0) if thin else log_uniform(rng, 10.0, 150.0),
        loss_W_per_K=log_uniform(rng, 0.01, 0.16),
        wall_loss_share=rng.uniform(0.05, 0.8),
        evaporation_g_per_s_kPa=vapour[lid],
        stirrer_W=rng.uniform(0.0, 0.1),
    )


def draw_flask(rng: np.random.Generator) -> Cup:
    """A vacuum flask: glass of 25-200 J/K over 30-400 s, 0.0018-0.028 W/K (0.0002-0.004 1/min)."""
    return Cup(
        fast_J_per_K=log_uniform(rng, 1.5, 30.0),
        slow_wall_J_per_K=log_uniform(rng, 25.0, 200.0),
        slow_wall_s=log_uniform(rng, 30.0, 400.0),
        loss_W_per_K=log_uniform(rng, 0.0018, 0.028),
        wall_loss_share=rng.uniform(0.05, 0.8),
        evaporation_g_per_s_kPa=log_uniform(rng, 0.25e-6, 4e-6),
        stirrer_W=rng.uniform(0.0, 0.1),
    )


def draw(family: str, rng: np.random.Generator, cup: Cup | None = None) -> Experiment:
    """One experiment; the family's name may end in `FLASK`. The display's step is left to the caller.

    Room 16-28 °C, drift 0.7 K in 20 min (sd), swing 0-0.3 K in 250-3000 s, humidity 15-85 %; content
    within 1.2 K (sd) of it; lag 1.5-24 s; noise 1.5-30 mK, wander 0-8 mK in 20-80 s; fore 120-300 s,
    after 480-720 s, pour 0.5-8 s. fast: rise 1.5-20 K, rate 0.2-4 1/s. mixing: 12-45 K hotter. slow:
    ±1.5-12 K over 3-60 s and 15-180 s, slow share 0-0.6. pellets: 12-60 K over 3-50 s and 12-120 s,
    0-0.6. A release with more than 0.25 % still to come when the log ends is drawn again: no log can
    tell of it.
    """
    name = family.removesuffix(FLASK)
    if cup is None:
        cup = draw_flask(rng) if family.endswith(FLASK) else draw_cup(rng)
    room = Room(
        start_C=rng.uniform(16.0, 28.0),
        drift_K_per_s=rng.normal(0.0, 0.7) / 1200.0,
        swing_K=rng.uniform(0.0, 0.3),
        period_s=log_uniform(rng, 250.0, 3000.0),
        phase=rng.uniform(0.0, 2.0 * math.pi),
        humidity=rng.uniform(0.15, 0.85),
    )
    sensor = Sensor(
        lag_s=log_uniform(rng, 1.5, 24.0),
        noise_K=log_uniform(rng, 0.0015, 0.03),
        step_K=0.0,
        wander_K=rng.uniform(0.0, 0.008),
        wander_s=log_uniform(rng, 20.0, 80.0),
        every_s=float(rng.choice([1.0, 2.0, 5.0])),
    )
    first = log_uniform(rng, 130.0, 360.0)
    e = Experiment(
        cup=cup,
        room=room,
        sensor=sensor,
        in_cup_C=room.start_C + rng.normal(0.0, 1.2),
        in_cup_J_per_K=first,
        fore_s=rng.uniform(120.0, 300.0),
        after_s=rng.uniform(480.0, 720.0),
        pour_s=log_uniform(rng, 0.5, 8.0),
        standing_s=rng.uniform(120.0, 480.0),
        heat_J=0.0,
    )
    return _FAMILIES[name](e, rng)


def _total(e: Experiment) -> float:
    return e.in_cup_J_per_K + e.added_J_per_K + e.cup.constant_J_per_K


def _fast(e: Experiment, rng: np.random.Generator) -> Experiment:
    e = replace(
        e,
        added_J_per_K=e.in_cup_J_per_K * log_uniform(rng, 0.25, 1.8),
        added_C=e.in_cup_C + rng.normal(0.0, 0.8),
        rates_per_s=(log_uniform(rng, 0.2, 4.0), 0.05),
    )
    return replace(e, heat_J=log_uniform(rng, 1.5, 20.0) * _total(e))


def _mixing(e: Experiment, rng: np.random.Generator) -> Experiment:
    return replace(
        e,
        added_J_per_K=e.in_cup_J_per_K * log_uniform(rng, 0.4, 1.8),
        added_C=e.in_cup_C + rng.uniform(12.0, 45.0),
    )


def _release(
    e: Experiment, rng: np.random.Generator, first: tuple[float, float], second: tuple[float, float]
) -> Experiment:
    """Two first-order processes with times in these ranges [s], over by the end of the log."""
    while True:
        times = log_uniform(rng, *first), log_uniform(rng, *second)
        share = rng.uniform(0.0, 0.6)
        left = (1.0 - share) * math.exp(-e.after_s / times[0])
        left += share * math.exp(-e.after_s / times[1])
        if left <= 0.0025:
            return replace(e, rates_per_s=(1 / times[0], 1 / times[1]), slow_share=share)


def _slow(e: Experiment, rng: np.random.Generator) -> Experiment:
    e = replace(
        _release(e, rng, (3.0, 60.0), (15.0, 180.0)),
        in_cup_J_per_K=log_uniform(rng, 200.0, 800.0),
        added_J_per_K=log_uniform(rng, 2.0, 40.0),
        added_C=e.room.start_C,
    )
    sign = -1.0 if rng.random() < 0.7 else 1.0
    return replace(e, heat_J=sign * log_uniform(rng, 1.5, 12.0) * _total(e))


def _pellets(e: Experiment, rng: np.random.Generator) -> Experiment:
    e = replace(
        _release(e, rng, (3.0, 50.0), (12.0, 120.0)),
        in_cup_J_per_K=log_uniform(rng, 220.0, 600.0),
        added_J_per_K=log_uniform(rng, 8.0, 90.0),
        added_C=e.room.start_C,
    )
    return replace(e, heat_J=log_uniform(rng, 12.0, 60.0) * _total(e))


_FAMILIES = {"fast": _fast, "mixing": _mixing, "slow": _slow, "pellets": _pellets}


def lid_of(cup: Cup) -> str:
    """Named by the vapour that it lets pass."""
    names = ((2e-6, "tight"), (2e-5, "hole"))
    return next((name for most, name in names if cup.evaporation_g_per_s_kPa <= most), "open")


def vapour_slope_W_per_K(cup: Cup, celsius: float) -> float:
    """Latent heat that leaves per kelvin, by the Magnus formula's slope (as the simulator's)."""
    t = celsius
    p = 0.61094 * math.exp(17.625 * t / (t + 243.04))
    return (
        LATENT_HEAT_J_PER_G * cup.evaporation_g_per_s_kPa * p * 17.625 * 243.04 / (t + 243.04) ** 2
    )


def loss_slope_W_per_K(cup: Cup, room_C: float) -> float:
    """Slope of the steady loss 10 K above the room: direct, through the slow wall, and vapour."""
    direct, wall = (1.0 - cup.wall_loss_share), cup.wall_loss_share
    coupling = cup.slow_wall_J_per_K / cup.slow_wall_s
    through = 1.0 / (1.0 / coupling + 1.0 / (wall * cup.loss_W_per_K))
    return direct * cup.loss_W_per_K + through + vapour_slope_W_per_K(cup, room_C + 10.0)


def steady_constant_J_per_K(cup: Cup) -> float:
    """Fast wall, and the slow one by how much it follows the liquid in a steady loss."""
    loss_W_per_K = cup.wall_loss_share * cup.loss_W_per_K
    follows = 1.0 / (1.0 + loss_W_per_K * cup.slow_wall_s / cup.slow_wall_J_per_K)
    return cup.fast_J_per_K + follows * cup.slow_wall_J_per_K


def judged(experiment: Experiment, rng: np.random.Generator, family: str, seed: int = -1) -> Judged:
    """Simulate an experiment and seal the truth beside the log."""
    e = experiment
    run = simulate(e, rng)
    cup = e.cup
    return Judged(
        judge="lumped",
        family=family,
        seed=seed,
        vessel="flask" if family.endswith(FLASK) else "cup",
        lid=lid_of(cup),
        time_s=run.time_s,
        raw_C=run.temperature_C,
        mixed_at_s=run.mixed_at_s,
        true_before_C=run.true_before_C,
        true_rise_K=run.true_rise_K,
        heat_J=e.heat_J,
        liquid_J_per_K=e.in_cup_J_per_K + e.added_J_per_K,
        added_J_per_K=e.added_J_per_K,
        added_C=e.added_C,
        constant_J_per_K=cup.constant_J_per_K,
        steady_constant_J_per_K=steady_constant_J_per_K(cup),
        capacity_ratio=run.capacity_ratio,
        loss_W_per_K=loss_slope_W_per_K(cup, run.room_C),
        room_C=run.room_C,
    )


def run(family: str, seed: int) -> Judged:
    """The run of a family that a seed stands for; the name may end in `FLASK`."""
    index = FAMILIES.index(family.removesuffix(FLASK)) + 10 * family.endswith(FLASK)
    rng = np.random.default_rng([7002, index, seed])
    return judged(draw(family, rng), rng, family, seed)
