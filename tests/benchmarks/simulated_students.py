"""Invented students: they read thermometers, compute, round, and sometimes slip.

Their arithmetic is their own (decimal numbers, one formula a line) and shares no code with the
marker: neither its calculations nor its roundings nor its list of slips. Molar masses are typed
from the periodic table on a classroom wall (IUPAC abridged values, from memory); densities of
dilute solutions as a data sheet gives them (CRC Handbook, from memory).
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal

from calib.runs.model import Run

D = Decimal


@dataclass(frozen=True)
class Experiment:
    """One class experiment: what goes in, and roughly what it does (kJ/mol, for the rise)."""

    name: str
    in_cup: str
    added: str
    enthalpy: float
    in_mol_per_L: str | None = None
    added_mol_per_L: str | None = None
    in_mL: tuple[int, int] = (100, 100)
    added_mL: tuple[int, int] | None = None
    added_g: tuple[float, float] | None = None
    molar_mass: str | None = None  # of the solid
    excess: float = 1.05
    reaction: str | None = None
    in_density: str = "1.00"
    added_density: str = "1.00"
    limiting_number: int = 1
    other_number: int = 1
    limiting: str = "in_cup"


EXPERIMENTS = (
    Experiment("strong acid, strong base", "HCl(aq)", "NaOH(aq)", -57.0, "1.00", "1.05",
               (50, 100), (50, 100), in_density="1.016", added_density="1.042"),
    Experiment("nitric acid", "HNO3(aq)", "KOH(aq)", -57.0, "1.00", "1.20", (80, 100), (80, 100),
               in_density="1.032", added_density="1.054"),
    Experiment("more concentrated", "NaOH(aq)", "HCl(aq)", -57.5, "2.00", "2.00",
               (50, 100), (55, 105), in_density="1.081", added_density="1.033"),
    Experiment("potassium nitrate", "water", "KNO3(s)", 34.0, in_mL=(75, 150),
               added_g=(6.0, 14.0), molar_mass="101.10", limiting="added"),
    Experiment("ammonium chloride", "water", "NH4Cl(s)", 15.0, in_mL=(75, 150),
               added_g=(6.0, 12.0), molar_mass="53.49", limiting="added"),
    Experiment("calcium chloride", "water", "CaCl2(s)", -80.0, in_mL=(75, 150),
               added_g=(5.0, 10.0), molar_mass="110.98", limiting="added"),
    Experiment("pellets", "water", "NaOH(s)", -43.0, in_mL=(100, 200), added_g=(3.0, 8.0),
               molar_mass="40.00", limiting="added"),
    Experiment("zinc and copper sulfate", "CuSO4(aq)", "Zn(s)", -217.0, "0.200", None, (50, 100),
               added_g=(3.0, 5.0), molar_mass="65.38", in_density="1.030"),
    Experiment("silver chloride", "AgNO3(aq)", "NaCl(aq)", -65.5, "0.500", "0.550", (50, 100),
               (50, 100), in_density="1.068", added_density="1.020"),
)  # fmt: skip


@dataclass(frozen=True)
class Habits:
    """How one student computes. ``keep`` is what is kept of numbers on the way."""

    c: str = "4.18"
    use_density: bool = False
    start: str = "cup"
    keep: int | None = None
    amount_places: int | None = None
    molar_mass_places: int = 2
    kilojoule_places: int | None = None
    capacity_digits: int | None = None
    final_digits: int = 3
    rounding: str = ROUND_HALF_UP


@dataclass(frozen=True)
class Bench:
    """Readings of one group, as written down (text keeps the digits)."""

    experiment: Experiment
    label: str
    in_mL: str
    added_mL: str | None
    added_g: str | None
    in_C: str
    added_C: str
    extreme_C: str
    extra: dict[str, str] = field(default_factory=dict)


def significant(value: Decimal, digits: int | None, rounding: str = ROUND_HALF_UP) -> Decimal:
    """So many significant digits, trailing zeros kept."""
    if digits is None or value == 0:
        return value
    return value.quantize(D(1).scaleb(value.adjusted() - digits + 1), rounding=rounding)


def draw_bench(rng: random.Random, label: str, experiment: Experiment | None = None) -> Bench:
    """Readings with the errors that classes make: poor liquids, late readings, misread marks."""
    e = experiment or rng.choice(EXPERIMENTS)
    in_mL = rng.randint(*e.in_mL)
    places = rng.choice((1, 1, 1, 2))
    start = rng.uniform(18.0, 24.0)
    apart = rng.gauss(0.0, 0.4) if e.added_mL is not None else 0.0
    added_mL, grams, liquid = None, None, float(in_mL)
    if e.added_mL is not None:
        low = in_mL * float(e.in_mol_per_L or 1) * e.excess / float(e.added_mol_per_L or 1)
        added_mL = max(rng.randint(*e.added_mL), round(low) + 1)
        liquid += added_mL
    if e.added_g is not None:
        grams = rng.uniform(*e.added_g)
    moles = (
        in_mL * float(e.in_mol_per_L or 0) / 1000.0
        if e.limiting == "in_cup"
        else (grams or 0.0) / float(e.molar_mass or 1)
    )
    heat = -1000.0 * e.enthalpy * moles
    rise = heat / (4.0 * (liquid + (grams or 0.0)) + 15.0) * rng.gauss(1.0, 0.04)
    return Bench(
        e, label, f"{in_mL}", f"{added_mL}" if added_mL else None,
        f"{grams:.2f}" if grams else None,
        f"{start:.{places}f}", f"{start + apart:.{places}f}",
        f"{max(start + apart / 2 + rise, 0.5):.{places}f}",
    )  # fmt: skip


def draw_habits(rng: random.Random) -> Habits:
    """How a student may honestly compute and round."""
    return Habits(
        c=rng.choice(("4.18", "4.18", "4.184", "4.2", "4.19", "4.186")),
        use_density=rng.random() < 0.2,
        start=rng.choice(("cup", "cup", "mean", "each")),
        keep=rng.choice((None, None, 4, 3, 3, 2)),
        amount_places=rng.choice((None, None, 4, 3)),
        molar_mass_places=rng.choice((2, 1, 0)),
        kilojoule_places=rng.choice((None, None, 3, 2)),
        capacity_digits=rng.choice((None, None, 4, 3)),
        final_digits=rng.choice((2, 3, 3, 4)),
        rounding=rng.choice((ROUND_HALF_UP, ROUND_HALF_UP, ROUND_HALF_EVEN, ROUND_DOWN)),
    )


def masses(bench: Bench, habits: Habits) -> tuple[Decimal, Decimal, Decimal]:
    """Mass of the liquid in the cup, of an added liquid, of an added solid. [g]"""
    e = bench.experiment
    first = D(e.in_density) if habits.use_density else D(1)
    second = D(e.added_density) if habits.use_density else D(1)
    liquid2 = D(bench.added_mL) * second if bench.added_mL else D(0)
    return D(bench.in_mL) * first, liquid2, D(bench.added_g) if bench.added_g else D(0)


def amounts(bench: Bench, habits: Habits) -> tuple[Decimal, Decimal | None]:
    """Moles of what runs out, and of the other reactant where there is one."""
    e = bench.experiment
    in_cup = D(e.in_mol_per_L) * D(bench.in_mL) / 1000 if e.in_mol_per_L else None
    if bench.added_mL and e.added_mol_per_L:
        added: Decimal | None = D(e.added_mol_per_L) * D(bench.added_mL) / 1000
    else:
        M = D(e.molar_mass or "1").quantize(D(1).scaleb(-habits.molar_mass_places))
        added = D(bench.added_g or "0") / M
    first, other = (in_cup, added) if e.limiting == "in_cup" else (added, in_cup)
    assert first is not None
    return _kept_amount(first, habits), other if other is None else _kept_amount(other, habits)


def _kept_amount(value: Decimal, habits: Habits) -> Decimal:
    value = significant(value, habits.keep)
    if habits.amount_places is None or value < D("0.02"):
        return value
    return value.quantize(D(1).scaleb(-habits.amount_places), rounding=ROUND_HALF_UP)


def rise(bench: Bench, habits: Habits) -> Decimal:
    """Extreme reading less the start. [K]"""
    start = D(bench.in_C)
    if habits.start == "mean" and bench.added_mL:
        start = (D(bench.in_C) + D(bench.added_C)) / 2
    if habits.start == "each" and bench.added_mL:  # q of each liquid from its own temperature
        one, two, _ = masses(bench, habits)
        start = (one * D(bench.in_C) + two * D(bench.added_C)) / (one + two)
    return D(bench.extreme_C) - start


def write_down(value: Decimal, habits: Habits) -> str:
    """The final answer as typed."""
    shown = significant(value, habits.final_digits, habits.rounding)
    return f"{shown:f}"


def answer(bench: Bench, habits: Habits) -> str:
    """An honest student's answer."""
    return write_down(compute(bench, habits), habits)


def compute(bench: Bench, habits: Habits, slips: frozenset[str] = frozenset()) -> Decimal:
    """The calculation, line by line, with the slips asked for. [kJ/mol]"""
    in_cup, liquid, solid = masses(bench, habits)
    m = in_cup + liquid + solid
    if "one mass only" in slips:
        m = in_cup
    if "solute left out" in slips:
        m = in_cup + liquid
    delta = rise(bench, habits)
    if "kelvin added" in slips:
        delta = delta + D("273.15")
    if "final temperature" in slips:
        delta = D(bench.extreme_C)
    c = D(habits.c)
    if "calories" in slips:
        c = D(1)
    q = significant(significant(m * c, habits.capacity_digits) * delta, habits.keep)
    if "J for kJ" not in slips:
        q = q / 1000
        if habits.kilojoule_places is not None and abs(q) > 1:
            q = q.quantize(D(1).scaleb(-habits.kilojoule_places), rounding=ROUND_HALF_UP)
    n, other = amounts(bench, habits)
    if "other moles" in slips:
        assert other is not None
        n = other
    if "sum of moles" in slips:
        assert other is not None
        n = n + other
    if "mL for L" in slips:
        n = n * 1000
    if "not divided" in slips:
        n = D(1)
    return q / n if "sign" in slips else -q / n


def full_answer(bench: Bench, habits: Habits, sheet: dict[str, str]) -> str:
    """An honest answer at the full depth; the work sheet gives c, density and the cup's constant.

    q = (m c + C_cup) ΔT, with each liquid warmed from its own temperature where it was read.
    """
    e = bench.experiment
    one, two, solid = masses(bench, Habits(use_density=True) if e.added_mL else habits)
    m = one + two + solid
    start = D(bench.in_C)
    if bench.added_mL:
        start = (one * D(bench.in_C) + two * D(bench.added_C)) / (one + two)
        if habits.start == "mean":
            start = (D(bench.in_C) + D(bench.added_C)) / 2
    delta = D(bench.extreme_C) - start
    capacity = significant(m * D(sheet["c"]), habits.capacity_digits) + D(sheet["cup"])
    q = significant(capacity * delta, habits.keep) / 1000
    n, _ = amounts(bench, habits)
    return write_down(-q / n, habits)


def row(bench: Bench, typed: str | None, **more: object) -> Run:
    """The bench's row of the class's table."""
    e = bench.experiment
    numbers: dict[str, float | None] = {
        "in_cup_mL": float(bench.in_mL),
        "added_mL": float(bench.added_mL) if bench.added_mL else None,
        "added_g": float(bench.added_g) if bench.added_g else None,
        "in_cup_mol_per_L": float(e.in_mol_per_L) if e.in_mol_per_L else None,
        "added_mol_per_L": float(e.added_mol_per_L) if e.added_mol_per_L else None,
        "in_cup_C": float(bench.in_C),
        "added_C": float(bench.added_C),
        "extreme_C": float(bench.extreme_C),
        "reported_kJ_per_mol": float(typed) if typed is not None else None,
    }
    written = {"reported_kJ_per_mol": typed} if typed is not None else {}
    return Run(
        run=bench.label, apparatus="A", in_cup=e.in_cup, added=e.added, written=written,
        **numbers, **more,  # type: ignore[arg-type]
    )  # fmt: skip
