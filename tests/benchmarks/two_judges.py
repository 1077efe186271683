"""The corrections before judges with ranges of their own: errors, coverage, simple methods.

    python -m tests.benchmarks.two_judges --judge foam --n 400 --rows foam.jsonl
    python -m tests.benchmarks.two_judges --table --rows foam.jsonl --rows lumped.jsonl

``foam``: `tests.benchmarks.judges.foam`; ``lumped``: `tests.benchmarks.judges.lumped_wide`; ``bodies``:
`tests.benchmarks.judges.two_bodies`. Errors are in per cent of the true rise. Each run serves four cells: moment of mixing given or to be found, display in
steps of 0.01 or 0.1 K. Each row is kept in ``--rows`` at once, so that a run can be stopped, resumed and
split (``--first-seed``).

Seeds below 1000 may be looked at while code is changed (``--development``); those from 500 000 are for
the report only and are the default.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.errors import CurveError
from tests.benchmarks.judges import foam, lumped_wide, two_bodies
from tests.benchmarks.judges.notebook_way import rises_K
from tests.benchmarks.judges.record import Judged

DEVELOPMENT = range(0, 1000)
REPORT_FROM = 500_000

JUDGES: dict[str, Callable[[str, int], Judged]] = {
    "foam": foam.run, "lumped": lumped_wide.run, "bodies": two_bodies.run,
}  # fmt: skip
FAMILIES = foam.FAMILIES
MIXING = ("given", "found")
STEPS_K = (0.01, 0.1)
SIMPLE = (
    "extreme", "straight-line", "equal-areas", "exponential", "regnault-pfaundler", "integral",
)  # fmt: skip
"""The tool's own methods that a textbook has too."""

RMSE_TARGET = {"fast": 0.15, "mixing": 0.15, "slow": 0.25, "pellets": 0.6}  # %; mixing: as fast
HOLDS_TARGET = (92.0, 98.0)  # % of the 95 % intervals
AGAINST_SIMPLE = 1.05
BIAS_TARGET = 1 / 3  # of the rmse

Row = dict[str, Any]


@dataclass(frozen=True, order=True)
class Key:
    """One cell of the table."""

    judge: str
    family: str
    mixing: str
    step_K: float


def row_of(run: Judged, key: Key) -> Row:
    """Correct one run as a user would who read the room to 0.1 K; errors and u in % of the rise.

    ``methods``: name -> [error, whether the 95 % interval held, u, admissible]; ``notebook``: name ->
    error, at the moment of mixing that the correction used; ``steady``: by how much the rise is larger
    by the other convention (`Judged.steady_rise_K`).
    """
    shown = run.shown_C(key.step_K)
    curve = Curve.from_arrays(run.time_s, shown, resolution_K=key.step_K)
    row: Row = {**vars(key), "seed": run.seed, "vessel": run.vessel, "lid": run.lid}
    truth = run.true_rise_K
    if run.steady_rise_K is not None:
        row["steady"] = round(100 * (run.steady_rise_K / truth - 1), 5)
    begun = time.process_time()
    try:
        found = correct(
            curve,
            mixed_at_s=run.mixed_at_s if key.mixing == "given" else None,
            room_C=round(run.room_C, 1),
            capacity_ratio=run.capacity_ratio,
        )
    except CurveError as refused:
        return row | {"refused": str(getattr(refused, "reason", refused))}
    row["cpu_s"] = round(time.process_time() - begun, 4)
    row["default"] = found.chosen.method
    row["warnings"] = len(found.warnings)
    row["mixed_off_s"] = round(found.mixed_at_s - run.mixed_at_s, 2)
    row["methods"] = {
        one.method: [
            round(100 * (one.rise_K / truth - 1), 5),
            bool(one.holds(truth)),
            round(100 * one.u_rise_K / abs(truth), 5),
            bool(one.admissible),
        ]
        for one in found.methods
    }
    steady = run.steady_rise_K
    row["steady_held"] = steady is not None and bool(found.chosen.holds(steady))
    by_hand = rises_K(run.time_s, shown, found.mixed_at_s, run.capacity_ratio)
    row["notebook"] = {name: round(100 * (x / truth - 1), 5) for name, x in by_hand.items()}
    return row


def rows(keys: list[Key], seeds: Iterable[int], done: set[tuple[Any, ...]]) -> Iterator[Row]:
    """Rows of all cells, seed by seed, so that a run cut short has all cells equally full."""
    runs = list(dict.fromkeys((key.judge, key.family) for key in keys))
    for seed in seeds:
        for judge, family in runs:
            wanted = [
                key for key in keys
                if (key.judge, key.family) == (judge, family) and (*vars(key).values(), seed) not in done
            ]  # fmt: skip
            if wanted:
                run = JUDGES[judge](family, seed)
                yield from (row_of(run, key) for key in wanted)


def read_rows(paths: Iterable[Path]) -> list[Row]:
    """Rows kept by earlier runs; a last line cut short is left out."""
    out: list[Row] = []
    for path in paths:
        lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
        out += [json.loads(line) for line in lines if line.endswith("}")]
    return out


def key_of(row: Row) -> Key:
    """The cell of a row."""
    return Key(row["judge"], row["family"], row["mixing"], row["step_K"])


@dataclass
class Cell:
    """Errors [%] and what was said of them, one entry a curve."""

    errors: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    u: list[float] = field(default_factory=list)

    @property
    def rmse(self) -> float:
        """Root mean square error."""
        return math.sqrt(float(np.mean(np.square(self.errors))))

    @property
    def bias(self) -> float:
        """Mean error."""
        return float(np.mean(self.errors))

    @property
    def holds(self) -> float:
        """How many of the 95 % intervals held. [%]"""
        return 100 * float(np.mean(self.held))


@dataclass
class Scored:
    """One cell of the table: the default, the default by the other convention, all the rest."""

    n: int = 0
    refused: int = 0
    default: Cell = field(default_factory=Cell)
    steady: Cell = field(default_factory=Cell)
    methods: dict[str, Cell] = field(default_factory=dict)
    admissible: dict[str, Cell] = field(default_factory=dict)
    cpu_s: float = 0.0
    warned: int = 0

    def add(self, row: Row) -> None:
        """One curve more."""
        self.n += 1
        if "refused" in row:
            self.refused += 1
            return
        self.cpu_s += row["cpu_s"]
        self.warned += row["warnings"] > 0
        for name, (error, held, u, admissible) in row["methods"].items():
            cells = [self.methods.setdefault(name, Cell())]
            if admissible:
                cells.append(self.admissible.setdefault(name, Cell()))
            if name == row["default"]:
                cells.append(self.default)
                if "steady" in row:
                    self.steady.errors.append(
                        100 * ((1 + error / 100) / (1 + row["steady"] / 100) - 1)
                    )
                    self.steady.held.append(row["steady_held"])
            for cell in cells:
                cell.errors.append(error)
                cell.held.append(held)
                cell.u.append(u)
        for name, error in row["notebook"].items():
            self.methods.setdefault(f"notebook {name}", Cell()).errors.append(error)

    @property
    def best_simple(self) -> tuple[str, Cell]:
        """The simple method, tool's or notebook's, with the least rmse over all curves corrected."""
        full = self.n - self.refused
        cells = {
            name: cell for name, cell in self.methods.items()
            if (name in SIMPLE or name.startswith("notebook ")) and len(cell.errors) == full
        }  # fmt: skip
        name = min(cells, key=lambda x: cells[x].rmse)
        return name, cells[name]


def scored(all_rows: Iterable[Row]) -> dict[Key, Scored]:
    """Cells by key."""
    out: dict[Key, Scored] = {}
    for row in all_rows:
        out.setdefault(key_of(row), Scored()).add(row)
    order = {name: i for i, name in enumerate(FAMILIES)}
    return dict(
        sorted(out.items(), key=lambda x: (x[0].judge, order.get(x[0].family, 9), x[0].family,
                                           x[0].mixing != "given", x[0].step_K))
    )  # fmt: skip


def beside(value: float, most: float, places: int, sign: str = "") -> str:
    """A value with its target: ``0.12 ≤ 0.15`` or ``0.21 > 0.15``."""
    compared = "≤" if abs(value) <= most else ">"
    return f"{value:{sign}.{places}f} {compared} {most:.{places}f}"


def within(value: float, limits: tuple[float, float]) -> str:
    """A percentage and whether it lies in its limits."""
    compared = "in" if limits[0] <= value <= limits[1] else "not in"
    return f"{value:.1f} {compared} {limits[0]:.0f}-{limits[1]:.0f}"


def default_table(cells: dict[Key, Scored]) -> str:
    """The default correction cell by cell, each figure beside its target."""
    out = [
        "| judge | family | mixing | step K | n | refused | warned | rmse % | bias % (rmse / 3) |"
        " 95 % holds | mean u / rmse | best simple | its rmse % | rmse / best simple |"
        " by the steady wall: rmse %, bias %, holds | cpu s |",
        "|" + "---|" * 16,
    ]
    for key, cell in cells.items():
        head = f"| {key.judge} | {key.family} | {key.mixing} | {key.step_K:g} | {cell.n} |"
        if cell.refused == cell.n:
            out.append(f"{head} {cell.refused} |" + " |" * 10)
            continue
        one = cell.default
        name, simple = cell.best_simple
        target = RMSE_TARGET.get(key.family.split(" in ")[0], math.nan)
        steady = (
            f"{cell.steady.rmse:.3f}, {cell.steady.bias:+.3f}, {cell.steady.holds:.0f}"
            if cell.steady.errors
            else ""
        )
        out.append(
            f"{head} {cell.refused} | {cell.warned} | {beside(one.rmse, target, 3)} |"
            f" {beside(one.bias, BIAS_TARGET * one.rmse, 3, '+')} |"
            f" {within(one.holds, HOLDS_TARGET)} | {float(np.mean(one.u)) / one.rmse:.2f} | {name} |"
            f" {simple.rmse:.3f} | {beside(one.rmse / simple.rmse, AGAINST_SIMPLE, 2)} | {steady} |"
            f" {cell.cpu_s / (cell.n - cell.refused):.3f} |"
        )
    return "\n".join(out)


def admissible_table(cells: dict[Key, Scored]) -> str:
    """How often the intervals of methods held where the tool called them admissible; rmse %, n."""
    names = sorted({name for cell in cells.values() for name in cell.admissible})
    out = [
        f"| judge | family | mixing | step K | {' | '.join(names)} |",
        "|" + "---|" * (4 + len(names)),
    ]
    for key, cell in cells.items():
        shown = [
            f"{one.holds:.0f} % of {len(one.errors)}, rmse {one.rmse:.2f}"
            if (one := cell.admissible.get(name)) is not None
            else ""
            for name in names
        ]
        out.append(
            f"| {key.judge} | {key.family} | {key.mixing} | {key.step_K:g} | {' | '.join(shown)} |"
        )
    return "\n".join(out)


def methods_table(cells: dict[Key, Scored]) -> str:
    """Rmse % and bias % of every method and of the notebook's, over the curves that each gave."""
    names = list(dict.fromkeys(name for cell in cells.values() for name in cell.methods))
    out = [
        f"| judge | family | mixing | step K | {' | '.join(names)} |",
        "|" + "---|" * (4 + len(names)),
    ]
    for key, cell in cells.items():
        shown = [
            f"{one.rmse:.2f}, {one.bias:+.2f}" if (one := cell.methods.get(name)) else ""
            for name in names
        ]
        out.append(
            f"| {key.judge} | {key.family} | {key.mixing} | {key.step_K:g} | {' | '.join(shown)} |"
        )
    return "\n".join(out)


def seeds_of(n: int, *, development: bool, first_seed: int | None) -> range:
    """The seeds of a run.

    Raises:
        ValueError: development seeds beyond theirs, or report seeds below theirs.
    """
    first = first_seed if first_seed is not None else 0 if development else REPORT_FROM
    seeds = range(first, first + n)
    if development and (first < DEVELOPMENT.start or seeds.stop > DEVELOPMENT.stop):
        raise ValueError(f"development seeds are {DEVELOPMENT.start} to {DEVELOPMENT.stop - 1}")
    if not development and first < REPORT_FROM:
        raise ValueError(f"report seeds begin at {REPORT_FROM}; below it use --development")
    return seeds


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--judge", default="foam,lumped")
    parser.add_argument("--families", default=",".join(FAMILIES))
    parser.add_argument("--mixing", default=",".join(MIXING))
    parser.add_argument("--steps", default=",".join(f"{step:g}" for step in STEPS_K))
    parser.add_argument("--n", type=int, default=400)
    parser.add_argument("--first-seed", type=int)
    parser.add_argument("--development", action="store_true")
    parser.add_argument("--rows", type=Path, action="append", default=[])
    parser.add_argument("--table", action="store_true", help="print the tables of --rows only")
    return parser.parse_args()


def main() -> None:
    """Print the tables."""
    args = _arguments()
    kept = read_rows(args.rows)
    if not args.table:
        keys = [
            Key(judge, family, mixing, float(step))
            for judge in args.judge.split(",")
            for family in args.families.split(",")
            for mixing in args.mixing.split(",")
            for step in args.steps.split(",")
        ]
        done = {(*vars(key_of(row)).values(), row["seed"]) for row in kept}
        seeds = seeds_of(args.n, development=args.development, first_seed=args.first_seed)
        for row in rows(keys, seeds, done):
            kept.append(row)
            if args.rows:
                with args.rows[0].open("a", encoding="utf-8") as file:
                    file.write(json.dumps(row) + "\n")
    cells = scored(kept)
    print(default_table(cells), admissible_table(cells), methods_table(cells), sep="\n\n")


if __name__ == "__main__":
    main()
