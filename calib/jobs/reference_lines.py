"""Sections of ``reference``: lines with what, value, number, u, unit, what it holds for, source."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from calib.errors import CupledgerError
from calib.estimate import Estimate
from calib.rounding import with_u
from fitting.cup.knowledge import BENCH, all_facts

if TYPE_CHECKING:
    from calib.reactions.catalogue import CatalogueEntry
    from calib.reactions.describe import Fact
    from calib.substances.facts import SubstanceFacts

__all__ = [
    "Line",
    "Section",
    "catalogue_section",
    "cups_section",
    "instruments",
    "reaction",
    "substance",
]

Line = dict[str, Any]
Section = dict[str, Any]

LIST_CUP_J_PER_K = BENCH.constant_J_per_K.value
"""Constant of the cup that the list's rises are worked out for."""
SAMPLE = "5 % by mass, 25 °C"
INSTRUMENT_WORDS = {
    "pipet": ("pipette",),
    "buret": ("burette",),
    "cylinder": ("measuring cylinder", "graduated cylinder", "graduate"),
    "flask": ("volumetric flask",),
    "balance": ("scale", "scales"),
    "thermistor": ("probe", "sensor", "thermometer"),
    "Pt100": ("probe", "sensor", "thermometer", "platinum"),
    "thermocouple": ("probe", "sensor", "thermometer"),
    "beaker": ("beaker",),
    "stopwatch": ("clock", "timer", "watch"),
}
"""Other words for the instruments of the list."""


def cups_section() -> Section:
    """What every fit, plan and mishap takes as known of cups, as ``fitting.cup.knowledge`` has it.

    ``u`` is a standard uncertainty; of a log-normal fact that of its natural logarithm.
    """
    lines: list[Line] = [
        {
            "what": f"{of}: {fact.what}",
            "value": f"{fact.value:g} {fact.unit}".removesuffix(" 1"),
            "number": fact.value,
            "u": fact.u,
            "unit": fact.unit,
            "holds": fact.spread,
            "shape": fact.shape,
            "source": fact.source,
        }
        for of, fact in all_facts()
    ]
    return {"title": "taken as known before a curve is seen", "kind": "cups", "lines": lines}


def one_line(what: str, one: Estimate | None, holds: str = "") -> list[Line]:
    """A line for an estimate, none where there is none."""
    if one is None:
        return []
    return [
        {
            "what": what,
            "value": f"{with_u(one.value, one.u)} {one.unit}",
            "number": one.value,
            "u": one.u,
            "unit": one.unit,
            "holds": holds,
            "source": one.source,
        }
    ]


def _of_fact(fact: Fact) -> Line:
    known = Estimate(fact.value, fact.u, fact.unit, fact.source)
    return one_line(fact.what, known, fact.holds)[0]


def _not_known(what: str, why: str) -> Line:
    return {"what": what, "value": "not known", "number": None, "u": None, "source": why}


# --- reactions --------------------------------------------------------------------------------


def reaction(text: str) -> tuple[list[Section], list[str]]:
    """What is known of a reaction by name or equation, and its cautions.

    Raises EquationError or ReactionError.
    """
    from calib.reactions.catalogue import entry_named
    from calib.reactions.describe import describe_reaction

    facts = describe_reaction(text)
    lines = [_of_fact(fact) for fact in facts.facts]
    lines += [_not_known("accepted value", missing) for missing in facts.missing]
    per = facts.per.removesuffix(f", {facts.equation}")
    found = [{"title": f"{facts.equation} ({per})", "kind": "reaction", "lines": lines}]
    entry = entry_named(text)
    if entry is not None:
        found.append(_entry_section(entry))
    return found, list(facts.cautions)


def _entry_section(entry: CatalogueEntry) -> Section:
    """The list's amounts, and what to expect of them."""
    seen = entry.forecast(LIST_CUP_J_PER_K)
    cup = f"insulated cup of {LIST_CUP_J_PER_K:g} J/K"
    lines = one_line(f"expected at these concentrations, {seen.per}", seen.at_run, seen.why)
    lines += one_line("expected rise", seen.rise_K, cup)
    if seen.limiting:
        lines.append({"what": "limiting", "value": seen.limiting, "source": "the amounts above"})
    lines += [_not_known("missing", missing) for missing in seen.missing]
    title = f"{entry.name}: {entry.in_cup} in the cup, {entry.added} added"
    return {"title": title, "kind": "forecast", "lines": lines}


def catalogue_section(topic: str = "") -> Section:
    """Every reaction of the list: accepted value, rise to expect, and what is missing for it."""
    from calib.reactions.catalogue import catalogue

    lines = [_list_line(one) for one in catalogue() if topic in ("", one.topic)]
    return {"title": "reactions of the list", "kind": "list", "lines": lines}


def _list_line(entry: CatalogueEntry) -> Line:
    seen = entry.forecast(LIST_CUP_J_PER_K)
    (accepted,) = one_line("", seen.reference) or [{}]
    (rise,) = one_line("", seen.rise_K) or [{}]
    return {
        "what": entry.topic,
        "name": entry.name,
        "equation": str(entry.process),
        "value": accepted.get("value", "not known"),
        "number": accepted.get("number"),
        "u": accepted.get("u"),
        "unit": accepted.get("unit"),
        "per": seen.per,
        "rise": rise.get("value", "not known"),
        "rise_K": rise.get("number"),
        "u_rise_K": rise.get("u"),
        "amounts": f"{entry.in_cup} + {entry.added}",
        "missing": list(seen.missing),
        "source": accepted.get("source", ""),
    }


# --- substances -------------------------------------------------------------------------------


def substance(text: str) -> tuple[list[Section], list[str]]:
    """What is known of a substance by name or formula, and its cautions. Raises SubstanceError."""
    from calib.reactions.cautions import cautions
    from calib.reactions.describe import describe_solute
    from calib.reactions.equation import parse_species
    from calib.substances.facts import describe
    from calib.substances.names import resolve

    formula = resolve(text).formula
    facts = describe(formula)
    lines = [
        *one_line("molar mass", facts.molar_mass),
        *one_line("c_p of a solution", facts.solution_cp, _where(facts.solution_cp_range)),
        *one_line(
            "density of a solution", facts.solution_density, _where(facts.solution_density_range)
        ),
        *one_line("c_p of the solid", facts.solid_cp, "near room temperature"),
        *one_line("solubility", facts.solubility, "20 °C"),
        *_dissolving(facts),
        *(_of_fact(fact) for fact in (describe_solute(formula) if facts.solution_cp else ())),
        *_water(formula),
    ]
    names = ", ".join(facts.names)
    title = f"{facts.formula}" + (f": {names}" if names else "")
    state = facts.usual_state or "aq"
    warned = cautions([parse_species(f"{formula}({state})"), parse_species(f"{formula}(aq)")])
    return [{"title": title, "kind": "substance", "lines": lines}], list(warned)


def _water(formula: str) -> list[Line]:
    """Water itself: heat capacity and density at 25 °C."""
    from calib.substances import water

    if formula != "H2O":
        return []
    cp = Estimate(float(water.cp_J_per_gK(25.0)), water.U_CP_J_PER_GK, "J/(g K)", water.SOURCE)
    rho = Estimate(float(water.density_g_per_mL(25.0)), 1e-5, "g/mL", water.SOURCE)
    return [*one_line("c_p of the liquid", cp, "25 °C"), *one_line("density", rho, "25 °C")]


def _where(range_in_words: str) -> str:
    return f"{SAMPLE}; {range_in_words or 'estimated, no range'}"


def _dissolving(facts: SubstanceFacts) -> list[Line]:
    """Enthalpy of solution at infinite dilution, or why there is none."""
    from calib.reactions.deduce import WATER, deduce
    from calib.reactions.equation import Equation, Species
    from calib.reactions.reference import dissolving, reference_enthalpy

    what = "enthalpy of solution"
    if facts.usual_state is None or facts.usual_state == "aq" or facts.formula == "H2O":
        return []
    try:
        process = deduce(WATER, Species(facts.formula, facts.usual_state))
        if not isinstance(process, Equation) or dissolving(process) is None:
            return []
        known = reference_enthalpy(process)
    except CupledgerError as error:
        return [_not_known(what, str(error))] if "no set of formation" in str(error) else []
    return one_line(what, known, "per mole dissolved, infinite dilution, 25 °C")


# --- instruments ------------------------------------------------------------------------------


def instruments(words: Sequence[str] = ()) -> list[Line]:
    """Tolerances whose instrument has every word, synonyms counted; all without words."""
    from calib.runs.instruments import describe

    return [
        {
            "what": line.instrument,
            "value": f"{line.limit}, u {line.u:.2g} {line.unit}",
            "number": None,
            "u": line.u,
            "unit": line.unit,
            "holds": line.applies_to,
            "source": f"{line.source} ({line.origin})",
        }
        for line in describe()
        if _has(words, _spoken(line.instrument, line.applies_to))
    ]


def _has(words: Sequence[str], spoken: str) -> bool:
    """Whether every word occurs; a single letter or number only as a word of its own."""
    apart = spoken.split()
    return all(word in apart if len(word) < 3 else word in spoken for word in words)


def _spoken(instrument: str, applies_to: str) -> str:
    more = [
        word
        for name, words in INSTRUMENT_WORDS.items()
        if name.lower() in instrument.lower()
        for word in words
    ]
    return " ".join([instrument, applies_to, *more]).lower()
