"""A judge of the corrections: two bodies and nothing else, as a student's own spreadsheet would have it.

::

    C_l dT/dt = q(t) − C_w (T − T_w)/τ − [G (T − T_room)]      loss from the liquid, or
    C_w dT_w/dt = C_w (T − T_w)/τ − [G (T_w − T_room)]         loss through the wall

T, T_w [°C] liquid and wall, C_l, C_w [J/K], τ [s], G [W/K] the loss, q [W] the release. Integrated by
scipy. Written when the corrections were finished and never looked at while they were changed: its
ranges are those of thin foam with a lid, walls of 2 to 15 s and a loss of 0.03 to 0.16 W/K, without
vapour (but for pellets), stirrer, or a draught.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.integrate import solve_ivp

from tests.benchmarks.judges.draws import log_uniform
from tests.benchmarks.judges.record import FloatArray, Judged

FAMILIES = ("fast", "mixing", "slow", "pellets")


def run(family: str, seed: int) -> Judged:
    """The run of a family that a seed stands for.

    Whole 250-900 J/K, wall 0.3-3 % of it, half of the walls with the loss outside. Room 18-25 °C, in half
    of the runs a steady drift of 0.2 K in 20 min (sd); content within 0.8 K (sd) of it. Lag 1-8 s, noise
    3-20 mK, a reading every 1, 2 or 5 s; 120-300 s before, 480-900 s after. fast: first-order, 1 s, 3-13 K.
    mixing: water 20-35 K hotter. slow: 2-8 K down, a grain whose radius shrinks within 20-90 s. pellets:
    20-55 K up within 20-120 s; the loss from the liquid grows as 1 + e (T − T_room)/20 K, e 0.02-0.8.
    All judgement.
    """
    rng = np.random.default_rng([7004, FAMILIES.index(family), seed])
    whole = log_uniform(rng, 250.0, 900.0)
    wall, tau = whole * log_uniform(rng, 0.003, 0.03), log_uniform(rng, 2.0, 15.0)
    loss, outside = log_uniform(rng, 0.03, 0.16), bool(rng.random() < 0.5)
    room = rng.uniform(18.0, 25.0)
    drift = rng.normal(0.0, 0.2) / 1200.0 if rng.random() < 0.5 else 0.0
    start = room + rng.normal(0.0, 0.8)
    fore, after = float(round(rng.uniform(120.0, 300.0))), rng.uniform(480.0, 900.0)
    lag, noise = log_uniform(rng, 1.0, 8.0), log_uniform(rng, 0.003, 0.02)
    every = float(rng.choice([1.0, 2.0, 5.0]))
    poured = family in {"fast", "mixing"}
    liquid = whole - wall
    added = liquid * rng.uniform(0.35, 0.6) if poured else liquid * rng.uniform(0.01, 0.05)
    ends = log_uniform(rng, 20.0, 90.0 if family == "slow" else 120.0)
    steeper = log_uniform(rng, 0.02, 0.8) if family == "pellets" else 0.0
    rise = {
        "fast": rng.uniform(3.0, 13.0), "mixing": 0.0,
        "slow": -rng.uniform(2.0, 8.0), "pellets": rng.uniform(20.0, 55.0),
    }[family]  # fmt: skip
    heat = rise * whole

    def left(s: float) -> float:
        """Share of the heat still to come, s seconds after the mixing."""
        if family == "fast":
            return math.exp(-s)
        return max(1.0 - s / ends, 0.0) ** 3 if family in {"slow", "pellets"} else 0.0

    def slopes(capacity: float, begun: bool) -> object:
        def at(t: float, y: FloatArray) -> list[float]:
            T, T_w, shown = y
            around = room + drift * t
            watts = heat * (left(t - fore - 0.01) - left(t - fore + 0.01)) / 0.02 if begun else 0.0
            through = wall * (T - T_w) / tau
            out_liquid = 0.0 if outside else loss * (T - around)
            out_liquid *= 1.0 + steeper * max(T - around, 0.0) / 20.0
            out_wall = loss * (T_w - around) if outside else 0.0
            return [
                (watts - through - out_liquid) / capacity, (through - out_wall) / wall,
                (T - shown) / lag,
            ]  # fmt: skip

        return at

    time_s = np.arange(0.0, fore + after, every)
    how = {"method": "LSODA", "rtol": 1e-8, "atol": 1e-8, "max_step": 1.0}
    fore_s = time_s[time_s < fore]
    before = solve_ivp(
        slopes(liquid - added, False), (0.0, fore), [start] * 3, t_eval=np.append(fore_s, fore), **how
    )  # fmt: skip
    T, T_w, shown = before.y[:, -1]
    added_C = T + (rng.uniform(20.0, 35.0) if family == "mixing" else 0.0)
    mixed = ((liquid - added) * T + added * added_C) / liquid
    later = solve_ivp(
        slopes(liquid, True), (fore, time_s[-1]), [mixed, T_w, shown],
        t_eval=time_s[time_s >= fore], **how,
    )  # fmt: skip
    readings = np.concatenate([before.y[2, :-1], later.y[2]])
    return Judged(
        judge="bodies",
        family=family,
        seed=seed,
        vessel="cup",
        lid="hole" if family == "pellets" else "tight",
        time_s=time_s,
        raw_C=readings + rng.normal(0.0, noise, len(readings)),
        mixed_at_s=fore,
        true_before_C=float(T),
        true_rise_K=(heat + added * (added_C - float(T))) / whole,
        heat_J=heat,
        liquid_J_per_K=liquid,
        added_J_per_K=added,
        added_C=float(added_C),
        constant_J_per_K=wall,
        steady_constant_J_per_K=wall / (1.0 + loss * tau / wall) if outside else wall,
        capacity_ratio=(whole - added) / whole,
        loss_W_per_K=loss,
        room_C=room + drift * fore,
    )
