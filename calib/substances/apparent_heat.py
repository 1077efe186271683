"""What a solute adds to a solution's heat capacity, by the best way there is for it.

The order: published data where handbooks show the correlation off; Laliberté's correlation in its
range; the same carried on beyond its range; ions at infinite dilution with the usual growth; water
share. Each answer carries the uncertainty of c that comes with it, the way taken, and a sentence.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

from calib.estimate import Kind
from calib.substances import laliberte, published, spreads
from calib.substances.formula import molar_mass
from calib.substances.names import is_saltlike
from calib.substances.species import charge_factor, standard_cp

FEW_POINTS = 12
"""Below this number of fitted points a correlation is weighed against the ions."""
DOUBTED = {
    "NaHCOO": "the correlation lies 200 J/(mol K) above the ions and above potassium formate",
}
REPLACED = {
    "NH3": "3 % below Perry's and Melinder's tables at 10 % by mass",
    "H2O2": "4 points, far from makers' tables",
    "C2H5OH": "2 % above Perry's and Melinder's tables at 5 to 10 % by mass",
    "CuSO4": "4 points at 18 °C, below Perry's table",
    "Li2SO4": "runs away below 1 % by mass",
}
"""Correlations that are not used at all, and why."""
LOWEST_FRACTION = 0.002
"""Mass fraction below which the correlation's value is held: some of its powers of W run away."""
U_DOUBTED_J_PER_MOLK = 80.0


@dataclass(frozen=True, slots=True)
class Share:
    """One solute's apparent specific heat capacity. [J/(g K)]

    ``u`` is its own standard uncertainty; what it does to the solution's c is w·u.
    """

    value: float
    u: float
    kind: Kind
    source: str


def apparent_heat(formula: str, w: float, W: float, strength: float, t_C: float) -> Share:
    """Apparent specific heat capacity of a solute in a solution. [J/(g K)]

    w: its own mass fraction; W: mass fraction of all solutes; strength: ionic
    strength [mol/kg]; t [°C].
    """
    own = _correlation(formula, w, W, strength, t_C)
    ions = _ion_additive(formula, strength, t_C)
    if own is not None and ions is not None and _is_thin(formula):
        own = _weighed(own, ions, molar_mass(formula).value)
    start = own or ions
    points = published.points(formula)
    if points and (found := _from_points(formula, points, start, W, strength, t_C)):
        return found
    return start or _share(formula, w)


def _is_thin(formula: str) -> bool:
    known = laliberte.heat_capacity_coefficients(formula)
    return known is not None and (known.range.points < FEW_POINTS or formula in DOUBTED)


def _correlation(formula: str, w: float, W: float, strength: float, t_C: float) -> Share | None:
    known = laliberte.heat_capacity_coefficients(formula)
    if known is None or formula in REPLACED:
        return None
    limits, Z, M = known.range, charge_factor(formula), molar_mass(formula).value
    W_in = min(W, limits.w_max)
    t_in = min(max(t_C, limits.t_min_C), limits.t_max_C)
    floor = min(LOWEST_FRACTION, limits.w_max)
    value = laliberte.apparent_cp_J_per_gK(known, max(W_in, floor), t_in)
    one_one = Z == 1.0 and formula != "H2SO4"
    u = laliberte.u_cp(known.range, W_in, one_one=one_one) / max(W_in, 1e-6)
    if limits.holds(W, t_C):
        return Share(value, u, "correlation", f"{laliberte.SOURCE}, in its range ({limits})")
    shift = spreads.heat_shift_with_temperature(Z, M, t_in, t_C)
    u = hypot(u, spreads.u_heat_shift(Z, shift))
    if W_in < W:
        strength_in = 1000.0 * W_in / (1.0 - W_in) / M * Z if W_in < 1.0 else strength
        value += _growth(Z, max(strength, strength_in), M) - _growth(Z, strength_in, M)
        u = hypot(u, spreads.u_beyond_range(W - W_in) / max(w, 1e-6))
    return Share(
        value + shift,
        u,
        "extrapolated",
        f"{laliberte.SOURCE}, carried on beyond its range ({limits})",
    )


def _growth(Z: float, strength: float, M: float) -> float:
    return spreads.growth(spreads.HEAT_GROWTH, Z, strength) / M


def _ion_additive(formula: str, strength: float, t_C: float) -> Share | None:
    standard = standard_cp(formula)
    if standard is None or formula == "H2SO4":  # half dissociated: neither ions nor molecule
        return None
    Z, M = charge_factor(formula), molar_mass(formula).value
    shift = spreads.heat_shift_with_temperature(Z, M, 25.0, t_C)
    u = hypot(spreads.u_ion_additive_heat(Z, strength) / M, spreads.u_heat_shift(Z, shift))
    what = "ions" if Z else "molecule"
    value = standard.value / M + _growth(Z, strength, M) + shift
    return Share(value, u, "ion-additive", f"{what} at infinite dilution ({standard.source})")


def _weighed(own: Share, ions: Share, M: float) -> Share:
    """Mean by inverse variance; widened where the two differ by more than they should."""
    u_own = max(own.u, U_DOUBTED_J_PER_MOLK / M)
    weight = ions.u**2 / (ions.u**2 + u_own**2)
    value = weight * own.value + (1.0 - weight) * ions.value
    u = u_own * ions.u / hypot(u_own, ions.u)
    misfit = abs(own.value - ions.value) / hypot(u_own, ions.u)
    source = f"{own.source}, few or doubted data, weighed against {ions.source}"
    return Share(value, u * max(1.0, misfit), "extrapolated", source)


def _from_points(
    formula: str,
    points: tuple[published.Point, ...],
    start: Share | None,
    W: float,
    strength: float,
    t_C: float,
) -> Share | None:
    """Published points, joined below the first to whatever holds for lighter solutions."""
    known = laliberte.heat_capacity_coefficients(formula)
    limit = known.range.w_max if known and formula not in REPLACED else 0.0
    if start is None or limit >= W or (points[0].trust < 1.0 and W < 1e-4):
        return None
    edge = (limit and _correlation(formula, limit, limit, strength, t_C)) or start
    u_edge = edge.u if limit else min(edge.u, points[0].u_apparent)
    first = replace(points[0], w=limit, t_C=t_C, u_apparent=u_edge, apparent_cp=edge.value)
    rail = (first, *points)
    left = max((p for p in rail[:-1] if p.w <= W), key=lambda p: p.w, default=rail[0])
    right = rail[rail.index(left) + 1]
    at = published.between(left, right, W)
    value = at.apparent_cp + at.slope * (t_C - at.t_C)
    u = hypot(at.u_apparent, 0.5 * at.slope * (t_C - at.t_C))
    if points[-1].w < W:
        u = hypot(u, spreads.u_beyond_range(W - points[-1].w) / W)
    if at.trust < 1.0:
        apart = abs(value - start.value)
        value = at.trust * value + (1.0 - at.trust) * start.value
        text = f"{start.source}, and with weight {at.trust:g} {at.source}, which contradicts it"
        return Share(value, hypot(start.u, 0.45 * apart), "ion-additive", text)
    return Share(value, u, "published", at.source)


def _share(formula: str, w: float) -> Share:
    if is_saltlike(formula):
        return Share(0.0, spreads.u_share_heat(w), "water-share", "water share")
    mean, u = spreads.MOLECULE_SHARE
    return Share(mean, u, "water-share", "water share and the mean of known molecules")
