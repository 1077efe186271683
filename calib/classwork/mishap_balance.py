"""The heat balance of one run, forwards and backwards, for asking what would have happened.

Forwards: from the run's own result and what truly was in the cup to the rise; backwards: from a
rise and what was written down to the result. A mishap changes one of the two, and the result that
comes back differs from the run's own by what the mishap would have done.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from calib import balance
from calib.enthalpies.one_run import RunResult
from calib.enthalpies.parts import SCHOOL_CP
from calib.substances.water import ICE_CP

__all__ = ["Balance", "Truth", "Written", "balance_of"]


@dataclass(frozen=True, slots=True)
class Truth:
    """What truly was, where it differs from what was written.

    ``inputs`` are input quantities by name, ``apart_K`` is added to T_2 − T_1, ``reacted`` the
    share of the extent that took place, ``lost_J`` heat lost unseen.
    """

    inputs: Mapping[str, float] = field(default_factory=dict)
    apart_K: float = 0.0
    reacted: float = 1.0
    lost_J: float = 0.0


@dataclass(frozen=True, slots=True)
class Written:
    """How the result was worked out, where it differs: no cup, water's specific heat, a rise."""

    no_cup: bool = False
    water_cp: bool = False


class Balance(Protocol):
    """One kind of run. ``value`` is its result, in the unit of the result."""

    value: float
    rise_K: float

    def rise(self, truth: Truth) -> float:
        """Rise that an insulated cup shows. [K]"""
        ...

    def result(self, rise_K: float, written: Written) -> float:
        """Result that is worked out from a rise."""
        ...

    def total_J_per_K(self) -> float:
        """Heat capacity of everything in the cup, with the cup. [J/K]"""
        ...


class _Common:
    """What all kinds have in common: the run's values, and the cup's constant."""

    def __init__(self, one: RunResult) -> None:
        self.run = one.measured
        self.x = {i.name: float(i.value) for i in one.measured.quantities.inputs_used()}
        self.cup = float(one.constant.value_J_per_K)
        self.rise_K = float(self.run.rise_K(self.x))
        self.t1 = float(self.run.cup_C(self.x))
        self.apart = float(self.run.added_C(self.x)) - self.t1

    def changed(self, truth: Truth) -> dict[str, float]:
        """The inputs as they truly were."""
        return {**self.x, **truth.inputs}

    def total_J_per_K(self) -> float:
        """Heat capacity of everything in the cup, with the cup. [J/K]"""
        return float(self.run.C_mix(self.x)) + self.cup


class _Molar(_Common):
    """ΔH = −[(C_mix + C_app) ΔT − C_2 (T_2 − T_1)] / ξ. [kJ/mol on the result's basis]"""

    def __init__(self, one: RunResult) -> None:
        super().__init__(one)
        self.basis = one.basis.moles_per_reaction
        self.extent = float(self.run.extent_mol(self.x)) * self.basis
        self.value = self.result(self.rise_K, Written())

    def rise(self, truth: Truth) -> float:
        x = self.changed(truth)
        moles = self.extent * self._reach(x) / self._reach(self.x) * truth.reacted
        heat = -1000.0 * moles * self.value - truth.lost_J
        return balance.expected_rise_K(
            heat, 0.0, self.apart + truth.apart_K, float(self.run.C_mix(x)),
            float(self.run.C_2(x)), self.cup,
        )  # fmt: skip

    def result(self, rise_K: float, written: Written) -> float:
        C_mix = float(self.run.C_mix(self.x))
        if written.water_cp:
            C_mix = SCHOOL_CP * float(self.run.mass_g(self.x))
        cup = 0.0 if written.no_cup else self.cup
        heat = (C_mix + cup) * rise_K - float(self.run.C_2(self.x)) * self.apart
        return balance.molar_enthalpy_kJ_per_mol(heat, self.extent)

    def _reach(self, x: Mapping[str, float]) -> float:
        """Extent with the limit itself, so that the other reactant may come to limit. [mol]"""
        if self.run.limiting is not None:
            return float(self.run.limiting.exact_extent(x))
        return float(self.run.extent_mol(x))


class _SpecificHeat(_Common):
    """c = (C_1 + C_app) ΔT / [m (T_2 − T_f)]. [J/(g K)]"""

    def __init__(self, one: RunResult) -> None:
        super().__init__(one)
        self.value = self.result(self.rise_K, Written())

    def rise(self, truth: Truth) -> float:
        x = self.changed(truth)
        hot = self._mass(x) * self.value
        own = float(self.run.C_1(x)) + self.cup
        return (hot * (self.apart + truth.apart_K) - truth.lost_J) / (own + hot)

    def result(self, rise_K: float, written: Written) -> float:
        C_1 = float(self.run.C_1(self.x))
        if written.water_cp:
            C_1 = SCHOOL_CP * self.run.prepared.in_cup.mass_g
        own = C_1 + (0.0 if written.no_cup else self.cup)
        return own * rise_K / (self._mass(self.x) * (self.apart - rise_K))

    def _mass(self, x: Mapping[str, float]) -> float:
        added = self.run.prepared.added
        assert added is not None
        return float(added.mass(x))

    def total_J_per_K(self) -> float:
        return float(self.run.C_1(self.x)) + self.cup + self._mass(self.x) * self.value


class _Fusion(_SpecificHeat):
    """L = (C_1 + C_app)(T_1 − T_f)/m + c_ice T_2 − c_water T_f, temperatures in °C. [J/g]"""

    c_water = 4.2

    def rise(self, truth: Truth) -> float:
        x = self.changed(truth)
        m, t2 = self._mass(x), self.t1 + self.apart + truth.apart_K
        own = float(self.run.C_1(x)) + self.cup
        heat = m * truth.reacted * (self.value - ICE_CP.value * min(t2, 0.0))
        heat += m * self.c_water * (self.t1 - max(t2, 0.0))
        return -(heat + truth.lost_J) / (own + m * self.c_water)

    def result(self, rise_K: float, written: Written) -> float:
        C_1 = float(self.run.C_1(self.x))
        if written.water_cp:
            C_1 = SCHOOL_CP * self.run.prepared.in_cup.mass_g
        own = C_1 + (0.0 if written.no_cup else self.cup)
        t2 = self.t1 + self.apart
        melt = self.c_water * (self.t1 + rise_K - max(t2, 0.0))
        return -own * rise_K / self._mass(self.x) + ICE_CP.value * min(t2, 0.0) - melt


def balance_of(one: RunResult) -> Balance:
    """The balance that this run's result came from."""
    if one.physical is None:
        return _Molar(one)
    kind = one.measured.prepared.process.kind
    return _SpecificHeat(one) if kind == "specific heat" else _Fusion(one)
