"""Heat capacity and density of aqueous solutions, each with its own uncertainty.

    c = w_w c_w + Σ w_i c_i        1/ρ = w_w/ρ_w + Σ w_i v_i

w: mass fractions; c_i, v_i: a solute's apparent specific heat capacity [J/(g K)] and volume [mL/g],
from :mod:`calib.substances.apparent_heat` and :mod:`calib.substances.apparent_volume`. The solutes'
uncertainties are taken as independent. In a mixture of solutes each is taken at the total mass
fraction, as in Laliberté's model, whose spread on 13 published mixtures was 0.029 J/(g K) against
0.010 for single solutes (J. Chem. Eng. Data 54 (2009) 1725, abstract): the difference is added.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
from math import hypot, sqrt

from calib.errors import SubstanceError
from calib.estimate import Estimate, Kind
from calib.substances import water
from calib.substances.apparent_heat import Share, apparent_heat
from calib.substances.apparent_volume import apparent_volume
from calib.substances.composition import Composition, mix
from calib.substances.formula import molar_mass, normalise
from calib.substances.names import usual_state
from calib.substances.species import ionic_strength

__all__ = ["Composition", "density", "from_molarity", "heat_capacity", "mix"]

U_MIXING_J_PER_GK = 0.027
"""√(0.029² - 0.010²), reached where the lesser solutes make up a tenth of the liquid."""
U_MIXING_ML_PER_G = 0.0005
_WORST_FIRST: tuple[Kind, ...] = (
    "water-share",
    "ion-additive",
    "extrapolated",
    "published",
    "correlation",
)


def _shares(
    liquid: Composition, t_C: float, of: Callable[[str, float, float, float, float], Share]
) -> list[tuple[str, float, Share]]:
    if liquid.water_g <= 0.0:
        msg = "a liquid without water is no aqueous solution; its heat capacity is not known here"
        raise SubstanceError(msg)
    W, strength = 1.0 - liquid.water_g / liquid.total_g, ionic_strength(liquid)
    return [(f, w, of(f, w, W, strength, t_C)) for f, w in liquid.mass_fractions.items()]


def _kind(shares: Iterable[tuple[str, float, Share]]) -> Kind:
    kinds = {share.kind for _, _, share in shares} or {"correlation"}
    return next(kind for kind in _WORST_FIRST if kind in kinds)


def _words(shares: Iterable[tuple[str, float, Share]]) -> str:
    return "; ".join([f"water: {water.SOURCE}", *(f"{f}: {s.source}" for f, _, s in shares)])


def _lesser(liquid: Composition) -> float:
    """Mass fraction of all solutes but the chief one."""
    fractions = liquid.mass_fractions.values()
    return sum(fractions) - max(fractions, default=0.0)


@lru_cache(maxsize=4096)
def heat_capacity(composition: Composition, t_C: float) -> Estimate:
    """Specific heat capacity of a solution at constant pressure. [J/(g K)]

    t_C: 0 to 99 °C. Raises SubstanceError outside, or where there is no water.

    >>> round(heat_capacity(Composition(1000.0, {"NaCl": 58.44}), 25.0).value, 3)
    3.912
    """
    shares = _shares(composition, t_C, apparent_heat)
    w_water = composition.water_g / composition.total_g
    value = w_water * water.cp_J_per_gK(t_C) + sum(w * s.value for _, w, s in shares)
    u = sqrt((w_water * water.U_CP_J_PER_GK) ** 2 + sum((w * s.u) ** 2 for _, w, s in shares))
    u = hypot(u, U_MIXING_J_PER_GK * min(1.0, _lesser(composition) / 0.1))
    return Estimate(value, u, "J/(g K)", _words(shares), _kind(shares))


@lru_cache(maxsize=4096)
def density(composition: Composition, t_C: float) -> Estimate:
    """Density of a solution. [g/mL]

    t_C: 0 to 99 °C. Raises SubstanceError outside, or where there is no water.

    >>> round(density(Composition(1000.0, {"NaCl": 58.44}), 25.0).value, 4)
    1.0361
    """
    return _density(composition, t_C)


def _density(composition: Composition, t_C: float) -> Estimate:
    shares = _shares(composition, t_C, apparent_volume)
    w_water = composition.water_g / composition.total_g
    volume = w_water / water.density_g_per_mL(t_C) + sum(w * s.value for _, w, s in shares)
    u = sqrt(sum((w * s.u) ** 2 for _, w, s in shares) + 1e-10)
    u = hypot(u, U_MIXING_ML_PER_G * min(1.0, _lesser(composition) / 0.1))
    return Estimate(1.0 / volume, u / volume**2, "g/mL", _words(shares), _kind(shares))


def from_molarity(
    formula: str,
    mol_per_L: float,
    *,
    volume_mL: float | None = None,
    mass_g: float | None = None,
    t_C: float,
) -> Composition:
    """The composition of a solution of one solute, from its concentration and volume or mass.

    mol_per_L: at the temperature t_C, at which the volume was measured too.
    Raises SubstanceError where neither or both amounts are given, where a number is negative, or
    where the concentration is more than can be.

    >>> round(from_molarity("NaOH", 2.0, volume_mL=50.0, t_C=25.0).total_g, 2)
    53.93
    """
    if (volume_mL is None) == (mass_g is None):
        msg = "give either the volume or the mass of the solution, not both"
        raise SubstanceError(msg)
    amount = mass_g if volume_mL is None else volume_mL
    if not mol_per_L >= 0.0 or amount is None or not amount >= 0.0:
        msg = f"a concentration of {mol_per_L:g} mol/L and an amount of {amount:g} cannot be"
        raise SubstanceError(msg)
    liquid, rho = _one_mL(normalise(formula), mol_per_L, t_C)
    return liquid.scaled_to(amount if volume_mL is None else rho * amount)


@lru_cache(maxsize=1024)
def _one_mL(solute: str, mol_per_L: float, t_C: float) -> tuple[Composition, float]:
    """One millilitre, and its mass: the density that agrees with its own composition.

    density(ρ) - ρ falls steadily as water is added at a given mass of solute.
    """
    grams = mol_per_L * molar_mass(solute).value / 1000.0
    if solute == "H2O" or grams == 0.0:
        rho = water.density_g_per_mL(t_C)
        return Composition(rho), rho

    def excess(rho: float) -> float:
        liquid = Composition(max(rho - grams, 1e-9), {solute: grams})
        return _density(liquid, t_C).value - rho

    rho = _zero_of(excess, grams, grams + 1.2)
    solid = usual_state(solute) == "s"
    if (
        grams / rho > 0.85
        if solid
        else rho == grams and density(_dry(solute), t_C).value < 0.99 * grams
    ):
        msg = (
            f"{mol_per_L:g} mol/L of {solute} cannot be: a litre would hold {1000.0 * grams:.0f} g "
            "of it and next to no water; check the concentration and its unit"
        )
        raise SubstanceError(msg)
    return Composition(rho - grams, {solute: grams}), rho


def _zero_of(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function is zero, by the secant kept between two bounds (Illinois rule).

    ``low`` where it is below zero already there; exact to 1e-10.
    """
    f_low, f_high, side = falling(low), falling(high), 0
    while f_low > 0.0 and high - low > 1e-10:
        x = (low * f_high - high * f_low) / (f_high - f_low)
        f = falling(x)
        if abs(f) < 1e-10:
            return x
        if f > 0.0:
            low, f_low, f_high, side = x, f, f_high / (2.0 if side > 0 else 1.0), 1
        else:
            high, f_high, f_low, side = x, f, f_low / (2.0 if side < 0 else 1.0), -1
    return low


def _dry(solute: str) -> Composition:
    """The pure liquid, with a trace of water so that it counts as a solution."""
    return Composition(1e-6, {solute: 1.0})
