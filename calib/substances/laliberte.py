"""Laliberté's correlations for the density and heat capacity of aqueous solutions.

    1/ρ = w_w/ρ_w + Σ w_i/ρ_i        c = w_w c_w + Σ w_i c_i
    ρ_i = (c0 W + c1) exp(1e-6 (t + c4)²)/(W + c2 + c3 t)
    c_i = a1 exp(a2 t + a3 exp(0.01 t) + a4 W) + a5 W^a6

w_w, w_i: mass fractions of water and solutes; W = 1 - w_w; t [°C]; ρ [kg/m³]; c [J/(g K)].

Sources: M. Laliberté, W. E. Cooper, J. Chem. Eng. Data 49 (2004) 1141; M. Laliberté, J. Chem. Eng.
Data 54 (2009) 1725. Coefficients as coded in the library chemicals (MIT licence). Water's own
properties are those of :mod:`calib.substances.water`, so that an empty solution is exactly water.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import exp

from calib.substances import tables

SOURCE = "Laliberté correlation"
U_CP_ONE_ONE, U_CP_OTHER, U_CP_FEW = 0.010, 0.020, 0.025
"""Standard uncertainty of c in range [J/(g K)]: 1-1 electrolytes fitted to 100 points or more;
other solutes with 50 or more; the rest.

The correlation's own standard deviation from its data is 0.010 J/(g K) (abstract of J. Chem. Eng.
Data 54 (2009) 1725). Independent tables differ from it by 0.004 to 0.010 for most 1-1 electrolytes
and by 0.02 to 0.03 for magnesium and calcium chloride and sulfuric acid;
``tests/benchmarks/published_checks.py`` measures it, each solute judged by what the others say.
"""


@dataclass(frozen=True, slots=True)
class Range:
    """What the coefficients were fitted to: temperatures, largest mass fraction, points."""

    t_min_C: float
    t_max_C: float
    w_max: float
    points: int

    def holds(self, w: float, t_C: float) -> bool:
        """Whether mass fraction and temperature lie inside (to 1e-9)."""
        return w <= self.w_max + 1e-9 and self.t_min_C - 1e-9 <= t_C <= self.t_max_C + 1e-9

    def __str__(self) -> str:
        span = f"{self.t_min_C:g} to {self.t_max_C:g} °C" if self.t_max_C > self.t_min_C else (
            f"{self.t_min_C:g} °C only")  # fmt: skip
        return f"up to {100 * self.w_max:.3g} % by mass, {span}, {self.points} points"


def u_cp(limits: Range, W: float, *, one_one: bool) -> float:
    """Standard uncertainty of a solution's c in range; zero without solute. [J/(g K)]

    ``one_one``: a 1-1 electrolyte.
    """
    full = U_CP_OTHER if limits.points >= 50 else U_CP_FEW
    if one_one and limits.points >= 100:
        full = U_CP_ONE_ONE
    return full * (1.0 - exp(-W / 0.04))


@dataclass(frozen=True, slots=True)
class Coefficients:
    """One property of one solute: the formula's coefficients and their range."""

    values: tuple[float, ...]
    range: Range


@cache
def _table(kind: str) -> dict[str, Coefficients]:
    names = {"rho": ("c0", "c1", "c2", "c3", "c4"), "cp": ("a1", "a2", "a3", "a4", "a5", "a6")}[
        kind
    ]
    found = {}
    for row in tables.rows("laliberte"):
        if row[names[0]]:
            limits = [float(row[f"{kind}_{key}"]) for key in ("tmin_C", "tmax_C", "wmax", "points")]
            where = Range(limits[0], limits[1], limits[2], int(limits[3]))
            found[row["formula"]] = Coefficients(tuple(float(row[n]) for n in names), where)
    return found


def heat_capacity_coefficients(formula: str) -> Coefficients | None:
    """Coefficients a1..a6, or ``None`` where the correlation has none for this solute."""
    return _table("cp").get(formula)


def density_coefficients(formula: str) -> Coefficients | None:
    """Coefficients c0..c4, or ``None`` where the correlation has none for this solute."""
    return _table("rho").get(formula)


def solutes(kind: str = "cp") -> tuple[str, ...]:
    """The solutes with coefficients for ``cp`` or ``rho``."""
    return tuple(_table(kind))


def apparent_cp_J_per_gK(coefficients: Coefficients, W: float, t_C: float) -> float:
    """Apparent specific heat capacity c_i of a solute; W: mass fraction of all. [J/(g K)]"""
    a1, a2, a3, a4, a5, a6 = coefficients.values
    return a1 * exp(a2 * t_C + a3 * exp(0.01 * t_C) + a4 * W) + a5 * float(W**a6)


def apparent_density_g_per_mL(coefficients: Coefficients, W: float, t_C: float) -> float:
    """Apparent density ρ_i of a solute; W: mass fraction of all solutes. [g/mL]"""
    c0, c1, c2, c3, c4 = coefficients.values
    return (c0 * W + c1) * exp(1e-6 * (t_C + c4) ** 2) / (W + c2 + c3 * t_C) / 1000.0
