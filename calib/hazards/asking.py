"""What plans, tables, equations and single words ask before anything is worked out.

All questions take what a person wrote and never raise: what cannot be read is not asked about, and
the command says so in its own error. A refusal is for the caller to raise, by ``refuse``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from calib.errors import CupledgerError, HazardError
from calib.hazards.classes import VERY_TOXIC, classified, classified_source, more_names
from calib.hazards.kinds import POISON_GASES, Part, kinds_of
from calib.hazards.pairs import pairs_met

if TYPE_CHECKING:
    from calib.reactions.equation import Equation, Species

__all__ = [
    "Hazard", "asked_of_equation", "asked_of_row", "asked_of_table", "asked_of_words",
    "asked_together", "part_of", "refuse", "said_with_errors",
]  # fmt: skip

DEFER = (
    "read the safety data sheet of every substance, keep to the local rules and ask the qualified "
    "staff"
)
NOT_HERE = "This is not worked out here."
_HANDBOOK = "Bretherick's Handbook of Reactive Chemical Hazards (from memory)"
STRONGEST = 99.0
"""mol/L that stands for "concentrated" where a person writes the word."""


@dataclass(frozen=True, slots=True)
class Hazard:
    """One thing to be said first. ``refused`` where it is a hazard rather than an experiment."""

    refused: bool
    substances: tuple[str, ...]
    happens: str
    gas: str
    source: str
    row: str = ""

    @property
    def words(self) -> str:
        """The sentence without the row that it is about; what happens stands first."""
        names = " with ".join(self.substances)
        if self.refused:
            verb = "DO NOT MIX" if len(self.substances) > 1 else "DO NOT USE"
            return f"{verb}: {self.happens} ({names}) [source: {self.source}]; {DEFER}"
        return f"WARNING: {self.happens} ({names}) [source: {self.source}]; {DEFER}"

    @property
    def sentence(self) -> str:
        """The line that stands before all others."""
        return f"row {self.row}: {self.words}" if self.row else self.words

    def to_json(self) -> dict[str, Any]:
        """An entry of the key ``hazards``."""
        return {
            "refused": self.refused, "sentence": self.sentence, "words": self.words,
            "substances": list(self.substances), "happens": self.happens, "gas": self.gas or None,
            "source": self.source, "row": self.row or None,
        }  # fmt: skip


def refuse(hazards: Sequence[Hazard]) -> None:
    """Raise HazardError where one of them is a refusal; it offers no way round."""
    refused = [one for one in hazards if one.refused]
    if refused:
        text = "; ".join(one.sentence for one in refused)
        more = "".join(f" {one.sentence}." for one in hazards if not one.refused)
        raise HazardError(f"{text}. {NOT_HERE}{more}", tuple(hazards))


@contextmanager
def said_with_errors(hazards: Sequence[Hazard]) -> Iterator[None]:
    """Whatever error comes from inside carries the hazards, so that they are said before it."""
    try:
        yield
    except CupledgerError as error:
        if hazards and not error.hazards:
            error.hazards = tuple(hazards)
        raise


# --- the questions ------------------------------------------------------------------------------


def asked_together(
    in_cup: Part | None, added: Part | None, *, order_known: bool = True
) -> tuple[Hazard, ...]:
    """What may come of putting the second into the first; each by itself where one is missing."""
    parts = [part for part in (in_cup, added) if part is not None]
    found = []
    if len(parts) == 2:
        for pair, one, two in pairs_met(*parts, order_known=order_known):
            names = (str(one), str(two))
            found.append(Hazard(pair.refuse, names, pair.happens, pair.gas, pair.source))
    for part in parts:
        found += _by_itself(part)
    return _refusals_first(found)


def _by_itself(part: Part) -> list[Hazard]:
    """Poisonous gases, and what is fatal in small amounts."""
    kinds, known = kinds_of(part), classified(part.formula)
    if {"ammonium", "nitrite"} <= kinds or {"ammonium", "chlorate"} <= kinds:
        text = "it explodes by itself"
        return [Hazard(True, (str(part),), text, "", _HANDBOOK)]
    if {"azide", "heavy metal salt"} <= kinds:
        return [Hazard(True, (str(part),), "it explodes at a touch", "", _HANDBOOK)]
    if "poison gas" in kinds:
        gas = POISON_GASES[part.formula]
        text = f"{gas} is poisonous or burns the lungs: fume hood, never in an open cup"
        return [Hazard(False, (str(part),), text, part.formula, _HANDBOOK)]
    if part.charge or known is None or not set(known.statements) & VERY_TOXIC:
        return []
    codes = ", ".join(code for code in known.statements if code in VERY_TOXIC)
    text = f"fatal in small amounts ({codes}): not for a class without the staff's leave"
    return [Hazard(False, (str(part),), text, "", known.source)]


def asked_of_equation(equation: Equation) -> tuple[Hazard, ...]:
    """Every two of its reactants, and whatever poisonous gas it yields.

    A gas is a refusal where something wet is among the reactants and the equation balances; what is
    burned in a flame or only half written is looked up with a warning.
    """
    left = [_of_species(one) for one in dict.fromkeys(s for _, s in equation.reactants)]
    found: list[Hazard] = []
    for index, one in enumerate(left):
        for two in left[index + 1 :]:
            found += asked_together(one, two, order_known=False)
    if len(left) == 1:
        found += asked_together(left[0], None)
    said = {hazard.gas for hazard in found}
    wet = any(one.state in {"aq", "l"} for one in left) and not equation.imbalance()
    for species in (s for s, n in equation.net().items() if n > 0):
        found += _gas_formed(equation, species, said, refused=wet)
    return _refusals_first(found)


def _gas_formed(
    equation: Equation, species: Species, said: set[str], *, refused: bool
) -> list[Hazard]:
    name = POISON_GASES.get(species.formula)
    stays = species.state == "aq" and species.formula in {"HCl", "HF", "HBr", "HI", "SO3", "Br2"}
    if name is None or species.charge or stays or species.formula in said:
        return []
    usual = species.formula in {"NH3", "HCl"}
    text = f"{name} is given off, which is poisonous or burns the lungs"
    if usual:
        text += ": hood or good ventilation"
    source = f"the equation's products; {classified_source(species.formula)}"
    substances = tuple(dict.fromkeys(str(_of_species(s)) for _, s in equation.reactants))
    return [Hazard(refused and not usual, substances, text, species.formula, source)]


def _of_species(species: Species) -> Part:
    return Part(species.formula, species.state, None, species.charge)


def asked_of_row(
    in_cup: str | None,
    added: str | None,
    reaction: str | None = None,
    *,
    strengths: tuple[float | None, float | None] = (None, None),
    row: str = "",
) -> tuple[Hazard, ...]:
    """A row of a table, a plan or a blank form: its two substances, and its reaction.

    ``strengths`` are both concentrations [mol/L] where they are known.
    """
    found = _row_asked(in_cup, added, reaction, strengths)
    return tuple(replace(one, row=row) for one in found) if row else found


@lru_cache(maxsize=1024)
def _row_asked(
    in_cup: str | None,
    added: str | None,
    reaction: str | None,
    strengths: tuple[float | None, float | None],
) -> tuple[Hazard, ...]:
    parts = (part_of(in_cup or "", strengths[0]), part_of(added or "", strengths[1]))
    found = list(asked_together(*parts))
    if reaction:
        of_reaction = asked_of_words(reaction)
        if all(parts):
            # the row's own portions tell the strengths; of the equation only its gases are new
            said = {one.gas for one in found if one.gas}
            of_reaction = tuple(one for one in of_reaction if one.gas and one.gas not in said)
        found += of_reaction
    return _refusals_first(found)


def asked_of_table(rows: Iterable[Any]) -> tuple[Hazard, ...]:
    """Every row of a table of runs; what several rows share is said once, with their labels."""
    by_words: dict[str, tuple[Hazard, list[str]]] = {}
    for run in rows:
        strengths = (run.in_cup_mol_per_L, run.added_mol_per_L)
        for one in asked_of_row(run.in_cup, run.added, run.reaction, strengths=strengths):
            by_words.setdefault(one.words, (one, []))[1].append(run.run)
    return _refusals_first(replace(one, row=_labels(labels)) for one, labels in by_words.values())


def _labels(labels: Sequence[str]) -> str:
    more = f" and {len(labels) - 3} more" if len(labels) > 3 else ""
    return ", ".join(labels[:3]) + more


def asked_of_words(text: str) -> tuple[Hazard, ...]:
    """An equation, a name of the list, or two substances joined by "and", "+", "with" or "into"."""
    from calib.reactions.catalogue import entry_named

    equation = _equation(text)
    if equation is not None:
        return asked_of_equation(equation)
    entry = entry_named(text)
    if entry is not None:
        return asked_together(*(
            Part(one.species.formula, one.species.state, one.mol_per_L)
            for one in (entry.in_cup, entry.added)
        ))  # fmt: skip
    sides = re.split(r"\s*(?:->|→|⇌|<=>|=)\s*", text)
    pieces = re.split(r"\s+(?:and|with|into|onto)\s+|\s*[+&]\s+|\s*,\s+", sides[0])
    parts = [part for piece in pieces if (part := part_of(piece)) is not None]
    if len(parts) == 1:
        return asked_together(parts[0], None)
    if len(parts) == 2 and re.search(r"\s(?:into|onto)\s", sides[0]):
        return asked_together(parts[1], parts[0])
    found: list[Hazard] = []
    for index, one in enumerate(parts):
        for two in parts[index + 1 :]:
            found += asked_together(one, two, order_known=False) or _either_order(one, two)
    return _refusals_first(found)


def _either_order(one: Part, two: Part) -> tuple[Hazard, ...]:
    """What would be said of the wrong order, as a warning: nobody said which goes into which."""
    both = (*asked_together(one, two), *asked_together(two, one))
    return tuple(replace(hazard, refused=False) for hazard in both[:1])


def _equation(text: str) -> Equation | None:
    """The equation that is written or named; a named entry of the list is asked by its portions."""
    from calib.reactions.equation import parse_equation
    from calib.reactions.known import known_reaction

    try:
        if any(sign in text for sign in ("->", "→", "⇌", "=")):
            return parse_equation(text, check=False)
        known = known_reaction(text)
    except CupledgerError:
        return None
    return known.equation if known is not None else None


def _refusals_first(hazards: Iterable[Hazard]) -> tuple[Hazard, ...]:
    return tuple(dict.fromkeys(sorted(hazards, key=lambda one: not one.refused)))


# --- what a person wrote ------------------------------------------------------------------------

_NUMBER = r"(?<![\w(·.,])(\d+(?:[.,]\d+)?)\s*"
_STRENGTH = re.compile(
    _NUMBER + r"(mol\s*/\s*(?:L|l|dm3|dm³|kg)|mol\s*(?:dm\^?-?[−-]?3|dm⁻³|L-1|L⁻¹)|M|%|per cent)"
    r"(?![\w])"
)
_AMOUNT = re.compile(_NUMBER + r"(?:mL|ml|L|cm3|cm³|g|mg|kg|°\s?C|°\s?F|K)(?![\w(])")
_WORDS = re.compile(r"\b(?:of|at|with|a|an|the|pellets?|powder|solution|dust)\b", re.I)
_SHAPES = frozenset(
    {"foil", "powder", "dust", "turnings", "pellets", "granules", "crystals", "tablets", "solution",
     "chips", "ribbon", "shot", "filings", "wire", "pieces", "flakes", "beads", "metal", "strips",
     "lumps", "cubes"}
)  # fmt: skip
_OF_WATER = frozenset({"tap", "cold", "hot", "warm", "iced", "pure", "distilled", "deionised",
                       "deionized", "some", "the"})  # fmt: skip
_STRONG_WORD = re.compile(r"\b(?:conc\.?|concentrated|fuming|glacial|undiluted)(?=\s|$)", re.I)


@lru_cache(maxsize=2048)
def part_of(text: str, mol_per_L: float | None = None) -> Part | None:
    """The substance in what a person wrote, amounts and all; ``None`` where none is recognised.

    >>> part_of("100 mL 18 mol/L H2SO4")
    Part(formula='H2SO4', state='aq', mol_per_L=18.0, charge=0)
    """
    body = " ".join(text.split())
    strength = mol_per_L
    percent = None
    for match in _STRENGTH.finditer(body):
        number = float(match[1].replace(",", "."))
        if match[2] in ("%", "per cent"):
            percent = number
        elif strength is None:
            strength = number
    body = _AMOUNT.sub(" ", _STRENGTH.sub(" ", body))
    strong = _STRONG_WORD.search(body) is not None
    body = " ".join(_STRONG_WORD.sub(" ", body).split()).strip(" ,;.")
    found = _resolved(body, strength is not None or percent is not None or strong)
    if found is None:
        return None
    formula, state, charge = found
    if percent is not None and strength is None:
        strength = _of_percent(formula, percent)
    if strong and strength is None and state != "s":
        strength = STRONGEST
    return Part(formula, state, strength, charge)


def _of_percent(formula: str, percent: float) -> float | None:
    """mol/L of so many per cent by mass, density taken as 1 + 0.006 a per cent."""
    from calib.substances.formula import molar_mass

    try:
        return 10.0 * percent * (1.0 + 0.006 * percent) / molar_mass(formula).value
    except CupledgerError:
        return None


def _resolved(body: str, dissolved: bool) -> tuple[str, str, int] | None:
    """Formula, state and charge; words before and behind are left out one by one."""
    plain = " ".join(_WORDS.sub(" ", body).split())
    for text in dict.fromkeys((body, plain)):
        words = text.split()
        while len(words) > 1 and words[-1].casefold() in _SHAPES:
            if found := _one_name(" ".join(words), dissolved):
                return found
            words.pop()
        for left in range(min(len(words), 4)):
            found = _one_name(" ".join(words[left:]), dissolved)
            left_out = {word.casefold() for word in words[:left]}
            if found and (found[0] != "H2O" or left_out <= _OF_WATER):
                return found
    return None


def _one_name(name: str, dissolved: bool) -> tuple[str, str, int] | None:
    from calib.reactions.equation import parse_species
    from calib.substances.names import resolve

    if not name:
        return None
    bare = re.sub(r"\s*\((s|l|g|aq)\)\s*$", "", name)
    stated = name[len(bare) :].strip(" ()")
    low = bare.casefold().replace("sulph", "sulf")
    known = more_names().get(low) or _formulas().get(low)
    if known is not None:
        formula, usual = known
        return formula, stated or ("aq" if dissolved else usual), 0
    try:
        found = resolve(name, dissolved=dissolved)
        return _split(found.formula, found.state)
    except CupledgerError:
        pass
    try:
        species = parse_species(name)
    except CupledgerError:
        return None
    looks = re.search(r"[A-Z]", species.formula) and " " not in species.formula
    return (species.formula, species.state, species.charge) if looks else None


def _split(formula: str, state: str) -> tuple[str, str, int]:
    from calib.substances.formula import split_charge

    body, charge = split_charge(formula)
    return body, state, charge


@lru_cache(maxsize=1)
def _formulas() -> dict[str, tuple[str, str]]:
    return {formula.casefold(): (formula, state) for formula, state in more_names().values()}
