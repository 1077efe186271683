"""The slips that turn a right calculation into a wrong number, each as one step done differently.

Common practice in marking, no source: sign; J left for kJ; one portion's mass for the whole; heat
not divided by the amount; a wrong amount; 273.15 added to a difference; calories; the final
temperature for the rise; the dissolving solid's mass left out or counted against what was taught.
``stage`` is the step in which a slip enters; two slips of one stage exclude each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from calib.classwork.marking.path import Path
from calib.classwork.marking.readings import GroupReadings
from calib.classwork.marking.ways import Taught

__all__ = ["KINDS", "STAGES", "Slip", "slips_for"]

STAGES = ("mass", "rise", "heat", "amount", "unit", "sign")
"""The steps of the calculation, in their order."""

KINDS: dict[str, str] = {
    "sign": "the sign is the other way round",
    "J for kJ": "joules stand where kilojoules belong",
    "kJ for J": "kilojoules stand where joules belong",
    "one mass only": "the mass of one portion was taken for the whole",
    "not divided": "the heat was not divided by the amount",
    "wrong moles": "the heat was divided by wrong moles",
    "wrong mass": "the heat was divided by a wrong mass",
    "kelvin added": "273.15 was added to a temperature difference",
    "calories": "calories and joules were mixed up",
    "final temperature": "the final temperature stands in place of the rise",
    "solute left out": "the mass of the solid was left out",
    "solute counted": "the mass of the solid was counted",
    "melt not warmed": "the warming of the melt was left out",
}
"""Every kind of slip and what it means."""

KELVIN = (273.15, 273.0)
CALORIE_J = (4.184, 4.18)


Change = Callable[[Path], Path]


@dataclass(frozen=True, slots=True)
class Slip:
    """One slip as it would look in this run: what it does to a path, and how it is told."""

    kind: str
    stage: str
    words: str
    apply: Change


def _put(**fields: float | bool) -> Change:
    """Replace fields of the path."""
    return lambda path: replace(path, **fields)  # type: ignore[arg-type]


def _times(factor: float) -> Change:
    """Multiply the answer."""
    return lambda path: replace(path, factor=path.factor * factor)


def _add_to_rise(kelvin: float, *, size_only: bool = False) -> Change:
    """Add to the difference; ``size_only`` where its size was taken first."""

    def change(path: Path) -> Path:
        size = abs(path.rise_K) + kelvin
        lowered = -size if path.rise_K < 0.0 else size
        return replace(path, rise_K=lowered if size_only else path.rise_K + kelvin)

    return change


def slips_for(readings: GroupReadings, taught: Taught, unit: str) -> list[Slip]:
    """Every slip that could happen in this run, in every form it could take."""
    found: list[Slip] = []
    if readings.kind == "molar":
        found += _masses(readings, taught)
        found += _amounts(readings)
    else:
        found += _physical(readings)
    found += _rises(readings)
    found += _heats()
    if unit.startswith("kJ"):
        found.append(Slip("J for kJ", "unit", KINDS["J for kJ"], _times(1000.0)))
    else:
        found.append(Slip("kJ for J", "unit", KINDS["kJ for J"], _times(0.001)))
    found.append(Slip("sign", "sign", KINDS["sign"], _times(-1.0)))
    return found


def _masses(readings: GroupReadings, taught: Taught) -> Iterator[Slip]:
    solid = readings.solid
    for one, other in (readings.portions, readings.portions[::-1]):
        if other is solid:
            continue  # that is the solid's mass left out, which has a name of its own
        where = "in the cup" if one.side == "in_cup" else "that was added"
        words = f"only the {_g(one.taught_g)} g of {one.label} {where} were taken as the mass"
        for mass in dict.fromkeys((one.taught_g, one.true_g)):
            yield Slip("one mass only", "mass", words, _put(mass_g=mass))
    if solid is None or solid.is_metal:
        return
    liquid = next(p for p in readings.portions if p is not solid)
    if taught.solute_mass == "in":
        words = f"the {_g(solid.taught_g)} g of {solid.label} were left out of the mass"
        for mass in dict.fromkeys((liquid.taught_g, liquid.true_g)):
            yield Slip("solute left out", "mass", words, _put(mass_g=mass))
    else:
        words = f"the {_g(solid.taught_g)} g of {solid.label} were counted in the mass"
        for mass in dict.fromkeys((liquid.taught_g, liquid.true_g)):
            yield Slip("solute counted", "mass", words, _put(mass_g=mass + solid.taught_g))


def _amounts(readings: GroupReadings) -> Iterator[Slip]:
    first = readings.limiting
    yield Slip("not divided", "amount", KINDS["not divided"], _put(divided=False))
    for words, amount in _wrong_amounts(readings):
        yield Slip("wrong moles", "amount", words, _put(divisor=amount))
    words = f"the heat was multiplied by the amount of {first.label} in place of divided"
    yield Slip("wrong moles", "amount", words, _put(divisor=1.0 / first.taught_mol))


def _wrong_amounts(readings: GroupReadings) -> Iterator[tuple[str, float]]:
    first, others = readings.limiting, readings.reactants[1:]
    for other in others:
        yield f"the amount of {other.label}, which is left over, was divided by", other.taught_mol
        if other.number != 1.0:
            words = f"the amount that {other.label}, which is left over, would make was divided by"
            yield words, other.reach_mol
    if others:
        total = sum(one.taught_mol for one in readings.reactants)
        yield "the amounts of both reactants were added up", total
    for one in first.poured:
        if one.concentration is not None:
            words = f"the millilitres of {one.label} were not turned into litres"
            yield words, first.taught_mol * 1000.0
            if one.concentration != 1.0:  # dividing by 1 is not dividing, which has its own name
                words = f"the concentration of {one.label} was divided by, not its amount"
                yield words, one.concentration
        else:
            yield f"the grams of {one.label} were divided by, not its moles", one.taught_g


def _physical(readings: GroupReadings) -> Iterator[Slip]:
    added, liquid = readings.added, readings.in_cup
    yield Slip("not divided", "amount", f"the heat was not divided by the mass of {added.label}",
                  _put(divided=False))  # fmt: skip
    yield Slip("wrong mass", "amount",
                  f"the mass of {liquid.label} was divided by, not that of {added.label}",
                  _put(divisor=liquid.taught_g))  # fmt: skip
    yield Slip("wrong mass", "amount", f"the moles of {added.label} were divided by",
                  _put(divisor=added.taught_mol))  # fmt: skip
    yield Slip("one mass only", "mass",
                  f"the {_g(added.taught_g)} g of {added.label} were taken for the water's mass",
                  _put(mass_g=added.taught_g))  # fmt: skip
    if readings.kind == "fusion":
        yield Slip("melt not warmed", "heat", KINDS["melt not warmed"], _put(melt_J_per_g=0.0))
        return
    for kelvin in KELVIN:
        drop = float(readings.added_C or 0.0) - readings.rise.end_C + kelvin
        words = "273 or 273.15 was added to the temperature difference of the solid"
        yield Slip("kelvin added", "rise", words, _put(drop_K=drop))


def _rises(readings: GroupReadings) -> Iterator[Slip]:
    end = readings.rise.end_C
    for kelvin in KELVIN:
        words = "273 or 273.15 was added to the temperature difference"
        yield Slip("kelvin added", "rise", words, _add_to_rise(kelvin))
        if readings.rise.rise_K < 0.0:
            yield Slip("kelvin added", "rise", words, _add_to_rise(kelvin, size_only=True))
    words = f"the final {end:.4g} °C was taken in place of the rise"
    yield Slip("final temperature", "rise", words, _put(rise_K=end))
    if readings.rise.rise_K < 0.0:
        yield Slip("final temperature", "rise", words, _put(rise_K=-end))


def _heats() -> Iterator[Slip]:
    words = "the answer is in calories (1 cal/(g K) for water), not in joules"
    yield Slip("calories", "heat", words, _put(c_J_per_gK=1.0))
    for joule in CALORIE_J:
        yield Slip("calories", "heat", words, _times(1.0 / joule))


def _g(mass: float) -> str:
    return f"{mass:.5g}"
