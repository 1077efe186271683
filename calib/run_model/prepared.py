"""A row made ready for the heat balance: portions, process, contents and their inputs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.errors import RowProblem, SubstanceError
from calib.run_model.contents import Contents, contents_after
from calib.run_model.portions import Portion, make_portion
from calib.run_model.process import Process, find_process
from calib.run_model.quantities import Quantities
from calib.run_model.refusal import RowRefusedError
from fitting.cup.knowledge import BENCH

if TYPE_CHECKING:
    from calib.runs.instruments import Instruments
    from calib.runs.model import Run

__all__ = ["PreparedRun", "prepare"]

ROOM_GUESS_C = BENCH.usual_room_C.value


@dataclass(frozen=True, slots=True, eq=False)
class PreparedRun:
    """One row with everything but its temperature rise."""

    run: Run
    instruments: Instruments
    in_cup: Portion
    added: Portion | None
    process: Process
    contents: Contents
    quantities: Quantities
    warnings: tuple[str, ...]

    @property
    def fill_mL(self) -> float:
        """Volume of liquid in the cup after mixing, from masses and densities. [mL]"""
        added = self.added
        more = added.volume_mL if added is not None and added.composition is not None else 0.0
        return self.in_cup.volume_mL + more

    @property
    def diluted(self) -> Portion | None:
        """The solution of a dilution, which may be in the cup or added; None otherwise."""
        if self.process.kind != "dilution":
            return None
        portions = (one for one in (self.in_cup, self.added) if one is not None)
        return next((one for one in portions if not one.solvent_only), None)

    def heat_capacity_before(self, t_C: float) -> float:
        """Heat capacity of what is in the cup before mixing, without the cup. [J/K]"""
        from calib.run_model.contents import portion_specific_heat

        return self.in_cup.mass_g * portion_specific_heat(self.in_cup, t_C, t_C).value

    def heat_capacity_after(self, t1_C: float, t2_C: float) -> float:
        """Heat capacity of the content after mixing, mean between two temperatures. [J/K]"""
        return self.contents.brought_g * self.contents.specific_heat(t1_C, t2_C).value


def prepare(run: Run, instruments: Instruments) -> PreparedRun:
    """Work out masses, compositions, amounts, extent and content of a row.

    Raises RowRefusedError with the column, what was found and what would mend it.
    """
    quantities = Quantities()
    t_cup = _first(run.in_cup_C, run.added_C, run.room_C, ROOM_GUESS_C)
    t_added = _first(run.added_C, run.in_cup_C, run.room_C, ROOM_GUESS_C)
    in_cup = make_portion(run, "in_cup", t_cup, instruments, quantities)
    added = None
    if run.added is not None or run.added_g is not None or run.added_mL is not None:
        added = make_portion(run, "added", t_added, instruments, quantities)
    process = find_process(run, in_cup, added)
    try:
        contents = contents_after(process, in_cup, added)
        contents.specific_heat(t_cup, t_cup)
    except SubstanceError as error:
        column = "added" if added is not None else "in_cup"
        raise RowRefusedError(
            RowProblem(run.run, column, str(error), str(getattr(run, column)))
        ) from None
    warnings = (*run.notes, *process.notes, *_remarks(process, contents))
    return PreparedRun(run, instruments, in_cup, added, process, contents, quantities, warnings)


def _first(*values: float | None) -> float:
    return next(value for value in values if value is not None)


def _remarks(process: Process, contents: Contents) -> list[str]:
    found = []
    if contents.gases:
        found.append(
            f"{', '.join(contents.gases)} leaves as gas: the heat that it and its water vapour "
            "carry away is not counted"
        )
    if process.extent is not None and process.extent.both:
        found.append(
            "the reactants are equal in amount, so that a small error in either decides the "
            "extent; about 5 % more of one of them would help"
        )
    return found
