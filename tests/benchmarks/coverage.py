"""Corrected rises of simulated curves against the truth: rmse, bias, coverage of the intervals.

    python -m tests.benchmarks.coverage --n 400 --after own,300,150 --find --rows coverage.jsonl

Truth: ``fitting/practice/simulated_cup.py`` (slow wall, vapour, quantised lagging sensor, drifting room).
Errors are in per cent of the true rise. One simulated log serves all cells of its family: shown in
steps of 0.01 or 0.1 K, cut after 150 or 300 s, with the moment of mixing given or to be found.
``own`` is the family's own after period (480 to 720 s). With ``--rows`` every curve is kept in a
file as soon as it is done, so that a run can be stopped, resumed and shared between processes
(``--first-seed``); ``--table`` prints the tables of such files without simulating.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from fitting.corrections import METHODS, Corrected, correct
from fitting.corrections.choice import DEFAULT
from fitting.curve import Curve
from fitting.periods import CurveRefused
from fitting.practice.simulated_cup import FAMILIES, SimulatedRun, draw_experiment, simulate

OWN = "own"
IN_A_FLASK = " in a flask"  # after a family's name
TOLD = ", told"  # after that: the correction is told that it is one
FIRST_SEED = 300_000  # never looked at while the method was tuned


@dataclass(frozen=True, order=True)
class Key:
    """One cell of the table."""

    family: str
    mixing: str  # given or found
    after: str  # own, or seconds
    resolution_K: float


@dataclass
class Cell:
    """Errors of one method in one cell of the table, in % of the rise."""

    errors: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)

    @property
    def rmse(self) -> float:
        return math.sqrt(float(np.mean(np.square(self.errors))))

    @property
    def bias(self) -> float:
        return float(np.mean(self.errors))

    @property
    def coverage(self) -> float:
        return float(np.mean(self.held))


def simulated(family: str, seed: int) -> SimulatedRun:
    """One run of a family, its readings not yet rounded to a display's steps."""
    rng = np.random.default_rng(seed)
    name = family.removesuffix(TOLD).removesuffix(IN_A_FLASK)
    vessel = "flask" if IN_A_FLASK in family else "cup"
    return simulate(draw_experiment(name, rng, resolution_K=0.0, vessel=vessel), rng)


def logged(run: SimulatedRun, after: str, resolution_K: float) -> Curve:
    """The run as a display of that step shows it, up to the end of the after period."""
    end = math.inf if after == OWN else run.mixed_at_s + float(after)
    use = run.time_s <= end
    shown = np.round(np.round(run.temperature_C[use] / resolution_K) * resolution_K, 6)
    return Curve.from_arrays(run.time_s[use], shown, resolution_K=resolution_K)


def corrected(run: SimulatedRun, key: Key, method: str | None = None) -> Corrected:
    """Correct one run as a user would who read the room to 0.1 K.

    Raises:
        CurveRefused: no moment of mixing was found.
    """
    return correct(
        logged(run, key.after, key.resolution_K),
        mixed_at_s=run.mixed_at_s if key.mixing == "given" else None,
        method=method,
        room_C=round(run.room_C, 1),
        capacity_ratio=run.capacity_ratio,
        vessel="flask" if key.family.endswith(TOLD) else None,
    )


def row_of(run: SimulatedRun, key: Key, seed: int, method: str | None = None) -> dict[str, object]:
    """What the table needs of one curve: error in % and whether the interval held, by method."""
    begun = time.process_time()
    row: dict[str, object] = {**vars(key), "seed": seed}
    try:
        found = corrected(run, key, method)
    except CurveRefused as refused:
        return row | {"refused": refused.reason}
    truth = run.true_rise_K
    methods = {
        one.method: (round(100 * (one.rise_K / truth - 1), 5), bool(one.holds(truth)))
        for one in found.methods
    }
    return row | {"methods": methods, "cpu_s": round(time.process_time() - begun, 3)}


def rows(
    keys: list[Key], seeds: Iterable[int], done: set[tuple[object, ...]]
) -> Iterator[dict[str, object]]:
    """Rows of all cells, seed by seed, so that a run cut short has all cells equally full."""
    families = list(dict.fromkeys(key.family for key in keys))
    for seed in seeds:
        for family in families:
            wanted = [k for k in keys if k.family == family and _mark(vars(k), seed) not in done]
            if not wanted:
                continue
            run = simulated(family, seed)
            for key in wanted:
                yield row_of(run, key, seed)


def _mark(row: dict[str, object], seed: object) -> tuple[object, ...]:
    return row["family"], row["mixing"], row["after"], row["resolution_K"], seed


def read_rows(paths: Iterable[Path]) -> list[dict[str, object]]:
    """Rows kept by earlier runs; a last line cut short is left out."""
    out = []
    for path in paths:
        for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else []:
            if line.endswith("}"):
                out.append(json.loads(line))
    return out


def cells_of(all_rows: Iterable[dict[str, object]]) -> dict[Key, dict[str, Cell]]:
    """Cells by key and method; ``refused`` holds the curves that no correction was given for."""
    out: dict[Key, dict[str, Cell]] = {}
    for row in all_rows:
        key = Key(*(row[name] for name in Key.__dataclass_fields__))  # type: ignore[arg-type]
        cells = out.setdefault(key, {})
        if "refused" in row:
            cells.setdefault("refused", Cell()).errors.append(0.0)
            continue
        for name, (error, held) in row["methods"].items():  # type: ignore[attr-defined]
            cell = cells.setdefault(name, Cell())
            cell.errors.append(error)
            cell.held.append(held)
    return dict(sorted(out.items()))


def score(
    family: str, n: int, *, resolution_K: float = 0.01, after_s: float | None = None,
    given: bool = True, first_seed: int = 10_000,
) -> dict[str, Cell]:  # fmt: skip
    """Correct so many curves of a family; cells by method, ``default`` for the chosen one."""
    after = OWN if after_s is None else f"{after_s:g}"
    key = Key(family, "given" if given else "found", after, resolution_K)
    cells = cells_of(rows([key], range(first_seed, first_seed + n), set()))[key]
    return cells | {"default": cells[DEFAULT]}


_HEAD = "| family | mixing | after s | step K |"


def default_table(cells: dict[Key, dict[str, Cell]]) -> str:
    """The default method cell by cell, set against the extreme reading and the best other one."""
    out = [
        f"{_HEAD} curves | refused | rmse % | bias % | 95 % holds | extreme's rmse % | extreme / "
        "default | best other method | its rmse % |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for key, methods in cells.items():
        if DEFAULT not in methods:
            continue
        one, extreme = methods[DEFAULT], methods["extreme"]
        full = len(one.errors)
        others = {
            name: cell for name, cell in methods.items()
            if name not in (DEFAULT, "refused") and len(cell.errors) == full
        }  # fmt: skip
        best = min(others, key=lambda name: others[name].rmse)
        refused = len(methods["refused"].errors) if "refused" in methods else 0
        out.append(
            f"| {key.family} | {key.mixing} | {key.after} | {key.resolution_K:g} | {full} |"
            f" {refused} | {one.rmse:.3f} | {one.bias:+.3f} | {100 * one.coverage:.1f} % |"
            f" {extreme.rmse:.2f} | {extreme.rmse / one.rmse:.1f} | {best} |"
            f" {others[best].rmse:.3f} |"
        )
    return "\n".join(out)


def methods_table(cells: dict[Key, dict[str, Cell]]) -> str:
    """Every method in every cell: rmse %, bias % and how often its interval held."""
    names = [name for name in METHODS if any(name in methods for methods in cells.values())]
    out = [f"{_HEAD} {' | '.join(names)} |", "|---|---|---|---|" + "---|" * len(names)]
    for key, methods in cells.items():
        shown = [
            f"{methods[name].rmse:.2f}, {methods[name].bias:+.2f}, "
            f"{100 * methods[name].coverage:.0f} %{_few(methods, name)}"
            if name in methods
            else ""
            for name in names
        ]
        out.append(
            f"| {key.family} | {key.mixing} | {key.after} | {key.resolution_K:g} |"
            f" {' | '.join(shown)} |"
        )
    return "\n".join(out)


def _few(methods: dict[str, Cell], name: str) -> str:
    count = len(methods[name].errors)
    return f" (n = {count})" if count != len(methods[DEFAULT].errors) else ""


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--family", default=",".join(FAMILIES))
    parser.add_argument("--flask", action="store_true", help="in vacuum flasks, told and not told")
    parser.add_argument("--n", type=int, default=400)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument(
        "--find", action="store_true", help="own after periods also with the mixing to be found"
    )
    parser.add_argument("--resolution", default="0.01,0.1")
    parser.add_argument("--after", default=OWN)
    parser.add_argument("--rows", type=Path, action="append", default=[])
    parser.add_argument("--table", action="store_true", help="print the tables of --rows only")
    return parser.parse_args()


def main() -> None:
    """Print the tables that tests/benchmarks/FIGURES.md keeps."""
    args = _arguments()
    kept = read_rows(args.rows)
    if not args.table:
        keys = [
            Key(family, mixing, after, float(step))
            for name in args.family.split(",")
            for family in ((name + IN_A_FLASK, name + IN_A_FLASK + TOLD) if args.flask else (name,))
            for after in args.after.split(",")
            for mixing in (("given", "found") if args.find and after == OWN else ("given",))
            for step in args.resolution.split(",")
        ]
        done = {_mark(row, row["seed"]) for row in kept}
        seeds = range(args.first_seed, args.first_seed + args.n)
        for row in rows(keys, seeds, done):
            kept.append(row)
            if args.rows:
                with args.rows[0].open("a", encoding="utf-8") as file:
                    file.write(json.dumps(row) + "\n")
    cells = cells_of(kept)
    cpu = sum(float(row.get("cpu_s", 0.0)) for row in kept)  # type: ignore[arg-type]
    print(default_table(cells), methods_table(cells), sep="\n\n")
    print(f"\n{len(kept)} corrections, {cpu:.0f} s of processor time")


if __name__ == "__main__":
    main()
