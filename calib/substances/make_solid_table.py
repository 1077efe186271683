"""Make ``data/solid_cp.tsv``: heat capacities of solids near 25 °C, read from ``chemicals``.

Columns: CRC Handbook (Standard Thermodynamic Properties of Chemical Substances) and Perry's
handbook (Table 2-151, polynomials evaluated at 25 °C), both [J/(mol K)], and d(ln c_p)/dt from the
CRC table of solids against temperature or from Perry's polynomial [1/K]. The library carries the
MIT licence. Run from the repository: ``python -m calib.substances.make_solid_table``.
"""

from __future__ import annotations

import csv
from importlib.resources import files
from pathlib import Path

from calib.errors import SubstanceError
from calib.substances import tables
from calib.substances.formula import elements, normalise

TABLE = Path(__file__).parent / "data" / "solid_cp.tsv"
T = 298.15
WRONG_FORM = {"Sn"}  # the CRC row is grey tin, a cup gets white tin
WANTED_FORM = {"C": "graphite"}
OTHER_ISOMER = {"C3H4N2"}  # found by formula, but pyrazole


def _rows(name: str) -> list[list[str]]:
    text = files("chemicals").joinpath("Heat Capacity", f"{name}.tsv").read_text(encoding="utf-8")
    return [row + [""] * 16 for row in csv.reader(text.splitlines(), delimiter="\t")]


def _cas_numbers() -> dict[str, str]:
    """CAS number of each known substance whose formula the library agrees with."""
    from chemicals.identifiers import search_chemical

    found: dict[str, str] = {}
    for row in tables.rows("substances"):
        for name in [*row["names"].split(";"), row["formula"]]:
            try:
                hit = search_chemical(name)
                if elements(hit.formula) == elements(row["formula"]):
                    found.setdefault(row["formula"], str(hit.CASs))
            except (ValueError, SubstanceError):
                continue
    return found


def _crc() -> dict[str, float]:
    table = _rows("CRC Standard Thermodynamic Properties of Chemical Substances")
    by_cas = {row[0]: float(row[5]) for row in table[1:] if row[5].strip()}
    skip = WRONG_FORM | OTHER_ISOMER
    return {f: by_cas[c] for f, c in _cas_numbers().items() if c in by_cas and f not in skip}


def _perry() -> dict[str, tuple[float, float]]:
    """First crystal form listed that holds at 25 °C: heat capacity and its relative slope."""
    found: dict[str, tuple[float, float]] = {}
    known = {row["formula"] for row in tables.rows("substances")}
    for row in _rows("Perrys Table 2-151")[1:]:
        try:
            formula = normalise(row[1].strip())
        except SubstanceError:
            continue
        low, high = (float(cell) if cell.strip() else T for cell in (row[8], row[9] or row[8]))
        near = low - 20.0 <= T <= high + 20.0
        other = WANTED_FORM.get(formula, row[3].strip()) != row[3].strip()
        if formula not in known or row[2].strip() not in {"c", ""} or not near or other:
            continue
        a, b, c, d = (float(cell) if cell.strip() else 0.0 for cell in row[4:8])
        value = a + b * T + c / T**2 + d * T**2
        found.setdefault(formula, (4.184 * value, (b - 2 * c / T**3 + 2 * d * T) / value))
    return found


def _slopes() -> dict[str, float]:
    """d(ln c_p)/dt between 300 and 350 K of the CRC table of solids."""
    by_cas = {row[0]: row for row in _rows("CRCHeatCapacitySolids")[1:]}
    found = {}
    for formula, cas in _cas_numbers().items():
        row = by_cas.get(cas)
        if row and row[4].strip() and row[5].strip():
            low, high = float(row[4]), float(row[5])
            found[formula] = (high - low) / 50.0 / ((high + low) / 2.0)
    return found


def main() -> None:
    """Write the table."""
    crc, perry, slopes = _crc(), _perry(), _slopes()
    lines = [
        "# Heat capacities of solids, 25 °C, J/(mol K); slope: d(ln cp)/dt, 1/K; read from the",
        "# library chemicals (MIT licence) (L); made by calib/substances/make_solid_table.py",
        "formula\tcrc\tperry\tslope",
    ]
    for formula in sorted(set(crc) | set(perry)):
        slope = slopes.get(formula, perry[formula][1] if formula in perry else None)
        cells = [
            f"{crc[formula]:.1f}" if formula in crc else "",
            f"{perry[formula][0]:.1f}" if formula in perry else "",
            f"{slope:.2e}" if slope else "",
        ]
        lines.append("\t".join([formula, *cells]))
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
