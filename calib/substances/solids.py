"""Specific heat capacities of solids.

The order: CRC Handbook, then Perry's handbook (both read from the library chemicals), then values
from memory; for a hydrate without either, its anhydrous salt plus 40.5 J/(K mol) of water; last
Kopp's rule, C ≈ Σ n_i C_i with 25.9 J/(K mol) for an atom of most elements.

What each is worth was measured: Perry differs from CRC by 7 % (rms of 95 solids); water of
crystallisation scatters by 5.5 J/(K mol) (19 hydrates); Kopp's rule by 11 % (162 compounds).
"""

from __future__ import annotations

from functools import cache
from math import hypot

from calib.errors import SubstanceError
from calib.estimate import Estimate, Kind
from calib.substances import tables
from calib.substances.formula import elements, molar_mass, normalise, split_hydrate
from calib.substances.names import class_of, usual_state

KOPP_J_PER_MOLK = {
    "H": 9.6, "Be": 16.0, "B": 11.3, "C": 7.5, "O": 16.7,
    "F": 20.9, "Si": 15.9, "P": 22.6, "S": 22.6,
}  # fmt: skip
"""Kopp's atomic heat capacities (memory; 25.9 for all other elements)."""
WATER_J_PER_MOLK, U_WATER = 40.5, 5.5
U_CRC_METAL, U_CRC, U_PERRY, U_KOPP = 0.005, 0.01, 0.05, 0.11
_SLOPE = 1.5e-3
"""d(ln c)/dt where none is known [1/K], ± its own size."""


@cache
def _libraries() -> dict[str, dict[str, str]]:
    return {row["formula"]: row for row in tables.rows("solid_cp")}


@cache
def _memory() -> dict[str, dict[str, str]]:
    return {row["formula"]: row for row in tables.rows("solid_cp_memory")}


def _molar(name: str) -> tuple[float, float, float | None, str, Kind]:
    """Value, standard uncertainty [J/(mol K)], relative slope [1/K], source, kind; at 25 °C."""
    if row := _libraries().get(name):
        slope = tables.number(row["slope"])
        if (value := tables.number(row["crc"])) is not None:
            u = U_CRC_METAL if class_of(name) == "metal" else U_CRC
            text = "CRC Handbook, read from the library chemicals"
            return value, u * value, slope, text, "published"
        value = float(row["perry"])
        u = 0.01 if class_of(name) == "metal" else U_PERRY
        text = "Perry's handbook, Table 2-151, read from the library chemicals"
        return value, u * value, slope, text, "published"
    if row := _memory().get(name):
        return float(row["cp"]), float(row["u"]), float(row["slope"]), "from memory", "published"
    return _estimated(name)


def _estimated(name: str) -> tuple[float, float, float | None, str, Kind]:
    dry, moles = split_hydrate(name)
    n = float(moles)
    if n and (dry in _libraries() or dry in _memory()):
        value, u, _, source, _ = _molar(dry)
        text = f"anhydrous salt ({source}) and {WATER_J_PER_MOLK:g} J/(K mol) of water"
        return value + n * WATER_J_PER_MOLK, hypot(u, n * U_WATER), None, text, "computed"
    if n:
        value = _kopp(dry)
        u = hypot(U_KOPP * value, n * U_WATER)
        return value + n * WATER_J_PER_MOLK, u, None, "Kopp's rule and water of crystallisation", (
            "computed")  # fmt: skip
    value = _kopp(name)
    return value, U_KOPP * value, None, "Kopp's rule", "computed"


def _kopp(formula: str) -> float:
    return sum(float(n) * KOPP_J_PER_MOLK.get(s, 25.9) for s, n in elements(formula).items())


def solid_cp(formula: str, t_C: float = 25.0) -> Estimate:
    """Specific heat capacity of a solid. [J/(g K)]

    t_C: temperature; for a hot piece that cools, the middle of its way. The slope with temperature
    is taken as constant; good to some per cent between 0 and 150 °C. Ice for ``H2O``, at 0 °C
    where a higher temperature is given.
    Raises SubstanceError where the formula cannot be read or names no solid.

    >>> round(solid_cp("Cu").value, 3), solid_cp("Cu").source
    (0.384, 'CRC Handbook, read from the library chemicals')
    """
    name = normalise(formula)
    if usual_state(name) == "g" and name not in _memory():
        msg = f"{formula} is a gas at room temperature; a solid's heat capacity is not known"
        raise SubstanceError(msg)
    molar, u, slope, source, kind = _molar(name)
    reference = 25.0
    if name == "H2O":
        reference, t_C = -5.0, min(t_C, 0.0)
    step = (_SLOPE if slope is None else slope) * (t_C - reference)
    u_step = (1.0 if slope is None else 0.3) * abs(step)
    M = molar_mass(name).value
    value = molar * (1.0 + step)
    return Estimate(value / M, hypot(u * (1.0 + step), molar * u_step) / M, "J/(g K)", source, kind)
