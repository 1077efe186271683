"""An invented school whose cups are a judge's: what is done in them, and what its instruments show.

What happens in a cup (masses, heats, heat capacities of another library, errors of balance, probe and
bottle) is `sample_runs.invented_school`'s; cups, rooms, probes and releases are the judge's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from fitting.practice.simulated_cup import Cup as LumpedCup
from fitting.practice.simulated_cup import Experiment as LumpedExperiment
from sample_runs.invented_school import CUPS, dissolution, mixing_run, neutralization, water_cp
from tests.benchmarks.judges import foam, lumped_wide
from tests.benchmarks.judges.foam_course import Run
from tests.benchmarks.judges.foam_release import Release, draw_dissolution
from tests.benchmarks.judges.foam_vessels import Cup as FoamCup
from tests.benchmarks.judges.foam_vessels import Filled
from tests.benchmarks.judges.record import Judged

FILL_ML = 202.0  # of a calibration: 200 g of warm water


@dataclass(frozen=True, slots=True)
class Task:
    """What is done in a cup: ``family`` says how the heat comes out. Temperatures [°C]."""

    family: str  # mixing, fast, slow, heater
    in_cup_J_per_K: float
    in_cup_C: float
    added_J_per_K: float
    added_C: float
    heat_J: float
    first_mL: float
    final_mL: float
    room_C: float
    heater_s: float = 0.0


def task_of(family: str, e: LumpedExperiment, first_g: float, added_g: float) -> Task:
    """A task from the invented school's experiment; a solid adds no volume, 1 g of liquid 1 mL."""
    final = first_g if family == "slow" else first_g + added_g
    return Task(
        family, e.in_cup_J_per_K, e.in_cup_C, e.added_J_per_K, e.added_C, e.heat_J, first_g, final,
        e.room.start_C,
    )  # fmt: skip


def mixing_task(rng: np.random.Generator) -> tuple[Task, dict[str, float]]:
    """100 g of cold water, 100 g at about 52 °C; the amounts and ``added_C`` as they truly are."""
    e, true = mixing_run(LumpedCup(), rng)
    return task_of("mixing", e, true["in_cup_g"], true["added_g"]), true


def neutralization_task(
    rng: np.random.Generator, cp_factor: float, stock: dict[str, float]
) -> tuple[Task, dict[str, float]]:
    """Nitric acid and potassium hydroxide."""
    e, true = neutralization(LumpedCup(), rng, cp_factor, stock)
    return task_of("fast", e, true["in_cup_g"], true["added_g"]), true


def dissolution_task(rng: np.random.Generator, cp_factor: float) -> tuple[Task, dict[str, float]]:
    """Potassium nitrate in water."""
    e, true = dissolution("KNO3", 12.0, LumpedCup(), rng, cp_factor)
    return task_of("slow", e, true["in_cup_g"], true["added_g"]), true


def heater_task(
    rng: np.random.Generator, leads_ohm: float = 0.0, variation: float = 0.002
) -> tuple[Task, dict[str, float]]:
    """200 g of water, about 12 V and 2.5 A for 400 s; voltage before the leads and current, as noted.

    The leads take their part of the voltage; the mean power differs by ``variation`` (sd, relative).
    """
    grams, volts, amperes = 200.0 + rng.normal(0.0, 0.8), rng.normal(12.0, 0.05), 2.5
    amperes += rng.normal(0.0, 0.01)
    room = 21.0 + rng.normal(0.0, 0.4)
    start, seconds = room + rng.normal(0.0, 0.3), 400.0
    capacity = grams * water_cp(28.0)
    heat = (volts - leads_ohm * amperes) * amperes * seconds * (1.0 + rng.normal(0.0, variation))
    task = Task("heater", capacity, start, 0.0, start, heat, grams, grams, room, seconds)
    return task, {"in_cup_g": grams, "heater_V": volts, "heater_A": amperes, "heater_s": seconds}


class World(Protocol):
    """Six cups of a judge."""

    kind: str

    def done(self, cup: str, task: Task, rng: np.random.Generator) -> Judged:
        """Do a task in a cup."""
        ...

    def constants(self, cup: str) -> dict[str, float]:
        """The truth about a cup at `FILL_ML`, by convention. [J/K]"""
        ...


class FoamWorld:
    """Cups of the foam judge."""

    kind = "foam cup, lid"

    def __init__(self, rng: np.random.Generator) -> None:
        self.cups: dict[str, FoamCup] = {name: foam.draw_cup(rng) for name in CUPS}

    def done(self, cup: str, task: Task, rng: np.random.Generator) -> Judged:
        """Do a task in a cup; room, probe, pour and release are drawn as the judge draws them."""
        fore, after = float(round(rng.uniform(120, 300))), rng.uniform(480, 720)
        room = replace(foam.draw_room(rng, fore + after), start_C=task.room_C)
        release, pour = Release("pour", (foam.log_uniform(rng, 0.2, 2.0),)), rng.uniform(1, 5)
        if task.family == "slow":
            release = draw_dissolution(rng, 15.0, 120.0)
        elif task.family == "heater":
            release, pour = Release("steady", (task.heater_s,)), task.heater_s
        run = Run(
            filled=Filled(self.cups[cup], task.first_mL, task.final_mL, 8.0),
            room=room,
            in_cup_J_per_K=task.in_cup_J_per_K,
            in_cup_C=task.in_cup_C,
            added_J_per_K=task.added_J_per_K,
            added_C=task.added_C,
            heat_J=task.heat_J,
            release=release,
            pour_s=pour,
            fore_s=fore,
            after_s=after + task.heater_s,
            standing_s=rng.uniform(120.0, 600.0),
        )
        probe = foam.draw_probe(rng)
        return foam.judged(foam.Experiment(task.family, run, probe), rng)

    def constants(self, cup: str) -> dict[str, float]:
        """The whole wetted wall, and what a steady loss leaves in it."""
        one = self.cups[cup]
        steady = Filled(one, FILL_ML, FILL_ML, 8.0).steady(31.0, 21.0, 1.2)
        return {
            "whole wall": one.constant_J_per_K(FILL_ML),
            "steady wall": steady.stored_J_per_K,
        }


class LumpedWorld:
    """Cups or vacuum flasks of the lumped judge."""

    def __init__(self, rng: np.random.Generator, *, flask: bool = False) -> None:
        self.kind = "vacuum flask" if flask else "foam cup, lid"
        self.suffix = lumped_wide.FLASK if flask else ""
        draw = lumped_wide.draw_flask if flask else lumped_wide.draw_cup
        self.cups: dict[str, LumpedCup] = {name: draw(rng) for name in CUPS}

    def done(self, cup: str, task: Task, rng: np.random.Generator) -> Judged:
        """Do a task in a cup; room, probe, pour and release are drawn as the judge draws them.

        The simulator has no heater. A thousandth of a J/K at a million degrees, poured in for as long
        as the heater is on, brings the same power; the reading cannot tell.
        """
        family = "mixing" if task.family == "heater" else task.family
        e = lumped_wide.draw(family + self.suffix, rng, self.cups[cup])
        e = replace(
            e,
            room=replace(e.room, start_C=task.room_C),
            fore_s=float(round(e.fore_s)),
            in_cup_J_per_K=task.in_cup_J_per_K,
            in_cup_C=task.in_cup_C,
            added_J_per_K=task.added_J_per_K,
            added_C=task.added_C,
            heat_J=task.heat_J,
        )
        if task.family == "heater":
            drop = 1e-3
            e = replace(
                e,
                added_J_per_K=drop,
                added_C=task.in_cup_C + task.heat_J / drop,
                pour_s=task.heater_s,
                heat_J=0.0,
                after_s=e.after_s + task.heater_s,
            )
        return lumped_wide.judged(e, rng, family + self.suffix)

    def constants(self, cup: str) -> dict[str, float]:
        """Fast and slow wall, and what a steady loss leaves in them."""
        one = self.cups[cup]
        return {
            "whole wall": one.constant_J_per_K,
            "steady wall": lumped_wide.steady_constant_J_per_K(one),
        }
