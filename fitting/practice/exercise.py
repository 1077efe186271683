"""Practice curves with a known answer, to try heat-loss corrections on.

A curve is made by the simulated cup, with chosen difficulties and a seed, and written as a plain
curve file. The answer goes to a second file beside it, sealed so that nobody reads it by accident,
and tied to the curve by a checksum. `reveal` scores a student's rise
and shows what each method would have given. The answer is encoded, not encrypted: whoever wants to
read it can.

The answer's file is described in `fitting.practice.answer_file`.
"""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitting.cup.circumstances import Circumstances
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.files.bounded import CURVE, digest
from fitting.files.curve_files import read_curve, write_curve
from fitting.practice.answer_file import (
    VERSION,
    Task,
    answer_beside,
    answer_text,
    read_answer,
    unseal,
)
from fitting.practice.score import MethodScore, Revealed, score
from fitting.practice.truth import DIFFICULTIES, PracticeRun, practice_run

__all__ = [
    "DIFFICULTIES",
    "VERSION",
    "MethodScore",
    "Practice",
    "Revealed",
    "Task",
    "answer_beside",
    "make_practice",
    "reveal",
]


@dataclass(frozen=True, slots=True)
class Practice:
    """A practice curve on disk: its file, the sealed answer's file, and what may be known."""

    curve_path: Path
    answer_path: Path
    seed: int
    difficulties: tuple[str, ...]
    task: Task


def make_practice(
    folder: str | os.PathLike[str],
    difficulties: Iterable[str] = (),
    seed: int | None = None,
    *,
    name: str = "",
    overwrite: bool = False,
) -> Practice:
    """Write a practice curve and its sealed answer.

    Args:
        folder: where both files go; it must exist.
        difficulties: names in ``DIFFICULTIES``; none gives the plainest curve.
        seed: the same seed and difficulties give the same curve; drawn at random where None.
        name: of the curve file; ``.csv`` is added where it has no ending of its own;
            ``practice-SEED`` where empty.
        overwrite: replace an earlier practice curve and its answer. A file that is no practice
            curve is never replaced.

    Raises:
        CurveError: unknown difficulty, seed below 0, no such folder, or a file that is there
            already. Both files are written whole or not at all.
    """
    wanted = _checked(difficulties)
    number = _seed(seed)
    place = Path(folder)
    title = name or f"practice-{number}"
    curve_path = place / (title if Path(title).suffix else f"{title}.csv")
    answer_path = answer_beside(curve_path)
    _refuse_place(place, curve_path, answer_path, overwrite=overwrite)
    run = practice_run(wanted, number)
    task = Task(run.mixed_at_s, run.capacity_ratio, run.room_C, run.kind)
    _write_both(curve_path, answer_path, run, asdict(task), _answer(run, wanted, number))
    return Practice(curve_path, answer_path, number, wanted, task)


def _write_both(
    curve_path: Path,
    answer_path: Path,
    run: PracticeRun,
    task: dict[str, Any],
    answer: dict[str, Any],
) -> None:
    """Both files are made beside their places first, so that a full disk leaves the old ones."""
    curve = Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=run.step_K)
    try:
        with tempfile.TemporaryDirectory(dir=curve_path.parent, prefix=".practice-") as spare:
            made, sealed = Path(spare) / "curve", Path(spare) / "answer"
            write_curve(made, curve)
            text = answer_text(curve_path.name, made.read_bytes(), task, answer)
            sealed.write_text(text, encoding="utf-8", newline="\n")
            sealed.replace(answer_path)
            made.replace(curve_path)
    except OSError as problem:
        raise _cannot_write(curve_path, problem) from None


def reveal(
    curve_path: str | os.PathLike[str],
    student_rise_K: float | None = None,
    u: float | None = None,
    *,
    answer_path: str | os.PathLike[str] | None = None,
) -> Revealed:
    """Open the answer, score the student's rise, and show what each method would have given.

    Args:
        curve_path: the practice curve.
        student_rise_K: the student's corrected rise, K; negative where it cooled. None opens the
            answer without a score.
        u: the student's standard uncertainty, K, if there is one.
        answer_path: the answer's file, where it does not lie beside the curve.

    Raises:
        CurveError: no answer beside the curve, an answer of another curve, a curve that was
            changed, a file that is no answer, or numbers that cannot be meant.
    """
    path = Path(curve_path)
    _check_student(student_rise_K, u)
    answer_file = answer_beside(path) if answer_path is None else Path(answer_path)
    found = digest(path, CURVE)
    content = read_answer(answer_file)
    if found != content["sha256"]:
        raise CurveError(
            f"{path}: this is not the curve that {answer_file} belongs to, or it was changed; "
            f"expected the bytes of {content['curve']} as they were written: make a new practice "
            "curve, or give the answer that belongs to this one"
        )
    answer = unseal(content["sealed"], answer_file)
    task = content["task"]
    return score(
        read_curve(path),
        MappingProxyType(answer),
        student_rise_K,
        u,
        Circumstances(
            mixed_at_s=task.mixed_at_s, capacity_ratio=task.capacity_ratio, room_C=task.room_C
        ),
    )


def _checked(difficulties: Iterable[str]) -> tuple[str, ...]:
    asked = {str(name).strip().lower().replace("_", "-").replace(" ", "-") for name in difficulties}
    unknown = sorted(asked - set(DIFFICULTIES))
    if unknown:
        raise CurveError(
            f"there is no difficulty {unknown[0]!r}; expected one of {', '.join(DIFFICULTIES)}"
        )
    return tuple(name for name in DIFFICULTIES if name in asked)


def _seed(seed: int | None) -> int:
    if seed is None:
        import secrets

        return secrets.randbelow(900_000) + 100_000
    if not 0 <= seed < 10**18:
        raise CurveError(f"the seed is {seed:.9g}; expected a whole number, 0 or more, up to 10^18")
    return int(seed)


def _refuse_place(folder: Path, curve_path: Path, answer_path: Path, *, overwrite: bool) -> None:
    if not folder.is_dir():
        raise CurveError(f"{folder}: there is no such folder; make it first or choose another")
    if curve_path.parent != folder:
        raise CurveError(
            f"{curve_path.name}: the name leads out of {folder}; give a name without slashes"
        )
    there = [path for path in (curve_path, answer_path) if path.exists()]
    if there and not overwrite:
        raise CurveError(
            f"{there[0]}: the file is there already and is not overwritten; choose another name, "
            "seed or folder, or say that it may be overwritten"
        )
    if there and not _is_practice(curve_path, answer_path):
        raise CurveError(
            f"{there[0]}: this is no practice curve with its own answer beside it, so it is not "
            "overwritten; choose another name or folder"
        )


def _is_practice(curve_path: Path, answer_path: Path) -> bool:
    """Whether both files are there and belong together."""
    try:
        return bool(read_answer(answer_path)["sha256"] == digest(curve_path, CURVE))
    except (CurveError, OSError):
        return False


def _answer(run: PracticeRun, difficulties: tuple[str, ...], seed: int) -> dict[str, Any]:
    return {
        "rise_K": run.rise_K,
        "before_C": run.before_C,
        "rise_unspilt_K": run.rise_unspilt_K,
        "difficulties": list(difficulties),
        "seed": seed,
        "facts": run.facts,
    }


def _check_student(rise_K: float | None, u: float | None) -> None:
    if rise_K is None and u is not None:
        raise CurveError(
            f"an uncertainty of {u} K without a rise; give the rise that it belongs to"
        )
    if rise_K is not None and (not math.isfinite(rise_K) or abs(rise_K) > 200):
        raise CurveError(
            f"the rise is {rise_K} K; expected a number of kelvin between -200 and 200"
        )
    if u is not None and not (math.isfinite(u) and u > 0):
        raise CurveError(f"its uncertainty is {u} K; expected kelvin, more than 0, or leave it out")


def _cannot_write(path: Path, problem: OSError) -> CurveError:
    return CurveError(
        f"{path}: the file cannot be written ({problem.strerror}); choose another place"
    )
