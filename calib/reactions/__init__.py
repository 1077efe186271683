"""Equations, extents, and the enthalpies that handbooks give."""

from __future__ import annotations

from calib.reactions.deduce import PhysicalProcess, deduce
from calib.reactions.equation import Equation, Species, parse_equation, parse_species
from calib.reactions.extent import Extent, react
from calib.reactions.reference import reference_enthalpy

__all__ = [
    "Equation",
    "Extent",
    "PhysicalProcess",
    "Species",
    "deduce",
    "parse_equation",
    "parse_species",
    "react",
    "reference_enthalpy",
]
