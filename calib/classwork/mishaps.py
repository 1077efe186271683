"""What usual mishaps would have done to a run, and which of them would explain its deviation.

Every change is recomputed through the heat balance (:mod:`calib.classwork.mishap_balance`). The
sizes of the mishaps are common practice, no source: they are names for scale, not findings about
anybody. A deviation is looked into only where it leaves the interval that it must be expected in:

    |result − expected| > t₉₅ sqrt(u_result² + u_expected²)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.classwork.mishap_balance import Balance, Truth, Written, balance_of
from calib.enthalpies.goal import TELLS, Goal, goal_of, says_nothing
from calib.enthalpies.one_run import RunResult
from calib.enthalpies.parts import SCHOOL_CP
from calib.run_model.known import room_of
from fitting.cup.knowledge import OPEN_SURFACE, SURROUNDINGS
from fitting.newton.rows import vapour_pressure

__all__ = ["Goal", "Mishap", "Verdict", "explain", "goal_of", "mishaps"]

DROP_ML = 0.05
APART_K, LATE_S, WEAK, WET, LEFT = 0.5, 20.0, 0.02, 0.05, 0.05
LEAST_SHARE, MOST_SHARE = 0.4, 2.5
"""How much of a deviation a mishap must make up to count as its explanation."""


@dataclass(frozen=True, slots=True)
class Mishap:
    """One mishap and what it would have done, in the unit of the result.

    ``either_way`` marks a mishap that can as well go the other way; ``change`` has the sign that
    comes nearer to the run's deviation.
    """

    name: str
    change: float
    change_percent: float
    either_way: bool = False
    explains: bool = False


@dataclass(frozen=True, slots=True)
class Verdict:
    """A run's deviation and the mishaps, best explanation first. ``deviation`` None: no goal."""

    goal: Goal | None
    deviation: float | None
    u_deviation: float | None
    needed: bool
    mishaps: tuple[Mishap, ...]
    sentence: str

    @property
    def explaining(self) -> tuple[Mishap, ...]:
        """Those that would explain the deviation."""
        return tuple(m for m in self.mishaps if m.explains)


def mishaps(one: RunResult) -> tuple[Mishap, ...]:
    """What each mishap that this run can have would have done, largest first."""
    b = balance_of(one)
    found = [
        *_spilt(one, b),
        *_second_temperature(one, b),
        _lid_late(one, b),
        _computed("the cup's constant ignored", b, b.rise_K, Written(no_cup=True)),
        _computed(f"water's {SCHOOL_CP:.3g} J/(g K) used", b, b.rise_K, Written(water_cp=True)),
        _peak(one, b),
        *_weak_stock(one, b),
        *_of_a_solid(one, b),
        *_last_digit(one, b),
    ]
    return tuple(sorted(found, key=lambda m: -abs(m.change)))


def explain(one: RunResult, goal: Goal | None) -> Verdict:
    """The run's deviation from a goal, and which mishaps would explain it, if any is needed."""
    found = mishaps(one)
    if goal is None:
        return Verdict(None, None, None, False, found, "there is no value to compare with")
    result = one.result
    u = math.hypot(result.u, goal.u)
    allowed = result.coverage_factor() * u
    return _verdict(goal, result.value - goal.value, u, allowed, found)


def _verdict(
    goal: Goal, deviation: float, u: float, allowed: float, found: Sequence[Mishap]
) -> Verdict:
    found = tuple(sorted(found, key=lambda m: -abs(m.change)))
    if abs(deviation) <= allowed and says_nothing(goal, u):
        said = (
            f"tells nothing: it lies within what both are uncertain by, but that is "
            f"{_percent(u, goal.value)} of {goal.name}, and only under {100 * TELLS:g} % would "
            "agreement say something"
        )
        return Verdict(goal, deviation, u, False, found, said)
    if abs(deviation) <= allowed:
        said = f"no mishap needed: it agrees with {goal.name} within what both are uncertain by"
        return Verdict(goal, deviation, u, False, found, said)
    judged = [_judged(m, deviation, allowed) for m in found]
    ranked = sorted(
        judged,
        key=lambda m: (not m.explains, abs(deviation - m.change) if m.explains else -abs(m.change)),
    )
    names = [m.name for m in ranked if m.explains]
    if names:
        said = f"would be explained by {'; or by '.join(names[:3])}"
    else:
        said = "not explained by any one of these mishaps"
    return Verdict(goal, deviation, u, True, tuple(ranked), said)


def _percent(u: float, value: float) -> str:
    share = 100.0 * u / abs(value) if value else math.inf
    return f"{share:.2g} %" if share < 100 else f"{share:.0f} %"


def _judged(one: Mishap, deviation: float, allowed: float) -> Mishap:
    change = one.change
    if one.either_way and change * deviation < 0.0:
        change = -change
    share = change / deviation
    explains = LEAST_SHARE <= share <= MOST_SHARE and abs(deviation - change) <= allowed
    percent = one.change_percent if change == one.change else -one.change_percent
    return Mishap(one.name, change, percent, one.either_way, explains)


# --- the mishaps ---------------------------------------------------------------------------------


def _made(name: str, b: Balance, result: float, *, either_way: bool = False) -> Mishap:
    change = result - b.value
    return Mishap(name, change, 100.0 * change / b.value if b.value else 0.0, either_way)


def _happened(name: str, b: Balance, truth: Truth, *, either_way: bool = False) -> Mishap:
    return _made(name, b, b.result(b.rise(truth), Written()), either_way=either_way)


def _computed(name: str, b: Balance, rise_K: float, written: Written) -> Mishap:
    return _made(name, b, b.result(rise_K, written))


def _spilt(one: RunResult, b: Balance) -> list[Mishap]:
    prepared = one.measured.prepared
    added, side, words = prepared.added, "in_cup", "the liquid in the cup"
    if added is not None and added.composition is not None:
        side, words = "added", "the second liquid"
    portion = prepared.added if side == "added" else prepared.in_cup
    assert portion is not None
    inputs = one.measured.quantities.inputs
    column, less = f"{side}_mL", 2 * DROP_ML
    if f"{side}_g" in inputs:
        column, less = f"{side}_g", 2 * DROP_ML * portion.mass_g / portion.volume_mL
    truth = Truth({column: float(inputs[column].value) - less})
    return [_happened(f"two drops ({2 * DROP_ML:g} mL) of {words} spilt", b, truth)]


def _second_temperature(one: RunResult, b: Balance) -> list[Mishap]:
    added = one.measured.prepared.added
    what = "the second liquid" if added is not None and added.composition is not None else (
        "the solid"
    )  # fmt: skip
    name = f"{what} {APART_K:g} K off its reading"
    return [_happened(name, b, Truth(apart_K=APART_K), either_way=True)]


def _lid_late(one: RunResult, b: Balance) -> Mishap:
    rise = one.measured.rise
    room, surface = room_of(one.run, rise.before_C), OPEN_SURFACE
    with_air = surface.area_m2.value * surface.air_W_per_m2K.value * (rise.final_C - room)
    hPa = vapour_pressure(np.array([rise.final_C, room]))
    with_vapour = (
        surface.vapour_W_per_kPa * float(hPa[0] - SURROUNDINGS.humidity.value * hPa[1]) / 10
    )
    lost = (with_air + with_vapour) * LATE_S
    return _happened(f"lid on {LATE_S:g} s late", b, Truth(lost_J=lost))


def _peak(one: RunResult, b: Balance) -> Mishap:
    from calib.enthalpies.parts import raw_rise

    return _computed("extreme reading taken, not corrected", b, raw_rise(one.measured), Written())


def _weak_stock(one: RunResult, b: Balance) -> list[Mishap]:
    prepared, inputs = one.measured.prepared, one.measured.quantities.inputs
    found = []
    for portion in (prepared.in_cup, prepared.added):
        name = f"{portion.side}_mol_per_L" if portion is not None else ""
        if portion is None or name not in inputs:
            continue
        truth = Truth({name: float(inputs[name].value) * (1.0 - WEAK)})
        found.append(_happened(f"stock {portion.species} {100 * WEAK:g} % weak", b, truth))
    return found


def _of_a_solid(one: RunResult, b: Balance) -> list[Mishap]:
    prepared, inputs = one.measured.prepared, one.measured.quantities.inputs
    added = prepared.added
    if added is None or added.species.state != "s" or "added_molar_mass" not in inputs:
        return []
    wet = f"{added.species} with {100 * WET:g} % water"
    if one.physical is not None:
        ice = prepared.process.kind == "fusion"
        return [_happened(wet, b, Truth(reacted=1.0 - WET))] if ice else []
    molar = float(inputs["added_molar_mass"].value)
    found = [_happened(wet, b, Truth({"added_molar_mass": molar / (1.0 - WET)}))]
    extent = prepared.process.extent
    if extent is None or any(s.state == "s" for s in extent.limited_by):
        name = f"{100 * LEFT:g} % of {added.species} left undissolved"
        found.append(_happened(name, b, Truth(reacted=1.0 - LEFT)))
    return found


def _last_digit(one: RunResult, b: Balance) -> list[Mishap]:
    rise, tools = one.measured.rise, one.measured.prepared.instruments
    if not rise.from_curve:
        step = tools.step_K("extreme_C")
        result = b.result(b.rise_K + step, Written())
        name = f"last digit of the extreme reading ({step:g} K) misread by one"
        return [_made(name, b, result, either_way=True)] if step > 0 else []
    if one.run.added_C is None:
        return []
    step = tools.step_K("added_C")
    name = f"last digit of the second temperature ({step:g} K) misread by one"
    return [_happened(name, b, Truth(apart_K=step), either_way=True)] if step > 0 else []


# --- a class -------------------------------------------------------------------------------------


def mishap_rows(verdict: Verdict, unit: str) -> list[dict[str, Any]]:
    """The mishaps as the command and the page take them."""
    molar = unit == "kJ/mol"
    return [
        {"name": m.name, "change": m.change,
         "change_kJ_per_mol": m.change if molar else None,
         "change_percent": m.change_percent, "either_way": m.either_way, "explains": m.explains}
        for m in verdict.mishaps
    ]  # fmt: skip


def explain_mean(
    runs: Sequence[RunResult], mean: float, u_mean: float, factor: float
) -> Verdict | None:
    """A class's mean against what is expected of it: what all groups would have had in common.

    ``factor`` is the mean's coverage factor. Each mishap counts with its mean over the runs. None
    where there is no value to compare with.
    """
    goals = [goal for goal in map(goal_of, runs) if goal is not None]
    if len(goals) < len(runs) or not runs:
        return None
    value = sum(g.value for g in goals) / len(goals)
    u = math.hypot(u_mean, max(g.u for g in goals))
    deviation, name = mean - value, goals[0].name
    changes: dict[str, list[Mishap]] = {}
    for one in runs:
        for mishap in mishaps(one):
            changes.setdefault(mishap.name, []).append(mishap)
    shared = tuple(
        Mishap(label, sum(m.change for m in own) / len(own),
               sum(m.change_percent for m in own) / len(own), own[0].either_way)
        for label, own in changes.items()
        if len(own) == len(runs)
    )  # fmt: skip
    return _verdict(Goal(value, 0.0, name), deviation, u, factor * u, shared)


def likely_reason(one: RunResult, others: Sequence[RunResult]) -> str:
    """Why a run may lie far from the others of its reaction: against their robust mean."""
    from calib.uncertainty.means import robust_mean

    middle, spread = robust_mean([other.result.value for other in others])
    verdict = explain(one, Goal(middle, spread, "the other groups"))
    return verdict.sentence
