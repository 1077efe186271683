"""What a group has in front of it when it computes: amounts, concentrations, temperatures.

m = V · 1 g/mL          as taught in a first course; m = V ρ where the density is used
n = c V                 for a solution;  n = m/M  for a weighed substance
ξ = min n_i/|ν_i|       the reactant that runs out first limits
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from calib.errors import RowProblem
from calib.reactions.extent import is_solvent
from calib.run_model.prepared import PreparedRun, prepare
from calib.run_model.refusal import RowRefusedError

if TYPE_CHECKING:
    from calib.run_model.portions import Portion
    from calib.run_model.process import Process
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run

__all__ = [
    "Brought",
    "CannotBeMarkedError",
    "GroupReadings",
    "Poured",
    "RiseRead",
    "group_readings",
]

CURVE_SLACK_K = 0.1
"""How far a student's reading of a plotted curve may lie from the marker's (common practice)."""
BEFORE_S = 20.0
"""Readings of the last seconds before mixing stand for the start."""

_NOT_MARKED = {
    "mixing": "hot and cold water give the cup's constant, no enthalpy",
    "heater": "a heater run gives the cup's constant, no enthalpy",
    "cooling": "nothing was added, so there is nothing to compute an enthalpy of",
    "condensation": "no calculation is taught for condensing steam here",
}


class CannotBeMarkedError(Exception):
    """The run is of a kind for which there is no answer to mark; the text says why."""


@dataclass(frozen=True, slots=True)
class Poured:
    """One portion. ``taught_g`` takes 1 mL for 1 g, ``true_g`` uses the density."""

    side: Literal["in_cup", "added"]
    label: str
    is_solid: bool
    is_metal: bool
    typed: float
    typed_unit: Literal["mL", "g"]
    taught_g: float
    true_g: float
    concentration: float | None
    molar_mass: float
    taught_mol: float
    true_mol: float
    is_water: bool

    @property
    def litres(self) -> float:
        """Volume as taught. [L]"""
        return self.taught_g / 1000.0


@dataclass(frozen=True, slots=True)
class Brought:
    """A reactant with its amount, and how much of it one unit of the equation uses up."""

    label: str
    taught_mol: float
    true_mol: float
    number: float
    poured: tuple[Poured, ...]

    @property
    def reach_mol(self) -> float:
        """Extent that it allows by itself. [mol]"""
        return self.taught_mol / self.number


@dataclass(frozen=True, slots=True)
class RiseRead:
    """Two temperatures and where they come from. ``slack_K`` is 0 for readings typed in."""

    start_C: float
    end_C: float
    what: str
    slack_K: float = 0.0

    @property
    def rise_K(self) -> float:
        """End less start. [K]"""
        return self.end_C - self.start_C


@dataclass(frozen=True, slots=True, eq=False)
class GroupReadings:
    """A row as its group sees it. ``reactants`` are ordered by what they allow, least first."""

    prepared: PreparedRun
    kind: Literal["molar", "specific heat", "fusion"]
    process: str
    in_cup: Poured
    added: Poured
    reactants: tuple[Brought, ...]
    rise: RiseRead
    added_C: float | None

    @property
    def label(self) -> str:
        """The row's label."""
        return self.prepared.run.run

    @property
    def limiting(self) -> Brought:
        """The reactant that runs out first."""
        return self.reactants[0]

    @property
    def both_limit(self) -> bool:
        """Whether the two least amounts are equal."""
        some = self.reactants
        return len(some) > 1 and abs(some[1].reach_mol / some[0].reach_mol - 1.0) < 1e-9

    @property
    def portions(self) -> tuple[Poured, Poured]:
        """Both portions."""
        return (self.in_cup, self.added)

    @property
    def solid(self) -> Poured | None:
        """The solid among them, if there is one."""
        return next((p for p in self.portions if p.is_solid), None)

    @property
    def two_liquids(self) -> bool:
        """Whether liquid was poured on liquid."""
        return self.solid is None

    def unit(self, column: str = "reported_kJ_per_mol") -> str:
        """Unit that an answer in a column has for this kind of run."""
        if self.kind == "specific heat":
            return "J/(g K)"
        if self.kind == "fusion":
            return "kJ/mol" if column == "reported_kJ_per_mol" else "J/g"
        return "kJ/mol"


def group_readings(run: Run, instruments: Instruments) -> GroupReadings:
    """The readings of one row, ready for the calculations taught.

    Raises:
        RowRefusedError: something that is needed is missing or contradicts itself.
        CannotBeMarkedError: the run is of a kind that gives no answer to mark.
    """
    prepared = prepare(run, instruments)
    process, added = prepared.process, prepared.added
    kind = process.kind
    if kind in _NOT_MARKED or added is None:
        raise CannotBeMarkedError(_NOT_MARKED.get(kind, _NOT_MARKED["cooling"]))
    in_cup_seen, added_seen = _poured(prepared.in_cup), _poured(added)
    if kind in ("specific heat", "fusion") and run.added_C is None:
        raise RowRefusedError(
            RowProblem(run.run, "added_C", "the temperature of what is added decides the result",
                       "an empty cell", "°C", "fill it in (0 for melting ice)")
        )  # fmt: skip
    return GroupReadings(
        prepared,
        kind if kind in ("specific heat", "fusion") else "molar",
        process.name,
        in_cup_seen,
        added_seen,
        _reactants(process, in_cup_seen, added_seen),
        _rise(prepared),
        run.added_C,
    )


def _poured(portion: Portion) -> Poured:
    from calib.reactions.ions import METALS
    from calib.substances.formula import molar_mass

    run_g = portion.quantities.forms.get(f"{portion.side}_g")
    typed = portion.quantities.value(f"{portion.side}_{'g' if run_g else 'mL'}")
    concentration = None
    if f"{portion.side}_mol_per_L" in portion.quantities.forms:
        concentration = portion.quantities.value(f"{portion.side}_mol_per_L")
    M = molar_mass(portion.species.formula).value
    taught = concentration * typed / 1000.0 if concentration is not None else typed / M
    return Poured(
        side=portion.side,
        label=str(portion.species),
        is_solid=portion.species.state == "s",
        is_metal=portion.species.state == "s" and portion.species.formula in METALS,
        typed=typed,
        typed_unit="g" if run_g else "mL",
        taught_g=typed,
        true_g=portion.mass_g,
        concentration=concentration,
        molar_mass=M,
        taught_mol=taught,
        true_mol=portion.amount_mol,
        is_water=portion.solvent_only,
    )


def _reactants(process: Process, in_cup: Poured, added: Poured) -> tuple[Brought, ...]:
    if process.extent is None:
        return (Brought(added.label, added.taught_mol, added.true_mol, 1.0, (added,)),)
    seen = {"in_cup": in_cup, "added": added}
    found = []
    for species, shares in process.brings.items():
        if is_solvent(species) or process.numbers[species] >= 0.0:
            continue
        poured = tuple(seen[share.portion.side] for share in shares)
        taught = sum(share.per_mole * p.taught_mol for share, p in zip(shares, poured, strict=True))
        true = sum(share.per_mole * p.true_mol for share, p in zip(shares, poured, strict=True))
        found.append(Brought(str(species), taught, true, abs(process.numbers[species]), poured))
    return tuple(sorted(found, key=lambda one: one.reach_mol))


def _rise(prepared: PreparedRun) -> RiseRead:
    run = prepared.run
    start = run.in_cup_C if run.in_cup_C is not None else run.added_C
    if start is not None and run.extreme_C is not None:
        what = "highest reading" if run.extreme_C >= start else "lowest reading"
        return RiseRead(start, run.extreme_C, what)
    if run.curve_path is not None:
        return _from_curve(prepared)
    column = "in_cup_C" if start is None else "extreme_C"
    raise RowRefusedError(
        RowProblem(run.run, column, "a temperature before mixing and an extreme reading, or a "
                   "logged curve, are needed", "an empty cell", "°C", f"fill in {column}")
    )  # fmt: skip


def _from_curve(prepared: PreparedRun) -> RiseRead:
    """Start and extreme as a person reads them off the plotted curve."""
    import numpy as np

    from calib.errors import CurveError
    from fitting.corrections.choice import lay_out
    from fitting.cup.circumstances import NOTHING_KNOWN
    from fitting.files.curve_files import read_curve

    run = prepared.run
    try:
        curve = read_curve(str(run.curve_path))
        at = run.mixed_at_s
        if at is None:
            at = lay_out(curve, NOTHING_KNOWN).mixing.time_s
    except CurveError as error:
        raise RowRefusedError(
            RowProblem(run.run, "curve", str(error), str(run.curve), "a logged temperature curve")
        ) from None
    time, temperature = np.asarray(curve.time_s), np.asarray(curve.temperature_C)
    before, after = time < at, time >= at
    if not before.any() or not after.any():
        raise RowRefusedError(
            RowProblem(run.run, "curve", "the moment of mixing lies outside the curve",
                       f"{at:g} s", "a moment within the curve", "correct mixed_at_s")
        )  # fmt: skip
    late = before & (time >= at - BEFORE_S)
    start = float(np.median(temperature[late if late.any() else before]))
    later = temperature[after]
    end = float(later[np.argmax(np.abs(later - start))])
    what = "highest" if end >= start else "lowest"
    return RiseRead(round(start, 2), round(end, 2), f"{what} reading of the curve", CURVE_SLACK_K)
