"""A judge of the corrections: cups whose walls conduct heat by material data.

The wall is one-dimensional conduction through real sheets (`foam_vessels`, `materials`), the outer film
natural convection and radiation, the releases no exponentials (`foam_release`), the room has a door
that opens, probes have one lag or two. No range is taken from the corrections or from
``fitting/practice/simulated_cup.py``; each stands below with its source or as judgement. They were written down
before anything was scored.

The truth::

    true_rise_K = [Q + C_2 (T_2 - T_1)] / C_total

T_1 is the liquid's temperature where the pour begins, C_total the liquids, the follower and *the whole
wall that the final fill wets, up to its outer surface*: a perfectly insulated cup settles there. For a
wall that conducts this is a convention. In a steady loss the wall's outer side stays nearer to the
room, and it stores a part only; ``steady_constant_J_per_K`` counts that part. The two conventions
differ by a tenth to some tenths of a per cent of the rise. An enthalpy needs neither: whole jobs,
where constants come from calibrations in the same cups, are held against ``heat_J``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tests.benchmarks.judges.draws import log_uniform
from tests.benchmarks.judges.foam_course import Room, Run, course_of
from tests.benchmarks.judges.foam_release import Release, draw_dissolution
from tests.benchmarks.judges.foam_vessels import (
    Cup,
    Filled,
    loss_slope_W_per_K,
    with_reference_film,
)
from tests.benchmarks.judges.materials import (
    OPEN_CUP_G_PER_S_KPA_M2,
    Layer,
    borosilicate_glass,
    foam,
    paperboard,
    polypropylene,
)
from tests.benchmarks.judges.record import Judged
from tests.benchmarks.judges.sensing import Probe, read

FAMILIES = ("fast", "mixing", "slow", "pellets")
OTHERS = ("heater", "idle", "extra")


@dataclass(frozen=True, slots=True)
class Experiment:
    """A run, its probe, and what the record says of it."""

    family: str
    run: Run
    probe: Probe
    heater_W: float = 0.0
    heater_s: float = 0.0


def draw_cup(rng: np.random.Generator, lids: tuple[float, float, float] = (0.35, 0.45, 0.2)) -> Cup:
    """A vessel and its lid; ``lids``: how often tight, with a hole, none.

    Walls: foam cups 2-6 mm single, or two of 2-3.5 mm one in the other with 0.2-2 mm of air; a beaker
    of polypropylene 0.8-1.5 mm or thin glass 1.0-1.8 mm standing in a foam cup; two paper cups,
    0.25-0.5 mm each (sheets: makers' common sizes, from memory; how often each: judgement). Radius
    33-42 mm: cups of 200 to 400 mL. Stirred inside: 300-1000 W/(m² K) (textbooks, forced convection of
    water at some cm/s, from memory). Dry inside, moist air: 4-8. Top: an open surface loses 4-6 by
    convection and 5-6 W/(m² K) by radiation, a lid of foam or card passes 2-5 (textbook films and
    sheets in series). Vapour: open, 0.7 to 1.4 times `OPEN_CUP_G_PER_S_KPA_M2`; a lid with a hole
    3-30 % of it, a tight lid 0.5-2 %. Emissivity 0.85-0.95 (polystyrene, paper; from memory);
    convection 0.8-1.5 times the textbook's (draughts, a holder). Follower (a probe's stem, a stirrer,
    the lid's inside): two cups in three, 1-6 J/K, 5-60 s, up to 0.006 W/K to the room. Stirrer 0-0.06 W
    (judgement).
    """
    kinds = ("single foam cup", "double foam cup", "plastic beaker in foam", "paper cups",
             "thin glass in foam")  # fmt: skip
    vessel = str(rng.choice(kinds, p=[0.3, 0.35, 0.13, 0.1, 0.12]))
    layers: tuple[Layer, ...]

    def sheet(low_mm: float, high_mm: float) -> Layer:
        thickness = 1e-3 * rng.uniform(low_mm, high_mm)
        return foam(thickness, rng.uniform(0.032, 0.040), rng.uniform(15.0, 40.0))

    gap = 1e-3 * log_uniform(rng, 0.2, 2.0)
    if vessel == "single foam cup":
        layers, gaps = (sheet(2.0, 6.0),), (0.0,)
    elif vessel == "double foam cup":
        layers, gaps = (sheet(2.0, 3.5), sheet(2.0, 3.5)), (gap,)
    elif vessel == "paper cups":
        paper = paperboard(1e-3 * rng.uniform(0.25, 0.5))
        layers, gaps = (paper, paper), (gap,)
    else:
        inner = (
            polypropylene(1e-3 * rng.uniform(0.8, 1.5))
            if vessel == "plastic beaker in foam"
            else borosilicate_glass(1e-3 * rng.uniform(1.0, 1.8))
        )
        layers, gaps = (inner, sheet(2.0, 6.0)), (gap,)
    radius = 1e-3 * rng.uniform(33.0, 42.0)
    top_m2 = math.pi * radius**2
    lid = str(rng.choice(["tight", "hole", "open"], p=lids))
    share = {"tight": log_uniform(rng, 0.005, 0.02), "hole": log_uniform(rng, 0.03, 0.3)}.get(
        lid, 1.0
    )
    top = rng.uniform(9.0, 12.0) if lid == "open" else rng.uniform(2.0, 5.0)
    follows = rng.random() < 2 / 3
    return Cup(
        vessel=vessel,
        lid=lid,
        layers=layers,
        gaps_m=gaps,
        radius_m=radius,
        inside_W_per_m2_K=log_uniform(rng, 300.0, 1000.0),
        dry_inside_W_per_m2_K=rng.uniform(4.0, 8.0),
        emissivity=rng.uniform(0.85, 0.95),
        outside_factor=rng.uniform(0.8, 1.5),
        top_W_per_K=top * top_m2,
        vapour_g_per_s_kPa=share * OPEN_CUP_G_PER_S_KPA_M2 * top_m2 * rng.uniform(0.7, 1.4),
        follower_J_per_K=log_uniform(rng, 1.0, 6.0) if follows else 0.0,
        follower_s=log_uniform(rng, 5.0, 60.0),
        follower_loss_W_per_K=rng.uniform(0.0, 0.006) if follows else 0.0,
        stirrer_W=rng.uniform(0.0, 0.06),
    )


def draw_room(rng: np.random.Generator, log_s: float) -> Room:
    """17-26 °C, drift 0.6 K in 20 min (sd), swing up to 0.3 K in 5-25 min, 15-85 % humidity (a heated
    room in frost, a cellar in summer); in one run of five a door or window: 0.3-2 K for 60-400 s, three in four colder (all judgement)."""
    door = rng.random() < 0.2
    size = log_uniform(rng, 0.3, 2.0) * (-1.0 if rng.random() < 0.75 else 1.0)
    return Room(
        start_C=rng.uniform(17.0, 26.0),
        drift_K_per_s=rng.normal(0.0, 0.6) / 1200.0,
        swing_K=rng.uniform(0.0, 0.3),
        period_s=rng.uniform(300.0, 1500.0),
        phase=rng.uniform(0.0, 2.0 * math.pi),
        door_K=size if door else 0.0,
        door_s=rng.uniform(-200.0, log_s),
        door_for_s=log_uniform(rng, 60.0, 400.0),
        humidity=rng.uniform(0.15, 0.85),
    )


def draw_probe(rng: np.random.Generator) -> Probe:
    """A lag of 1-15 s (bare thermistor to glass thermometer, common practice, no source), in one of four a
    sheath of 0.2 to 1 times as much; noise 2-30 mK, wander up to 8 mK in 20-120 s; a reading every
    0.5 to 5 s (judgement)."""
    lag = log_uniform(rng, 1.0, 15.0)
    return Probe(
        lag_s=lag,
        sheath_s=lag * rng.uniform(0.2, 1.0) if rng.random() < 0.25 else 0.0,
        noise_K=log_uniform(rng, 0.002, 0.03),
        wander_K=rng.uniform(0.0, 0.008),
        wander_s=log_uniform(rng, 20.0, 120.0),
        every_s=float(rng.choice([0.5, 1.0, 2.0, 5.0], p=[0.1, 0.35, 0.35, 0.2])),
    )


def draw(family: str, rng: np.random.Generator) -> Experiment:
    """One experiment of a family.

    Fills 80-250 mL (a cup not over full); solutions hold 3.9-4.1 J/(g K) and water 4.18, a solid
    4-35 J/K. The cup's content starts within 1 K (sd) of the room: it stood there 4-15 min, the last
    2-5 of them logged. fast: second portion 0.4-1.2 times the first, rise 3-14 K, mixing within
    0.2-2 s. mixing: water 20-35 K hotter. slow: 3-8 K, three in four downwards, median grain gone in
    15-120 s. pellets: 20-55 K, 20-120 s, every lid. heater: 50-95 mL, 8-20 W for 200-600 s. idle: water
    20-40 K above the room cools for 30-90 min. extra: slow with an after period of 25-40 min.
    Judgement, but for the rises, which are those of 0.25-1 mol/L neutralizations, of common salts and
    of alkali pellets.
    """
    cup = draw_cup(rng, (0.3, 0.4, 0.3) if family == "pellets" else (0.35, 0.45, 0.2))
    fore, after, pour = rng.uniform(120, 300), rng.uniform(480, 720), rng.uniform(1, 5)
    room = draw_room(rng, fore + after)
    probe = draw_probe(rng)
    whole = log_uniform(rng, 80.0, 250.0)
    share = rng.uniform(0.4, 1.2) if family in {"fast", "mixing"} else 0.0
    first_mL = whole / (1.0 + share)
    start_C = room.start_C + rng.normal(0.0, 1.0)
    run = Run(
        filled=Filled(cup, first_mL, whole, 8.0),
        room=room,
        in_cup_J_per_K=first_mL * 4.18,
        in_cup_C=start_C,
        added_J_per_K=share * first_mL * 4.18,
        added_C=room.start_C,
        heat_J=0.0,
        release=Release("pour", (1.0,)),
        pour_s=pour,
        fore_s=fore,
        after_s=after,
        standing_s=rng.uniform(120.0, 600.0),
    )
    experiment = Experiment(family, run, probe)
    return _FAMILIES[family](experiment, rng)


def _total(run: Run) -> float:
    constant = run.filled.cup.constant_J_per_K(run.filled.final_mL)
    return run.in_cup_J_per_K + run.added_J_per_K + constant


def _fast(e: Experiment, rng: np.random.Generator) -> Experiment:
    per_mL = rng.uniform(3.9, 4.1)
    run = replace(
        e.run,
        in_cup_J_per_K=e.run.filled.first_mL * per_mL,
        added_J_per_K=(e.run.filled.final_mL - e.run.filled.first_mL) * per_mL,
        added_C=e.run.in_cup_C + rng.normal(0.0, 0.5),
        release=Release("pour", (log_uniform(rng, 0.2, 2.0),)),
    )
    return replace(e, run=replace(run, heat_J=rng.uniform(3.0, 14.0) * _total(run)))


def _mixing(e: Experiment, rng: np.random.Generator) -> Experiment:
    return replace(e, run=replace(e.run, added_C=e.run.in_cup_C + rng.uniform(20.0, 35.0)))


def _slow(e: Experiment, rng: np.random.Generator) -> Experiment:
    run = replace(
        e.run,
        added_J_per_K=log_uniform(rng, 4.0, 35.0),
        release=draw_dissolution(rng, 15.0, 120.0),
    )
    sign = -1.0 if rng.random() < 0.75 else 1.0
    return replace(e, run=replace(run, heat_J=sign * rng.uniform(3.0, 8.0) * _total(run)))


def _pellets(e: Experiment, rng: np.random.Generator) -> Experiment:
    run = replace(
        e.run,
        added_J_per_K=log_uniform(rng, 10.0, 60.0),
        release=draw_dissolution(rng, 20.0, 120.0),
    )
    return replace(e, run=replace(run, heat_J=rng.uniform(20.0, 55.0) * _total(run)))


def _heater(e: Experiment, rng: np.random.Generator) -> Experiment:
    water = rng.uniform(50.0, 95.0)
    on_s, watts = round(rng.uniform(200.0, 600.0)), rng.uniform(8.0, 20.0)
    run = replace(
        e.run,
        filled=replace(e.run.filled, first_mL=water, final_mL=water),
        in_cup_J_per_K=water * 4.18,
        heat_J=on_s * watts,
        release=Release("steady", (float(on_s),)),
        pour_s=float(on_s),
        after_s=e.run.after_s + on_s,
    )
    return replace(e, run=run, heater_W=watts, heater_s=float(on_s))


def _idle(e: Experiment, rng: np.random.Generator) -> Experiment:
    run = replace(
        e.run,
        in_cup_C=e.run.room.start_C + rng.uniform(20.0, 40.0),
        fore_s=0.0,
        after_s=rng.uniform(1800.0, 5400.0),
        standing_s=rng.uniform(60.0, 600.0),
    )
    return replace(e, run=run, probe=replace(e.probe, every_s=10.0))


def _extra(e: Experiment, rng: np.random.Generator) -> Experiment:
    e = _slow(e, rng)
    return replace(e, run=replace(e.run, after_s=rng.uniform(1500.0, 2400.0)))


_FAMILIES = {
    "fast": _fast, "mixing": _mixing, "slow": _slow, "pellets": _pellets, "heater": _heater,
    "idle": _idle, "extra": _extra,
}  # fmt: skip


def judged(experiment: Experiment, rng: np.random.Generator, seed: int = -1) -> Judged:
    """Integrate an experiment, read its probe, and seal the truth beside the log."""
    e = experiment
    run = e.run
    hottest = run.in_cup_C + (
        run.heat_J + run.added_J_per_K * (run.added_C - run.in_cup_C)
    ) / _total(run)
    room_C = float(run.room.at(np.array([run.fore_s]))[0])
    run = replace(run, filled=with_reference_film(run.filled, max(hottest, room_C + 3.0), room_C))
    course = course_of(run)
    every = e.probe.every_s
    time_s = np.arange(0.0, run.fore_s + run.after_s - 1e-9, every)
    raw = read(np.array(course.time_s), np.array(course.liquid_C), time_s, e.probe, rng)
    cup, filled = run.filled.cup, run.filled
    constant = cup.constant_J_per_K(filled.final_mL)
    total = _total(run)
    before = course.before_C
    steady = filled.steady(room_C + 10.0, room_C, run.room.vapour_kPa)
    return Judged(
        judge="foam",
        family=e.family,
        seed=seed,
        vessel=cup.vessel,
        lid=cup.lid,
        time_s=time_s,
        raw_C=raw,
        mixed_at_s=run.fore_s,
        true_before_C=before,
        true_rise_K=(run.heat_J + run.added_J_per_K * (run.added_C - before)) / total,
        heat_J=run.heat_J,
        liquid_J_per_K=run.in_cup_J_per_K + run.added_J_per_K,
        added_J_per_K=run.added_J_per_K,
        added_C=run.added_C,
        constant_J_per_K=constant,
        steady_constant_J_per_K=steady.stored_J_per_K,
        capacity_ratio=(run.in_cup_J_per_K + constant) / total,
        loss_W_per_K=loss_slope_W_per_K(filled, room_C, run.room.vapour_kPa),
        room_C=room_C,
        heater_W=e.heater_W,
        heater_s=e.heater_s,
    )


def run(family: str, seed: int) -> Judged:
    """The run of a family that a seed stands for; families have cups of their own."""
    rng = np.random.default_rng([7001, (*FAMILIES, *OTHERS).index(family), seed])
    return judged(draw(family, rng), rng, seed)
