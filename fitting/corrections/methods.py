"""The one ordered list of correction methods. To add one: write its module, name it here."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fitting.corrections import (
    dickinson,
    exponential,
    extreme,
    newton_integral,
    regnault_pfaundler,
    straight_line,
)
from fitting.corrections.result import Method

_ALL = (
    Method(extreme.NAME, "Extreme reading (no correction)", extreme.correct, "common practice"),
    Method(
        straight_line.NAME,
        "Straight lines drawn to the mixing",
        straight_line.correct,
        "common practice",
    ),
    Method(
        exponential.NAME,
        "Newton cooling drawn to the mixing",
        exponential.correct,
        "Newton's law of cooling",
    ),
    Method(
        dickinson.NAME,
        "Dickinson's extrapolation at 60 % of the rise",
        dickinson.correct,
        "U.S. Bureau of Standards, Scientific Paper 230 (1914)",
    ),
    Method(
        regnault_pfaundler.NAME,
        "Regnault-Pfaundler",
        regnault_pfaundler.correct,
        "Babcock & Wilcox, Steam (1919), eq. 19; rate form as in ISO 1928 (from memory)",
    ),
    Method(
        newton_integral.NAME,
        "Integral of Newton's law over the main period",
        newton_integral.correct,
        "energy balance with Newton's law; models averaged by evidence (Bishop 2006, ch. 3)",
    ),
)
METHODS: Mapping[str, Method] = MappingProxyType({method.name: method for method in _ALL})
