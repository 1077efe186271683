"""The usual cautions for what goes into a cup (common practice, no source).

They remind; they do not replace the safety data sheet, the local rules or qualified staff, and the
last line always says so.
"""

from __future__ import annotations

from collections.abc import Iterable

from calib.hazards.classes import dust_warning, in_words
from calib.reactions.deduce import PhysicalProcess
from calib.reactions.equation import Equation, Species
from calib.reactions.ions import ACIDS, METALS, STRONG, salt_of, split_hydrate

DEFER = (
    "Before starting read the safety data sheet of every substance, keep to the local rules and "
    "ask the qualified staff: these lines are reminders, not an assessment."
)

_OXIDISERS = frozenset(
    {"NO3", "ClO3", "ClO4", "MnO4", "S2O8", "Cr2O7", "CrO4", "BrO3", "IO3", "NO2"}
)
_HEAVY = frozenset({"Pb", "Hg", "Hg2", "Cd", "Ba", "Ni", "Co", "Cr", "Sn"})
_WATER_LIFE = frozenset({"Cu", "Zn", "Ag", "Ni", "Co", "Cd", "Hg", "Pb", "Mn"})
_STRONG_BASES = frozenset({"Li", "Na", "K", "Rb", "Cs", "Ba", "Sr", "Ca"})
_VIOLENT = frozenset({"Li", "Na", "K", "Rb", "Cs", "Ca", "Ba", "Sr"})
_FLAMMABLE = frozenset({"C2H5OH", "CH3OH", "C3H6O"})
_GAS_WORDS = {
    "H2": "Hydrogen is given off: no flame or spark, open cup or vented lid, ventilation.",
    "CO2": "Carbon dioxide is given off: add slowly, leave room for froth, never close the cup.",
    "SO2": "Sulfur dioxide is given off, which harms the lungs: fume hood.",
    "NO2": "Nitrogen dioxide is given off, which is very toxic: fume hood.",
    "Cl2": "Chlorine is given off, which is very toxic: fume hood.",
    "H2S": "Hydrogen sulfide is given off, which is very toxic: fume hood.",
    "O2": "Oxygen is given off: vented lid, keep from flames.",
    "NH3": "Ammonia is given off: fume hood or good ventilation, do not breathe the vapour.",
}


def cautions(
    species: Iterable[Species], *, heater: bool = False, formed: Iterable[Species] = ()
) -> tuple[str, ...]:
    """Cautions for substances that are used or ``formed``; of these none is weighed or ground.

    ``heater`` is for an electrical calibration.
    """
    members, made = list(species), set(formed)
    found: list[str] = []
    for one in members:
        found += _of_one(one) + ([] if one in made else _no_dust(one))
    if any(one.state == "aq" for one in members) or found:
        found.insert(0, "Wear eye protection and gloves; wipe up spills at once.")
    found.append(
        "Glass thermometers and bulbs break: do not stir with them, clear broken glass away."
    )
    if heater:
        found.append(
            "Heater: low voltage only, in the liquid before it is switched on, dry hands and leads."
        )
    return (*dict.fromkeys(found), DEFER)


def by_substance(
    species: Iterable[Species], *, formed: Iterable[Species] = ()
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The cautions of each substance by itself, its hazard statements last; those that need none
    are left out. What is only ``formed`` is not weighed."""
    made, classed, found = set(formed), set[str](), []
    for one in dict.fromkeys(species):
        lines = [*_of_one(one), *([] if one in made else _no_dust(one))]
        lines += [] if one.formula in classed else _classified(one)
        classed.add(one.formula)
        found.append((str(one), tuple(dict.fromkeys(lines))))
    return tuple((name, lines) for name, lines in found if lines)


def _no_dust(one: Species) -> list[str]:
    """Why a solid that is weighed must not be ground."""
    text = dust_warning(one.formula) if one.state == "s" and one.charge == 0 else ""
    return [f"{text[0].upper()}{text[1:]}."] if text else []


def _classified(one: Species) -> list[str]:
    """The statements of the substance as kept; a solution made of it may carry fewer."""
    line = in_words(one.formula) if one.charge == 0 else ""
    return [f"As kept, before dilution: {line}."] if line else []


def cautions_for(
    process: Equation | PhysicalProcess, *, hot: bool = False, heater: bool = False
) -> tuple[str, ...]:
    """Cautions for a whole reaction or process; ``hot`` where anything above 50 °C goes in."""
    if isinstance(process, Equation):
        formed = made_only(process)
        return _with_reaction(process, cautions(process.species, heater=heater, formed=formed))
    own = list(cautions((process.in_cup, process.added), heater=heater))
    if process.kind == "specific heat":
        own.insert(
            0, "Hot metal burns and splashes: tongs or a dry scoop, lower it in, no wet metal."
        )
    elif hot or process.kind in {"mixing", "condensation"}:
        own.insert(0, "Hot water and steam scald: pour slowly, hold the cup in a beaker.")
    if process.kind == "dilution" and _is_acid(process.added):
        own.insert(0, "Acid into water, slowly and stirring; never water into concentrated acid.")
    return tuple(dict.fromkeys(own))


def made_only(equation: Equation) -> tuple[Species, ...]:
    """The products that are no reactants."""
    used = {species for _, species in equation.reactants}
    return tuple(species for _, species in equation.products if species not in used)


def _with_reaction(equation: Equation, lines: tuple[str, ...]) -> tuple[str, ...]:
    formed = {s for s, n in equation.net().items() if n > 0 and s.state == "g"}
    gases = [_GAS_WORDS[s.formula] for s in formed if s.formula in _GAS_WORDS]
    return tuple(dict.fromkeys([*gases, *lines]))


def _of_one(one: Species) -> list[str]:
    name, _ = split_hydrate(one.formula)
    found: list[str] = []
    if one.charge == 0:
        found += _acid_or_base(name, one)
        found += _metal(name, one)
    if name in _FLAMMABLE:
        found.append(f"{name} burns easily: no flame, good ventilation.")
    if name == "NH3":
        found.append(
            "Ammonia gives off a vapour that harms eyes and lungs: ventilate, keep covered."
        )
    if name == "H2O2":
        found.append("Hydrogen peroxide oxidises and bleaches: gloves, keep from organic matter.")
    salt = salt_of(name) if one.charge == 0 else None
    ions = salt.ions if salt else ((name, one.charge, 1),)
    return found + _of_ions(name, ions)


def _is_acid(one: Species) -> bool:
    return split_hydrate(one.formula)[0] in ACIDS


def _acid_or_base(name: str, one: Species) -> list[str]:
    if name in ACIDS:
        found = [f"{one} is an acid: corrosive or irritant, more so when concentrated."]
        if name in STRONG and one.state in {"l", "g"}:
            found.append(f"{one} undiluted: fume hood, acid into water, great heat.")
        if name in {"HCl", "HBr", "HNO3", "CH3COOH", "HCOOH"}:
            found.append(f"{name} gives off a harmful vapour: keep covered, ventilate.")
        if name == "HF":
            found.append("Hydrofluoric acid is not for a teaching laboratory.")
        return found
    salt = salt_of(name)
    if salt is None or salt.anions[0][0] not in {"OH", "O"}:
        return []
    if salt.cations[0][0] not in _STRONG_BASES:
        return []
    found = [f"{one} is a strong base: blinds and burns; eye protection is a must."]
    if one.state == "s":
        found.append(f"Solid {name} takes up water and gets very hot: dry tools, add in portions.")
    return found


def _metal(name: str, one: Species) -> list[str]:
    if name not in METALS or one.state == "aq":
        return []
    if name in _VIOLENT:
        return [
            f"{name} reacts violently with water and acids, with fire or spray: not in a foam cup "
            "unless the staff have approved the amount."
        ]
    if name == "Hg":
        return ["Mercury is very toxic: not for a teaching laboratory."]
    return [f"Fine powder of {name} can catch fire: use ribbon, foil or shot; keep from flames."]


def _of_ions(name: str, ions: Iterable[tuple[str, int, int]]) -> list[str]:
    found: list[str] = []
    for ion, charge, _ in ions:
        if charge < 0 and ion in _OXIDISERS and name not in {"HNO3", "HClO4", "HClO3"}:
            found.append(f"{name} is an oxidiser: keep from paper, organic matter and heat.")
        if charge <= 0:
            continue
        if ion == "Ag":
            found.append("Silver salts stain skin and cloth and are collected, not poured away.")
        elif ion in _HEAVY:
            found.append(f"{name} is toxic: gloves, no dust, wash hands, collect the waste.")
        if ion in _WATER_LIFE:
            found.append(f"{name} harms water life: collect the waste, nothing down the drain.")
    return found
