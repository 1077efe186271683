"""Write ``data/formation_nbs.tsv`` from the tables that the ``chemicals`` library carries.

Run ``python -m calib.reactions.make_formation_table`` after adding a line to ``WANTED_*``; the
table is committed, so that no command has to load the library. Both source tables there reprint
the CRC Handbook: "Thermodynamic Properties of Aqueous Ions" (from the NBS tables of 1982) and
"Standard Thermodynamic Properties of Chemical Substances". Values are rounded to 0.1 kJ/mol there.
"""

from __future__ import annotations

import csv
import importlib.metadata
import re
import sys
from pathlib import Path

IONS_TABLE = ("Electrolytes", "CRC Thermodynamic Properties of Aqueous Ions.tsv")
SUBSTANCES_TABLE = (
    "Heat Capacity",
    "CRC Standard Thermodynamic Properties of Chemical Substances.tsv",
)
HEADER = ("formula", "state", "charge", "dfH_kJ_per_mol", "Cp_J_per_molK", "table")
_ION_SPELLING = {"CHOO": "HCOO", "C2O4H": "HC2O4", "Th(OH)": "ThOH"}

# formula: the name in the substances table
WANTED_SOLIDS = {
    "CO(NH2)2": "Urea", "C12H22O11": "Sucrose", "C6H12O6": "α-D-Glucose",
    "C6H8O6": "L-Ascorbic acid", "H3C6H5O7": "Citric acid", "H2C2O4": "Oxalic acid",
    "NaCH3COO": "Sodium acetate", "KCH3COO": "Potassium acetate", "NaHCOO": "Sodium formate",
    "NaHCO3": "Sodium hydrogen carbonate", "KHCO3": "Potassium hydrogen carbonate",
    "NH4HCO3": "Ammonium hydrogen carbonate", "Na2CO3": "Sodium carbonate",
    "K2CO3": "Potassium carbonate", "Li2CO3": "Lithium carbonate", "MgCO3": "Magnesium carbonate",
    "CaCO3": "Calcium carbonate (calcite)", "BaCO3": "Barium carbonate",
    "SrCO3": "Strontium carbonate", "ZnCO3": "Zinc carbonate", "PbCO3": "Lead(II) carbonate",
    "Ag2CO3": "Silver(I) carbonate", "MnCO3": "Manganese(II) carbonate",
    "CdCO3": "Cadmium carbonate", "FeCO3": "Iron(II) carbonate", "CoCO3": "Cobalt(II) carbonate",
    "CaC2O4": "Calcium oxalate", "PbC2O4": "Lead(II) oxalate", "MgC2O4": "Magnesium oxalate",
    "(NH4)2C2O4": "Ammonium oxalate", "KSCN": "Potassium thiocyanate",
    "BaO": "Barium oxide", "Ca(OH)2": "Calcium hydroxide", "CaO": "Calcium oxide",
    "SrO": "Strontium oxide", "Mg(OH)2": "Magnesium hydroxide", "MgO": "Magnesium oxide",
    "KOH": "Potassium hydroxide", "LiOH": "Lithium hydroxide", "NaOH": "Sodium hydroxide",
    "Li2O": "Lithium oxide", "Na2O": "Sodium oxide", "ZnO": "Zinc oxide",
    "CuO": "Copper(II) oxide", "Cu2O": "Copper(I) oxide",
    "Ag2O": "Silver(I) oxide", "FeO": "Iron(II) oxide", "Fe2O3": "Iron(III) oxide",
    "Fe3O4": "Iron(II,III) oxide", "Al2O3": "Aluminum oxide (α)", "MnO2": "Manganese(IV) oxide",
    "MnO": "Manganese(II) oxide", "CoO": "Cobalt(II) oxide", "PbO": "Lead(II) oxide (litharge)",
    "CdO": "Cadmium oxide", "SnO": "Tin(II) oxide", "Ba(OH)2": "Barium hydroxide",
    "Sr(OH)2": "Strontium hydroxide", "Zn(OH)2": "Zinc hydroxide",
    "Cu(OH)2": "Copper(II) hydroxide", "Ni(OH)2": "Nickel(II) hydroxide",
    "Co(OH)2": "Cobalt(II) hydroxide", "Cd(OH)2": "Cadmium hydroxide",
    "Sn(OH)2": "Tin(II) hydroxide", "CsOH": "Cesium hydroxide", "RbOH": "Rubidium hydroxide",
    "Cu(NO3)2": "Copper(II) nitrate", "NH4NO3": "Ammonium nitrate", "NaNO3": "Sodium nitrate",
    "KNO3": "Potassium nitrate", "LiNO3": "Lithium nitrate", "AgNO3": "Silver(I) nitrate",
    "Pb(NO3)2": "Lead(II) nitrate", "Ba(NO3)2": "Barium nitrate", "Ca(NO3)2": "Calcium nitrate",
    "Mg(NO3)2": "Magnesium nitrate", "Sr(NO3)2": "Strontium nitrate", "Zn(NO3)2": "Zinc nitrate",
    "NaNO2": "Sodium nitrite", "KNO2": "Potassium nitrite", "NH4NO2": "Ammonium nitrite",
    "CsNO3": "Cesium nitrate", "RbNO3": "Rubidium nitrate",
    "PbSO4": "Lead(II) sulfate", "AlCl3": "Aluminum chloride", "CuCl2": "Copper(II) chloride",
    "CuCl": "Copper(I) chloride", "KCl": "Potassium chloride", "LiCl": "Lithium chloride",
    "MgSO4": "Magnesium sulfate", "LiBr": "Lithium bromide", "LiI": "Lithium iodide",
    "NaClO4": "Sodium perchlorate", "CoCl2": "Cobalt(II) chloride", "ZnCl2": "Zinc chloride",
    "KHSO4": "Potassium hydrogen sulfate", "NaHSO4": "Sodium hydrogen sulfate",
    "NaCl": "Sodium chloride", "NaBr": "Sodium bromide", "NaI": "Sodium iodide",
    "NaF": "Sodium fluoride", "KF": "Potassium fluoride", "KBr": "Potassium bromide",
    "KI": "Potassium iodide", "CsCl": "Cesium chloride", "RbCl": "Rubidium chloride",
    "NaIO3": "Sodium iodate", "KIO3": "Potassium iodate", "KBrO3": "Potassium bromate",
    "KClO3": "Potassium chlorate", "KClO4": "Potassium perchlorate",
    "NaClO3": "Sodium chlorate", "FeCl3": "Iron(III) chloride", "FeCl2": "Iron(II) chloride",
    "NiCl2": "Nickel(II) chloride", "FeSO4": "Iron(II) sulfate", "ZnSO4": "Zinc sulfate",
    "CuSO4": "Copper(II) sulfate", "NiSO4": "Nickel(II) sulfate", "CoSO4": "Cobalt(II) sulfate",
    "CdSO4": "Cadmium sulfate", "KMnO4": "Potassium permanganate", "BaSO4": "Barium sulfate",
    "Na2SO4": "Sodium sulfate", "K2SO4": "Potassium sulfate", "Li2SO4": "Lithium sulfate",
    "Na2SO3": "Sodium sulfite", "PbCl2": "Lead(II) chloride", "PbCrO4": "Lead(II) chromate",
    "SrSO4": "Strontium sulfate", "CaSO4": "Calcium sulfate", "Ag2SO4": "Silver(I) sulfate",
    "SnCl2": "Tin(II) chloride", "MnCl2": "Manganese(II) chloride", "HgCl2": "Mercury(II) chloride",
    "Hg2Cl2": "Mercury(I) chloride", "KH2PO4": "Potassium dihydrogen phosphate",
    "K3PO4": "Potassium phosphate", "Na2HPO4": "Sodium hydrogen phosphate",
    "Ca3(PO4)2": "Calcium phosphate", "AlPO4": "Aluminum phosphate",
    "(NH4)2SO4": "Ammonium sulfate", "(NH4)2HPO4": "Ammonium hydrogen phosphate",
    "(NH4)3PO4": "Ammonium phosphate", "NH4HSO4": "Ammonium hydrogen sulfate",
    "NH4Cl": "Ammonium chloride", "NH4Br": "Ammonium bromide", "NH4I": "Ammonium iodide",
    "NH4F": "Ammonium fluoride", "NH4ClO4": "Ammonium perchlorate", "MgF2": "Magnesium fluoride",
    "CaF2": "Calcium fluoride", "BaF2": "Barium fluoride", "PbF2": "Lead(II) fluoride",
    "AgF": "Silver(I) fluoride", "AgCl": "Silver(I) chloride", "AgBr": "Silver(I) bromide",
    "AgI": "Silver(I) iodide", "Ag2CrO4": "Silver(I) chromate", "PbI2": "Lead(II) iodide",
    "PbBr2": "Lead(II) bromide", "MgCl2": "Magnesium chloride", "MgBr2": "Magnesium bromide",
    "CaCl2": "Calcium chloride", "CaBr2": "Calcium bromide", "CaI2": "Calcium iodide",
    "BaCl2": "Barium chloride", "BaCl2·2H2O": "Barium chloride dihydrate",
    "SrCl2": "Strontium chloride", "ZnBr2": "Zinc bromide", "ZnI2": "Zinc iodide",
    "CdCl2": "Cadmium chloride", "CuI": "Copper(I) iodide", "CuBr2": "Copper(II) bromide",
    "Ag2S": "Silver(I) sulfide", "ZnS": "Zinc sulfide (sphalerite)", "CuS": "Copper(II) sulfide",
    "PbS": "Lead(II) sulfide", "FeS": "Iron(II) sulfide", "H3BO3": "Boric acid",
    "H3PO4": "Phosphoric acid", "Li": "Lithium", "Na": "Sodium", "K": "Potassium",
    "Mg": "Magnesium", "Ca": "Calcium", "Ba": "Barium", "Al": "Aluminum", "Zn": "Zinc",
    "Fe": "Iron", "Ni": "Nickel", "Pb": "Lead", "Cu": "Copper",
    "Ag": "Silver", "Mn": "Manganese", "Co": "Cobalt", "Cr": "Chromium", "Cd": "Cadmium",
    "Sr": "Strontium", "Au": "Gold", "Bi": "Bismuth", "I2": "Iodine",
    "S": "Sulfur (rhombic)", "C": "Carbon (graphite)",
}  # fmt: skip
WANTED_LIQUIDS = {
    "H2O": "Water", "H2O2": "Hydrogen peroxide", "CH3COOH": "Acetic acid", "HCOOH": "Formic acid",
    "H2SO4": "Sulfuric acid", "HNO3": "Nitric acid", "H3PO4": "Phosphoric acid",
    "C2H5OH": "Ethanol", "CH3OH": "Methanol", "C3H6O": "Acetone", "Br2": "Bromine",
    "Hg": "Mercury",
}  # fmt: skip
WANTED_GASES = {
    "H2O": "Water", "HCl": "Hydrogen chloride", "HBr": "Hydrogen bromide", "NH3": "Ammonia",
    "CO2": "Carbon dioxide", "SO2": "Sulfur dioxide", "NO2": "Nitrogen dioxide",
    "NO": "Nitric oxide", "CO": "Carbon monoxide", "H2S": "Hydrogen sulfide",
    "H2": "Hydrogen", "O2": "Oxygen", "N2": "Nitrogen", "Cl2": "Chlorine",
}  # fmt: skip


def _number(cell: str, scale: float = 1.0) -> str:
    return f"{float(cell) * scale:.10g}" if cell else ""


def _table(parts: tuple[str, str]) -> list[dict[str, str]]:
    import chemicals

    path = Path(chemicals.__file__).parent.joinpath(*parts)
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t"))


def ion_rows() -> list[tuple[str, ...]]:
    """Every ion of the table that has a formation enthalpy."""
    rows: list[tuple[str, ...]] = []
    for row in _table(IONS_TABLE):
        found = re.fullmatch(r"(.+?)([+-])(\d*)", row["Formula"])
        if not row["Hf(aq)"] or found is None:
            continue
        formula = _ION_SPELLING.get(found[1], found[1])
        charge = int(f"{found[2]}{found[3] or 1}")
        heat, cp = _number(row["Hf(aq)"], 1e-3), _number(row["Cp(aq)"])
        rows.append((formula, "aq", str(charge), heat, cp, "CRC ions"))
    return sorted(rows)


def substance_rows() -> list[tuple[str, ...]]:
    """The wanted solids, liquids and gases; a name that is not found stops the script."""
    by_name = {row["Chemical"]: row for row in _table(SUBSTANCES_TABLE)}
    rows: list[tuple[str, ...]] = []
    for state, wanted in (("s", WANTED_SOLIDS), ("l", WANTED_LIQUIDS), ("g", WANTED_GASES)):
        for formula, name in wanted.items():
            if name not in by_name:
                sys.exit(f"{name!r} ({formula}) is not in the library's table")
            heat, cp = by_name[name][f"Hf{state}"], by_name[name][f"Cp{state}"]
            if heat:
                rows.append(
                    (formula, state, "0", _number(heat, 1e-3), _number(cp), "CRC substances")
                )
            else:
                sys.stderr.write(f"no formation enthalpy for {formula}({state})\n")
    return rows


def main() -> None:
    """Write the table beside this script."""
    path = Path(__file__).parent / "data" / "formation_nbs.tsv"
    path.parent.mkdir(exist_ok=True)
    version = importlib.metadata.version("chemicals")
    lines = [
        f"# Made by calib.reactions.make_formation_table from chemicals {version} (MIT licence).",
        "# Its tables reprint the CRC Handbook; ions there go back to the NBS tables (1982).",
        "\t".join(HEADER),
        *("\t".join(row) for row in ion_rows() + substance_rows()),
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
