"""May a constant be in force? What speaks against it, and which slip would explain it.

`doubts_about` is asked before any constant is put in force, by whatever command; the registry asks
it through `calib.registry.judging.doubts`. A doubt leaves the constant a draft; a person who knows
better gives a reason. All limits stand in `fitting.cup.bench.InForce`, with unit and source.
"""

from calib.plausible.doubts import doubts_about, remarks_about
from calib.plausible.facts import Beside, Doubt, OtherCup, UsedCurve, curves_of

__all__ = [
    "Beside",
    "Doubt",
    "OtherCup",
    "UsedCurve",
    "curves_of",
    "doubts_about",
    "remarks_about",
]
