"""Measure on known solutes how far each estimate of heat capacity and density goes wrong.

Known: the solutes of Laliberté's correlations, in their ranges, with 12 points or more, at 25 °C.
The numbers found here stand in :mod:`calib.substances.spreads`; tests compare the two.
Run from the repository: ``python -m calib.substances.measure_spreads``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from calib.substances import laliberte, spreads
from calib.substances.formula import molar_mass
from calib.substances.names import ions_of, is_saltlike
from calib.substances.species import charge_factor, standard_cp, standard_volume

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

Property = Literal["cp", "rho"]
MOLALITIES = (0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0)
LEFT_OUT = {"NaHCOO", "H2SO4", "Na3PO4", "NaHSO4", "Li2SO4", "NaHS"}
"""Doubted data (NaHCOO, Li2SO4), or ions that react with water or with each other."""


@dataclass(frozen=True, slots=True)
class Known:
    """One known solution: φ - φ° [J/(mol K) or cm³/mol] at a molality."""

    formula: str
    molality: float
    Z: float
    M: float
    growth: float

    @property
    def strength(self) -> float:
        """Ionic strength. [mol/kg]"""
        return self.molality * self.Z


def _coefficients(formula: str, kind: Property) -> laliberte.Coefficients | None:
    if kind == "cp":
        return laliberte.heat_capacity_coefficients(formula)
    return laliberte.density_coefficients(formula)


def _is_fit(formula: str, kind: Property) -> bool:
    known = _coefficients(formula, kind)
    if known is None or formula in LEFT_OUT:
        return False
    at_25 = known.range.t_min_C <= 25.2 and known.range.t_max_C >= 24.7
    return known.range.points >= 12 and at_25


def known_solutions(kind: Property) -> list[Known]:
    """Electrolytes whose ions are tabulated, at each molality inside the correlation's range."""
    found = []
    for formula in laliberte.solutes(kind):
        standard = standard_cp(formula) if kind == "cp" else standard_volume(formula)
        known = _coefficients(formula, kind)
        if known is None or standard is None or not ions_of(formula) or not _is_fit(formula, kind):
            continue
        M, Z = molar_mass(formula).value, charge_factor(formula)
        for m in MOLALITIES:
            w = m * M / (1000.0 + m * M)
            if w <= known.range.w_max:
                phi = M * (
                    laliberte.apparent_cp_J_per_gK(known, w, 25.0)
                    if kind == "cp"
                    else 1.0 / laliberte.apparent_density_g_per_mL(known, w, 25.0)
                )
                found.append(Known(formula, m, Z, M, phi - standard.value))
    return found


def fit_growth(kind: Property) -> tuple[float, float, float, float]:
    """s, b, k, p of :func:`calib.substances.spreads.growth`, each solute counting alike."""
    from scipy.optimize import least_squares

    rows = known_solutions(kind)
    strength, Z, y = (
        np.array([getattr(r, name) for r in rows]) for name in ("strength", "Z", "growth")
    )
    names = [r.formula for r in rows]
    weight = np.array([names.count(n) ** -0.5 for n in names])

    def residual(x: FloatArray) -> FloatArray:
        s, b, k, p = x
        root = np.sqrt(strength)
        return np.asarray((s * Z**p * root / (1 + b * root) + k * strength - y) * weight)

    start, scale = ([45, 0.2, 3, 0.7], 15) if kind == "cp" else ([1.9, 0.2, 0, 1], 2)
    s, b, k, p = least_squares(residual, start, loss="soft_l1", f_scale=scale).x
    return float(s), float(b), float(k), float(p)


def ion_additive_coverage(kind: Property) -> float:
    """Share of the known solutions that lie within two standard uncertainties of the ions."""
    parameters = spreads.HEAT_GROWTH if kind == "cp" else spreads.VOLUME_GROWTH
    inside = []
    for r in known_solutions(kind):
        off = abs(r.growth - spreads.growth(parameters, r.Z, r.strength))
        u = (
            spreads.u_ion_additive_heat(r.Z, r.strength)
            if kind == "cp"
            else spreads.u_ion_additive_volume(r.Z)
        )
        inside.append(off <= 2.0 * u)
    return float(np.mean(inside))


def water_share_spread(w: float) -> tuple[float, float, int]:
    """What water share takes for zero: mean and rms of the salts' apparent specific heat capacity
    [J/(g K)] at a mass fraction, and the number of salts (each nearest to 25 °C in its range)."""
    values = []
    for formula in laliberte.solutes("cp"):
        known = laliberte.heat_capacity_coefficients(formula)
        if known and known.range.w_max >= w and is_saltlike(formula):
            t_C = min(max(25.0, known.range.t_min_C), known.range.t_max_C)
            values.append(laliberte.apparent_cp_J_per_gK(known, w, t_C))
    array = np.array(values)
    return float(array.mean()), float(np.sqrt((array**2).mean())), array.size


def beyond_range_spread(w_from: float, w_to: float) -> tuple[float, float, int]:
    """Mean and rms error of c [J/(g K)] at ``w_to`` when every known salt's correlation is cut at
    ``w_from`` and carried on by growth; and the number of salts."""
    errors = []
    for formula in laliberte.solutes("cp"):
        known = laliberte.heat_capacity_coefficients(formula)
        Z = charge_factor(formula)
        if known is None or not Z or known.range.w_max < w_to or not _is_fit(formula, "cp"):
            continue
        M = molar_mass(formula).value
        low, high = (1000.0 * w / (1.0 - w) / M * Z for w in (w_from, w_to))
        rise = spreads.growth(spreads.HEAT_GROWTH, Z, high)
        rise -= spreads.growth(spreads.HEAT_GROWTH, Z, low)
        cut = laliberte.apparent_cp_J_per_gK(known, w_from, 25.0) + rise / M
        errors.append(w_to * (cut - laliberte.apparent_cp_J_per_gK(known, w_to, 25.0)))
    array = np.array(errors)
    return float(array.mean()), float(np.sqrt((array**2).mean())), array.size


def main() -> None:
    """Print the measurements."""
    kinds: tuple[Property, ...] = ("cp", "rho")
    for kind in kinds:
        solutes = {r.formula for r in known_solutions(kind)}
        print(f"{kind}: growth from {len(solutes)} salts: {np.round(fit_growth(kind), 3)}")
        print(f"    within two standard uncertainties: {100 * ion_additive_coverage(kind):.1f} %")
    for w in (0.02, 0.05, 0.1, 0.15, 0.2, 0.3):
        mean, rms, n = water_share_spread(w)
        print(f"water share, w = {w:g}: mean {mean:+.2f}, rms {rms:.2f} J/(g K) of {n} salts;")
        print(f"    error of c: {w * rms:.3f} J/(g K)")
    for pair in ((0.03, 0.1), (0.065, 0.1), (0.065, 0.2), (0.1, 0.25)):
        mean, rms, n = beyond_range_spread(*pair)
        print(
            f"cut at {pair[0]:g}, carried to {pair[1]:g}: {mean:+.3f}, rms {rms:.3f} of {n} salts"
        )


if __name__ == "__main__":
    main()
