"""What happens in a run: a reaction with its amounts, a physical process, a heater or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from calib.errors import EquationError, ReactionError, RowProblem
from calib.reactions.equation import Equation, Species
from calib.reactions.extent import Extent, is_solvent, react
from calib.run_model.portions import Portion
from calib.run_model.refusal import RowRefusedError

if TYPE_CHECKING:
    from calib.reactions.deduce import PhysicalProcess
    from calib.reactions.known import KnownReaction
    from calib.runs.model import Run

__all__ = ["Process", "Share", "find_process"]

ProcessKind = Literal[
    "reaction", "mixing", "dilution", "specific heat", "fusion", "condensation", "heater", "cooling"
]


@dataclass(frozen=True, slots=True, eq=False)
class Share:
    """Moles of one of the equation's species that a mole of a portion brings."""

    portion: Portion
    per_mole: float


@dataclass(frozen=True, slots=True, eq=False)
class Process:
    """The process of a run. ``brings`` says which portions bring each reactant; ``spectators`` what
    takes no part; ``numbers`` are the signed stoichiometric numbers.
    """

    kind: ProcessKind
    name: str
    equation: Equation | None = None
    known: KnownReaction | None = None
    extent: Extent | None = None
    brings: Mapping[Species, tuple[Share, ...]] = field(default_factory=dict)
    spectators: tuple[tuple[Species, Share], ...] = ()
    numbers: Mapping[Species, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def reach(self, species: Species, x: Mapping[str, Any]) -> Any:
        """Extent that this reactant alone would allow, n/|ν|. [mol]"""
        total: Any = 0.0
        for share in self.brings[species]:
            total = total + share.per_mole * share.portion.moles(x)
        return total / abs(self.numbers[species])

    @property
    def reactants(self) -> tuple[Species, ...]:
        """The reactants that can limit: all but the solvent."""
        return tuple(s for s in self.brings if self.numbers[s] < 0 and not is_solvent(s))

    @property
    def limiting_text(self) -> str | None:
        """Name of the limiting reactant, ``both`` where they are equal, None without a reaction."""
        return self.extent.limiting_text if self.extent is not None else None


def find_process(run: Run, in_cup: Portion, added: Portion | None) -> Process:
    """Decide from the row what happens.

    A heater's three columns make an electrical run; nothing added, a cooling log; otherwise the
    ``reaction`` column decides (equation, or name of a known reaction), or else the two substances.
    Raises RowRefusedError with the column that would settle it.
    """
    if run.is_heater_run:
        return Process("heater", "electrical heater")
    if added is None:
        return Process("cooling", "cooling log")
    from calib.reactions.deduce import PhysicalProcess, deduce

    named, notes = _from_column(run)
    try:
        outcome = named if named is not None else deduce(in_cup.species, added.species)
    except ReactionError as error:
        shown = f"{run.in_cup} and {run.added}"
        _refuse_hazards(run)
        raise RowRefusedError(
            RowProblem(run.run, "reaction", str(error), shown, "an equation or a known name")
        ) from None
    if isinstance(outcome, PhysicalProcess):
        return _physical(run, outcome, in_cup, added, by_name=named is not None)
    return _reaction(run, outcome, in_cup, added, notes)


def _refuse_hazards(run: Run) -> None:
    """Where the two must not meet, the row's problem says that and offers no equation."""
    from calib.hazards.asking import NOT_HERE, asked_of_row

    strengths = (run.in_cup_mol_per_L, run.added_mol_per_L)
    for one in asked_of_row(run.in_cup, run.added, strengths=strengths):
        if one.refused:
            raise RowRefusedError(RowProblem(run.run, "reaction", f"{one.words}. {NOT_HERE}"))


def _from_column(run: Run) -> tuple[Equation | PhysicalProcess | None, tuple[str, ...]]:
    """What the column ``reaction`` names: an equation, or an entry of the lists."""
    from calib.reactions.describe import reaction_named
    from calib.reactions.ionic import with_bare_protons

    if run.reaction is None or not run.reaction.strip():
        return None, ()
    try:
        named = reaction_named(run.reaction)
    except (EquationError, ReactionError) as error:
        raise RowRefusedError(
            RowProblem(run.run, "reaction", str(error), repr(run.reaction),
                       "a balanced equation, or the name of a known reaction",
                       "the names stand in: cupledger reference")
        ) from None  # fmt: skip
    if isinstance(named, Equation):
        named = with_bare_protons(named)
        return named, tuple(named.assumed)
    return named, ()


def _physical(
    run: Run, process: PhysicalProcess, in_cup: Portion, added: Portion, *, by_name: bool
) -> Process:
    """A physical process; one chosen by name must be what the row's own substances do."""
    from calib.reactions.deduce import PhysicalProcess, deduce

    kind: Any = process.kind
    if not by_name:
        return Process(kind, str(process))
    try:
        own = deduce(in_cup.species, added.species)
    except ReactionError:
        own = None
    if isinstance(own, PhysicalProcess) and (own.kind, own.substance.formula) == (
        process.kind,
        process.substance.formula,
    ):
        return Process(kind, str(own))
    raise RowRefusedError(
        RowProblem(run.run, "reaction", f"{run.reaction!r} is not what was put together",
                   f"{run.in_cup} and {run.added}", str(process),
                   "correct reaction, or in_cup and added")
    )  # fmt: skip


def _reaction(
    run: Run,
    equation: Equation,
    in_cup: Portion,
    added: Portion,
    notes: tuple[str, ...],
) -> Process:
    from calib.reactions.known import known_for

    brings: dict[Species, list[Share]] = {}
    spectators: list[tuple[Species, Share]] = []
    for portion in (in_cup, added):
        for species, count in _as_in_equation(run, equation, portion):
            share = Share(portion, count)
            member = equation.find(species)
            if member is None or member not in equation.net():
                spectators.append((species, share))
            else:
                brings.setdefault(member, []).append(share)
    amounts = {s: sum(p.per_mole * p.portion.amount_mol for p in ps) for s, ps in brings.items()}
    try:
        extent = react(equation, amounts)
    except ReactionError as error:
        raise RowRefusedError(
            RowProblem(run.run, "reaction", str(error), f"{run.in_cup} and {run.added}",
                       str(equation), "correct the equation, or in_cup and added")
        ) from None  # fmt: skip
    numbers = {species: float(number) for species, number in equation.net().items()}
    return Process(
        kind="reaction",
        name=str(equation),
        equation=equation,
        known=known_for(equation),
        extent=extent,
        brings={species: tuple(shares) for species, shares in brings.items()},
        spectators=tuple(spectators),
        numbers=numbers,
        notes=notes,
    )


def _as_in_equation(run: Run, equation: Equation, portion: Portion) -> list[tuple[Species, float]]:
    """The portion as species of the equation, with moles per mole; ions where it names ions."""
    from calib.reactions.ions import in_water

    species = portion.species
    if equation.find(species) is not None or portion.solvent_only:
        return [(species, 1.0)]
    pieces = [(piece, float(count)) for count, piece in in_water(species)]
    if species.state == "aq" and any(equation.find(piece) is not None for piece, _ in pieces):
        return pieces
    if species.state == "aq":
        return [(species, 1.0)]  # a solution whose solute takes no part
    raise RowRefusedError(
        RowProblem(run.run, "reaction", f"{species} stands in no place of the equation",
                   str(equation), f"an equation in which {species} takes part",
                   f"correct {portion.side} or the equation")
    )  # fmt: skip
