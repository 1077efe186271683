"""What "per mole" refers to, in words that are printed with every molar enthalpy.

ΔH per mole of species i = ΔH per mole of reaction / |ν_i|
"""

from __future__ import annotations

from dataclasses import dataclass

from calib.errors import CupledgerError, ReactionError
from calib.estimate import Estimate
from calib.reactions.equation import Equation, Species, parse_species
from calib.reactions.ions import ACIDS, salt_of
from calib.reactions.notation import canonical
from calib.reactions.reference import dissolving

REACTION, WATER, SOLUTE = "reaction", "water", "solute"
_WORDS = {
    **dict.fromkeys(("reaction", "reaction as written", "as written", "equation"), REACTION),
    **dict.fromkeys(("water", "water formed", "h2o"), WATER),
    **dict.fromkeys(("solute", "salt", "salt dissolved", "solute dissolved"), SOLUTE),
}


@dataclass(frozen=True, slots=True)
class Basis:
    """A chosen basis: moles of it per mole of reaction, and the words to print."""

    name: str
    moles_per_reaction: float
    words: str

    def convert(self, per_reaction: Estimate) -> Estimate:
        """The enthalpy on this basis, its source saying so."""
        factor = 1.0 / self.moles_per_reaction
        return Estimate(
            per_reaction.value * factor,
            per_reaction.u * factor,
            per_reaction.unit,
            f"{per_reaction.source}; {self.words}",
            per_reaction.kind,
        )


def basis_of(equation: Equation, wanted: str = "") -> Basis:
    """The basis a user asks for: ``reaction``, ``water``, ``salt``, or a species of the equation.

    Without a wish: the solute for a dissolution, the water formed for a neutralization, else the
    reaction as written. Raises ``ReactionError`` where the equation has no such thing.
    """
    if not wanted.strip():
        return basis_of(equation, usual_basis(equation))
    kind = _WORDS.get(wanted.strip().lower())
    if kind == REACTION:
        return Basis(REACTION, 1.0, f"per mole of reaction as written, {equation}")
    if kind == WATER:
        return _water(equation)
    if kind == SOLUTE:
        return _solute(equation)
    return _species(equation, parse_species(wanted))


def check_wish(wanted: str) -> None:
    """Raise ``ReactionError`` where a wish is neither one of the words nor a substance."""
    word = wanted.strip()
    if not word or word.lower() in _WORDS:
        return
    try:
        parse_species(word)
    except CupledgerError as error:
        raise ReactionError(
            f"'per mole of {word}' is not understood ({error}); choose reaction, water, salt, or a "
            "substance of the equation such as HCl(aq)"
        ) from None


def usual_basis(equation: Equation) -> str:
    """What textbooks refer this kind of reaction to."""
    if dissolving(equation) is not None:
        return SOLUTE
    return WATER if is_neutralization(equation) else REACTION


def default_basis(equation: Equation) -> Basis:
    """The reaction as written, in the textbook's words where they mean the same number."""
    usual = basis_of(equation, usual_basis(equation))
    return usual if usual.moles_per_reaction == 1.0 else basis_of(equation, REACTION)


def is_neutralization(equation: Equation) -> bool:
    """Acid and hydroxide giving salt and water, nothing else going on."""
    water = equation.coefficient(Species("H2O", "l"))
    left = [s for s, n in equation.net().items() if n < 0]
    if water <= 0 or len(left) != 2:
        return False
    acid = any(canonical(s.formula) in ACIDS or s.key == ("H", "aq", 1) for s in left)
    base = any(_is_hydroxide(s) for s in left)
    calm = all(s.state == "aq" for s, n in equation.net().items() if n > 0 and s.state != "l")
    return acid and base and calm and all(s.state == "aq" for s in left)


def _is_hydroxide(species: Species) -> bool:
    salt = salt_of(species.formula) if not species.charge else None
    return species.key == ("OH", "aq", -1) or (salt is not None and salt.anions[0][0] == "OH")


def _water(equation: Equation) -> Basis:
    formed = float(equation.coefficient(Species("H2O", "l")))
    if formed <= 0.0:
        raise ReactionError(
            f"{equation} forms no water, so nothing is 'per mole of water formed'; choose "
            "'reaction' or one of its substances"
        )
    return Basis(WATER, formed, "per mole of water formed")


def _solute(equation: Equation) -> Basis:
    found = dissolving(equation)
    if found is None:
        raise ReactionError(
            f"{equation} is no dissolution, so nothing is 'per mole dissolved'; choose 'reaction' "
            "or one of its substances"
        )
    solute, times = found
    return Basis(SOLUTE, float(times), f"per mole of {solute} dissolved")


def _species(equation: Equation, species: Species) -> Basis:
    own = equation.find(species)
    number = equation.coefficient(species) if own else 0
    if own is None or number == 0:
        known = ", ".join(map(str, equation.net()))
        raise ReactionError(f"{species} takes no part in {equation}; choose one of {known}")
    verb = "formed" if number > 0 else "reacting"
    return Basis(str(own), abs(float(number)), f"per mole of {own} {verb}")
