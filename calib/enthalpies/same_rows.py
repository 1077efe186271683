"""One measurement in several rows: one curve's file, or the same cells under two labels.

A file counts by its SHA-256. Cells that are all alike may be chance where readings are coarse: the
chance that two honest rows agree in a column is taken from the other rows of the table, (k + ½)/(m
+ 1) where k of m pairs agree, multiplied over the columns. Only where it makes less than one pair
in ``CHANCE`` tables do the rows count once; otherwise it is said and all of them count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import CurveError, RowProblem
from fitting.files.bounded import CURVE, digest

if TYPE_CHECKING:
    from calib.enthalpies.one_run import RunResult
    from calib.runs.model import Run

__all__ = ["same_files", "told_twice", "with_same_file"]

_NOT_COMPARED = ("run", "sheet_row", "notes", "written", "curve", "curve_path")
_READINGS = (
    *("in_cup_C", "added_C", "extreme_C", "extreme_after_s", "in_cup_g", "added_g"),
    *("in_cup_mL", "added_mL", "reported_kJ_per_mol"),
)
_FEWEST_READINGS = 3
CHANCE = 10.0


def same_files(rows: Sequence[Run]) -> dict[str, tuple[str, ...]]:
    """By label, the other rows whose curve is the very same file, refused rows included.

    Only files of one size are read; one that cannot be read is another row's matter.
    """
    sizes: dict[int, list[tuple[Run, Path]]] = {}
    for row in rows:
        path = row.curve_path
        if path is not None and path.is_file():
            sizes.setdefault(path.stat().st_size, []).append((row, path))
    alike: dict[str, list[str]] = {}
    for own in sizes.values():
        if len(own) == 1:
            continue
        for row, path in own:
            try:
                key = digest(path, CURVE)
            except CurveError:
                continue
            alike.setdefault(key, []).append(row.run)
    return {
        label: tuple(other for other in labels if other != label)
        for labels in alike.values()
        for label in labels
        if len(labels) > 1
    }


def with_same_file(problem: RowProblem, files: Mapping[str, tuple[str, ...]]) -> RowProblem:
    """A refused row's problem, with the rows that have the same curve."""
    others = files.get(problem.row)
    if not others or problem.column not in ("curve", "mixed_at_s"):
        return problem
    return replace(
        problem,
        message=f"{problem.message}; its curve is the very same file as that of "
        f"{', '.join(others)}: look which of them is right",
    )


def told_twice(
    results: Sequence[RunResult],
    left_out: Sequence[bool],
    files: Mapping[str, tuple[str, ...]] | None = None,
) -> Iterator[tuple[int, str, bool]]:
    """Rows that tell one measurement again: place, sentence, and whether it leaves the mean.

    The first row that is still in the mean counts, the others do not: which of them is the right
    one nobody can tell from the table. ``files`` is what `same_files` says of all rows, those that
    could not be used included.
    """
    used = {one.run.run for one in results}
    for place, one in enumerate(results):
        unused = [label for label in (files or {}).get(one.run.run, ()) if label not in used]
        if unused:
            said = f"its curve is the very same file as that of {', '.join(unused)}, not used"
            yield place, f"{said}: look which of them is right", False
    for places, what, sure in (*_same_curves(results), *_same_cells(results)):
        counted = next((i for i in places if not left_out[i]), places[0])
        for i in places:
            others = ", ".join(results[j].run.run for j in places if j != i)
            out = sure and i != counted
            if not sure:
                which = "alike by chance, as coarse readings can be? All of them count"
            elif out:
                which = f"{results[counted].run.run} is the one that counts"
            else:
                which = "counted once, in this row"
            yield i, f"{what} {others}; {which}: look which of them is right", out


Found = list[tuple[list[int], str, bool]]


def _same_curves(results: Sequence[RunResult]) -> Found:
    found: dict[str, list[int]] = {}
    for place, one in enumerate(results):
        sha = one.measured.rise.digest if one.measured.rise.from_curve else ""
        if sha:
            found.setdefault(sha, []).append(place)
    return [
        (places, f"its curve is the very same file (SHA-256 {sha[:8]}…) as that of", True)
        for sha, places in found.items()
        if len(places) > 1
    ]


def _same_cells(results: Sequence[RunResult]) -> Found:
    found: dict[Any, list[int]] = {}
    for place, one in enumerate(results):
        run = one.run
        read = sum(getattr(run, column) is not None for column in _READINGS)
        if run.curve_path is None and read >= _FEWEST_READINGS:
            found.setdefault(_cells(run), []).append(place)
    said = "all its cells but the label are the same as those of"
    runs = [one.run for one in results]
    return [
        (places, said, _pairs_by_chance([runs[i] for i in places], runs) < 1.0 / CHANCE)
        for places in found.values()
        if len(places) > 1
    ]


def _pairs_by_chance(alike: Sequence[Run], runs: Sequence[Run]) -> float:
    """How many pairs of this table's rows would be alike by chance."""
    first = alike[0]
    kin = [r for r in runs if (r.in_cup, r.added) == (first.in_cup, first.added)]
    single = [first, *(r for r in kin if not any(r is a for a in alike))]
    p = 1.0
    for column in _READINGS:
        values = [v for v in (getattr(r, column) for r in single) if v is not None]
        if getattr(first, column) is None:
            continue
        counts = Counter(values).values()
        equal = sum(n * (n - 1) // 2 for n in counts)
        pairs = len(values) * (len(values) - 1) // 2
        p *= (equal + 0.5) / (pairs + 1.0)
    return p * len(kin) * (len(kin) - 1) / 2.0


def _cells(run: Run) -> tuple[Any, ...]:
    cells: list[Any] = []
    for one in fields(run):
        if one.name in _NOT_COMPARED:
            continue
        value = getattr(run, one.name)
        cells.append(tuple(sorted(map(repr, value.items()))) if hasattr(value, "items") else value)
    return tuple(cells)
