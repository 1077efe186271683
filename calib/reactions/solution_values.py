"""Directly published enthalpies of solution at infinite dilution, 25 °C [kJ/mol].

``PARKER``: CRC Handbook table "Enthalpy of Solution of Electrolytes", whose values are those of
V. B. Parker, NSRDS-NBS 2 (1965); read in two public reprints of that page (F). A direct value is
preferred to a difference of formation enthalpies, which carries their rounding.
"""

from __future__ import annotations

PARKER_SOURCE = "CRC Handbook, enthalpy of solution of electrolytes, after Parker (1965)"
U_PARKER = 0.1
"""Our u [kJ/mol]: the page states none; the best of them agree with later work within this."""

PARKER: dict[tuple[str, str], float] = {
    ("NH4Cl", "s"): 14.78,
    ("NH4NO3", "s"): 25.69,
    ("KNO3", "s"): 34.89,
    ("KCl", "s"): 17.22,
    ("NaCl", "s"): 3.88,
    ("NaNO3", "s"): 20.50,
    ("NaOH", "s"): -44.51,
    ("KOH", "s"): -57.61,
    ("KOH·H2O", "s"): -14.64,
    ("LiCl", "s"): -37.03,
    ("LiCl·H2O", "s"): -19.08,
    ("NaCH3COO", "s"): -17.32,
    ("NaCH3COO·3H2O", "s"): 19.66,
    ("AgNO3", "s"): 22.59,
    ("KF", "s"): -17.73,
    ("KF·2H2O", "s"): 6.97,
    ("CH3COOH", "l"): -1.51,
    ("HNO3", "l"): -33.28,
    ("NH3", "g"): -30.50,
    ("HCl", "g"): -74.84,
}

OTHERS: dict[tuple[str, str], tuple[float, float, str]] = {
    ("CO(NH2)2", "s"): (
        15.29,
        0.06,
        "Kustov & Smirnova, J. Chem. Eng. Data 55 (2010) 3055, as quoted in a public document",
    ),
}
