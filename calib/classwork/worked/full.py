"""The worked answer at the full depth: the heat balance of ``enthalpy``, numbers substituted.

    Q  = (C_mix + C_cup)(T_f − T₁) − C₂ (T₂ − T₁),   ΔH(T₁) = −Q/ξ

Every number carries its standard uncertainty and the line that says what it is made of; all are
propagated from the same inputs as the result itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from calib.classwork.worked.steps import Step, made_of, minus, number, shown
from calib.uncertainty import Propagated, propagate

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult

__all__ = ["full_steps"]

Function = Callable[[Mapping[str, Any]], Any]


def full_steps(result: RunResult) -> tuple[Step, ...]:
    """Every step of the full calculation; the last holds the answer."""
    sheet = _Sheet(result)
    if result.physical is None:
        return tuple(sheet.molar())
    return tuple(sheet.physical())


class _Sheet:
    """Works out the steps of one run."""

    def __init__(self, result: RunResult) -> None:
        self.result, self.m = result, result.measured
        self.inputs = self.m.quantities.inputs_used()
        self.x = {one.name: one.value for one in self.inputs}

    def find(self, f: Function) -> Propagated:
        return propagate(f, self.inputs)

    def step(
        self, stage: str, title: str, formula: str, numbers: str, symbol: str, f: Function,
        unit: str, remark: str = "",
    ) -> Step:  # fmt: skip
        p = self.find(f)
        text = f"{symbol} = {shown(p.value, p.u)} {unit}"
        return Step(stage, title, formula, numbers, text, p.value, unit, p.u, made_of(p), remark)

    def molar(self) -> Iterator[Step]:
        m = self.m
        yield self.mass()
        yield from self.capacities()
        yield self.rise()
        if m.prepared.added is not None:
            yield self.brought()
        yield self.heat()
        yield self.extent()
        molar = self.result.molar
        assert molar is not None
        x = self.x
        q, n = float(m.heat_J(x, m.C_cup(x))), float(m.extent_mol(x))
        text = f"ΔH = {shown(molar.value, molar.u)} kJ/mol"
        low, high = molar.interval95
        yield Step(
            "sign", f"Molar enthalpy at {self.result.at_C:.1f} °C", "ΔH = −Q/ξ",
            f"ΔH = −({number(q, 5)} J) ÷ ({number(n, 5)} mol × 1000 J/kJ)", text, molar.value,
            "kJ/mol", molar.u, made_of(molar, 6),
            f"95 % interval {number(low)} to {number(high)} kJ/mol.",
        )  # fmt: skip

    def physical(self) -> Iterator[Step]:
        m, p, x = self.m, self.result.physical, self.x
        assert p is not None
        assert m.prepared.added is not None
        yield self.step("mass", "Mass of the water in the cup", "m₁", "as weighed, or V ρ", "m₁",
                        m.prepared.in_cup.mass, "g")  # fmt: skip
        yield self.step("heat", "Heat capacity of the water", "C₁ = m₁ · c",
                        f"c = {number(x['c_cup'], 5)} J/(g K)", "C₁", m.C_1, "J/K")  # fmt: skip
        yield self.cup()
        yield self.rise()
        yield self.step("mass", f"Mass of {m.prepared.added.species}", "m₂", "as weighed", "m₂",
                        m.prepared.added.mass, "g")  # fmt: skip
        yield self.step("rise", f"Temperature of {m.prepared.added.species}", "T₂", "as read", "T₂",
                        m.added_C, "°C")  # fmt: skip
        formula = "c₂ = (C₁ + C_cup)(T_f − T₁)/(m₂ (T₂ − T_f))"
        if "fusion" in p.quantity:
            formula = "L = (C₁ + C_cup)(T₁ − T_f)/m₂ − c_ice (0 − T₂) − c_melt (T_f − 0)"
        r = p.result
        yield Step("sign", p.quantity[:1].upper() + p.quantity[1:], formula,
                   "with the numbers above", f"{shown(r.value, r.u)} {p.unit}", r.value, p.unit,
                   r.u, made_of(r, 6),
                   f"Per mole: {shown(p.per_mole, p.u_per_mole)} {p.unit_molar}.")  # fmt: skip

    def mass(self) -> Step:
        prepared = self.m.prepared
        parts = [p for p in (prepared.in_cup, prepared.added) if p is not None]
        said = []
        for p in parts:
            grams = float(p.mass(self.x))
            if f"{p.side}_g" in p.quantities.forms:
                said.append(f"{number(grams, 5)} g")
            else:
                rho = float(p.quantities.value(f"{p.side}_density"))
                said.append(f"{number(p.volume_mL, 5)} mL × {rho:.4f} g/mL")
        return self.step("mass", "Mass of the whole content, with densities", "m = Σ V ρ",
                         "m = " + " + ".join(said), "m", self.m.mass_g, "g")  # fmt: skip

    def capacities(self) -> Iterator[Step]:
        x, m = self.x, self.m
        numbers = f"C = {number(float(m.mass_g(x)), 5)} g × {number(x['c_mix'], 4)} J/(g K)"
        yield self.step("heat", "Heat capacity of the content", "C_mix = m · c(solution)", numbers,
                        "C_mix", m.C_mix, "J/K",
                        "c is the solution's own, not water's.")  # fmt: skip
        yield self.cup()

    def cup(self) -> Step:
        c = self.result.constant
        return self.step("heat", "Heat capacity of the cup: its constant", "C_cup",
                         f"from the registry: {c.source}", "C_cup", self.m.C_cup,
                         "J/K")  # fmt: skip

    def rise(self) -> Step:
        r = self.m.rise
        how = f"by the method {r.method}" if r.from_curve else r.method
        if not r.from_curve and r.loss_K:
            put_back = minus(f"{r.loss_K:+.3f}")
            how += f": {put_back} K for what was lost, a slow wall and the display's noise"
        numbers = f"{r.final_C:.3f} °C − {r.before_C:.3f} °C"
        return self.step("rise", "Rise of a cup that loses no heat", "ΔT = T_f − T₁",
                         f"ΔT = {minus(numbers)}", "ΔT", self.m.rise_K, "K",
                         f"The end: {how}.")  # fmt: skip

    def brought(self) -> Step:
        m, x = self.m, self.x
        apart = float(m.added_C(x)) - float(m.cup_C(x))
        return self.step(
            "heat", "Heat that the addition brought by being at another temperature",
            "Q₂ = C₂ (T₂ − T₁)", f"Q₂ = {number(float(m.C_2(x)))} J/K × {number(apart, 3)} K", "Q₂",
            lambda y: m.C_2(y) * (m.added_C(y) - m.cup_C(y)), "J",
        )  # fmt: skip

    def heat(self) -> Step:
        m, x = self.m, self.x
        total = float(m.C_mix(x)) + float(m.C_cup(x))
        brought = float(m.C_2(x)) * (float(m.added_C(x)) - float(m.cup_C(x)))
        numbers = (
            f"Q = {number(total, 5)} J/K × {number(float(m.rise_K(x)), 4)} K − "
            f"({number(brought, 4)} J)"
        )
        return self.step("heat", "Heat released", "Q = (C_mix + C_cup) ΔT − Q₂", numbers, "Q",
                         lambda y: m.heat_J(y, m.C_cup(y)), "J",
                         "Positive when heat was given out.")  # fmt: skip

    def extent(self) -> Step:
        limiting = self.m.prepared.process.limiting_text
        remark = "What runs out first decides." if limiting else ""
        what = {"both": "both reactants run out together", None: "moles of what was added"}.get(
            limiting, f"{limiting} runs out first"
        )
        return self.step("amount", "How far the reaction went", "ξ = min nᵢ/|νᵢ|", what, "ξ",
                         self.m.extent_mol, "mol", remark)  # fmt: skip
