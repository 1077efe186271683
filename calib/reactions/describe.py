"""What is known of a reaction or of a solute's concentration effect, for looking up.

Every fact carries value, uncertainty, unit, range and source; ``as_dict`` gives plain data.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from difflib import get_close_matches
from typing import Any

from calib.errors import CupledgerError, EquationError, ReactionError
from calib.estimate import Estimate
from calib.reactions.apparent_enthalpy import phi_L
from calib.reactions.basis import basis_of
from calib.reactions.catalogue import CatalogueEntry, catalogue, entry_named
from calib.reactions.cautions import cautions_for
from calib.reactions.deduce import PhysicalProcess
from calib.reactions.equation import Equation, parse_equation
from calib.reactions.heat_capacity_change import delta_cp
from calib.reactions.ionic import net_ionic
from calib.reactions.known import KnownReaction, known_for, known_reaction, known_reactions
from calib.reactions.physical import physical_reference
from calib.reactions.reference import enthalpies_by_set, reference_enthalpy
from calib.substances.names import resolve

MOLALITIES = (0.05, 0.1, 0.2, 0.5, 1.0, 1.5, 2.0, 3.0)


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing known: what, its value with unit and u, where it holds, where it is from."""

    what: str
    value: float
    u: float
    unit: str
    holds: str
    source: str


@dataclass(frozen=True, slots=True)
class Facts:
    """All that is known of one reaction or process."""

    name: str
    equation: str
    net_ionic: str
    per: str
    facts: tuple[Fact, ...]
    missing: tuple[str, ...]
    cautions: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return asdict(self)


def reaction_named(text: str) -> Equation | PhysicalProcess:
    """The process that a cell of the column ``reaction`` means: an equation, or a known name.

    Raises ``EquationError`` for a bad equation, ``ReactionError`` with near names for no name.
    """
    if any(sign in text for sign in ("->", "=", "→", "⇌")):
        return parse_equation(text)
    known = known_reaction(text)
    if known is not None:
        return known.equation
    entry = entry_named(text)
    if entry is not None:
        return entry.process
    raise ReactionError(_unknown(text))


def _unknown(text: str) -> str:
    near = get_close_matches(text.lower(), [entry.name for entry in catalogue()], 3, 0.5)
    tip = f"; near names: {', '.join(near)}" if near else ""
    return (
        f"no reaction is known as {text!r}{tip}. Give a name of the list, or an equation such as "
        "HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)"
    )


def describe_reaction(text: str, basis: str = "") -> Facts:
    """Facts of a reaction given by name or equation, per mole of ``basis`` (see ``basis_of``).

    Raises ``EquationError`` or ``ReactionError`` where the text is neither.
    """
    process = reaction_named(text)
    if isinstance(process, PhysicalProcess):
        return _of_physical(text, process)
    chosen = basis_of(process, basis)
    found = [Fact("enthalpy", *_cells(chosen.convert(one)), holds, one.source)
             for one, holds in _values(process)]  # fmt: skip
    missing = [] if found else [_why_missing(process)]
    change = delta_cp(process)
    if change is not None:
        per = 1.0 / chosen.moles_per_reaction
        found.append(
            Fact("change of heat capacity", change.value * per, change.u * per, change.unit,
                 "infinite dilution, 25 °C", change.source)
        )  # fmt: skip
    known = known_for(process)
    if known is not None:
        found += _certified_facts(known)
    return Facts(
        text.strip(), str(process), str(net_ionic(process)), chosen.words, tuple(found),
        tuple(missing), cautions_for(process),
    )  # fmt: skip


def _values(equation: Equation) -> list[tuple[Estimate, str]]:
    """The preferred value first, then what the other sets say."""
    where = "infinite dilution, 25 °C"
    try:
        preferred = reference_enthalpy(equation)
    except ReactionError:
        return []
    values = [(preferred, where)]
    values += [
        (one, f"{where}; for comparison")
        for one in enthalpies_by_set(equation).values()
        if one.source != preferred.source
    ]
    return values


def _why_missing(equation: Equation) -> str:
    try:
        reference_enthalpy(equation)
    except ReactionError as error:
        return str(error)
    return ""


def _cells(one: Estimate) -> tuple[float, float, str]:
    return one.value, one.u, one.unit


def _certified_facts(known: KnownReaction) -> list[Fact]:
    low, high = known.temperature_C
    gram, mole = known.per_gram(), known.per_mole()
    facts = [
        Fact(f"certified: {known.name}", gram.value, gram.u, "J/g", known.condition, known.source),
        Fact(
            f"certified: {known.name}", mole.value, mole.u, "kJ/mol", known.condition, known.source
        ),
    ]
    if known.dcp_J_per_gK is not None:
        facts.append(
            Fact("its slope with temperature", known.dcp_J_per_gK, known.u_dcp_J_per_gK,
                 "J/(g K)", f"{low:g} to {high:g} °C", known.source)
        )  # fmt: skip
    return facts


def _of_physical(text: str, process: PhysicalProcess) -> Facts:
    reference = physical_reference(process)
    facts: tuple[Fact, ...] = ()
    if reference is not None:
        facts = (Fact(process.kind, *_cells(reference), "near room temperature", reference.source),)
    return Facts(text.strip(), str(process), "", process.result, facts, (), cautions_for(process))


def describe_solute(text: str) -> tuple[Fact, ...]:
    """φ_L of a solute over molality, where known. Raises ``SubstanceError`` for no substance."""
    formula = resolve(text, dissolved=True).formula
    facts = []
    for molality in MOLALITIES:
        try:
            one = phi_L(formula, molality)
        except CupledgerError:
            continue
        facts.append(
            Fact(f"relative apparent molar enthalpy of {formula}", *_cells(one),
                 f"{molality:g} mol/kg, 25 °C", one.source)
        )  # fmt: skip
    return tuple(facts)


def search(text: str) -> tuple[tuple[str, str, str], ...]:
    """Entries of the catalogue and known reactions whose name or equation holds every word.

    Returns ``(kind, name, equation)``; an empty text gives everything.
    """
    words = text.lower().split()
    found = [
        ("known reaction", known.name, str(known.equation))
        for known in known_reactions()
        if _holds(words, (known.name, *known.aliases, str(known.equation)))
    ]
    found += [
        (entry.topic, entry.name, str(entry.process))
        for entry in catalogue()
        if _holds(words, (entry.name, entry.topic, str(entry.process)))
    ]
    return tuple(found)


def _holds(words: list[str], texts: tuple[str, ...]) -> bool:
    joined = " ".join(texts).lower()
    return all(word in joined for word in words)


__all__ = [
    "CatalogueEntry",
    "EquationError",
    "Fact",
    "Facts",
    "describe_reaction",
    "describe_solute",
    "reaction_named",
    "search",
]
