"""Solutions, solids and water for n benches: what to weigh, measure and pour, in which order.

    m = c V M          solid for V litres of solution, M of the form that is weighed
    V_c = c V / c_c    concentrated solution of concentration c_c

The water is what is left: mass of the solution (density at 20 °C) less what goes into it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib.errors import CupledgerError, InputError
from calib.hazards.classes import dust_warning
from calib.planning.request import Planned
from calib.reactions.equation import Species
from calib.reactions.ions import ACIDS, METALS, salt_of
from calib.run_model.portions import Portion
from calib.substances.formula import molar_mass
from calib.substances.names import usual_state

__all__ = ["CONCENTRATED", "Preparation", "prepare_stock"]

SPARE_SHARE, LEAST_SPARE_ML = 0.10, 50.0
FLASKS_ML = (100.0, 250.0, 500.0, 1000.0, 2000.0, 5000.0)
MAKE_C = 20.0

CONCENTRATED: Mapping[str, tuple[float, str]] = {
    "HCl": (12.1, "37 %"),
    "HBr": (8.8, "48 %"),
    "HNO3": (15.6, "68 %"),
    "HClO4": (11.7, "70 %"),
    "H2SO4": (18.0, "96 %"),
    "H3PO4": (14.7, "85 %"),
    "CH3COOH": (17.4, "glacial"),
    "NH3": (14.8, "28 %"),
    "H2O2": (9.8, "30 %"),
}
"""mol/L and name of the usual concentrated solution (from memory; the label in hand counts)."""

WEIGHED_AS: Mapping[str, str] = {
    "CuSO4": "CuSO4·5H2O",
    "MgSO4": "MgSO4·7H2O",
    "ZnSO4": "ZnSO4·7H2O",
    "FeSO4": "FeSO4·7H2O",
    "Na2S2O3": "Na2S2O3·5H2O",
    "CaCl2": "CaCl2·2H2O",
    "BaCl2": "BaCl2·2H2O",
    "MgCl2": "MgCl2·6H2O",
    "Ba(OH)2": "Ba(OH)2·8H2O",
}
"""The form in which a salt is usually kept and weighed (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Preparation:
    """What is made ready of one substance. Volumes in mL, masses in g."""

    substance: str
    needed_mL: float | None
    needed_g: float | None
    make_mL: float | None
    weigh: str | None
    weigh_g: float | None
    measure_mL: float | None
    water_mL: float | None
    steps: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As the command prints it."""
        return {
            "substance": self.substance, "needed_mL": self.needed_mL, "needed_g": self.needed_g,
            "make_mL": self.make_mL, "weigh": self.weigh, "weigh_g": self.weigh_g,
            "measure_concentrated_mL": self.measure_mL, "water_mL": self.water_mL,
            "steps": list(self.steps),
        }  # fmt: skip


def prepare_stock(
    planned: Planned,
    portion: Portion,
    runs: int,
    concentrated: Mapping[str, float] | None = None,
) -> Preparation:
    """What to make ready of one portion for so many runs, a tenth (at least 50 mL) to spare.

    ``concentrated`` gives mol/L of concentrated solutions by formula, as their labels do.
    """
    each_mL = planned.mL if planned.mL is not None else portion.volume_mL
    if portion.species.state == "aq":
        made = make_volume(each_mL * runs)
        return _solution(planned, portion.species, each_mL * runs, made, concentrated or {})
    if portion.species.state == "s":
        total = portion.mass_g * runs
        steps = [
            f"{runs} portion{'s' * (runs > 1)} of {portion.mass_g:.4g} g {portion.species}: "
            f"{_round_up(total):g} g with a tenth to spare"
        ]
        if portion.species.formula == "H2O":
            steps.append("crushed ice at 0 °C, dried on paper just before it is weighed")
        else:
            steps += _of_a_solid(portion.species, planned.C)
        return Preparation(
            str(portion.species), None, total, None, portion.species.formula, _round_up(total),
            None, None, tuple(steps),
        )  # fmt: skip
    needed = each_mL * runs
    steps = [f"{make_volume(needed):g} mL of {planned.substance}, left in the room overnight"]
    if planned.C is not None and planned.C >= 40.0:
        steps = [f"{make_volume(needed):g} mL of {planned.substance} at about {planned.C:g} °C, "
                 "kept hot in a vessel that cannot be knocked over"]  # fmt: skip
    return Preparation(
        str(portion.species), needed, None, make_volume(needed), None, None, None,
        make_volume(needed), tuple(steps),
    )  # fmt: skip


def make_volume(needed_mL: float) -> float:
    """The flask that holds what is needed and a spare; whole litres beyond the largest."""
    wanted = needed_mL + max(SPARE_SHARE * needed_mL, LEAST_SPARE_ML)
    for flask in FLASKS_ML:
        if wanted <= flask:
            return flask
    return math.ceil(wanted / 1000.0) * 1000.0


def _round_up(grams: float) -> float:
    wanted = 1.1 * grams
    step = 10.0 ** max(math.floor(math.log10(wanted)) - 1, -1)
    return round(math.ceil(wanted / step) * step, 3)


def _about(volume_mL: float) -> str:
    """A volume to two figures, written out."""
    if volume_mL <= 0.0:
        return "0"
    step = 10.0 ** (math.floor(math.log10(volume_mL)) - 1)
    return f"{round(volume_mL / step) * step:.10g}"


def _of_a_solid(species: Species, t_C: float | None) -> list[str]:
    if t_C is not None and t_C >= 40.0:
        return [f"heated dry to {t_C:g} °C in a tube in a water bath (a hot solid burns: tongs), "
                "and shaken dry before it goes in"]  # fmt: skip
    if species.formula in METALS:
        return ["clean and dry; ribbon, foil or turnings react evenly, fine powder violently"]
    salt = salt_of(species.formula)
    if salt is not None and salt.anions[0][0] in {"OH", "O"}:
        return ["weigh each portion quickly, just before use, in a closed dry vessel: it takes up "
                "water from the air"]  # fmt: skip
    if no_dust := dust_warning(species.formula):
        return [f"dry; {no_dust}"]
    return ["dry and finely ground, so that it dissolves quickly and evenly"]


def _solution(
    planned: Planned,
    species: Species,
    needed_mL: float,
    make_mL: float,
    concentrated: Mapping[str, float],
) -> Preparation:
    from calib.substances.solutions import density, from_molarity

    c = float(planned.mol_per_L or 0.0)
    formula = species.formula
    litre = from_molarity(formula, c, volume_mL=1000.0, t_C=MAKE_C)
    total_g = density(litre, MAKE_C).value * make_mL
    moles = c * make_mL / 1000.0
    goal = f"{make_mL:g} mL of {c:g} mol/L {formula}"
    end = (
        f"when it is back at room temperature, fill with water to {make_mL:g} mL, mix, label with "
        "name, concentration, date and hazards, and determine the concentration by titration or "
        "against a standard where a per cent matters"
    )
    c_conc = concentrated.get(formula, CONCENTRATED.get(formula, (0.0, ""))[0])
    if c_conc > 0.0:
        if c >= c_conc:
            raise InputError(
                f"{c:g} mol/L {formula} is not weaker than the {c_conc:g} mol/L it would be made "
                f"from; give the concentrated solution with --concentrated {formula}=MOL_PER_L"
            )
        return _diluted(species, needed_mL, make_mL, (moles, c_conc, total_g), goal, end,
                        formula in concentrated)  # fmt: skip
    weighed = WEIGHED_AS.get(formula, formula)
    if usual_state(weighed) not in ("s", None) and usual_state(formula) == "aq":
        return Preparation(
            str(species), needed_mL, None, make_mL, None, None, None, None,
            (f"{goal}: buy it ready, or dilute a stronger solution; its strength must be known",),
        )  # fmt: skip
    grams = moles * molar_mass(weighed).value
    water = max(total_g - grams, 0.0)
    steps = (
        f"{goal}: weigh {grams:.4g} g of {weighed}",
        *([no_dust] if (no_dust := dust_warning(weighed)) else []),
        *_dissolve(species, weighed, 0.7 * water),
        end,
        *_saturated(formula, moles, total_g),
    )
    return Preparation(str(species), needed_mL, None, make_mL, weighed, grams, None, water, steps)


def _dissolve(species: Species, weighed: str, water_mL: float) -> list[str]:
    salt = salt_of(species.formula)
    if salt is not None and salt.anions[0][0] in {"OH", "O"}:
        return [
            f"put about {_about(water_mL)} mL of cold water into a beaker of borosilicate glass or "
            "plastic in a basin of cold water; add the solid to the water in small portions, "
            "stirring (never water onto the solid): it gets very hot and spatters"
        ]
    return [f"dissolve it in about {_about(water_mL)} mL of water, stirring"]


def _diluted(
    species: Species,
    needed_mL: float,
    make_mL: float,
    amounts: tuple[float, float, float],
    goal: str,
    end: str,
    from_label: bool,
) -> Preparation:
    moles, c_conc, total_g = amounts
    formula = species.formula
    take_mL = 1000.0 * moles / c_conc
    try:
        from calib.substances.solutions import density, from_molarity

        taken_g = take_mL * density(from_molarity(formula, c_conc, t_C=MAKE_C), MAKE_C).value
    except CupledgerError:
        taken_g = 1.2 * take_mL
    water = max(total_g - taken_g, 0.0)
    name = "as labelled" if from_label else f"{CONCENTRATED[formula][1]}, read the label"
    acid = formula in ACIDS
    steps = [
        f"{goal}: {take_mL:.3g} mL of concentrated {formula} ({c_conc:g} mol/L, {name})",
        "under a hood, with face shield, gloves and apron, put about "
        f"{_about(0.8 * water)} mL of cold water into the vessel FIRST",
    ]
    if acid:
        steps.append(
            "then pour the ACID INTO THE WATER slowly, stirring and cooling; never water into acid"
        )
    else:
        steps.append(f"then pour the concentrated {formula} into the water slowly, stirring")
    steps.append(end)
    return Preparation(
        str(species), needed_mL, None, make_mL, None, None, take_mL, water, tuple(steps)
    )


def _saturated(formula: str, moles: float, total_g: float) -> list[str]:
    from calib.substances.solubility import solubility

    grams = moles * molar_mass(formula).value
    try:
        holds = solubility(formula, MAKE_C).value * (total_g - grams) / 100.0
    except CupledgerError:
        return []
    if grams <= 0.95 * holds:
        return []
    return [f"TOO STRONG: at {MAKE_C:g} °C the water holds {holds:.3g} g of {formula}, not "
            f"{grams:.3g} g; plan a weaker solution"]  # fmt: skip
