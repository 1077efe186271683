"""CODATA key values, Δ_fH° at 298.15 K [kJ/mol]: Cox, Wagman, Medvedev (1989).

formula, state, charge, value, ± as printed, letter of the source of the value (F found in a public
page, M from memory); every ± but that of Br-, Ag+, AgCl, Al+3, NH3(g) and H2O(g) is from memory.
A value marked M is printed as "from memory", never as looked up.
"""

from __future__ import annotations

CODATA_ROWS: tuple[tuple[str, str, int, float, float, str], ...] = (
    ("H2O", "l", 0, -285.830, 0.040, "F"),
    ("H2O", "g", 0, -241.826, 0.040, "F"),
    ("OH", "aq", -1, -230.015, 0.040, "F"),
    ("Na", "aq", 1, -240.34, 0.06, "F"),
    ("K", "aq", 1, -252.14, 0.08, "F"),
    ("Li", "aq", 1, -278.47, 0.08, "M"),
    ("NH4", "aq", 1, -133.26, 0.25, "M"),
    ("NH3", "g", 0, -45.94, 0.35, "F"),
    ("Cl", "aq", -1, -167.080, 0.10, "F"),
    ("HCl", "g", 0, -92.31, 0.10, "M"),
    ("Br", "aq", -1, -121.41, 0.15, "F"),
    ("I", "aq", -1, -56.78, 0.05, "M"),
    ("F", "aq", -1, -335.35, 0.65, "M"),
    ("NO3", "aq", -1, -206.85, 0.40, "M"),
    ("ClO4", "aq", -1, -128.10, 0.40, "M"),
    ("SO4", "aq", -2, -909.34, 0.40, "M"),
    ("HSO4", "aq", -1, -886.9, 1.0, "M"),
    ("CO3", "aq", -2, -675.23, 0.25, "F"),
    ("HCO3", "aq", -1, -689.93, 0.20, "F"),
    ("CO2", "g", 0, -393.51, 0.13, "F"),
    ("CO2", "aq", 0, -413.26, 0.20, "F"),
    ("Mg", "aq", 2, -467.0, 0.6, "M"),
    ("Ca", "aq", 2, -543.0, 1.0, "M"),
    ("Zn", "aq", 2, -153.39, 0.20, "M"),
    ("Cu", "aq", 2, 64.9, 1.0, "M"),
    ("Cd", "aq", 2, -75.92, 0.60, "M"),
    ("Pb", "aq", 2, 0.92, 0.25, "M"),
    ("Ag", "aq", 1, 105.79, 0.08, "F"),
    ("AgCl", "s", 0, -127.01, 0.05, "F"),
    ("Al", "aq", 3, -538.4, 1.5, "F"),
    ("MgO", "s", 0, -601.60, 0.30, "M"),
    ("CaO", "s", 0, -634.92, 0.90, "M"),
    ("ZnO", "s", 0, -350.46, 0.27, "M"),
    ("PbSO4", "s", 0, -919.97, 0.40, "M"),
)
