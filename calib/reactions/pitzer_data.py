"""First temperature derivatives of Pitzer's parameters at 25 °C, per kelvin.

``SP78``  L. F. Silvester, K. S. Pitzer, J. Solution Chem. 7 (1978) 327, as Pitzer (1991), ch. 3,
          Tables 12 and 13 print them. For HCl, HBr, LiCl, LiBr, NaBr, KBr, NaOH, Li2SO4, SrCl2,
          CaBr2, MgBr2 and BaBr2 the file pitzer.dat of PHREEQC (US Geological Survey, public
          domain) prints the same numbers, but for dCφ/dT of HCl: positive there, which misses the
          published φ_L by 0.35 kJ/mol at 2 mol/kg; Table 12 has the negative sign.
``USGS``  temperature function of the same file, after C. A. J. Appelo, Appl. Geochem. 55 (2015) 62,
          differentiated at 298.15 K (C from F); within 55 J/mol of Archer (1999).
``CARB``  carbonates and bicarbonates as the same file lists them (F).

Each row: dβ0, dβ1, dβ2, dCφ for one formula unit, highest molality of the fit, source. Table 13
lists C = Cφ / (2 |z+ z-|^½); it is turned into Cφ here. 2-2 salts use α1 = 1.4 and α2 = 12.
"""

from __future__ import annotations

from typing import NamedTuple


class Slopes(NamedTuple):
    """dβ0/dT, dβ1/dT, dβ2/dT, dCφ/dT [1/K ...] of one salt, and where they hold."""

    b0: float
    b1: float
    b2: float
    cphi: float
    max_m: float
    source: str


# fmt: off
_ONE_ONE = {  # 1e-4, 1e-4, 1e-5
    "HCl": (-3.081, 1.419, -6.213, 4.5), "HBr": (-2.049, 4.467, -5.685, 6.0),
    "HI": (-0.230, 8.860, -7.320, 6.0), "HClO4": (4.905, 19.31, -11.77, 6.0),
    "LiCl": (-1.685, 5.366, -4.520, 6.4), "LiBr": (-1.819, 6.636, -2.813, 6.0),
    "LiClO4": (0.386, 7.009, -7.712, 4.0), "NaF": (5.361, 8.700, 0.0, 0.7),
    "NaCl": (7.159, 7.005, -10.54, 6.0), "NaBr": (7.692, 10.79, -9.300, 9.0),
    "NaI": (8.355, 8.280, -8.350, 6.0), "NaOH": (7.000, 1.340, -18.94, 4.2),
    "NaClO3": (10.35, 19.07, -9.290, 6.4), "NaClO4": (12.96, 22.97, -16.23, 6.0),
    "NaBrO3": (5.590, 34.37, 0.0, 0.1), "NaIO3": (20.66, 60.57, 0.0, 0.1),
    "NaSCN": (7.800, 20.00, 0.0, 0.1), "NaNO3": (12.66, 20.60, -23.16, 2.2),
    "KF": (2.140, 5.440, -5.950, 5.9), "KCl": (5.794, 10.71, -5.095, 4.5),
    "KBr": (7.390, 17.40, -7.004, 5.2), "KI": (9.914, 11.86, -9.440, 7.0),
    "KClO3": (19.87, 31.80, 0.0, 0.1), "KClO4": (0.600, 100.7, 0.0, 0.1),
    "KSCN": (6.870, 37.00, 0.430, 3.1), "KNO3": (2.060, 64.50, 39.70, 2.4),
    "KH2PO4": (6.045, 28.60, -10.11, 1.8), "NH4Cl": (0.779, 12.58, 2.10, 4.0),
}
_TWO_ONE = {  # 1e-3, 1e-3, C 1e-4
    "MgCl2": (-0.194, 2.78, -0.580, 2.0), "MgBr2": (-0.056, 3.86, 0.0, 0.1),
    "Mg(NO3)2": (0.515, 4.49, 0.0, 0.1), "CaCl2": (-0.561, 2.66, -0.723, 6.0),
    "CaBr2": (-0.523, 6.04, 0.0, 0.6), "Ca(NO3)2": (0.530, 9.19, 0.0, 0.1),
    "SrCl2": (0.717, 2.84, 0.0, 0.1), "Sr(NO3)2": (0.177, 12.47, 0.0, 0.2),
    "BaCl2": (0.640, 3.23, -0.540, 1.8), "BaBr2": (-0.338, 6.78, 0.0, 0.1),
    "Ba(NO3)2": (-2.910, 29.10, 0.0, 0.1), "CuCl2": (-2.710, 8.50, 0.0, 0.6),
    "Li2SO4": (0.506, 1.41, -0.825, 3.0), "Na2SO4": (2.367, 5.63, -1.725, 3.0),
    "K2SO4": (1.440, 6.70, 0.0, 0.1),
}
_TWO_TWO = {  # 1e-3, 1e-2, b2 1e-1, C 1e-3
    "MgSO4": (-0.690, 1.530, -2.53, 0.131, 2.0), "CuSO4": (-4.400, 2.380, -4.73, 1.200, 1.0),
    "ZnSO4": (-3.660, 2.330, -3.33, 0.990, 1.0), "CdSO4": (-2.790, 1.710, -5.22, 0.650, 1.0),
}
_USGS = {  # 1e-4, 1e-4, 1e-5
    "KCl": (5.778, 14.99, -6.227, 4.8),
}
_CARB = {  # 1e-3, 1e-3
    "Na2CO3": (1.79, 2.05, 0.0, 1.0), "K2CO3": (1.788, 2.051, 0.0, 1.0),
    "NaHCO3": (1.00, 1.10, 0.0, 0.5), "KHCO3": (0.996, 1.104, 0.0, 0.5),
}
# fmt: on

SP78: dict[str, Slopes] = {
    **{
        s: Slopes(a * 1e-4, b * 1e-4, 0.0, c * 1e-5, m, "SP78")
        for s, (a, b, c, m) in _ONE_ONE.items()
    },
    **{
        s: Slopes(a * 1e-3, b * 1e-3, 0.0, c * 1e-4 * 2 * 2**0.5, m, "SP78")
        for s, (a, b, c, m) in _TWO_ONE.items()
    },
    **{
        s: Slopes(a * 1e-3, b * 1e-2, d * 1e-1, c * 1e-3 * 4, m, "SP78")
        for s, (a, b, d, c, m) in _TWO_TWO.items()
    },
}
USGS: dict[str, Slopes] = {
    s: Slopes(a * 1e-4, b * 1e-4, 0.0, c * 1e-5, m, "USGS") for s, (a, b, c, m) in _USGS.items()
}
CARB: dict[str, Slopes] = {
    s: Slopes(a * 1e-3, b * 1e-3, 0.0, 0.0, m, "CARB") for s, (a, b, _, m) in _CARB.items()
}

SOURCES = {
    "SP78": "Pitzer model, Silvester & Pitzer (1978)",
    "USGS": "Pitzer model, pitzer.dat of PHREEQC (USGS, public domain), differentiated at 25 °C",
    "CARB": "Pitzer model, pitzer.dat of PHREEQC (USGS, public domain)",
}


def slopes(formula: str) -> Slopes | None:
    """The parameter slopes used for a salt, or ``None``."""
    for table in (USGS, SP78, CARB):
        if formula in table:
            return table[formula]
    return None


def all_slopes() -> dict[str, Slopes]:
    """Every salt with parameters, the preferred set of each."""
    return {**CARB, **SP78, **USGS}
