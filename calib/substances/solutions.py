"""Heat capacity and density of aqueous solutions, each with its own uncertainty.

    c = w_w c_w + Σ w_i c_i        1/ρ = w_w/ρ_w + Σ w_i v_i

w: mass fractions; c_i, v_i: a solute's apparent specific heat capacity [J/(g K)], volume [mL/g].
"""

from __future__ import annotations

from math import sqrt

from calib.errors import SubstanceError
from calib.estimate import Estimate, Kind
from calib.substances import laliberte, water
from calib.substances.composition import Composition, mix
from calib.substances.formula import molar_mass, normalise

__all__ = ["Composition", "density", "from_molarity", "heat_capacity", "mix"]


def _solute_cp(formula: str, W: float, w: float, t_C: float) -> tuple[float, float, Kind, str]:
    known = laliberte.heat_capacity_coefficients(formula)
    if known:
        inside = known.range.holds(W, t_C)
        value = laliberte.apparent_cp_J_per_gK(known, W, t_C)
        u = 0.010 * min(1.0, W / 0.05) if inside else 0.02 + 0.3 * w
        kind: Kind = "correlation" if inside else "extrapolated"
        return value, u, kind, laliberte.SOURCE
    return 0.0, 0.8 * w, "water-share", "water share"


def heat_capacity(composition: Composition, t_C: float) -> Estimate:
    """Specific heat capacity of a solution. [J/(g K)]"""
    W = 1.0 - composition.water_g / composition.total_g
    value = (1.0 - W) * water.cp_J_per_gK(t_C)
    variance, kinds, sources = water.U_CP_J_PER_GK**2, ["correlation"], [water.SOURCE]
    for formula, w in composition.mass_fractions.items():
        c, u, kind, source = _solute_cp(formula, W, w, t_C)
        value, variance = value + w * c, variance + u**2
        kinds.append(kind)
        sources.append(f"{formula}: {source}")
    order: tuple[Kind, ...] = ("water-share", "extrapolated", "correlation")
    worst = next(kind for kind in order if kind in kinds)
    return Estimate(value, sqrt(variance), "J/(g K)", "; ".join(sources), worst)


def density(composition: Composition, t_C: float) -> Estimate:
    """Density of a solution. [g/mL]"""
    W = 1.0 - composition.water_g / composition.total_g
    volume = (1.0 - W) / water.density_g_per_mL(t_C)
    u = 0.0
    for formula, w in composition.mass_fractions.items():
        known = laliberte.density_coefficients(formula)
        if known:
            volume += w / laliberte.apparent_density_g_per_mL(known, W, t_C)
            u += 0.0005 if known.range.holds(W, t_C) else 0.002
        else:
            volume += w * 0.45
            u += 0.1 * w
    return Estimate(1.0 / volume, u / volume**2, "g/mL", "Laliberté correlation", "correlation")


def from_molarity(
    formula: str,
    mol_per_L: float,
    *,
    volume_mL: float | None = None,
    mass_g: float | None = None,
    t_C: float,
) -> Composition:
    """The composition of a solution given by its concentration and its volume or mass."""
    if (volume_mL is None) == (mass_g is None):
        msg = "give either the volume or the mass of the solution"
        raise SubstanceError(msg)
    solute = normalise(formula)
    per_mL = mol_per_L * molar_mass(solute).value / 1000.0
    rho = water.density_g_per_mL(t_C)
    for _ in range(60):
        if per_mL >= rho:
            msg = f"{mol_per_L:g} mol/L of {solute} cannot be: that is more solute than solution"
            raise SubstanceError(msg)
        rho, old = density(Composition(rho - per_mL, {solute: per_mL}), t_C).value, rho
        if abs(rho - old) < 1e-10:
            break
    liquid = Composition(rho - per_mL, {solute: per_mL})
    total = mass_g if mass_g is not None else rho * (volume_mL or 0.0)
    return liquid.scaled_to(total)
