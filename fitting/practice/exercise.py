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
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitting.cup.circumstances import Circumstances
from fitting.curve import Curve
from fitting.errors import CurveError
from fitting.files.bounded import CURVE, digest
from fitting.files.curve_files import read_curve
from fitting.files.outputs import Kind, Outputs, begins_with
from fitting.files.plain_curves import curve_text
from fitting.practice.answer_file import (
    FORMAT,
    VERSION,
    Task,
    answer_beside,
    answer_text,
    read_answer,
    unseal,
)
from fitting.practice.score import MethodScore, Revealed, score
from fitting.practice.truth import DIFFICULTIES, PracticeRun, practice_run


def _is_practice(curve_path: Path) -> bool:
    """Whether a curve lies beside its own answer and was not changed since."""
    try:
        return bool(read_answer(answer_beside(curve_path))["sha256"] == digest(curve_path, CURVE))
    except (CurveError, OSError):
        return False


PRACTICE_CURVE = Kind("practice curve", (".csv", ".txt"), _is_practice, asks=True)
ANSWER = Kind("practice answer", (".json",), begins_with(f'"format": "{FORMAT}"'), asks=True)

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
        overwrite: replace what is there; a curve that is no practice curve with its own answer
            beside it is never replaced.

    Raises:
        CurveError: unknown difficulty, seed below 0, or a name that leads out of the folder.
        OutputError: no such folder, or a file that is there already. Both files are written whole
            or not at all.
    """
    wanted = _checked(difficulties)
    number = _seed(seed)
    place = Path(folder)
    title = name or f"practice-{number}"
    curve_path = place / (title if Path(title).suffix else f"{title}.csv")
    answer_path = answer_beside(curve_path)
    if curve_path.parent != place:
        raise CurveError(f"{title}: the name leads out of {place}; give a name without slashes")
    outputs = Outputs(overwrite=overwrite)
    outputs.claim(PRACTICE_CURVE, curve_path)
    outputs.claim(ANSWER, answer_path)
    run = practice_run(wanted, number)
    task = Task(run.mixed_at_s, run.capacity_ratio, run.room_C, run.kind)
    curve = curve_text(Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=run.step_K))
    answer = answer_text(
        curve_path.name, curve.encode("utf-8"), asdict(task), _answer(run, wanted, number)
    )
    outputs.write_all([(ANSWER, answer_path, answer), (PRACTICE_CURVE, curve_path, curve)])
    return Practice(curve_path, answer_path, number, wanted, task)


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
