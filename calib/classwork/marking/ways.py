"""The honest ways through a calculation, at the two depths taught.

Simple: masses as weighed or 1 mL taken for 1 g, water's specific heat, highest reading less start,
no cup, per mole of the reactant that runs out. Full: the cup's constant, the rise corrected for
heat loss, the solution's own specific heat and density, the second liquid's own temperature.
Honest groups differ in what they were told to look up or to neglect, so every depth has several
ways; what a way leaves out of the depth taught is said with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING, Literal

from calib.classwork.marking.path import Path, Rounding
from calib.classwork.marking.readings import GroupReadings, RiseRead

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult

__all__ = [
    "COARSE",
    "SCHOOL_C",
    "Depth",
    "SoluteMass",
    "Taught",
    "Way",
    "full_ways",
    "simple_path",
    "simple_ways",
]

Depth = Literal["simple", "full"]
SoluteMass = Literal["in", "out"]

SCHOOL_C = (4.18, 4.184, 4.2, 4.19)
"""J/(g K): values of water's specific heat in school books, the first the one taught here."""

MEAN = "from the mean of the two starting temperatures"
MIXED = "from the starting temperature that the liquids mix to"
DENSITY_SPREAD = 0.005
"""Share by which densities of one solution differ between school tables (common practice)."""

LOOKED_UP_SPREAD = 0.004
"""The same for specific heat and density of a solution together, at the full depth."""
WHOLE_SHARE = 5e-4
"""Molar masses that are further than this from a whole number are tried as one too."""

COARSE = tuple(
    Rounding(rise, None, heat, amount)
    for rise, heat, amount in product((None, 2), (None, 2), (None, 2))
)
"""Honest but coarse: rise, heat or amount kept to two digits. Three are allowed for by a share."""


@dataclass(frozen=True, slots=True)
class Taught:
    """What the class was taught. ``solute_mass``: whether a dissolving solid's mass counts."""

    depth: Depth = "simple"
    solute_mass: SoluteMass = "in"


@dataclass(frozen=True, slots=True)
class Way:
    """A path, the choices that differ from those taught, and what it leaves out of its depth.

    ``spread`` is how far values looked up for it differ between books, as a share of the answer.
    """

    path: Path
    choices: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    start_C: float = 0.0
    spread: float = 0.0


def base_mass_g(readings: GroupReadings, taught: Taught) -> float:
    """The mass whose temperature changes, as taught. [g]"""
    if readings.kind != "molar":
        return readings.in_cup.taught_g
    solid = readings.solid
    total = readings.in_cup.taught_g + readings.added.taught_g
    if solid is not None and taught.solute_mass == "out":
        return total - solid.taught_g
    return total


def simple_path(readings: GroupReadings, taught: Taught, *, unit: str = "") -> Path:
    """The calculation of a first course, exactly as taught."""
    rise = readings.rise
    base = Path(
        kind=readings.kind,
        mass_g=base_mass_g(readings, taught),
        c_J_per_gK=SCHOOL_C[0],
        rise_K=rise.rise_K,
        divisor=readings.limiting.taught_mol,
        rise_slack_K=rise.slack_K,
    )
    if readings.kind == "molar":
        return base
    added_g = readings.added.taught_g
    if readings.kind == "specific heat":
        return replace(base, divisor=added_g, drop_K=float(readings.added_C or 0.0) - rise.end_C)
    per_mole = readings.added.molar_mass / 1000.0 if unit == "kJ/mol" else 1.0
    return replace(
        base, divisor=added_g, melt_J_per_g=SCHOOL_C[0] * rise.end_C, unit_factor=per_mole
    )


def simple_ways(readings: GroupReadings, taught: Taught, *, unit: str = "") -> list[Way]:
    """All honest ways of the simple depth, the one taught first."""
    base = simple_path(readings, taught, unit=unit)
    ways = []
    rises = {dense: _rises(readings, dense=dense) for dense in (False, True)}
    for (mass, about_mass), c, which, (moles, about_moles) in product(
        _masses(readings, taught), SCHOOL_C, range(len(rises[False])), _bases(readings)
    ):
        rise, about_rise = rises["densit" in about_mass][which]
        path = replace(base, mass_g=mass, c_J_per_gK=c, rise_K=rise.rise_K)
        if readings.kind == "molar":
            path = replace(path, divisor=moles)
        elif readings.kind == "fusion":
            path = replace(path, melt_J_per_g=c * rise.end_C)
        about_c = "" if c == SCHOOL_C[0] else f"with {c:g} J/(g K) for water"
        said = tuple(x for x in (about_mass, about_c, about_rise, about_moles) if x)
        spread = DENSITY_SPREAD if "densit" in about_mass else 0.0
        ways.append(Way(path, said, start_C=rise.start_C, spread=spread))
    return ways


def _masses(readings: GroupReadings, taught: Taught) -> list[tuple[float, str]]:
    """Masses that an honest group can have used, with what is particular about each."""
    mass = base_mass_g(readings, taught)
    found = [(mass, "")]
    portions = readings.portions if readings.kind == "molar" else (readings.in_cup,)
    counted = [p for p in portions if not p.is_solid or taught.solute_mass == "in"]
    dense = sum(p.true_g for p in counted)
    if abs(dense - mass) > 1e-9 * mass:
        found.append((dense, "with the solutions' densities"))
    solid = readings.solid
    if readings.kind == "molar" and solid is not None and solid.is_metal:
        for value, what in list(found):  # whether the metal's mass counts is taught either way
            other = value - solid.taught_g if taught.solute_mass == "in" else value + solid.taught_g
            word = "without" if taught.solute_mass == "in" else "with"
            found.append((other, f"{what} {word} the metal's mass".strip()))
    return found


def _rises(readings: GroupReadings, *, dense: bool) -> list[tuple[RiseRead, str]]:
    """Rises that an honest group can have used: from the cup's reading, from a mean of both."""
    rise, second = readings.rise, readings.added_C
    found = [(rise, "")]
    if readings.kind != "molar" or not readings.two_liquids or second in (None, rise.start_C):
        return found
    assert second is not None
    m1, m2 = ((p.true_g if dense else p.taught_g) for p in readings.portions)
    weighted = (m1 * rise.start_C + m2 * second) / (m1 + m2)
    found.append((replace(rise, start_C=0.5 * (rise.start_C + second)), MEAN))
    found.append((replace(rise, start_C=weighted), MIXED))
    return found


def _bases(readings: GroupReadings) -> list[tuple[float, str]]:
    """What is divided by: moles of what runs out, or of the equation as written."""
    if readings.kind != "molar":
        return [(0.0, "")]
    first = readings.limiting
    found = [(first.taught_mol, "")]
    if first.number != 1.0:
        found.append((first.reach_mol, "per mole of the equation as written"))
    found += [(first.taught_mol * part, said) for part, said in _whole_molar_masses(readings)]
    if readings.both_limit:
        for other in readings.reactants[1:]:
            if abs(other.taught_mol / first.taught_mol - 1.0) > 1e-9:
                found.append((other.taught_mol, f"per mole of {other.label}"))
    return found


def _whole_molar_masses(readings: GroupReadings) -> list[tuple[float, str]]:
    """By how much a molar mass taken as a whole number changes the moles of what limits."""
    found = []
    for one in readings.limiting.poured:
        whole = round(one.molar_mass)
        share = one.molar_mass / whole if whole else 1.0
        if one.concentration is None and abs(share - 1.0) > WHOLE_SHARE:
            found.append((share, f"with {whole} g/mol for {one.label}"))
    return found


def full_ways(
    readings: GroupReadings, result: RunResult, *, unit: str = "", whole: bool = False
) -> list[Way]:
    """All honest ways of the full depth; the first is the calculation of ``enthalpy``.

    ``whole``: only those that leave nothing out.
    """
    return [
        replace(way, path=replace(way.path, divisor=moles), choices=(*way.choices, *said))
        if readings.kind == "molar"
        else way
        for way in _full_core(readings, result, unit, whole)
        for moles, said in _full_bases(readings, result)
    ]


def _full_bases(
    readings: GroupReadings, result: RunResult
) -> Sequence[tuple[float, tuple[str, ...]]]:
    if readings.kind != "molar":
        return [(0.0, ())]
    x = {one.name: one.value for one in result.measured.quantities.inputs_used()}
    extent = float(result.measured.extent_mol(x))
    number = readings.limiting.number
    found: list[tuple[float, tuple[str, ...]]] = [(extent, ())]
    if number != 1.0:
        found.append((extent * number, (f"per mole of {readings.limiting.label}",)))
    found += [(extent * part, (said,)) for part, said in _whole_molar_masses(readings)]
    taught = readings.limiting.taught_mol
    if all(abs(taught / n - 1.0) > 1e-6 for n, _ in found):
        found.append((taught, ("with 1 mL of solution for 1 g in the moles",)))
    return found


def _full_core(readings: GroupReadings, result: RunResult, unit: str, whole: bool) -> Iterator[Way]:
    cup = result.constant.value_J_per_K
    rises = list(_full_rises(readings, result))
    for (path, melts), (rise, start, said_rise, less_rise) in product(
        _full_paths(readings, result, unit), rises
    ):
        for c, said_c, less_c in _full_c(path.c_J_per_gK, readings.kind == "molar"):
            for constant, less_cup in ((cup, ()), (0.0, ("the cup's constant",))):
                if whole and (less_rise or less_c or less_cup):
                    continue
                one = replace(
                    path, c_J_per_gK=c, rise_K=rise.rise_K, rise_slack_K=rise.slack_K,
                    cup_J_per_K=constant, offset_J=path.offset_J if start == "cup" else 0.0,
                )  # fmt: skip
                if readings.kind == "specific heat":
                    one = replace(one, drop_K=float(readings.added_C or 0.0) - rise.end_C)
                if melts:
                    one = replace(one, melt_J_per_g=path.melt_J_per_g * rise.end_C / melts)
                left_out = (*less_rise, *less_c, *less_cup)
                yield Way(one, (*said_rise, *said_c), left_out, rise.start_C, LOOKED_UP_SPREAD)


def _full_c(own: float, solution: bool) -> Iterator[tuple[float, tuple[str, ...], tuple[str, ...]]]:
    """The content's own specific heat, and water's; which is no loss where water is in the cup."""
    yield own, (), ()
    for c in SCHOOL_C:
        said = f"with {c:g} J/(g K) for water"
        left_out = f"the solution's own specific heat (water's {c:g} J/(g K) taken)"
        yield (c, (), (left_out,)) if solution else (c, (said,), ())


def _full_paths(readings: GroupReadings, result: RunResult, unit: str) -> list[tuple[Path, float]]:
    """Paths with the weighed and the taught mass; with each, the T_f of its melt or 0."""
    m = result.measured
    x = {one.name: one.value for one in m.quantities.inputs_used()}
    rise = m.rise
    base = Path(
        kind=readings.kind, mass_g=float(m.mass_g(x)), c_J_per_gK=x.get("c_mix", SCHOOL_C[0]),
        rise_K=float(m.rise_K(x)), divisor=1.0, cup_J_per_K=result.constant.value_J_per_K,
    )  # fmt: skip
    if readings.kind == "molar":
        offset = -float(m.C_2(x)) * (float(m.added_C(x)) - float(m.cup_C(x)))
        exact = replace(base, offset_J=offset)
        taught = readings.in_cup.taught_g + readings.added.taught_g
        return [(exact, 0.0), (replace(exact, mass_g=taught), 0.0)]
    added_g = float(m.prepared.added.mass(x)) if m.prepared.added else 1.0
    base = replace(
        base, mass_g=float(m.prepared.in_cup.mass(x)), c_J_per_gK=x["c_cup"], divisor=added_g
    )
    if readings.kind == "specific heat":
        return [(replace(base, drop_K=float(m.added_C(x)) - rise.final_C), 0.0)]
    per_mole = readings.added.molar_mass / 1000.0 if unit == "kJ/mol" else 1.0
    melt = -x["c_ice"] * float(m.added_C(x)) + x["c_melt"] * rise.final_C
    return [(replace(base, melt_J_per_g=melt, unit_factor=per_mole), rise.final_C)]


def _full_rises(
    readings: GroupReadings, result: RunResult
) -> Iterator[tuple[RiseRead, str, tuple[str, ...], tuple[str, ...]]]:
    """Rises of the full depth: what was read, which start, how it is said, what it leaves out."""
    rise = result.measured.rise
    slack = readings.rise.slack_K + 2.0 * (rise.u_own_K if rise.from_curve else rise.u_loss_K)
    if rise.loss_K == 0.0 and not rise.from_curve:
        slack = 0.0  # two readings and nothing corrected: everyone has the same rise
    corrected = RiseRead(rise.before_C, rise.final_C, "corrected", slack)
    own = readings.rise
    raw_less = (
        ("the correction for heat lost",) if abs(corrected.rise_K - own.rise_K) > 1e-9 else ()
    )
    apart = readings.added_C is not None and abs(readings.added_C - own.start_C) > 1e-9
    starts = [("cup", "", 0.0)]
    if readings.kind == "molar" and apart and readings.two_liquids:
        starts += [
            ("mean", MEAN, 0.5),
            ("mixed", MIXED, _share(readings)),
        ]
    for one, less in ((corrected, ()), (own, raw_less)):
        for which, said, share in starts:
            shift = share * (float(readings.added_C or 0.0) - own.start_C)
            read = replace(one, start_C=one.start_C + shift)
            yield read, which, (said,) if said else (), less
        if readings.kind == "molar" and apart:
            what = "the difference of the two starting temperatures"
            yield one, "alone", (), (*less, what)


def _share(readings: GroupReadings) -> float:
    return readings.added.true_g / (readings.in_cup.true_g + readings.added.true_g)
