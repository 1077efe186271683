"""Dissolved species: charges, ionic strength, and what is tabulated for them at infinite dilution.

    Z = ½ Σ ν_i z_i²  (1 for NaCl, 3 for CaCl2, 4 for MgSO4)        I = Σ m Z  [mol/kg]

ν_i, z_i: number and charge of the ions of one formula unit; m: molality. Molecules have Z = 0.
Values: ``data/aqueous.tsv`` (Shock, Helgeson and others, found), else the CRC ion table (library).
"""

from __future__ import annotations

from functools import cache, lru_cache
from typing import NamedTuple

from calib.substances import tables
from calib.substances.composition import Composition
from calib.substances.formula import split_charge
from calib.substances.names import ions_of


class Standard(NamedTuple):
    """A sum over the species of one formula unit at infinite dilution, 25 °C."""

    value: float
    source: str


@cache
def _aqueous() -> dict[str, dict[str, str]]:
    return {row["species"]: row for row in tables.rows("aqueous")}


@cache
def _crc() -> dict[str, float]:
    return {row["ion"]: float(row["cp_J_per_molK"]) for row in tables.rows("ion_cp")}


@lru_cache(maxsize=512)
def parts_of(formula: str) -> tuple[tuple[str, int], ...]:
    """The species that a solute gives in water: its ions, or the molecule itself."""
    return ions_of(formula) or ((formula, 1),)


@lru_cache(maxsize=512)
def charge_factor(formula: str) -> float:
    """Z = ½ Σ ν z², zero for a molecule."""
    return sum(n * split_charge(ion)[1] ** 2 for ion, n in parts_of(formula)) / 2.0


def ionic_strength(composition: Composition) -> float:
    """Σ m Z over all solutes, every strong electrolyte taken as wholly dissociated. [mol/kg]"""
    return sum(m * charge_factor(solute) for solute, m in composition.molalities.items())


_LETTERS = {"F": "found", "C": "computed from found values", "M": "from memory"}


@lru_cache(maxsize=512)
def standard_cp(formula: str) -> Standard | None:
    """Partial molar heat capacity at infinite dilution, 25 °C; ``None`` if unknown. [J/(mol K)]"""
    total, sources = 0.0, set()
    for ion, n in parts_of(formula):
        row = _aqueous().get(ion)
        if row is not None:
            total += n * float(row["cp_J_per_molK"])
            sources.add(f"aqueous species table, {_LETTERS[row['letter']]}")
        elif ion in _crc():
            total += n * _crc()[ion]
            sources.add("CRC ion table, from the library chemicals")
        else:
            return None
    return Standard(total, "; ".join(sorted(sources)))


def species_cp(name: str) -> float | None:
    """Partial molar heat capacity of one dissolved species (``Cu+2``, ``HCOOH``) from the table of
    aqueous species, 25 °C; ``None`` where it is not in it. [J/(mol K)]"""
    row = _aqueous().get(name)
    return float(row["cp_J_per_molK"]) if row is not None else None


@lru_cache(maxsize=512)
def standard_volume(formula: str) -> Standard | None:
    """Partial molar volume at infinite dilution, 25 °C; ``None`` if unknown. [cm³/mol]"""
    total, sources = 0.0, set()
    for ion, n in parts_of(formula):
        row = _aqueous().get(ion)
        if row is None:
            return None
        total += n * float(row["V_cm3_per_mol"])
        sources.add(f"aqueous species table, {_LETTERS[row['letter']]}")
    return Standard(total, "; ".join(sorted(sources)))
