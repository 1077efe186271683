"""The foam judge's course in time: exponential steps of the linear network, the rest by Heun's rule.

With the liquid's heat capacity held, C dT/dt = -S T + f(T, t). The linear part is integrated exactly
and f, the heat released and what a loss deviates from linear, to second order (Cox & Matthews,
J. Comput. Phys. 176 (2002) 430, ETD2RK; from memory)::

    a   = E T + P1 f(T),    T' = a + P2 (f(a) - f(T)),
    E = exp(-h C⁻¹ S),   P1 = h φ1 C⁻¹,   P2 = h φ2 C⁻¹

During the pour the capacity grows by a portion in the middle of each short step, which conserves heat.
Heat released is counted by what a step releases, whatever its course.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from tests.benchmarks.judges.foam_release import Release
from tests.benchmarks.judges.foam_vessels import Filled
from tests.benchmarks.judges.materials import vapour_kPa
from tests.benchmarks.judges.record import FloatArray


@dataclass(frozen=True, slots=True)
class Room:
    """Drift, swing, and a door open from ``door_s`` for ``door_for_s`` (0: never), 20 s to settle."""

    start_C: float
    drift_K_per_s: float = 0.0
    swing_K: float = 0.0
    period_s: float = 900.0
    phase: float = 0.0
    door_K: float = 0.0
    door_s: float = 0.0
    door_for_s: float = 0.0
    door_settles_s: float = 20.0
    humidity: float = 0.45

    def at(self, time_s: FloatArray) -> FloatArray:
        """Room temperature at times on the log's clock. [°C]"""
        swing = self.swing_K * np.sin(2.0 * np.pi * time_s / self.period_s + self.phase)
        opened = -np.expm1(-np.maximum(time_s - self.door_s, 0.0) / self.door_settles_s)
        shut = self.door_s + self.door_for_s
        closed = -np.expm1(-np.maximum(time_s - shut, 0.0) / self.door_settles_s)
        door = self.door_K * (opened - closed)
        return self.start_C + self.drift_K_per_s * time_s + swing + door

    @property
    def vapour_kPa(self) -> float:
        """Partial pressure of vapour: the humidity at the start, kept."""
        return self.humidity * vapour_kPa(self.start_C)


@dataclass(frozen=True, slots=True)
class Run:
    """What happens in the cup; times on the log's clock."""

    filled: Filled
    room: Room
    in_cup_J_per_K: float
    in_cup_C: float
    added_J_per_K: float
    added_C: float
    heat_J: float
    release: Release
    pour_s: float
    fore_s: float
    after_s: float
    standing_s: float
    fine: float = 1.0  # steps are divided by it


@dataclass(slots=True)
class Course:
    """Liquid at times, and the heat balance of it all: ``stored_J + lost_J = brought_J``."""

    time_s: list[float] = field(default_factory=list)
    liquid_C: list[float] = field(default_factory=list)
    before_C: float = math.nan
    stored_J: float = 0.0  # gained by cup and liquid; pouring itself changes nothing
    lost_J: float = 0.0
    brought_J: float = 0.0  # by release and stirrer


class Network:
    """The network with one heat capacity of the liquid and one wetting: its exact steps."""

    def __init__(self, filled: Filled, liquid_J_per_K: float, upper_wet: float) -> None:
        self.capacities = filled.capacities.copy()
        self.capacities[0] = liquid_J_per_K
        root = np.sqrt(self.capacities)
        scaled = filled.conductances(upper_wet) / np.outer(root, root)
        self.rates, vectors = np.linalg.eigh(scaled)
        self.left, self.right = vectors / root[:, None], vectors.T * root
        self.into = [0, 1, *filled.outer]
        self.kept: dict[float, tuple[FloatArray, FloatArray, FloatArray]] = {}

    def step(self, h: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """E, P1 and P2 of a step [s]; of the latter only the columns that receive heat."""
        h = round(h, 9)
        if h not in self.kept:
            z = np.maximum(self.rates * h, 1e-12)
            e = np.exp(-z)
            phi1 = -np.expm1(-z) / z
            phi2 = np.where(z > 1e-3, (1.0 - phi1) / z, 0.5 - z / 6.0)
            back = self.left[self.into].T  # V' C^-1/2, only where heat comes in
            self.kept[h] = (
                (self.left * e) @ self.right,
                h * (self.left * phi1) @ back,
                h * (self.left * phi2) @ back,
            )
        return self.kept[h]


def course_of(run: Run) -> Course:
    """Integrate one run: it stands, is logged, is mixed, is logged on."""
    out = Course()
    filled = run.filled
    start = -run.standing_s
    room0 = float(run.room.at(np.array([start]))[0])
    network = Network(filled, run.in_cup_J_per_K, 0.0)
    state = np.full(len(network.capacities), 0.5 * (run.in_cup_C + room0))
    state[0] = run.in_cup_C
    edges = [start, min(start + 60.0, 0.0), 0.0, run.fore_s]  # the wall warms in the first minute
    before = _grid(edges, (0.5, 5.0, 2.0), run.fine)
    state = _advance(run, network, state, before, out, None)
    out.before_C = float(state[0])
    pieces = math.ceil(run.pour_s / 0.1 * run.fine)
    h = run.pour_s / pieces
    liquid = run.in_cup_J_per_K
    portion = 0.5 * run.added_J_per_K / pieces
    if run.added_J_per_K != 0:  # a salt may leave a solution that holds less heat than its water
        for i in range(pieces):
            liquid, state[0] = _poured(liquid, float(state[0]), portion, run.added_C)
            network = Network(filled, liquid, (i + 0.5) / pieces)
            times = np.array([run.fore_s + i * h, run.fore_s + (i + 1) * h])
            state = _advance(run, network, state, times, out, run.fore_s)
            liquid, state[0] = _poured(liquid, float(state[0]), portion, run.added_C)
            out.liquid_C[-1] = float(state[0])
    network = Network(filled, liquid, 1.0)
    at = out.time_s[-1]
    end = run.fore_s + run.after_s
    edges = [min(x, end) for x in (at, at + 12.0, run.fore_s + 60.0, run.fore_s + 240.0, end)]
    times = _grid(edges, (0.05, 0.1, 0.25, 2.0), run.fine)
    off = run.fore_s + run.pour_s  # where a heater goes off no step may straddle it
    if at + 1e-6 < off < end - 1e-6:
        times = np.union1d(times[np.abs(times - off) > 1e-6], off)
    _advance(run, network, state, times, out, run.fore_s)
    return out


def _grid(edges: list[float], lengths: tuple[float, ...], fine: float) -> FloatArray:
    """Times from the first edge to the last, in equal steps no longer than each part's length."""
    parts = [np.array(edges[:1])]
    for start, end, length in zip(edges[:-1], edges[1:], lengths, strict=True):
        if end > start + 1e-9:
            steps = math.ceil((end - start) / length * fine - 1e-9)
            parts.append(np.linspace(start, end, steps + 1)[1:])
    return np.concatenate(parts)


def _poured(liquid: float, celsius: float, portion: float, added_C: float) -> tuple[float, float]:
    total = liquid + portion
    return total, (liquid * celsius + portion * added_C) / total


def _advance(
    run: Run,
    network: Network,
    state: FloatArray,
    times: FloatArray,
    out: Course,
    mixed_s: float | None,
) -> FloatArray:
    """Step through ``times``; the heat comes out from ``mixed_s`` on. Returns the last state."""
    filled, cup = run.filled, run.filled.cup
    rooms = run.room.at(times).tolist()
    vapour = run.room.vapour_kPa
    if mixed_s is None:
        heats = [0.0] * (len(times) - 1)
    else:
        released = run.release.released(times - mixed_s, run.pour_s)
        heats = (run.heat_J * np.diff(released)).tolist()
    outer, film = filled.outer, filled.film_W_per_m2_K
    areas = filled.areas_m2
    into = network.into
    stored = float(network.capacities @ state)

    def losses(values: list[float], room: float) -> list[float]:
        lost = [
            filled.top_loss_W(values[0], room, vapour),
            filled.follower_loss_W(values[1], room),
        ]
        for which in range(len(outer)):
            lost.append(filled.outer_loss_W(which, values[2 + which], room))
        return lost

    def forcing(values: list[float], lost: list[float], watts: float) -> FloatArray:
        f = [watts - lost[0], -lost[1]]
        for which in range(len(outer)):
            f.append(areas[which] * film * values[2 + which] - lost[2 + which])
        return np.array(f)

    clock = times.tolist()
    if not out.time_s:
        out.time_s.append(clock[0])
        out.liquid_C.append(float(state[0]))
    values = state[into].tolist()
    lost = losses(values, rooms[0])
    for i in range(len(clock) - 1):
        h = clock[i + 1] - clock[i]
        e, p1, p2 = network.step(h)
        watts = heats[i] / h + cup.stirrer_W
        f = forcing(values, lost, watts)
        guess = e @ state + p1 @ f
        seen = guess[into].tolist()
        state = guess + p2 @ (forcing(seen, losses(seen, rooms[i + 1]), watts) - f)
        values = state[into].tolist()
        was, lost = sum(lost), losses(values, rooms[i + 1])
        out.lost_J += 0.5 * h * (was + sum(lost))
        out.brought_J += watts * h
        out.time_s.append(clock[i + 1])
        out.liquid_C.append(values[0])
    out.stored_J += float(network.capacities @ state) - stored
    return state
