"""A curve of a judge linearised in all that the judge drew for it, noise left out.

    curve(z) = curve(z_0) + J (z - z_0),    z standard normal (`tape`)

by one-sided differences of 0.03 towards the middle of each coordinate's range. What the reader is told
anyway is not among the unknowns: kinds of vessel, lid and release, whether a door opened, the
sensor's noise, its reading interval, the length of the log and, in `Linearised.J`, the moment of mixing;
`Linearised.by_moment` is what a second's error of that moment does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np

from tests.benchmarks.judges import foam, lumped_wide
from tests.benchmarks.judges.foam_vessels import FINEST_M
from tests.benchmarks.judges.record import FloatArray, Judged
from tests.benchmarks.judges.tape import OtherPathError, Tape

STEP = 0.03
COARSER = 0.5  # steps of the foam judge's course are twice as long here
SEED_OF = {"foam": 7001, "lumped": 7002}
AIMS = (
    "true_rise_K", "heat_J", "capacity_ratio", "room_C", "liquid_J_per_K", "added_J_per_K", "added_C",
    "constant_J_per_K",
)  # fmt: skip

PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("wall", ("layers", "gaps_m", "inside_W", "slow_wall", "wall_loss_share", "fast_J")),
    ("follower", ("follower",)),
    ("vapour", ("vapour", "evaporation", "humidity")),
    ("loss", ("emissivity", "outside", "top_W", "radius", "stirrer", "loss_W")),
    ("room", ("room.",)),
    ("lag", ("lag_s", "sheath_s")),
    ("release", ("release", "rates_per_s", "slow_share")),
    ("pour", ("pour_s",)),
    ("start", ("in_cup_C", "standing_s", "added_C")),
    ("amounts", ("_mL", "in_cup_J", "added_J", "heat_J")),
)
"""Parts of what is drawn, by what the first field that a coordinate moves is called."""


@dataclass(frozen=True, slots=True)
class Linearised:
    """One curve. J: (n, m) K per coordinate; slopes: of each of `AIMS`, (m,); parts: of each coordinate.

    ``shrink`` (m,): what turns a coordinate into one with the variance of what was drawn (1 where it is
    normal). ``by_moment``: (n,) K/s, and ``slopes_by_moment`` per second.
    """

    run: Judged
    J: FloatArray
    slopes: dict[str, FloatArray]
    parts: tuple[str, ...]
    shrink: FloatArray
    by_moment: FloatArray
    slopes_by_moment: dict[str, float]
    noise_K: float
    wander_K: float
    wander_keep: float
    every_s: float


def leaves(what: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """(path, value) of everything in nested dataclasses and tuples."""
    if is_dataclass(what):
        for one in fields(what):
            yield from leaves(getattr(what, one.name), f"{path}.{one.name}" if path else one.name)
    elif isinstance(what, tuple):
        for i, one in enumerate(what):
            yield from leaves(one, f"{path}.{i}")
    else:
        yield path, what


def moved_fields(before: Any, after: Any) -> list[str]:
    """Paths whose values differ."""
    was, now = dict(leaves(before)), dict(leaves(after))
    return [path for path in was if was[path] != now.get(path)]


def part_of(path: str) -> str:
    """The part of `PARTS` that a field belongs to."""
    return next(name for name, words in PARTS if any(word in path for word in words))


def _cells(thicknesses: list[float], finest_m: float) -> list[int]:
    return [max(2, math.ceil(t / finest_m)) for t in thicknesses]


def _foam_quiet(e: foam.Experiment, of: foam.Experiment, seed: int) -> Judged:
    """Without noise, its wall cut into as many cells as that of ``of``: no jump by a cell more."""
    ours, theirs = ([layer.thickness_m for layer in x.run.filled.cup.layers] for x in (e, of))
    wanted = _cells(theirs, FINEST_M)
    tries = [FINEST_M * (1 + sign * 0.004 * k) for k in range(60) for sign in (1, -1)]
    finest = next((x for x in tries if _cells(ours, x) == wanted), FINEST_M)
    run = replace(e.run, fine=COARSER, filled=replace(e.run.filled, finest_m=finest))
    probe = replace(e.probe, noise_K=0.0, wander_K=0.0)
    return foam.judged(replace(e, run=run, probe=probe), np.random.default_rng(0), seed)


def _lumped_quiet(e: lumped_wide.Experiment, family: str, seed: int) -> Judged:
    sensor = replace(e.sensor, noise_K=0.0, wander_K=0.0)
    return lumped_wide.judged(replace(e, sensor=sensor), np.random.default_rng(0), family, seed)


@dataclass(frozen=True, slots=True)
class Bench:
    """One seed of a judge: its draw on tape, how to draw again, how to run without noise."""

    tape: Tape
    experiment: Any
    draw: Callable[[Any], Any]
    quiet: Callable[[Any], Judged]
    later: Callable[[Any, float], Any]  # the same with the moment of mixing moved
    sensor: Any


def bench(judge: str, family: str, seed: int) -> Bench:
    """What the judge's ``run(family, seed)`` draws."""
    names = (*foam.FAMILIES, *foam.OTHERS) if judge == "foam" else lumped_wide.FAMILIES
    tape = Tape(np.random.default_rng([SEED_OF[judge], names.index(family), seed]))
    draw_of = foam.draw if judge == "foam" else lumped_wide.draw
    draw_of(family, tape)  # type: ignore[arg-type]
    return replayed(judge, family, seed, tape)


def replayed(judge: str, family: str, seed: int, tape: Tape) -> Bench:
    """The draw that a tape holds; equal to the first but for the last digits of Phi and its inverse.

    Raises:
        OtherPathError: the tape's numbers, changed since, make the draw go another way.
    """
    back: Any = Tape(kept=tape.kept)
    if judge == "foam":
        e = foam.draw(family, back)
        back.finished()
        return Bench(
            tape, e,
            lambda t: foam.draw(family, t),
            lambda x: _foam_quiet(x, e, seed),
            lambda x, by: replace(x, run=replace(x.run, fore_s=x.run.fore_s + by)),
            e.probe,
        )  # fmt: skip
    f = lumped_wide.draw(family, back)
    back.finished()
    return Bench(
        tape, f,
        lambda t: lumped_wide.draw(family, t),
        lambda x: _lumped_quiet(x, family, seed),
        lambda x, by: replace(x, fore_s=x.fore_s + by),
        f.sensor,
    )  # fmt: skip


def parts_on(one: Bench) -> dict[int, str]:
    """The part (`PARTS`) of every coordinate that the reader is not told anyway."""
    out = {}
    for which, (kind, z) in enumerate(one.tape.kept):
        if kind not in ("uniform", "normal"):
            continue
        try:
            other = again(one, which, z - STEP if z > 0 else z + STEP)
        except OtherPathError:
            other = again(one, which, z + STEP if z > 0 else z - STEP)
        paths = moved_fields(one.experiment, other)
        paths = [p for p in paths if "noise_K" not in p and "wander" not in p]
        if paths and not any(p.endswith(("fore_s", "after_s")) for p in paths):
            out[which] = part_of(paths[0])
    return out


def opened(judge: str, family: str, seed: int) -> bool:
    """Whether a door or window opened in that run; the lumped judge has none."""
    return judge == "foam" and bench(judge, family, seed).experiment.run.room.door_K != 0


def again(one: Bench, which: int, z: float) -> Any:
    """The experiment with one coordinate moved.

    Raises:
        OtherPathError: the draw went another way.
    """
    tape = one.tape.moved(which, z)
    moved = one.draw(tape)
    tape.finished()
    return moved


def linearised(judge: str, family: str, seed: int) -> Linearised:
    """The judge's ``run(family, seed)`` with its derivatives."""
    return linearised_at(bench(judge, family, seed))


def linearised_at(one: Bench) -> Linearised:
    """One curve with its derivatives."""
    centre = one.quiet(one.experiment)
    columns, slopes, parts, shrink = [], [], [], []

    def change(other: Judged, by: float) -> tuple[FloatArray, list[float]]:
        n = min(len(centre.raw_C), len(other.raw_C))
        d = np.zeros(len(centre.raw_C))
        d[:n] = (other.raw_C[:n] - centre.raw_C[:n]) / by
        return d, [(getattr(other, aim) - getattr(centre, aim)) / by for aim in AIMS]

    for which, part in parts_on(one).items():
        kind, z = one.tape.kept[which]
        by = -STEP if z > 0 else STEP
        try:
            other = again(one, which, z + by)
        except OtherPathError:
            by = -by
            other = again(one, which, z + by)
        column, slope = change(one.quiet(other), by)
        columns.append(column)
        slopes.append(slope)
        parts.append(part)
        density = math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)
        shrink.append(1.0 if kind == "normal" else 1 / math.sqrt(12.0) / density)
    by = 0.2 * one.sensor.every_s
    by_moment, slopes_by_moment = change(one.quiet(one.later(one.experiment, by)), by)
    return Linearised(
        run=centre,
        J=np.column_stack(columns),
        slopes=dict(zip(AIMS, np.array(slopes).T, strict=True)),
        parts=tuple(parts),
        shrink=np.array(shrink),
        by_moment=by_moment,
        slopes_by_moment=dict(zip(AIMS, slopes_by_moment, strict=True)),
        noise_K=one.sensor.noise_K,
        wander_K=one.sensor.wander_K,
        wander_keep=math.exp(-one.sensor.every_s / one.sensor.wander_s),
        every_s=one.sensor.every_s,
    )
