"""How much of a solid water can hold, between 0 and 60 °C.

Values at 0, 20, 25 and 60 °C are the CRC Handbook's as found in a public repository
(``data/solubility.tsv``). Between them ln S is taken as linear in t, S being grams of anhydrous
solute per 100 g of water; between 25 and 60 °C that is good to about 6 % for steep salts.
"""

from __future__ import annotations

from itertools import pairwise
from math import exp, hypot, log

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.substances import tables
from calib.substances.formula import normalise, split_hydrate

_SOURCE = "CRC Handbook, aqueous solubility of inorganic compounds (found)"


def _nodes(solute: str) -> list[tuple[float, float]]:
    for row in tables.rows("solubility"):
        if row["formula"] == solute:
            percents = [(t, float(row[f"w{t}"])) for t in (0, 20, 25, 60)]
            return [(float(t), 100.0 * w / (100.0 - w)) for t, w in percents]
    return []


def known_solubilities() -> tuple[str, ...]:
    """The solutes that :func:`solubility` knows."""
    return tuple(row["formula"] for row in tables.rows("solubility"))


def solubility(formula: str, t_C: float) -> Estimate:
    """Grams of the anhydrous solute that 100 g of water hold when saturated. [g/100 g]

    A hydrate's formula gives its anhydrous salt's value. Raises SubstanceError for a solute without
    data, or outside 0 to 60 °C.

    >>> round(solubility("KNO3", 20.0).value, 1)
    31.9
    """
    solute, _ = split_hydrate(normalise(formula))
    nodes = _nodes(solute)
    if not nodes:
        msg = f"no solubility is tabulated for {solute}; look it up in a handbook"
        raise SubstanceError(msg)
    if not nodes[0][0] <= t_C <= nodes[-1][0]:
        msg = f"the solubility of {solute} is tabulated from 0 to 60 °C, not at {t_C:g} °C"
        raise SubstanceError(msg)
    (t1, s1), (t2, s2) = next(pair for pair in pairwise(nodes) if pair[0][0] <= t_C <= pair[1][0])
    share = (t_C - t1) / (t2 - t1)
    value = exp(log(s1) + share * log(s2 / s1))
    bend = 0.25 * share * (1.0 - share) * log(s2 / s1)
    return Estimate(value, value * hypot(0.01, bend), "g/100 g", _SOURCE, "published")


def holds_g(formula: str, water_g: float, t_C: float) -> Estimate:
    """Grams of the anhydrous solute that so much water holds; at 0 or 60 °C beyond them. [g]

    Raises SubstanceError for a solute without data.
    """
    one = solubility(formula, min(max(t_C, 0.0), 60.0))
    share = water_g / 100.0
    return Estimate(one.value * share, one.u * share, "g", one.source, one.kind)


def dissolves(formula: str, grams: float, water_g: float, t_C: float) -> bool | None:
    """Whether that much of the solid dissolves in that much water; ``None`` where not known.

    Water of crystallisation is counted as solvent.
    """
    from calib.substances.composition import Composition

    try:
        limit = solubility(formula, t_C).value
    except SubstanceError:
        return None
    liquid = Composition(water_g, {formula: grams})
    return sum(liquid.solutes_g.values()) <= limit * liquid.water_g / 100.0
