"""What happens when this is put into that: the reaction or the physical process.

Rules of general chemistry (common practice, no source): acid with base to completion, salt into
water, metal into acid or salt solution by the activity series, two salt solutions by solubility.
Where they do not decide, the error asks for the equation.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from calib.errors import ReactionError
from calib.reactions.activity import ATTACKS_WATER, SERIES
from calib.reactions.displacing import metal_and_acid, metal_and_salt, two_salts
from calib.reactions.equation import Equation, Species, Term, tidy, whole_numbers
from calib.reactions.extent import is_solvent
from calib.reactions.ions import ACIDS, METALS, formula_of, is_soluble, salt_of, split_hydrate
from calib.reactions.neutralizing import acid_and_base, weak_acid_set_free
from calib.reactions.notation import canonical

WATER = Species("H2O", "l")


@dataclass(frozen=True, slots=True)
class PhysicalProcess:
    """Something other than a reaction: nothing new is formed.

    ``kind`` is ``mixing`` (water on water), ``dilution`` (a solution into water), ``specific heat``
    (a hot or cold solid into water) or ``fusion`` (ice into water). ``substance`` is what is added
    or found out about; ``result`` says in words what the run gives.
    """

    kind: str
    in_cup: Species
    added: Species
    substance: Species
    result: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.added} into {self.in_cup}"


Outcome = Equation | PhysicalProcess


@lru_cache(maxsize=1024)
def deduce(in_cup: Species, added: Species) -> Outcome:
    """The reaction of ``added`` with what is in the cup, or the physical process.

    Raises ``ReactionError`` where the rules do not decide, asking for the ``reaction`` column with
    an example; that no rule speaks never means that nothing happens.
    """
    in_cup, added = _with_state(in_cup), _with_state(added)
    for rule in _RULES:
        for first, second in ((in_cup, added), (added, in_cup)):
            outcome = rule(first, second)
            if outcome is not None:
                return _as_placed(outcome, in_cup, added)
    raise ReactionError(_ask(in_cup, added))


def _ask(in_cup: Species, added: Species) -> str:
    return (
        f"what {added} does with {in_cup} cannot be told by rule; give the equation in the column "
        "reaction, e.g. H2O2(aq) -> H2O(l) + 1/2 O2(g)"
    )


def _as_placed(outcome: Outcome, in_cup: Species, added: Species) -> Outcome:
    if isinstance(outcome, PhysicalProcess):
        result, substance = outcome.result, outcome.substance
        return PhysicalProcess(outcome.kind, in_cup, added, substance, result)
    return outcome


def _with_state(species: Species) -> Species:
    """Fill in a state that was left out: metals, hydrates solid; water liquid; else dissolved."""
    if species.state:
        return species
    name = canonical(species.formula)
    if name == "H2O":
        return Species(species.formula, "l")
    solid = name in METALS or split_hydrate(name)[1] != 0
    return Species(species.formula, "s" if solid else "aq", species.charge)


# --- rules: each is asked with both orders and answers None where it does not apply ---------------


def _water_and_water(water: Species, other: Species) -> Outcome | None:
    if not is_solvent(water) or canonical(other.formula) != "H2O":
        return None
    if other.state == "s":
        result = "enthalpy of fusion of ice, per mole and per gram of ice melted"
        return PhysicalProcess("fusion", water, other, other, result)
    if other.state == "g":
        result = "enthalpy of condensation of steam, per mole and per gram"
        return PhysicalProcess("condensation", water, other, other, result)
    return PhysicalProcess("mixing", water, other, other, "the cup's own heat capacity")


def _into_water(water: Species, other: Species) -> Outcome | None:
    if not is_solvent(water):
        return None
    name = canonical(other.formula)
    if other.state == "aq":
        result = f"enthalpy of dilution, per mole of {other.formula}"
        return PhysicalProcess("dilution", water, other, other, result)
    if name in METALS or name in _INERT_SOLIDS:
        return _metal_into_water(name, water, other)
    oxide = _oxide_into_water(name, other)
    if oxide is not None:
        return oxide
    if not _dissolves(name, other.state):
        return None
    body, crystal = split_hydrate(name)
    shown = body if crystal else other.formula
    products: list[Term] = [(1, Species(shown, "aq"))]
    if crystal:
        products.append((tidy(crystal), WATER))
    return Equation(((1, other),), tuple(products))


_INERT_SOLIDS = frozenset({"SiO2", "C", "S", "Al2O3", "Fe2O3"})
_MOLECULES = frozenset({
    "CO(NH2)2", "C12H22O11", "C6H12O6", "C4H11NO3", "C2H5OH", "CH3OH", "C3H6O", "H3BO3", "NH3",
    "H2O2", "CO2", "SO2", "C6H8O6", "C3H8O3", "C2H6O2",
})  # fmt: skip


def _dissolves(name: str, state: str) -> bool:
    if name in ACIDS or name in _MOLECULES:
        return True
    salt = salt_of(name)
    if salt is None or state != "s":
        return False
    sparing = name in {"Ca(OH)2", "Sr(OH)2", "Ba(OH)2"}
    return sparing or all(
        is_soluble(c, q, a) for c, q, _ in salt.cations for a, _, _ in salt.anions
    )


def _metal_into_water(name: str, water: Species, metal: Species) -> Outcome:
    if name in ATTACKS_WATER:
        charge = SERIES[name].charge
        base = Species(formula_of(name, charge, "OH", -1), "aq")
        gas = Fraction(charge, 2)
        left: tuple[Term, ...] = ((1, metal), (charge, WATER))
        return whole_numbers(Equation(left, ((1, base), (tidy(gas), Species("H2", "g")))))
    result = f"specific heat of {metal.formula}, per gram and per mole"
    return PhysicalProcess("specific heat", water, metal, metal, result)


def _oxide_into_water(name: str, oxide: Species) -> Outcome | None:
    salt = salt_of(name)
    if salt is None or salt.anions[0][0] != "O" or oxide.state != "s":
        return None
    cation, charge, count = salt.cations[0]
    if cation not in {"Li", "Na", "K", "Ca", "Sr", "Ba"}:
        return None
    state = "s" if cation == "Ca" else "aq"
    base = Species(formula_of(cation, charge, "OH", -1), state)
    return Equation(((1, oxide), (1, WATER)), ((count, base),))


_RULES: tuple[Callable[[Species, Species], Outcome | None], ...] = (
    _water_and_water,
    _into_water,
    acid_and_base,
    metal_and_acid,
    metal_and_salt,
    weak_acid_set_free,
    two_salts,
)
