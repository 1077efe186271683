"""What the CRC reprint lacks and the NBS tables (1982) have: aqueous molecules, hydrates, solids.

formula, state, charge, Δ_fH° [kJ/mol], u (k = 1, ours), letter, note. Letters: F found in a public
page, M from memory (so u is wider, and the result says so), C computed from values named in the
note. The hydrates were checked against enthalpies of solution known from elsewhere (see tests).
"""

from __future__ import annotations

_AQ = "undissociated, NBS 1982"
_HYDRATE = "NBS 1982"

NBS_EXTRA_ROWS: tuple[tuple[str, str, int, float, float, str, str], ...] = (
    ("NH3", "aq", 0, -80.29, 0.2, "F", "undissociated, NBS 1982; another set gives 0.3 less"),
    ("CH3COOH", "aq", 0, -485.76, 0.2, "C", "-116.1 kcal/mol in a geochemical data set (L)"),
    ("HCOOH", "aq", 0, -425.43, 0.3, "M", _AQ),
    ("H2O2", "aq", 0, -191.17, 0.3, "M", _AQ),
    ("CO2", "aq", 0, -413.80, 0.3, "M", "NBS 1982"),
    ("H2CO3", "aq", 0, -699.65, 0.3, "M", _AQ),
    ("HF", "aq", 0, -320.08, 0.6, "M", _AQ),
    ("HNO2", "aq", 0, -119.2, 0.6, "M", _AQ),
    ("HCN", "aq", 0, 107.1, 0.6, "M", _AQ),
    ("HClO", "aq", 0, -120.9, 0.6, "M", _AQ),
    ("H2S", "aq", 0, -39.7, 0.6, "M", _AQ),
    ("H3PO4", "aq", 0, -1288.34, 0.6, "M", _AQ),
    ("H3BO3", "aq", 0, -1072.32, 0.6, "M", _AQ),
    ("SO2", "aq", 0, -322.98, 0.6, "M", "undissociated, NBS 1982"),
    ("H2SO3", "aq", 0, -608.81, 0.6, "M", _AQ),
    ("CO(NH2)2", "aq", 0, -317.8, 0.2, "C", "crystal plus its enthalpy of solution, +15.29 (F)"),
    ("C2H5OH", "aq", 0, -288.3, 0.6, "M", _AQ),
    ("CH3OH", "aq", 0, -245.93, 0.6, "M", _AQ),
    ("I2", "aq", 0, 22.6, 0.6, "M", "NBS 1982"),
    ("I3", "aq", -1, -51.5, 0.6, "M", "NBS 1982"),
    ("(NH4)2S2O8", "s", 0, -1648.1, 1.0, "M", "NBS 1982"),
    ("K2S2O8", "s", 0, -1916.1, 1.0, "M", "NBS 1982"),
    ("Na2S2O3", "s", 0, -1123.0, 1.0, "M", "NBS 1982"),
    ("NH4SCN", "s", 0, -78.7, 0.5, "M", "NBS 1982"),
    ("NH4CH3COO", "s", 0, -616.14, 0.5, "M", "NBS 1982"),
    ("NiO", "s", 0, -239.7, 0.5, "M", "NBS 1982"),
    ("Al(OH)3", "s", 0, -1276.0, 1.5, "M", "NBS 1982"),
    ("Fe(OH)2", "s", 0, -569.0, 1.5, "F", "OpenStax Chemistry 2e, appendix G"),
    ("Fe(OH)3", "s", 0, -823.0, 1.5, "F", "OpenStax Chemistry 2e, appendix G"),
    ("CuSO4·5H2O", "s", 0, -2279.65, 0.6, "M", _HYDRATE),
    ("MgSO4·7H2O", "s", 0, -3388.71, 0.8, "M", _HYDRATE),
    ("ZnSO4·7H2O", "s", 0, -3077.75, 0.8, "M", _HYDRATE),
    ("FeSO4·7H2O", "s", 0, -3014.57, 0.8, "M", _HYDRATE),
    ("NiSO4·6H2O", "s", 0, -2682.8, 0.8, "M", _HYDRATE),
    ("CaCl2·2H2O", "s", 0, -1402.9, 0.6, "M", _HYDRATE),
    ("CaCl2·6H2O", "s", 0, -2607.9, 0.6, "M", _HYDRATE),
    ("MgCl2·6H2O", "s", 0, -2499.02, 0.6, "M", _HYDRATE),
    ("BaCl2·2H2O", "s", 0, -1460.13, 0.8, "M", "NBS 1982; the CRC reprint has -1456.9"),
    ("SrCl2·6H2O", "s", 0, -2623.8, 0.8, "M", _HYDRATE),
    ("CoCl2·6H2O", "s", 0, -2115.4, 0.8, "M", _HYDRATE),
    ("CuCl2·2H2O", "s", 0, -821.3, 0.8, "M", _HYDRATE),
    ("Na2CO3·10H2O", "s", 0, -4081.32, 0.8, "M", _HYDRATE),
    ("Na2SO4·10H2O", "s", 0, -4327.26, 0.8, "M", _HYDRATE),
    ("Na2S2O3·5H2O", "s", 0, -2607.93, 0.8, "M", _HYDRATE),
    ("NaCH3COO·3H2O", "s", 0, -1603.3, 0.6, "M", _HYDRATE),
    ("Ba(OH)2·8H2O", "s", 0, -3342.2, 2.0, "M", _HYDRATE),
    ("KAl(SO4)2·12H2O", "s", 0, -6061.8, 2.0, "M", _HYDRATE),
    ("CaSO4·2H2O", "s", 0, -2022.63, 0.6, "F", "OpenStax Chemistry 2e, appendix G"),
    ("CaSO4·1/2H2O", "s", 0, -1576.74, 0.6, "M", "NBS 1982, alpha form"),
    ("AlCl3·6H2O", "s", 0, -2691.57, 0.8, "F", "OpenStax Chemistry 2e, appendix G"),
    ("NaOH·H2O", "s", 0, -734.54, 0.6, "M", _HYDRATE),
    ("Mg(NO3)2·6H2O", "s", 0, -2613.28, 0.8, "M", _HYDRATE),
    ("Ca(NO3)2·4H2O", "s", 0, -2132.33, 0.8, "M", _HYDRATE),
    ("Zn(NO3)2·6H2O", "s", 0, -2306.64, 0.8, "M", _HYDRATE),
)
