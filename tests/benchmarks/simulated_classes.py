"""Invented classes that fill in tables of runs: honest spread, and one slip in typing where asked.

What a cup does is computed here with one formula a line and rounded handbook numbers (from memory);
nothing is shared with what computes, tests or mends the rows. Classes with curves take the cups of
the judges (`tests.benchmarks.judges.school`). Ranges are this module's own: recipes, how closely a
class keeps to them, thermometers, losses before the extreme, weak stocks and damp salts of a whole
class, and benches that stirred badly or misread a thermometer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from calib.runs.model import Run
from tests.benchmarks.judges.school import (
    FoamWorld,
    LumpedWorld,
    dissolution_task,
    neutralization_task,
)
from tests.benchmarks.simulated_students import EXPERIMENTS, Experiment

AMOUNTS = tuple(f"{s}_{u}" for s in ("in_cup", "added") for u in ("mL", "g", "mol_per_L"))
PREFIX = "B"


@dataclass
class Class:
    """Rows of one class, its cups' constants (value, u) and losses, the steps of its readings."""

    rows: list[Run]
    constants: dict[str, tuple[float, float]]
    losses: dict[str, tuple[float, float]]
    steps: dict[str, float]
    what: str
    notes: list[str] = field(default_factory=list)


def draw_class(rng: np.random.Generator, size: int) -> Class:
    """A class that reads thermometers, without curves."""
    e = EXPERIMENTS[int(rng.integers(len(EXPERIMENTS)))]
    step = float(rng.choice([0.01, 0.1, 0.1, 0.1, 0.2, 0.5]))
    loose = float(rng.choice([0.003, 0.01, 0.03, 0.1]))  # how closely the recipe is kept to
    own_recipes = rng.random() < 0.2  # each bench its own amounts
    weighs = rng.random() < 0.4
    spread = float(rng.uniform(0.01, 0.06))
    bias = float(rng.normal(1.0, 0.03))  # weak stock, damp salt: the whole class
    base_mL = float(rng.integers(e.in_mL[0], e.in_mL[1] + 1))
    columns = {
        "added_C": rng.random() < 0.7, "room_C": rng.random() < 0.6,
        "extreme_after_s": rng.random() < 0.5,
    }  # fmt: skip
    room = rng.uniform(17.0, 25.0)
    rows, constants = [], {}
    for number in range(size):
        cup = f"{PREFIX}{number + 1}"
        true_cup = rng.uniform(6.0, 30.0)
        constants[cup] = (round(true_cup + rng.normal(0.0, 1.0), 1), 1.0)
        scale = float(rng.uniform(0.6, 1.6)) if own_recipes else 1.0
        volume = 1.0 if e.molar_mass and not e.in_mol_per_L else scale  # salts: water as ever
        mL = round(base_mL * volume * (1.0 + loose * rng.uniform(-1, 1)))
        rows.append(_bench(rng, e, f"bench {number + 1}", cup, true_cup, mL, scale, loose, weighs,
                           room, step, columns, spread, bias))  # fmt: skip
    steps = dict.fromkeys(("in_cup_C", "added_C", "extreme_C", "room_C"), step)
    return Class(rows, constants, {}, {**steps, "in_cup_g": 0.01, "added_g": 0.01}, e.name)


def _bench(
    rng: np.random.Generator,
    e: Experiment,
    label: str,
    cup: str,
    true_cup: float,
    mL: float,
    scale: float,
    loose: float,
    weighs: bool,
    room: float,
    step: float,
    columns: dict[str, bool],
    spread: float,
    bias: float,
) -> Run:
    """One bench's row: Q = -ΔH n, ΔT = (Q + C2 (T2 - T1))/(C + cup), less what is lost before."""
    first_g = mL * float(e.in_density)
    start = room + rng.normal(0.0, 0.4)
    second = start + (rng.normal(0.0, 0.4) if e.added_mL else rng.normal(0.0, 0.2))
    added_mL = added_g = None
    liquid, salt = first_g, 0.0
    if e.added_mL is not None:
        wanted = mL * float(e.in_mol_per_L or 1) * e.excess / float(e.added_mol_per_L or 1)
        added_mL = round(wanted * (1.0 + loose * abs(rng.uniform(-1, 1)))) + 1.0
        liquid += added_mL * float(e.added_density)
    else:
        assert e.added_g is not None
        middle = 0.5 * (e.added_g[0] + e.added_g[1]) * scale
        if e.in_mol_per_L:
            middle = 1.5 * mL * float(e.in_mol_per_L) / 1000 * float(e.molar_mass or 1)
        added_g = round(middle * (1.0 + loose * rng.uniform(-1, 1)), 2)
        salt = added_g
    moles = (
        mL * float(e.in_mol_per_L or 0) / 1000
        if e.limiting == "in_cup"
        else salt / float(e.molar_mass or 1)
    )
    heat = -1000.0 * e.enthalpy * moles * bias
    c = 3.98 if e.added_mL else 4.17
    total = c * liquid + 0.7 * salt + true_cup
    two_C = 3.95 * (liquid - first_g) if e.added_mL else 0.8 * salt
    rise = (heat + two_C * (second - start)) / total
    rise *= (1.0 - rng.uniform(0.0, 0.03)) * (1.0 + spread * rng.normal())
    luck = rng.random()
    if luck < 0.03:  # did not stir, or a late lid
        rise *= rng.uniform(0.8, 1.0)
    if 0.03 < luck < 0.05:  # read the wrong mark
        rise += rng.choice([-1.0, -0.5, 0.5, 1.0])

    def read(t: float) -> float:
        return float(round(round((t + rng.normal(0.0, 0.05)) / step) * step, 4))

    given: dict[str, float] = {"in_cup_C": read(start), "extreme_C": max(read(start + rise), 0.0)}
    if columns["added_C"]:
        given["added_C"] = read(second)
    if columns["room_C"]:
        given["room_C"] = read(room)
    if columns["extreme_after_s"]:
        given["extreme_after_s"] = float(rng.integers(2, 30) * 10)
    if weighs:
        given["in_cup_g"] = round(first_g * (1 + 0.002 * rng.normal()), 1)
    else:
        given["in_cup_mL"] = mL
    if added_mL is not None:
        if weighs:
            given["added_g"] = round(added_mL * float(e.added_density), 1)
        else:
            given["added_mL"] = added_mL
    if added_g is not None:
        given["added_g"] = added_g
    if e.in_mol_per_L:
        given["in_cup_mol_per_L"] = float(e.in_mol_per_L)
    if e.added_mol_per_L:
        given["added_mol_per_L"] = float(e.added_mol_per_L)
    return Run(run=label, apparatus=cup, in_cup=e.in_cup, added=e.added, **given)  # type: ignore[arg-type]


def draw_curve_class(rng: np.random.Generator, size: int, folder: Path) -> Class:
    """A class that logs curves, in the cups of a judge; its files are written to ``folder``."""
    world = FoamWorld(rng) if rng.random() < 0.5 else LumpedWorld(rng)
    acid = rng.random() < 0.5
    step = float(rng.choice([0.01, 0.1]))
    names = list(world.cups)
    constants, losses, rows = {}, {}, []
    stock = {name: 1.0 + 0.01 * rng.normal() for name in ("HNO3", "KOH")}
    factor = 1.0 + 0.002 * rng.normal()
    for number in range(size):
        cup = names[number % len(names)]
        task, true = neutralization_task(rng, factor, stock) if acid else dissolution_task(rng, factor)  # fmt: skip
        judged = world.done(cup, task, rng)
        shown, time = judged.shown_C(step), judged.time_s
        path = folder / f"bench_{number + 1}.csv"
        lines = (f"{t:.1f},{T:.3f}" for t, T in zip(time, shown, strict=True))
        path.write_text("time_s,temperature_C\n" + "\n".join(lines) + "\n", encoding="utf-8")
        if cup not in constants:
            whole = world.constants(cup)["whole wall"]
            constants[cup] = (round(whole + rng.normal(0, 0.5), 2), 0.6)
            losses[cup] = (
                judged.loss_W_per_K * (1 + 0.1 * rng.normal()),
                0.15 * judged.loss_W_per_K,
            )
        grams = {k: round(true[k] + rng.uniform(-0.01, 0.01), 2) for k in ("in_cup_g", "added_g")}
        more: dict[str, object] = {}
        if acid:
            more = {"in_cup_mol_per_L": 1.0, "added_mol_per_L": 1.0,
                    "added_C": round(true["added_C"], 1)}  # fmt: skip
        rows.append(
            Run(
                run=f"bench {number + 1}",
                apparatus=cup,
                curve=path.name,
                curve_path=path,
                in_cup="HNO3(aq)" if acid else "water",
                added="KOH(aq)" if acid else "KNO3(s)",
                mixed_at_s=round(judged.mixed_at_s),
                room_C=round(judged.room_C, 1),
                **grams,
                **more,  # type: ignore[arg-type]
            )
        )
    steps = {"added_C": 0.1, "room_C": 0.1, "in_cup_g": 0.01, "added_g": 0.01}
    return Class(rows, constants, losses, steps, "curves, " + ("acid" if acid else "salt"))


@dataclass(frozen=True)
class Planted:
    """One slip: the row that has it, its kind, and the columns it is in."""

    place: int
    kind: str
    columns: tuple[str, ...]
    run: Run


def plant(rng: np.random.Generator, kind: str, one: Class) -> Planted | None:
    """A slip of that kind in a bench of this class; None where the class has no room for it."""
    place = int(rng.integers(len(one.rows)))
    run = one.rows[place]
    changed = KINDS[kind](rng, run, one.rows)
    if not changed:
        return None
    columns = tuple(c for c in changed if c != "curve_path")
    return Planted(place, kind, columns, replace(run, **changed))  # type: ignore[arg-type]


Change = dict[str, object]
Maker = Callable[[np.random.Generator, Run, list[Run]], Change]


def _some(rng: np.random.Generator, run: Run, columns: tuple[str, ...]) -> str | None:
    there = [c for c in columns if getattr(run, c) is not None]
    return str(rng.choice(there)) if there else None


def _factor(columns: tuple[str, ...], factors: tuple[float, ...]) -> Maker:
    def make(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
        column = _some(rng, run, columns)
        if column is None:
            return {}
        return {column: float(f"{getattr(run, column) * float(rng.choice(factors)):.6g}")}

    return make


def _fahrenheit(t: float) -> float:
    return round(t * 1.8 + 32.0, 1)


def _one_in_f(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    column = _some(rng, run, ("in_cup_C", "added_C", "extreme_C"))
    return {column: _fahrenheit(getattr(run, column))} if column else {}


def _all_in_f(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    columns = [c for c in ("in_cup_C", "added_C", "extreme_C") if getattr(run, c) is not None]
    return {c: _fahrenheit(getattr(run, c)) for c in columns} if run.extreme_C is not None else {}


def _kelvin(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    column = _some(rng, run, ("in_cup_C", "added_C", "extreme_C"))
    if str(run.added).endswith("(s)") and run.added_C is not None:
        column = "added_C"
    return {column: round(getattr(run, column) + 273.15, 2)} if column else {}


def _start_extreme(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    if run.extreme_C is None:
        return {}
    return {"in_cup_C": run.extreme_C, "extreme_C": run.in_cup_C}


def _columns(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    pairs = [
        ("in_cup_mL", "added_mL"), ("in_cup_g", "added_g"), ("in_cup_mol_per_L", "added_mol_per_L"),
        ("in_cup_C", "added_C"), ("extreme_C", "room_C"), ("in_cup_mL", "added_g"),
        ("in_cup_C", "in_cup_mL"),
    ]  # fmt: skip
    there = [
        (a, b) for a, b in pairs
        if None not in (getattr(run, a), getattr(run, b)) and getattr(run, a) != getattr(run, b)
    ]  # fmt: skip
    if not there:
        return {}
    a, b = there[int(rng.integers(len(there)))]
    return {a: getattr(run, b), b: getattr(run, a)}


def _others(rng: np.random.Generator, run: Run, rows: list[Run]) -> Run | None:
    others = [r for r in rows if r.run != run.run]
    return others[int(rng.integers(len(others)))] if others else None


def _amounts(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    """Only where the two benches took amounts that differ, as those with recipes of their own."""
    other = _others(rng, run, rows)
    changed = {c: getattr(other, c) for c in AMOUNTS if getattr(run, c) != getattr(other, c)}
    if not any(abs(value / getattr(run, c) - 1.0) > 0.2 for c, value in changed.items()):
        return {}
    return dict(changed)


def _readings(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    other = _others(rng, run, rows)
    if run.extreme_C is None or other is None or other.extreme_C == run.extreme_C:
        return {}
    return {"extreme_C": other.extreme_C}


def _curve(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    other = _others(rng, run, rows)
    if run.curve is None or other is None:
        return {}
    return {"curve": other.curve, "curve_path": other.curve_path}


def _moment(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    if run.mixed_at_s is None:
        return {}
    away = float(rng.choice([-60.0, -30.0, 30.0, 60.0, 120.0, 300.0]))
    return {"mixed_at_s": run.mixed_at_s + away}


def _curve_in_f(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    if run.curve_path is None:
        return {}
    path = run.curve_path.with_name("f_" + run.curve_path.name)
    head, *lines = run.curve_path.read_text(encoding="utf-8").splitlines()
    cells = [line.split(",") for line in lines]
    made = "\n".join(f"{t},{float(T) * 1.8 + 32.0:.3f}" for t, T in cells)
    path.write_text(f"{head}\n{made}\n", encoding="utf-8")
    return {"curve": path.name, "curve_path": path}


def _sign(rng: np.random.Generator, run: Run, rows: list[Run]) -> Change:
    column = _some(rng, run, ("in_cup_C", "added_C", "extreme_C"))
    return {column: -getattr(run, column)} if column and getattr(run, column) else {}


MASS = ("in_cup_g", "added_g")
VOLUME = ("in_cup_mL", "added_mL")
MOLAR = ("in_cup_mol_per_L", "added_mol_per_L")
KINDS: dict[str, Maker] = {
    "mass x 10": _factor(MASS, (10.0, 0.1)),
    "mass x 1000": _factor(MASS, (1000.0, 0.001)),
    "volume x 10": _factor(VOLUME, (10.0, 0.1)),
    "volume x 1000": _factor(VOLUME, (1000.0, 0.001)),
    "concentration x 10": _factor(MOLAR, (10.0, 0.1)),
    "concentration x 1000": _factor(MOLAR, (1000.0, 0.001)),
    "one reading in °F": _one_in_f,
    "all readings in °F": _all_in_f,
    "a reading in kelvin": _kelvin,
    "start and extreme": _start_extreme,
    "columns exchanged": _columns,
    "another bench's amounts": _amounts,
    "another bench's extreme": _readings,
    "sign": _sign,
    "another bench's curve": _curve,
    "moment off the jump": _moment,
    "curve in °F": _curve_in_f,
}
"""Every kind that is planted."""
CURVE_KINDS = ("another bench's curve", "moment off the jump", "curve in °F")
