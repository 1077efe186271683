"""What a solute adds to a solution's volume, by the best way there is for it. [mL/g]"""

from __future__ import annotations

from math import exp, hypot

from calib.estimate import Kind
from calib.substances import laliberte, published, spreads
from calib.substances.apparent_heat import Share
from calib.substances.formula import molar_mass
from calib.substances.names import is_saltlike
from calib.substances.species import charge_factor, standard_volume

U_CORRELATION_G_PER_ML = ((100, 0.0014), (0, 0.0025))
"""Standard uncertainty of the density in range, by the least number of points that were fitted;
reached at about 10 % by mass. The correlation's own standard deviation from its data is 1.44 kg/m³
(abstract of Laliberté & Cooper, J. Chem. Eng. Data 49 (2004) 1141)."""
REPLACED = {"C2H5OH": "0.3 % above handbooks at 5 to 10 % by mass"}


def apparent_volume(formula: str, w: float, W: float, strength: float, t_C: float) -> Share:
    """Apparent specific volume of a solute in a solution. [mL/g]

    w: its own mass fraction; W: mass fraction of all solutes; strength: ionic
    strength [mol/kg]; t [°C].
    """
    known = laliberte.density_coefficients(formula)
    Z, M = charge_factor(formula), molar_mass(formula).value
    if known is not None:
        return _from_points(formula, known, W, t_C) or _correlation(
            known, w, W, strength, t_C, Z, M
        )
    standard = standard_volume(formula)
    if standard is not None:
        value = (standard.value + spreads.growth(spreads.VOLUME_GROWTH, Z, strength)) / M
        u = spreads.u_ion_additive_volume(Z) / M
        return Share(value, u, "ion-additive", f"volumes of species ({standard.source})")
    value, u = spreads.SALT_VOLUME if is_saltlike(formula) else spreads.MOLECULE_VOLUME
    return Share(value, u, "water-share", "mean apparent volume of known solutes")


def _from_points(formula: str, known: laliberte.Coefficients, W: float, t_C: float) -> Share | None:
    """Past the range, where a handbook has densities: the straight line between them."""
    points = published.volumes(formula)
    w_max = 0.0 if formula in REPLACED else known.range.w_max
    if not points or w_max >= W:
        return None
    edge = 1.0 / laliberte.apparent_density_g_per_mL(known, w_max, t_C) if w_max else points[0][1]
    rail = [(w_max, edge, points[0][2], laliberte.SOURCE), *points]
    right = next((p for p in rail[1:] if p[0] >= W), rail[-1])
    left = rail[rail.index(right) - 1]
    share = min((W - left[0]) / (right[0] - left[0]), 1.0)
    value = left[1] + share * (right[1] - left[1])
    return Share(value, hypot(right[2], 0.0008 * abs(t_C - 20.0)), "published", right[3])


def _correlation(
    known: laliberte.Coefficients,
    w: float,
    W: float,
    strength: float,
    t_C: float,
    Z: float,
    M: float,
) -> Share:
    limits = known.range
    W_in = min(W, limits.w_max)
    t_in = min(max(t_C, limits.t_min_C), limits.t_max_C)
    value = 1.0 / laliberte.apparent_density_g_per_mL(known, W_in, t_in)
    full = next(u for least, u in U_CORRELATION_G_PER_ML if limits.points >= least)
    u = full * (1.0 - exp(-W_in / 0.05)) * max(1.0, 4.0 * W_in) / max(W_in, 1e-6)
    if limits.holds(W, t_C):
        return Share(value, u, "correlation", f"{laliberte.SOURCE}, in its range ({limits})")
    kind: Kind = "extrapolated"
    u = hypot(u, 0.0008 * abs(t_C - t_in))
    if W_in < W:
        strength_in = 1000.0 * W_in / (1.0 - W_in) / M * Z if W_in < 1.0 else strength
        grow = spreads.growth(spreads.VOLUME_GROWTH, Z, max(strength, strength_in))
        value += (grow - spreads.growth(spreads.VOLUME_GROWTH, Z, strength_in)) / M
        u = hypot(u, 0.08 * (W - W_in) / max(w, 1e-6))
    return Share(value, u, kind, f"{laliberte.SOURCE}, carried on beyond its range ({limits})")
