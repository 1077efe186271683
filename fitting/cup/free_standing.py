"""Vessels that stand free, without insulation: rates and walls from materials and geometry.

The air takes h A from a bare wall, h = 9 ± 2 W/(m² K) for free convection and radiation together
(4 and 5 to 6; a shiny metal radiates little: 5 ± 1.5), A the wetted side. A content of heat
capacity C cools at k = (h A + G_top)/C, with G_top = 0.04 W/K from the surface under a loose cover.
For the usual 150 mL (d = 7 cm, 4 cm high): A = π d h' + π d²/8 = 88 + 19 cm² (half of the bottom,
which stands on the bench), C = 650 J/K.

A wall of thickness L, density ρ and specific heat c holds ρ c L A. It is fed by the liquid with
400 W/(m² K) (stirred) in series with half of itself, L/(2 λ): its time constant is

    τ = ρ c L [1/400 + L/(2 λ)].

(ρ, c, λ from handbooks, from memory: borosilicate glass 2.23 g/cm³, 0.83 J/(g K), 1.1 W/(m K);
polypropylene 0.91, 1.7, 0.2; steel 7.9, 0.5, 15; paper board 0.8, 1.4, 0.12. The heat transfer
coefficients are common practice, no source.)
"""

from __future__ import annotations

from fitting.cup.fact import JUDGEMENT, Fact, Vessel, wall_of

SIDE_M2 = 1.07e-2
CONTENT_J_PER_K = 650.0
TOP_W_PER_K = 0.04
STIRRED_W_PER_M2K = 400.0
MATERIALS = "materials and geometry (see fitting.cup.free_standing)"


def rate_of(air_W_per_m2K: float) -> float:
    """Cooling rate k of the usual filling in a bare vessel. [1/s]

    >>> round(rate_of(9.0) * 1e4, 1)
    2.1
    """
    return (air_W_per_m2K * SIDE_M2 + TOP_W_PER_K) / CONTENT_J_PER_K


def wall_of_material(
    density_g_per_cm3: float, cp_J_per_gK: float, conductivity_W_per_mK: float, thickness_mm: float
) -> tuple[float, float]:
    """A wall's heat capacity over that of content and wall, and its time constant τ [s].

    >>> share, time_s = wall_of_material(2.23, 0.83, 1.1, 1.5)
    >>> round(share, 3), round(time_s)
    (0.044, 9)
    """
    thick = thickness_mm / 1e3
    per_area = density_g_per_cm3 * 1e6 * cp_J_per_gK * thick
    own = per_area * SIDE_M2
    time_s = per_area * (1 / STIRRED_W_PER_M2K + thick / 2 / conductivity_W_per_mK)
    return own / (CONTENT_J_PER_K + own), time_s


def _bare(
    name: str, what: str, air_W_per_m2K: float, u_ln_rate: float,
    walls: tuple[tuple[str, float, tuple[float, float], float], ...],
) -> Vessel:  # fmt: skip
    """A vessel from its walls: name, weight, (share, τ of the wetted wall), spread of both.

    Nearly all of the side's loss passes through the wetted wall. Beside it stands what is dry
    above the liquid, rim, cover and probe: it is fed along the wall and by vapour, within minutes.
    """
    side = air_W_per_m2K * SIDE_M2
    through = side / (side + TOP_W_PER_K)
    wetted = tuple(
        wall_of(what, weight, (share, 0.4 * share), (time_s, spread), (0.95 * through, 0.12),
                MATERIALS, seen=False)
        for what, weight, (share, time_s), spread in walls
    )  # fmt: skip
    thickest = max(share for _, _, (share, _), _ in walls)
    dry = wall_of("dry rim, cover, probe", 0.45, (0.4 * thickest, 0.3 * thickest), (80.0, 0.7),
                  (0.3, 0.2), JUDGEMENT)  # fmt: skip
    return Vessel(
        name,
        Fact(rate_of(air_W_per_m2K), u_ln_rate, "1/s", f"cooling rate of {what}", MATERIALS,
             "log-normal"),
        Fact(1.3, 0.0, "1", f"spread of ln k of others: {what}", JUDGEMENT, "exact"),
        Fact(0.15, 0.0, "1", f"probability of such a one: {what}", JUDGEMENT, "exact"),
        (*wetted, dry),
    )  # fmt: skip


BEAKER = _bare(
    "beaker", "a beaker of glass or plastic that stands free", 9.0, 0.45,
    (("glass, 1.5 mm", 0.35, wall_of_material(2.23, 0.83, 1.1, 1.5), 0.5),
     ("plastic, 2 mm", 0.20, wall_of_material(0.91, 1.7, 0.2, 2.0), 0.5)),
)  # fmt: skip
METAL = _bare(
    "metal", "a metal mug or can that stands free", 5.0, 0.45,
    (("steel, 0.7 mm", 0.55, wall_of_material(7.9, 0.5, 15.0, 0.7), 0.5),),
)  # fmt: skip
PAPER = _bare(
    "paper", "a cup of paper board", 8.0, 0.45,
    (("paper board, 0.4 mm", 0.55, wall_of_material(0.8, 1.4, 0.12, 0.4), 0.6),),
)  # fmt: skip
