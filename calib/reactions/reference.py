"""The enthalpy that a handbook gives for a reaction, at infinite dilution and 25 °C.

Order of choice: a directly published enthalpy of solution where the reaction is one substance going
into water; else Hess's law with CODATA where every species reaches; else with the NBS/CRC set. The
two sets are never mixed in one sum.
"""

from __future__ import annotations

from fractions import Fraction

from calib.errors import ReactionError
from calib.estimate import Estimate
from calib.reactions.equation import Equation, Species
from calib.reactions.formation import LETTERS, FormationSet, sets
from calib.reactions.ionic import net_numbers
from calib.reactions.ions import split_hydrate
from calib.reactions.known import KnownReaction, known_for
from calib.reactions.notation import canonical
from calib.reactions.solution_values import OTHERS, PARKER, PARKER_SOURCE, U_PARKER

UNIT = "kJ/mol"


def reference_enthalpy(equation: Equation) -> Estimate:
    """Standard enthalpy of ``equation`` as written [kJ per mole of reaction], 25 °C.

    Dissolved electrolytes are taken at infinite dilution. The source names the set and says which
    values are from memory. Raises ``ReactionError`` naming the species that no set holds.
    """
    direct = _direct_solution(equation)
    if direct is not None:
        return direct
    numbers = net_numbers(equation)
    for one in sets():
        if not one.missing(numbers):
            return _hess(one, numbers)
    known = known_for(equation)
    if known is not None:
        return _certified(known, equation)
    raise ReactionError(_missing_text(equation, numbers))


def enthalpies_by_set(equation: Equation) -> dict[str, Estimate]:
    """The same reaction by each set that reaches with values of its own, for comparing them."""
    numbers = net_numbers(equation)
    found: dict[str, Estimate] = {}
    for one in sets():
        if one.missing(numbers):
            continue
        value = _hess(one, numbers)
        if all(abs(value.value - other.value) > 1e-9 for other in found.values()):
            found[one.name] = value
    return found


def _hess(one: FormationSet, numbers: dict[Species, Fraction]) -> Estimate:
    value, u, letters = one.hess(numbers)
    source = f"Hess's law, {one.title}"
    if letters:
        source += f" ({', '.join(LETTERS[letter] for letter in letters)})"
    return Estimate(value, u, UNIT, source, "computed")


def _certified(known: KnownReaction, equation: Equation) -> Estimate:
    """A certified run's value, where no formation enthalpies reach; the source says its state."""
    own = next(s for s in known.equation.net() if s.formula == known.substance)
    times = float(equation.coefficient(own) / known.equation.coefficient(own))
    value = known.per_mole()
    source = f"{known.source}; {known.condition}, not infinite dilution"
    return Estimate(times * value.value, abs(times) * value.u, UNIT, source, "published")


def _missing_text(equation: Equation, numbers: dict[Species, Fraction]) -> str:
    parts = [f"{one.name} lacks {', '.join(map(str, one.missing(numbers)))}" for one in sets()]
    return (
        f"no set of formation enthalpies reaches every species of {equation}: {'; '.join(parts)}. "
        "The run is computed all the same; only the comparison is missing"
    )


def dissolving(equation: Equation) -> tuple[Species, Fraction] | None:
    """The one substance that goes into water, and its coefficient; ``None`` for other reactions.

    Crystal water and the solvent may stand in the equation or not.
    """
    numbers = equation.net()
    gone = [s for s, n in numbers.items() if n < 0 and canonical(s.formula) != "H2O"]
    if len(gone) != 1 or gone[0].state not in {"s", "l", "g"} or gone[0].charge:
        return None
    solute = gone[0]
    body, water = split_hydrate(solute.formula)
    as_dissolved = Equation(
        ((1, solute),),
        ((1, Species(body, "aq")), *(((water, Species("H2O", "l")),) if water else ())),
    )
    times = -numbers[solute]
    same = net_numbers(as_dissolved.scaled(times)) == net_numbers(equation)
    return (solute, times) if same else None


def _direct_solution(equation: Equation) -> Estimate | None:
    found = dissolving(equation)
    if found is None:
        return None
    solute, times = found
    key = canonical(solute.formula), solute.state
    if key in PARKER:
        value, u, source = PARKER[key], U_PARKER, PARKER_SOURCE
    elif key in OTHERS:
        value, u, source = OTHERS[key]
    else:
        return None
    return Estimate(
        float(times) * value, float(times) * u, UNIT, f"{source} (found in a public page)"
    )
