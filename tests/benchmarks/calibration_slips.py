"""Slips in calibrations: does any absurd constant get in force, and are honest ones stopped?

    python -m tests.benchmarks.calibration_slips --slips
    python -m tests.benchmarks.calibration_slips --honest FOLDER --schools 6

``--slips`` plants each slip in the four runs of one cup of a set, of six or alone, calibrates with
approval, and prints what became of it: foam cups (the sample runs), plastic beakers, vacuum flasks.
``--honest`` counts how many constants without a slip are held back: schools of both judges
(`tests.benchmarks.judges.school`), with beakers and steel mugs drawn here, calibrated by mixing or by
a heater, with kinds in a school's words.

No slip, range or cup here comes from what the check takes as known (`fitting.cup.bench`): the slips
are what people type, the cups the judges' or, for what stands free, materials' and common sizes.
"""

from __future__ import annotations

import argparse
import csv
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from calib.calibration.per_cup import combine_cup
from calib.jobs.calibrating import calibrate_table, new_constant
from calib.plausible import Beside, OtherCup, doubts_about, remarks_about
from calib.registry import open_registry
from fitting.practice.simulated_cup import Cup as LumpedCup
from sample_runs.invented_school import CUPS, draw_instruments, write_rows
from tests.benchmarks import calibration_sets
from tests.benchmarks.judges.foam import log_uniform
from tests.benchmarks.judges.school import FoamWorld, LumpedWorld, World
from tests.benchmarks.whole_job import METERS_TOML, READINGS, School
from tests.calib.made_tables import table

SAMPLE = READINGS.parent
SLIPPED = "P1"
FOAM = "double foam cup, foam lid"
BEAKER = "plastic beaker, lid"
MUG = "steel mug, cork lid"
FLASK = "vacuum flask"
Row = dict[str, str]


# --- slips --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Slip:
    """A slip in the rows of one cup (they are changed in place); ``valid_from`` as it was typed."""

    name: str
    change: Callable[[list[Row]], None] = lambda rows: None
    valid_from: date | None = None


def times(factor: float, *columns: str, runs: int = 4) -> Callable[[list[Row]], None]:
    """Amounts by a factor, in all runs or the first few."""

    def change(rows: list[Row]) -> None:
        for row in rows[:runs]:
            for name in columns:
                row[name] = f"{factor * float(row[name]):.6g}"

    return change


def plus(more: float, column: str) -> Callable[[list[Row]], None]:
    """A reading by a constant."""

    def change(rows: list[Row]) -> None:
        for row in rows:
            row[column] = f"{float(row[column]) + more:.6g}"

    return change


def cells(column: str, text: str, *, runs: int = 4) -> Callable[[list[Row]], None]:
    """One text in a column."""

    def change(rows: list[Row]) -> None:
        for row in rows[:runs]:
            row[column] = text

    return change


def year(number: int) -> Callable[[list[Row]], None]:
    """The same days of another year."""

    def change(rows: list[Row]) -> None:
        for row in rows:
            row["date"] = f"{number}{row['date'][4:]}"

    return change


def one_curve(rows: list[Row]) -> None:
    """The first run's curve in every row."""
    for row in rows:
        row["curve"], row["mixed_at_s"] = rows[0]["curve"], rows[0]["mixed_at_s"]


def swapped(rows: list[Row]) -> None:
    """Hot water's temperature and the room's changed places."""
    for row in rows:
        row["added_C"], row["room_C"] = row["room_C"], row["added_C"]


SLIPS = (
    Slip("none"),
    Slip("added_g x 2", times(2, "added_g")),
    Slip("added_g x 10", times(10, "added_g")),
    Slip("in_cup_g x 10", times(10, "in_cup_g")),
    Slip("in_cup_g in kg", times(1e-3, "in_cup_g")),
    Slip("added_g in kg", times(1e-3, "added_g")),
    Slip("hot water 5 K high", plus(5.0, "added_C")),
    Slip("hot water 1 K high", plus(1.0, "added_C")),
    Slip("hot water 0.5 K high", plus(0.5, "added_C")),
    Slip("hot water 1 K low", plus(-1.0, "added_C")),
    Slip("both masses x 10", times(10, "in_cup_g", "added_g")),
    Slip("both masses x 0.1", times(0.1, "in_cup_g", "added_g")),
    Slip("both masses in kg", times(1e-3, "in_cup_g", "added_g")),
    Slip("mixed_at 30 s early", plus(-30.0, "mixed_at_s")),
    Slip("mixed_at 60 s late", plus(60.0, "mixed_at_s")),
    Slip("dates in 2031", year(2031)),
    Slip("dates in 2001", year(2001)),
    Slip("no dates", cells("date", "")),
    Slip("--valid-from 1900", valid_from=date(1900, 1, 1)),
    Slip("--valid-from 2099", valid_from=date(2099, 1, 1)),
    Slip("one curve in four rows", one_curve),
    Slip("added_C empty in one row", cells("added_C", "", runs=1)),
    Slip("in_cup_g x 100 in one row", times(100, "in_cup_g", runs=1)),
    Slip("hot water and room swapped", swapped),
)


@dataclass(frozen=True)
class Outcome:
    """What became of the slipped cup's constant."""

    slip: str
    value: float | None
    u: float | None
    loss_W_per_K: float | None
    status: str
    reasons: str
    warnings: tuple[str, ...]
    errors: tuple[str, ...]

    @property
    def silent(self) -> bool:
        """Approved, and nothing said of it that is not said without a slip."""
        return self.status == "approved" and not self.warnings and not self.errors


def rows_of(folder: Path, *, slipped: bool) -> list[Row]:
    """The rows of the cup that gets the slips, or those of the others."""
    with (folder / "calibrations.csv").open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if (row["apparatus"] == SLIPPED) == slipped]


def registries(folder: Path, kind: str) -> dict[str, Path]:
    """A registry with no constant, and one in which the five other cups have theirs."""
    places = {name: folder / f"{name}.sqlite" for name in ("alone", "in a set")}
    for place in places.values():
        with open_registry(str(place)) as store:
            store.register_all(CUPS, kind)
    write_rows(folder / "others.csv", rows_of(folder, slipped=False))  # type: ignore[arg-type]
    calibrate_table(folder / "others.csv", str(places["in a set"]), approve=True, reason="sound")
    return places


def with_slip(folder: Path, slip: Slip, registry: Path) -> Outcome:
    """Calibrate one cup with a slip in its rows, approving, in a copy of a registry."""
    rows = rows_of(folder, slipped=True)
    slip.change(rows)
    write_rows(folder / "slipped.csv", rows)  # type: ignore[arg-type]
    place = folder / "slips.sqlite"
    shutil.copy(registry, place)
    made = calibrate_table(
        folder / "slipped.csv", str(place), approve=True, valid_from=slip.valid_from
    )
    errors = tuple(e["message"] for e in made["errors"])
    if not made["constants"]:
        return Outcome(slip.name, None, None, None, "none", "", (), errors)
    (one,) = made["constants"]
    return Outcome(
        slip.name, one["constant_J_per_K"], one["u_constant_J_per_K"], one["heat_loss_W_per_K"],
        one["status"], one["failed_quality"], tuple(one["warnings"]), errors,
    )  # fmt: skip


# --- sets of cups -------------------------------------------------------------------------------


class FreeWorld(LumpedWorld):
    """Plastic beakers or steel mugs that stand free: the lumped judge's course, cups of their own.

    Polypropylene of 0.9 g/cm³ and 1.9 J/(g K), 1 to 2 mm, on 110 to 150 cm²: 19 to 50 J/K. Steel
    of 7.9 g/cm³ and 0.5 J/(g K), 0.4 to 0.8 mm: 17 to 47 J/K (from memory). Rim, lid and probe hold
    3 to 10 J/K more, over 30 to 150 s. Loss 6 to 11 W/(m² K) on that area and the lid's 0.02 to
    0.06 W/K.
    """

    def __init__(self, rng: np.random.Generator, kind: str) -> None:
        self.kind, self.suffix, self.cups = kind, "", {}
        for name in CUPS:
            area = rng.uniform(0.011, 0.015)
            per_m2 = 1.9 * 0.9e6 * rng.uniform(1e-3, 2e-3)
            if kind == MUG:
                per_m2 = 0.5 * 7.9e6 * rng.uniform(0.4e-3, 0.8e-3)
            self.cups[name] = LumpedCup(
                fast_J_per_K=per_m2 * area,
                slow_wall_J_per_K=rng.uniform(3.0, 10.0),
                slow_wall_s=log_uniform(rng, 30.0, 150.0),
                loss_W_per_K=area * rng.uniform(6.0, 11.0) + rng.uniform(0.02, 0.06),
                wall_loss_share=rng.uniform(0.1, 0.5),
                evaporation_g_per_s_kPa=log_uniform(rng, 1e-6, 1e-5),
                stirrer_W=rng.uniform(0.0, 0.05),
            )


def make_set(folder: Path, world: World, seed: int, *, heater: bool = False) -> None:
    """A table of calibrations of six cups of a world, with curves and readings.toml."""
    rng = np.random.default_rng([7011, seed])
    shutil.copy(READINGS, folder)
    if heater:
        with (folder / READINGS.name).open("a", encoding="utf-8") as file:
            file.write(METERS_TOML)
    School(folder, world, draw_instruments(rng), rng).calibrations(heater)


def same_make(world: LumpedWorld, rng: np.random.Generator) -> None:
    """Six cups of one make: the first one's numbers within 8 % (sd)."""
    first = next(iter(world.cups.values()))
    for name in world.cups:
        world.cups[name] = replace(
            first,
            **{
                key: getattr(first, key) * float(np.exp(rng.normal(0.0, 0.08)))
                for key in ("fast_J_per_K", "slow_wall_J_per_K", "loss_W_per_K")
            },
        )


def slip_sets() -> Iterator[tuple[str, Callable[[Path], None]]]:
    """The kinds in which slips are planted, each with what makes its table in a folder."""

    def sample(folder: Path) -> None:
        shutil.copytree(SAMPLE, folder, dirs_exist_ok=True,
                        ignore=shutil.ignore_patterns("__pycache__", "*.py"))  # fmt: skip

    def beakers(folder: Path) -> None:
        rng = np.random.default_rng([7012, 1])
        world = FreeWorld(rng, BEAKER)
        same_make(world, rng)
        make_set(folder, world, 1)

    def flasks(folder: Path) -> None:
        rng = np.random.default_rng([7012, 2])
        world = LumpedWorld(rng, flask=True)
        same_make(world, rng)
        make_set(folder, world, 2)

    yield FOAM, sample
    yield BEAKER, beakers
    yield FLASK, flasks


def slip_table() -> str:
    """Every slip in every kind of cup, in the set of six and alone, as a Markdown table."""
    lines = [
        "| cup | slip | constant J/K | G W/K | in a set | why | alone | why |",
        "|" + "---|" * 8,
    ]
    for kind, make in slip_sets():
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            make(folder)
            places = registries(folder, kind)
            for slip in SLIPS:
                among, alone = (with_slip(folder, slip, places[n]) for n in ("in a set", "alone"))
                lines.append(_slip_line(kind, among, alone))
    return "\n".join(lines)


def _slip_line(kind: str, among: Outcome, alone: Outcome) -> str:
    value = "none" if among.value is None else f"{among.value:.4g} ± {among.u:.2g}"
    loss = "–" if among.loss_W_per_K is None else f"{among.loss_W_per_K:.3f}"
    told = []
    for one in (among, alone):
        why = one.reasons or "; ".join(one.warnings or one.errors) or "–"
        told += [one.status, why.replace("|", "/")]
    return f"| {kind} | {among.slip} | {value} | {loss} | " + " | ".join(told) + " |"


# --- honest cups --------------------------------------------------------------------------------

FOAM_KINDS = {
    "single foam cup": "single foam cup",
    "double foam cup": "double foam cup",
    "plastic beaker in foam": "plastic beaker in a foam cup",
    "paper cups": "two nested paper cups",
    "thin glass in foam": "glass beaker in a foam cup",
}
BEAKER_FROM_J_PER_K = (
    18.0  # of the lumped judge's fast wall: its own words are "1.5-30 J/K (a beaker)"
)


def honest_worlds(seed: int) -> Iterator[tuple[str, World, dict[str, str], bool]]:
    """Name, cups, each cup's kind in a school's words, and whether a heater calibrates them."""
    for heater in (False, True):
        how = " by heater" if heater else ""
        rng = np.random.default_rng([7013, seed, heater])
        world = FoamWorld(rng)
        kinds = {name: f"{FOAM_KINDS[cup.vessel]}, lid" for name, cup in world.cups.items()}
        yield f"foam judge{how}", world, kinds, heater
        lumped = LumpedWorld(rng)
        kinds = {
            name: "plastic beaker, lid"
            if cup.fast_J_per_K > BEAKER_FROM_J_PER_K
            else "foam cup, lid"
            for name, cup in lumped.cups.items()
        }
        yield f"lumped judge{how}", lumped, kinds, heater
        made = LumpedWorld(rng)
        same_make(made, rng)
        word = (
            "plastic beaker"
            if made.cups[SLIPPED].fast_J_per_K > BEAKER_FROM_J_PER_K
            else "foam cup"
        )
        yield f"lumped judge, one make{how}", made, dict.fromkeys(CUPS, f"{word}, lid"), heater
        yield f"flasks{how}", LumpedWorld(rng, flask=True), dict.fromkeys(CUPS, FLASK), heater
    rng = np.random.default_rng([7013, seed, 2])
    yield "beakers", FreeWorld(rng, BEAKER), dict.fromkeys(CUPS, BEAKER), False
    yield "steel mugs", FreeWorld(rng, MUG), dict.fromkeys(CUPS, MUG), False


def honest_school(
    world: World, kinds: dict[str, str], seed: int, heater: bool, place: Path
) -> list[dict[str, Any]]:
    """Constants of one school, all to be approved, in a registry at ``place``."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_set(folder, world, seed, heater=heater)
        with open_registry(str(place)) as store:
            for cup, kind in kinds.items():
                store.register(cup, kind)
        return calibrate_table(folder / "calibrations.csv", str(place), approve=True)["constants"]


def make_schools(folder: Path, first: int, schools: int) -> None:
    """The registries of some schools, each with the constants of six cups; those there are kept."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(first, first + schools):
        for name, world, kinds, heater in honest_worlds(seed):
            place = folder / f"{name} {seed}.sqlite"
            if not place.is_file():
                honest_school(world, kinds, seed, heater, place)


def made_sets(sets: int, seed: int = 7014) -> str:
    """Held back among sets of six foam cups read without curves (`tests.benchmarks.calibration_sets`)."""
    rng, known = np.random.default_rng(seed), calibration_sets.tools()
    count, reasons = 0, []
    for _ in range(sets):
        balance = rng.uniform(-0.02, 0.02)
        found = []
        for number in range(6):
            truth = float(rng.normal(14.0, 3.0))
            offset, slope = rng.uniform(-0.1, 0.1), rng.uniform(-0.0029, 0.0029)
            runs = [
                calibration_sets.one_run(rng, known, f"K{number}", i, truth, balance, offset, slope)
                for i in range(4)
            ]
            (one,) = combine_cup(f"K{number}", runs)
            found.append(new_constant(one, table(*(run.run for run in runs))))
        for one in found:
            others = tuple(
                OtherCup(o.apparatus, o.constant_J_per_K, o.u_constant_J_per_K)
                for o in found
                if o is not one
            )
            count += 1
            said = [d.message for d in doubts_about(one, Beside(kind=FOAM, others=others))]
            reasons += [f"- {one.apparatus}: {'; '.join(said)}"] if said else []
    return "\n".join([f"Sets without curves: {len(reasons)} of {count} held back", *reasons])


def honest_table(folder: Path, blanket: str = "") -> str:
    """How many honest constants are held back, and why; asked anew of the registries in a folder.

    ``blanket``: the one kind by which all cups of a judge's own world are called instead.
    """
    count: Counter[str] = Counter()
    held: Counter[str] = Counter()
    remarked = 0
    reasons: list[str] = []
    for place in sorted(folder.glob("*.sqlite")):
        name = place.stem.rsplit(" ", 1)[0]
        if blanket and not name.startswith(("foam", "lumped")):
            continue
        with open_registry(str(place), read_only=True) as store:
            every = store.constants()
            kinds = {one.id: blanket or one.kind for one in store.list_apparatus()}
        for one in every:
            others = tuple(
                OtherCup(o.apparatus, o.constant_J_per_K, o.u_constant_J_per_K)
                for o in every
                if o is not one and kinds[o.apparatus] == kinds[one.apparatus]
            )
            bare = replace(one, failed_quality="")
            around = Beside(kind=kinds[one.apparatus], others=others)
            found = doubts_about(bare, around)
            quality = "negative beyond" in one.failed_quality
            count[name] += 1
            remarked += bool(remarks_about(bare, around))
            if found or quality:
                held[name] += 1
                said = "; ".join(doubt.message for doubt in found) or one.failed_quality
                reasons.append(f"- {place.stem} {one.apparatus}: {said}")
    lines = ["| cups | constants | held back | share |", "|---|---|---|---|"]
    lines += [f"| {n} | {count[n]} | {held[n]} | {100 * held[n] / count[n]:.2f} % |" for n in count]
    total, stopped = count.total(), held.total()
    lines.append(f"| all | {total} | {stopped} | {100 * stopped / max(total, 1):.2f} % |")
    return "\n".join([*lines, "", f"with a remark: {remarked} of {total}", *reasons])


def main() -> None:
    """Print the tables asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--slips", action="store_true")
    parser.add_argument("--honest", type=Path, metavar="FOLDER", help="registries are kept in it")
    parser.add_argument("--sets", type=int, default=0, help="sets of six cups without curves")
    parser.add_argument("--schools", type=int, default=6)
    parser.add_argument("--first-seed", type=int, default=1000, help="development: below 1000")
    args = parser.parse_args()
    if args.slips:
        print(slip_table())
    if args.sets:
        print(made_sets(args.sets))
    if args.honest:
        make_schools(args.honest, args.first_seed, args.schools)
        print(honest_table(args.honest))
        print("\nAll cups of the judges' own worlds called by one kind:\n")
        print(honest_table(args.honest, blanket="foam cup, lid"))


if __name__ == "__main__":
    main()
