"""A prepared run with its rise: every term of the heat balance as a function of the inputs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib import balance
from calib.errors import RowProblem, SubstanceError
from calib.run_model.contents import portion_specific_heat, solution_key
from calib.run_model.limiting import Limiting, find_limiting
from calib.run_model.portions import Portion
from calib.run_model.prepared import PreparedRun
from calib.run_model.quantities import Quantities
from calib.run_model.refusal import RowRefusedError
from calib.run_model.rise import Rise, install_rise
from calib.run_model.shared_wall import CONSTANT

__all__ = ["MeasuredRun", "measure"]


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredRun:
    """One run with all its inputs. Methods take a mapping of input names to values."""

    prepared: PreparedRun
    rise: Rise
    quantities: Quantities
    limiting: Limiting | None

    def rise_K(self, x: Mapping[str, Any]) -> Any:
        """T_f − T_1. [K]"""
        return self.quantities.of(x, "rise")

    def cup_C(self, x: Mapping[str, Any]) -> Any:
        """T_1. [°C]"""
        return self.quantities.of(x, "cup_C")

    def added_C(self, x: Mapping[str, Any]) -> Any:
        """T_2; T_1 where nothing is added. [°C]"""
        return self.quantities.of(x, "added_C" if self.prepared.added is not None else "cup_C")

    def mass_g(self, x: Mapping[str, Any]) -> Any:
        """Mass of the cup's whole content. [g]"""
        total = self.prepared.in_cup.mass(x)
        added = self.prepared.added
        return total if added is None else total + added.mass(x)

    def C_mix(self, x: Mapping[str, Any]) -> Any:
        """Heat capacity of the content after mixing. [J/K]"""
        return self.mass_g(x) * x["c_mix"]

    def C_1(self, x: Mapping[str, Any]) -> Any:
        """Heat capacity of what is in the cup before mixing. [J/K]"""
        return self.prepared.in_cup.mass(x) * x["c_cup"]

    def C_2(self, x: Mapping[str, Any]) -> Any:
        """Heat capacity of what is added; 0 where nothing is. [J/K]"""
        added = self.prepared.added
        return 0.0 if added is None else added.mass(x) * x["c_added"]

    def C_cup(self, x: Mapping[str, Any]) -> Any:
        """The cup's constant, once it is installed. [J/K]"""
        return self.quantities.of(x, CONSTANT)

    def heat_J(self, x: Mapping[str, Any], C_app: Any) -> Any:
        """Heat released at T_1. [J]"""
        cup, rise = self.cup_C(x), self.rise_K(x)
        return balance.heat_released_J(
            cup + rise, cup, self.added_C(x), cup, self.C_mix(x), 0.0, self.C_2(x), C_app
        )

    def constant_J_per_K(self, x: Mapping[str, Any], heat_J: Any) -> Any:
        """The cup's constant that makes the balance hold for a known heat at T_1. [J/K]"""
        cup, rise = self.cup_C(x), self.rise_K(x)
        return balance.cup_constant_from_reaction(
            heat_J, cup + rise, cup, self.added_C(x), cup, self.C_mix(x), 0.0, self.C_2(x)
        )

    def extent_mol(self, x: Mapping[str, Any]) -> Any:
        """Extent of the reaction, moles of solute diluted, or of what is added otherwise. [mol]"""
        if self.limiting is not None:
            return self.limiting.extent(x)
        diluted = self.prepared.diluted
        if diluted is not None:
            return diluted.moles(x)
        added = self.prepared.added
        assert added is not None
        return added.moles(x)


def measure(prepared: PreparedRun, rise: Rise) -> MeasuredRun:
    """Put rise, temperatures, heat capacities and the extent's inputs together.

    Raises RowRefusedError where a heat capacity is not known.
    """
    q = prepared.quantities.copy()
    install_rise(q, prepared, rise)
    try:
        _install_capacities(q, prepared, rise)
    except SubstanceError as error:
        raise RowRefusedError(RowProblem(prepared.run.run, "added", str(error))) from None
    return MeasuredRun(prepared, rise, q, find_limiting(prepared.process, q))


def _install_capacities(q: Quantities, prepared: PreparedRun, rise: Rise) -> None:
    t1, tf = rise.before_C, rise.final_C
    mix = prepared.contents.specific_heat(t1, tf)
    kind = "" if mix.kind in ("published", "correlation") else f" ({mix.kind} estimate)"
    q.put_estimate("c_mix", mix, prepared.contents.key, f"specific heat of the mixture{kind}")
    cup = portion_specific_heat(prepared.in_cup, t1, tf)
    q.put_estimate("c_cup", cup, _key(prepared.in_cup), "specific heat of the liquid in the cup")
    if prepared.added is None:
        return
    t2 = q.value("added_C")
    added = portion_specific_heat(prepared.added, t2, t1)
    label = f"specific heat of {prepared.added.species}"
    q.put_estimate("c_added", added, _key(prepared.added), label)


def _key(portion: Portion) -> str:
    if portion.composition is not None:
        return solution_key(portion.composition)
    return f"heat capacity:{portion.species}"
