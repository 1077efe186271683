"""Make the coefficient tables that ship in ``data/`` out of three open libraries.

``laliberte.tsv``  density and heat capacity correlations of Laliberté (J. Chem. Eng. Data 49 (2004)
                   1141 and 54 (2009) 1725) with the ranges they were fitted in, from ``chemicals``
                   (MIT licence, Caleb Bell and contributors)
``ion_cp.tsv``     heat capacities of aqueous ions, CRC Handbook, from ``chemicals``
``atomic_weights.tsv``  IUPAC standard atomic weights with half-widths, from ``periodictable``
                   (public domain)

No command loads those libraries at run time: loading them costs 0.1 to 0.5 s each.
Run from the repository: ``python -m calib.substances.make_library_tables``.
"""

from __future__ import annotations

import csv
from importlib.resources import files
from pathlib import Path

DATA = Path(__file__).parent / "data"
OWN_SPELLING = {
    "CH3CH2OH": "C2H5OH",
    "HCH3CO2": "CH3COOH",
    "HCHO2": "HCOOH",
    "KCH3CO2": "KCH3COO",
    "NaCH3CO2": "NaCH3COO",
    "LiCH3CO2": "LiCH3COO",
    "Ca(CH3CO2)2": "Ca(CH3COO)2",
    "Mg(CH3CO2)2": "Mg(CH3COO)2",
    "NaCHO2": "NaHCOO",
    "KCHO2": "KHCOO",
    "Sucrose": "C12H22O11",
}
OWN_IONS = {"CHOO-": "HCOO-", "C2O4H-": "HC2O4-"}


def _electrolyte_rows(name: str) -> list[list[str]]:
    source = files("chemicals").joinpath("Electrolytes", f"{name}.tsv")
    return list(csv.reader(source.read_text(encoding="utf-8").splitlines(), delimiter="\t"))


def _write(name: str, remarks: list[str], header: list[str], rows: list[list[str]]) -> None:
    lines = [f"# {remark}" for remark in remarks] + ["\t".join(header)]
    lines += ["\t".join(row) for row in rows]
    (DATA / f"{name}.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def laliberte() -> None:
    """Columns: density c0..c4, heat capacity a1..a6, each with its range and number of points."""
    density = ["c0", "c1", "c2", "c3", "c4", "rho_tmin_C", "rho_tmax_C", "rho_wmax", "rho_points"]
    heat = ["a1", "a2", "a3", "a4", "a5", "a6", "cp_tmin_C", "cp_tmax_C", "cp_wmax", "cp_points"]
    rows = []
    for row in _electrolyte_rows("Laliberte2009")[1:]:
        cells = [cell.strip() for cell in row] + [""] * 32
        formula = OWN_SPELLING.get(cells[2], cells[2])
        rows.append([formula, cells[1], *cells[4:13], *cells[23:33]])
    remarks = [
        "Laliberté correlations; read from chemicals, file Laliberte2009.tsv (MIT licence) (L);",
        "made by calib/substances/make_library_tables.py; t in °C, w = mass fraction of solute(s)",
    ]
    _write("laliberte", remarks, ["formula", "cas", *density, *heat], sorted(rows))


def ion_heat_capacities() -> None:
    """Conventional heat capacities, H+(aq) = 0. [J/(mol K)]"""
    table = _electrolyte_rows("CRC Thermodynamic Properties of Aqueous Ions")[1:]
    rows = [[OWN_IONS.get(r[1], r[1]), r[7]] for r in table if len(r) > 7 and r[7].strip()]
    remarks = [
        "CRC Handbook, Thermodynamic Properties of Aqueous Ions (NBS set), 25 °C; read from",
        "chemicals (MIT licence) (L); made by calib/substances/make_library_tables.py",
    ]
    _write("ion_cp", remarks, ["ion", "cp_J_per_molK"], sorted(rows))


def atomic_weights() -> None:
    """Symbol, atomic weight and half-width of its stated uncertainty. [g/mol]"""
    from periodictable import elements

    rows = [
        [element.symbol, f"{element.mass:.10g}", f"{element._mass_unc:.3g}"]
        for element in elements
        if 1 <= element.number <= 92 and element._mass_unc
    ]
    remarks = [
        "IUPAC standard atomic weights; the half-width covers normal terrestrial materials;",
        "read from periodictable (public domain) (L); made by",
        "calib/substances/make_library_tables.py",
    ]
    _write("atomic_weights", remarks, ["symbol", "mass", "half_width"], rows)


def main() -> None:
    """Write the three tables."""
    laliberte()
    ion_heat_capacities()
    atomic_weights()


if __name__ == "__main__":
    main()
