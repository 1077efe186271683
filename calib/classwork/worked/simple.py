"""The worked answer at the simple depth: the calculation of a first course, numbers substituted.

q = m c ΔT,   ΔH = −q/n            a reaction, a dissolution, a dilution
c₂ = m c ΔT/(m₂ (T₂ − T_f))        the specific heat of a solid
L = m c (T₁ − T_f)/m₂ − c T_f      the heat of fusion of ice
"""

from __future__ import annotations

from collections.abc import Iterator

from calib.classwork.marking.path import Path
from calib.classwork.marking.readings import Brought, GroupReadings, Poured
from calib.classwork.marking.ways import Taught, base_mass_g, simple_path
from calib.classwork.worked.steps import Step, as_typed, difference, number

__all__ = ["simple_steps"]


def simple_steps(readings: GroupReadings, taught: Taught, unit: str = "") -> tuple[Step, ...]:
    """Every step with its numbers; the last holds the answer."""
    path = simple_path(readings, taught, unit=unit or readings.unit())
    steps = [_mass(readings, taught), _rise(readings), _heat(readings, path)]
    if readings.kind == "molar":
        steps += [*_kilojoules(path), *_amounts(readings), *_per_mole(readings, path)]
    elif readings.kind == "specific heat":
        steps += list(_specific_heat(readings, path))
    else:
        steps += list(_fusion(readings, path, unit or readings.unit()))
    return tuple(steps)


def _mass(readings: GroupReadings, taught: Taught) -> Step:
    run = readings.prepared.run
    whole = base_mass_g(readings, taught)
    counted = [readings.in_cup]
    if readings.kind == "molar":
        counted = [p for p in readings.portions if not p.is_solid or taught.solute_mass == "in"]
    terms = " + ".join(
        as_typed(run, f"{p.side}_{p.typed_unit}")
        + (" mL × 1 g/mL" if p.typed_unit == "mL" else " g")
        for p in counted
    )
    left_out = len(counted) == 1 and readings.kind == "molar"
    remark = "The solid's mass is not counted." if left_out else ""
    names = " and ".join(p.label for p in counted)
    return Step("mass", f"Mass that changes its temperature: {names}", "m = sum of the masses",
                f"m = {terms}", f"m = {number(whole)} g", whole, "g", remark=remark)  # fmt: skip


def _ends(readings: GroupReadings) -> tuple[str, str]:
    """Start and end as the group has them."""
    run, rise = readings.prepared.run, readings.rise
    if rise.slack_K > 0.0:
        return f"{rise.start_C:.2f}", f"{rise.end_C:.2f}"
    start = as_typed(run, "in_cup_C" if run.in_cup_C is not None else "added_C")
    return start, as_typed(run, "extreme_C")


def _rise(readings: GroupReadings) -> Step:
    start, end = _ends(readings)
    rise = readings.rise
    remark = (
        f"The {rise.what} less the reading before mixing; a difference is the same in °C and K."
    )
    return Step("rise", "Change of temperature", "ΔT = T(end) − T(start)",
                f"ΔT = {end} °C − {start} °C", f"ΔT = {_rise_text(readings)} K",
                rise.rise_K, "K", remark=remark)  # fmt: skip


def _rise_text(readings: GroupReadings) -> str:
    return difference(readings.rise.rise_K, *_ends(readings))


def _heat(readings: GroupReadings, path: Path) -> Step:
    q = path.heat_J()
    rise = _rise_text(readings)
    rise = f"({rise})" if path.rise_K < 0.0 else rise
    numbers = f"q = {number(path.mass_g)} g × {path.c_J_per_gK:g} J/(g K) × {rise} K"
    way = "taken up by" if q >= 0.0 else "lost by"
    return Step("heat", f"Heat {way} the liquid", "q = m · c · ΔT", numbers,
                f"q = {number(q)} J", q, "J", remark="c is that of water.")  # fmt: skip


def _kilojoules(path: Path) -> Iterator[Step]:
    q = path.heat_J()
    yield Step("unit", "In kilojoules", "1 kJ = 1000 J", f"q = {number(q)} J ÷ 1000 J/kJ",
               f"q = {number(q / 1000.0)} kJ", q / 1000.0, "kJ")  # fmt: skip


def _amounts(readings: GroupReadings) -> Iterator[Step]:
    for one in readings.reactants:
        yield _amount(readings, one)


def _amount(readings: GroupReadings, one: Brought) -> Step:
    texts = [_moles_text(readings, p) for p in one.poured]
    formula, numbers = texts[0][0], " + ".join(text for _, text in texts)
    each = sum(p.taught_mol for p in one.poured)
    if each > 0.0 and abs(one.taught_mol / each - 1.0) > 1e-9:
        numbers = f"{numbers}, {number(one.taught_mol / each, 3)} of it a mole"
    remark = ""
    if len(readings.reactants) > 1:
        first = readings.limiting
        if readings.both_limit and one.reach_mol <= first.reach_mol * (1.0 + 1e-9):
            remark = "Both run out together."
        elif one is first:
            remark = "It runs out first, so it decides how much reacts."
        else:
            remark = "More than is needed; some is left over."
        if one.number != 1.0:
            remark += f" The equation uses {one.number:g} of it."
    return Step("amount", f"Amount of {one.label}", formula, f"n = {numbers}",
                f"n = {number(one.taught_mol)} mol", one.taught_mol, "mol",
                remark=remark)  # fmt: skip


def _moles_text(readings: GroupReadings, p: Poured) -> tuple[str, str]:
    run = readings.prepared.run
    if p.concentration is not None:
        c = as_typed(run, f"{p.side}_mol_per_L")
        return "n = c · V", f"{c} mol/L × {number(p.litres)} L"
    typed = as_typed(run, f"{p.side}_{p.typed_unit}")
    return "n = m/M", f"{typed} g ÷ {p.molar_mass:.2f} g/mol"


def _per_mole(readings: GroupReadings, path: Path) -> Iterator[Step]:
    q, n = path.heat_J() / 1000.0, path.divisor
    size = abs(q) / n
    yield Step("amount", f"Heat per mole of {readings.limiting.label}", "q/n",
               f"{number(abs(q))} kJ ÷ {number(n)} mol", f"{number(size)} kJ/mol", size,
               "kJ/mol")  # fmt: skip
    if path.rise_K >= 0.0:
        why = "It became warmer: heat was given out, so ΔH is negative."
    else:
        why = "It became colder: heat was taken in, so ΔH is positive."
    value = path.value()
    yield Step("sign", "Sign", "ΔH = −q/n", why, f"ΔH = {number(value, 3)} kJ/mol", value,
               "kJ/mol")  # fmt: skip


def _specific_heat(readings: GroupReadings, path: Path) -> Iterator[Step]:
    run = readings.prepared.run
    added, end = as_typed(run, "added_C"), _ends(readings)[1]
    drop = difference(path.drop_K, added, end)
    yield Step("rise", f"Temperature drop of {readings.added.label}", "ΔT₂ = T₂ − T(end)",
               f"ΔT₂ = {added} °C − {end} °C", f"ΔT₂ = {drop} K", path.drop_K, "K")  # fmt: skip
    value = path.value()
    yield Step("amount", f"Specific heat of {readings.added.label}", "c₂ = q/(m₂ · ΔT₂)",
               f"c₂ = {number(path.heat_J())} J ÷ ({as_typed(run, 'added_g')} g × "
               f"{drop} K)",
               f"c₂ = {number(value, 3)} J/(g K)", value, "J/(g K)",
               remark="What the water took up, the solid gave.")  # fmt: skip


def _fusion(readings: GroupReadings, path: Path, unit: str) -> Iterator[Step]:
    run, q, end = readings.prepared.run, -path.heat_J(), _ends(readings)[1]
    per_gram = q / path.divisor
    yield Step("amount", "Heat for each gram of ice", "q/m₂",
               f"{number(q)} J ÷ {as_typed(run, 'added_g')} g", f"{number(per_gram)} J/g",
               per_gram, "J/g")  # fmt: skip
    yield Step("heat", "Of this, warming the melt from 0 °C took", "c · (T(end) − 0 °C)",
               f"{path.c_J_per_gK:g} J/(g K) × {end} K",
               f"{number(path.melt_J_per_g)} J/g", path.melt_J_per_g, "J/g")  # fmt: skip
    left = per_gram - path.melt_J_per_g
    yield Step("sign", "Heat of fusion", "L = q/m₂ − c · T(end)",
               f"L = {number(per_gram)} J/g − {number(path.melt_J_per_g)} J/g",
               f"L = {number(left, 3)} J/g", left, "J/g")  # fmt: skip
    if unit == "kJ/mol":
        value = path.value()
        yield Step("unit", "Per mole", "L · M/1000",
                   f"{number(left)} J/g × {readings.added.molar_mass:.2f} g/mol ÷ 1000 J/kJ",
                   f"L = {number(value, 3)} kJ/mol", value, "kJ/mol")  # fmt: skip
