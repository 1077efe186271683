"""Cooling logs with a known answer, many at a time: an integrator that no fitted law shares.

Content (heat capacity C, J/K), an inner wall (C_w, fed through G_w = C_w/τ_w), a room that drifts
and swings, vapour by the saturation pressure (Magnus), a film of free convection outside, a
stirrer, and a sensor that lags, wanders, makes noise and shows steps::

    C dT/dt     = P − (1 − g) G f (T − T_r) − L E [e(T) − 0.45 e(T_r)] − G_w (T − T_w)
    C_w dT_w/dt = G_w (T − T_w) − g G f (T_w − T_r),        f = (|T − T_r|/15 K)^x

by the classical Runge-Kutta method, all logs of a call side by side. Sizes are common practice (no
source); the vapour's as in ``fitting/practice/simulated_cup.py``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from fitting.curve import Curve
from fitting.practice.simulated_cup import LATENT_HEAT_J_PER_G

KINDS = (
    "newton", "lidded", "slow-wall", "steeper", "convection", "drifting-room", "anything",
)  # fmt: skip
EVERY_S, LAG_S, STEP_S = 10.0, 5.0, 5.0
NAMES = (
    "C", "Cw", "tw", "g", "G", "x", "E", "P", "room", "drift", "swing", "period", "phase", "noise",
    "wander", "standing",
)  # fmt: skip


@dataclass(frozen=True)
class Draw:
    """A simulated log and what it came from (the names of the equations above)."""

    curve: Curve
    truth: dict[str, float]

    @property
    def room_C(self) -> float:
        """Room temperature at the start of the log, °C."""
        return self.truth["room"]

    def answer(self, at_C: float) -> tuple[float, float, float]:
        """k [1/s] and G [W/K] at a temperature, the wall having settled, and T∞ at the start [°C].

        T∞ is where nothing is lost on the whole; G is the loss over T − T∞; k is the slower rate of
        content and wall with that G.
        """
        p = self.truth
        coupling = p["Cw"] / p["tw"]

        def film(T: float) -> float:
            return p["G"] * (max(abs(T - p["room"]), 1e-6) / 15.0) ** p["x"]

        def outside(T: float) -> float:
            """Conductance through the wall to the room."""
            outer = p["g"] * film(T)
            return coupling * outer / (coupling + outer) if outer > 0 else 0.0

        def loss(T: float) -> float:
            wet = LATENT_HEAT_J_PER_G * p["E"] * (_vapour(T) - 0.45 * _vapour(p["room"]))
            direct = (1 - p["g"]) * film(T) + outside(T)
            return float(direct * (T - p["room"]) + wet - p["P"])

        settles = float(brentq(loss, p["room"] - 25, p["room"] + 25))
        G = loss(at_C) / (at_C - settles)
        inside, outer = G - outside(at_C), p["g"] * film(at_C)
        rates = np.linalg.eigvals(
            [[(inside + coupling) / p["C"], -coupling / p["C"]],
             [-coupling / p["Cw"], (coupling + outer) / p["Cw"]]]
        )  # fmt: skip
        return float(rates.real.min()), G, settles


def _vapour(T):
    return 0.61094 * np.exp(17.625 * T / (T + 243.04))


def draw_truth(kind: str, rng: np.random.Generator) -> dict[str, float]:
    """What one log of a kind comes from.

    newton: nothing else. lidded: a little of each, as every real log has. The others have that too,
    and one large thing: slow-wall 15 to 40 J/K and 150 to 600 s, filled just before; steeper an
    open cup; convection a bare vessel whose whole loss goes with the 5/4th power; drifting-room 1
    to 2.5 K/h. anything: each of wall, open cup and drift by the toss of a coin.
    """
    u = rng.uniform
    p = {
        "C": u(300, 450) + u(3, 15), "Cw": 1e-3, "tw": 20.0, "g": 0.0, "G": u(0.02, 0.08),
        "x": 0.0, "E": 0.0, "P": u(0.0, 0.05), "room": u(19, 24), "drift": 0.0, "swing": 0.0,
        "period": u(500, 1500), "phase": u(0, 2 * np.pi), "noise": u(0.003, 0.015),
        "wander": u(0.0, 0.004), "standing": 1200.0,
    }  # fmt: skip
    lid = {"Cw": u(1, 5), "tw": u(20, 75), "g": u(0.1, 0.5), "E": u(0.5e-6, 4e-6),
           "drift": rng.normal(0, 0.2) / 1200, "swing": u(0.0, 0.15)}  # fmt: skip
    wall = {"Cw": u(15, 40), "tw": u(150, 600), "g": u(0.0, 0.2), "standing": 5.0}
    wet, drift = {"E": u(1e-5, 4e-5)}, {"drift": float(rng.choice([-1, 1])) * u(1.0, 2.5) / 3600}
    coins = rng.random(3) < 0.5
    large = {
        "newton": [], "lidded": [lid], "slow-wall": [lid, wall], "steeper": [lid, wet],
        "convection": [lid, {"x": 0.25}], "drifting-room": [lid, drift],
        "anything": [lid, *(one for one, on in zip((wall, wet, drift), coins, strict=True) if on)],
    }  # fmt: skip
    for one in large[kind]:
        p |= one
    return p


def draw_logs(
    kind: str, seeds: Sequence[int], *, hours: float = 1.5, start_C: float = 45.0,
    step_K: float = 0.01, **fixed: float,
) -> list[Draw]:  # fmt: skip
    """Logs of a kind, one a seed; ``fixed`` replaces what was drawn."""
    rngs = [np.random.default_rng(seed) for seed in seeds]
    truths = [draw_truth(kind, rng) | fixed for rng in rngs]
    p = {name: np.array([one[name] for one in truths]) for name in NAMES}
    shown = _integrate(p, hours * 3600, start_C)
    time = np.arange(shown.shape[1]) * EVERY_S
    return [
        Draw(Curve.from_arrays(time, _read(row, one, rng, step_K)), one)
        for row, one, rng in zip(shown, truths, rngs, strict=True)
    ]


def _integrate(p: dict[str, np.ndarray], length_s: float, start_C: float) -> np.ndarray:
    """Sensor's temperature every 10 s, shape (logs, times)."""

    def slopes(t, state):
        T, wall, sensor = state
        room = p["room"] + p["drift"] * t
        room = room + p["swing"] * np.sin(2 * np.pi * t / p["period"] + p["phase"])
        film = p["G"] * (np.maximum(np.abs(T - room), 1e-6) / 15.0) ** p["x"]
        wet = LATENT_HEAT_J_PER_G * p["E"] * (_vapour(T) - 0.45 * _vapour(room))
        into = p["Cw"] / p["tw"] * (T - wall)
        return np.stack(
            [
                (p["P"] - (1 - p["g"]) * film * (T - room) - wet - into) / p["C"],
                (into - p["g"] * film * (wall - room)) / p["Cw"],
                (T - sensor) / LAG_S,
            ]
        )

    longest = float(p["standing"].max())
    first = np.full(p["C"].size, start_C)
    state = np.stack([first, (first + p["room"]) / 2, first])
    out, t, h = [], -longest, STEP_S
    while t < length_s - h / 2:
        if t > -h / 2 and round(t / h) % round(EVERY_S / h) == 0:
            out.append(state[2])
        k1 = slopes(t, state)
        k2 = slopes(t + h / 2, state + h / 2 * k1)
        k3 = slopes(t + h / 2, state + h / 2 * k2)
        k4 = slopes(t + h, state + h * k3)
        begun = t >= -p["standing"] - h / 2
        state = state + np.where(begun, h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), 0.0)
        t += h
    return np.stack(out, axis=1)


def _read(T: np.ndarray, p: dict[str, float], rng: np.random.Generator, step_K: float):
    keep, level, shown = np.exp(-EVERY_S / 40.0), rng.normal(0, p["wander"]), np.empty(T.size)
    kicks = rng.normal(0, p["wander"] * np.sqrt(1 - keep**2), T.size)
    for i in range(T.size):
        level = keep * level + kicks[i]
        shown[i] = T[i] + level
    shown = shown + rng.normal(0, p["noise"], T.size)
    return np.round(np.round(shown / step_K) * step_K, 6) if step_K > 0 else shown
