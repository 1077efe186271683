"""Heat capacities of solutions where handbooks show the correlation off, or where there is none.

``data/published_solutions.tsv`` holds points (mass fraction, temperature, heat capacity and its
standard uncertainty, source). Between points the solute's apparent specific heat capacity,

    c_s = (c - (1 - w) c_w)/w

is interpolated linearly in w; past the last point it is held. ``trust`` below 1 marks a value that
contradicts the ions of the same salt: it then counts with that weight against the ion-additive
value, and the contradiction widens the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from calib.substances import tables, water


@dataclass(frozen=True, slots=True)
class Point:
    """One published solution, its solute's apparent heat capacity worked out. [J/(g K)]"""

    w: float
    t_C: float
    apparent_cp: float
    u_apparent: float
    trust: float
    slope: float
    source: str


@cache
def _points() -> dict[str, tuple[Point, ...]]:
    found: dict[str, list[Point]] = {}
    for row in tables.rows("published_solutions"):
        w, t_C, cp = float(row["w"]), float(row["t_C"]), float(row["cp_J_per_gK"])
        apparent = (cp - (1.0 - w) * water.cp_J_per_gK(t_C)) / w
        point = Point(
            w,
            t_C,
            apparent,
            float(row["u"]) / w,
            float(row["trust"]),
            float(row["slope"]),
            row["source"],
        )
        found.setdefault(row["formula"], []).append(point)
    return {formula: tuple(sorted(ps, key=lambda p: p.w)) for formula, ps in found.items()}


@cache
def volumes(formula: str) -> tuple[tuple[float, float, float, str], ...]:
    """Published densities past a correlation's range, as apparent specific volumes of the solute.

    Rows of (mass fraction, volume [mL/g], its standard uncertainty, source), lightest first.
    """
    found = []
    for row in tables.rows("published_densities"):
        if row["formula"] == formula:
            w, t_C, rho = float(row["w"]), float(row["t_C"]), float(row["density_g_per_mL"])
            volume = (1.0 / rho - (1.0 - w) / water.density_g_per_mL(t_C)) / w
            found.append((w, volume, float(row["u"]) / rho**2 / w, row["source"]))
    return tuple(sorted(found))


def points(formula: str) -> tuple[Point, ...]:
    """The published points of a solute, lightest first; empty where there are none."""
    return _points().get(formula, ())


def between(left: Point, right: Point, W: float) -> Point:
    """The point on the straight line from ``left`` to ``right`` at mass fraction W."""
    share = 0.0 if right.w == left.w else min(max((W - left.w) / (right.w - left.w), 0.0), 1.0)

    def mean(a: float, b: float) -> float:
        return a + share * (b - a)

    return Point(
        W,
        mean(left.t_C, right.t_C),
        mean(left.apparent_cp, right.apparent_cp),
        mean(left.u_apparent, right.u_apparent),
        min(left.trust, right.trust),
        mean(left.slope, right.slope),
        left.source if share < 0.5 else right.source,
    )
