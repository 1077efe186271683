"""The one ordered list of correction methods. To add one: write its module, name it here."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fitting.corrections import (
    equal_areas,
    exponential,
    extreme,
    integral,
    newton_integral,
    regnault_pfaundler,
    straight_line,
)
from fitting.corrections.result import Method

_ALL = (
    Method(
        extreme.NAME,
        "Extreme reading (no correction)",
        extreme.correct,
        "common practice",
        "ΔT = T_extreme − T_before",
    ),
    Method(
        straight_line.NAME,
        "Straight lines drawn to the mixing",
        straight_line.correct,
        "common practice",
        "ΔT = L₂(t_m) − L₁(t_m)",
    ),
    Method(
        equal_areas.NAME,
        "Straight lines drawn to the time of equal areas",
        equal_areas.correct,
        "graphical; reviewed by King & Grover, J. Appl. Phys. 12 (1941)",
        "ΔT = L₂(b) − L₁(b),  ∫ (T − L₁) dt from t_m to b = ∫ (L₂ − T) dt from b to t_f",
    ),
    Method(
        exponential.NAME,
        "Newton cooling drawn to the mixing",
        exponential.correct,
        "Newton's law of cooling",
        "T = T∞ + (T_x − T∞) exp(−k (t − t_m)) after, with k/r before;  ΔT = T_x − T_1",
    ),
    Method(
        regnault_pfaundler.NAME,
        "Regnault-Pfaundler",
        regnault_pfaundler.correct,
        "Babcock & Wilcox, Steam (1919), eq. 19; rate form as in ISO 1928 (from memory)",
        "ΔT = (T_f − T_i) − ∫ [g₁ − G (T − T₁)] dt,  G = (g₁ − g₂)/(T₂ − T₁)",
    ),
    Method(
        integral.NAME,
        "Integral of Newton's law over the main period",
        integral.correct,
        "King & Grover, J. Appl. Phys. 12 (1941); Newton's law of cooling",
        "ΔT = (T_f − T_i) + k ∫ (T − T∞) dt",
    ),
    Method(
        newton_integral.NAME,
        "Average over models of cup, wall, room and release",
        newton_integral.correct,
        "energy balance with Newton's law; models averaged by evidence (Bishop 2006, ch. 3)",
        "ΔT = Σ wᵢ ΔTᵢ,  wᵢ ∝ p(readings | model i) p(model i)",
    ),
)
METHODS: Mapping[str, Method] = MappingProxyType({method.name: method for method in _ALL})
