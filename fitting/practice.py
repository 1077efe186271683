"""Practice curves with a known answer, to try heat-loss corrections on.

A curve is made by the simulated cup, with chosen difficulties and a seed, and written as a plain
curve file. The answer goes to a second file beside it, sealed so that nobody reads it by accident,
and tied to the curve by a checksum. `reveal` scores a student's rise and shows what each method
would have given.

The answer file is JSON (UTF-8) with these keys::

    format   "cupledger practice answer"
    version  1
    note     a sentence for whoever opens it
    curve    name of the curve file
    sha256   SHA-256 of the curve file's bytes
    task     what the student may know: mixed_at_s, capacity_ratio, room_C, kind
    sealed   Base64 (RFC 4648) of the zlib-compressed (RFC 1950) JSON of the answer

It is encoded, not encrypted: whoever wants to read it can.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import os
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitting.curve import Curve
from fitting.curve_files import read_curve, write_curve
from fitting.errors import CurveError
from fitting.practice_score import MethodScore, Revealed, score
from fitting.practice_truth import DIFFICULTIES, PracticeRun, practice_run

__all__ = [
    "DIFFICULTIES",
    "MethodScore",
    "Practice",
    "Revealed",
    "Task",
    "make_practice",
    "reveal",
]

FORMAT = "cupledger practice answer"
VERSION = 1
_NOTE = "The answer is sealed so that it is not read by accident; cupledger practice opens it."


@dataclass(frozen=True, slots=True)
class Task:
    """What the student may know.

    Attributes:
        mixed_at_s: moment of mixing on the curve's clock, s.
        capacity_ratio: heat capacity before mixing over that after it, cup included.
        room_C: room temperature at the mixing, °C.
        kind: what was mixed, in words.
    """

    mixed_at_s: float
    capacity_ratio: float
    room_C: float
    kind: str


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
) -> Practice:
    """Write a practice curve and its sealed answer.

    Args:
        folder: where both files go; it must exist.
        difficulties: names in ``DIFFICULTIES``; none gives the plainest curve.
        seed: the same seed and difficulties give the same curve; drawn at random where None.
        name: of the curve file, without ending; ``practice-SEED`` where empty.

    Raises:
        CurveError: unknown difficulty, seed below 0, no such folder, or a file that is there
            already. Nothing is overwritten.
    """
    wanted = _checked(difficulties)
    number = _seed(seed)
    place = Path(folder)
    curve_path = place / f"{name or f'practice-{number}'}.csv"
    answer_path = answer_beside(curve_path)
    _refuse_place(place, curve_path, answer_path)
    run = practice_run(wanted, number)
    curve = Curve.from_arrays(run.time_s, run.temperature_C, resolution_K=run.step_K)
    write_curve(curve_path, curve)
    task = Task(run.mixed_at_s, run.capacity_ratio, run.room_C, run.kind)
    content = {
        "format": FORMAT,
        "version": VERSION,
        "note": _NOTE,
        "curve": curve_path.name,
        "sha256": _digest(curve_path),
        "task": asdict(task),
        "sealed": _seal(_answer(run, wanted, number)),
    }
    try:
        answer_path.write_text(
            json.dumps(content, indent=2, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n"
        )
    except OSError as problem:
        curve_path.unlink(missing_ok=True)
        raise _cannot_write(answer_path, problem) from None
    return Practice(curve_path, answer_path, number, wanted, task)


def reveal(
    curve_path: str | os.PathLike[str],
    student_rise_K: float,
    u: float | None = None,
    *,
    answer_path: str | os.PathLike[str] | None = None,
) -> Revealed:
    """Open the answer, score the student's rise, and show what each method would have given.

    Args:
        curve_path: the practice curve.
        student_rise_K: the student's corrected rise, K; negative where it cooled.
        u: the student's standard uncertainty, K, if there is one.
        answer_path: the answer's file, where it does not lie beside the curve.

    Raises:
        CurveError: no answer beside the curve, an answer of another curve, a curve that was
            changed, a file that is no answer, or numbers that cannot be meant.
    """
    path = Path(curve_path)
    _check_student(student_rise_K, u)
    answer_file = answer_beside(path) if answer_path is None else Path(answer_path)
    content = _read_answer(answer_file)
    if not path.is_file():
        raise CurveError(f"{path}: there is no such file; give the practice curve's file")
    if _digest(path) != content["sha256"]:
        raise CurveError(
            f"{path}: this is not the curve that {answer_file} belongs to, or it was changed; "
            f"expected the bytes of {content['curve']} as they were written: make a new practice "
            "curve, or give the answer that belongs to this one"
        )
    answer = _unseal(content["sealed"], answer_file)
    task = Task(**content["task"])
    return score(
        read_curve(path),
        MappingProxyType(answer),
        student_rise_K,
        u,
        mixed_at_s=task.mixed_at_s,
        capacity_ratio=task.capacity_ratio,
    )


def answer_beside(curve_path: Path) -> Path:
    """Where the answer of a curve lies: ``x.csv`` has ``x.answer.json``."""
    return curve_path.with_suffix(".answer.json")


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
    if seed < 0:
        raise CurveError(f"the seed is {seed}; expected a whole number, 0 or more")
    return int(seed)


def _refuse_place(folder: Path, curve_path: Path, answer_path: Path) -> None:
    if not folder.is_dir():
        raise CurveError(f"{folder}: there is no such folder; make it first or choose another")
    if curve_path.parent != folder:
        raise CurveError(
            f"{curve_path.name}: the name leads out of {folder}; give a name without slashes"
        )
    for path in (curve_path, answer_path):
        if path.exists():
            raise CurveError(
                f"{path}: the file is there already and is not overwritten; choose another name, "
                "seed or folder"
            )


def _answer(run: PracticeRun, difficulties: tuple[str, ...], seed: int) -> dict[str, Any]:
    return {
        "rise_K": run.rise_K,
        "before_C": run.before_C,
        "rise_unspilt_K": run.rise_unspilt_K,
        "difficulties": list(difficulties),
        "seed": seed,
        "facts": run.facts,
    }


def _seal(answer: Mapping[str, Any]) -> str:
    packed = zlib.compress(json.dumps(answer).encode("utf-8"), 9)
    return base64.b64encode(packed).decode("ascii")


def _unseal(sealed: str, path: Path) -> dict[str, Any]:
    try:
        answer = json.loads(zlib.decompress(base64.b64decode(sealed, validate=True)))
        return {**answer, "rise_K": float(answer["rise_K"])}
    except (ValueError, TypeError, KeyError, zlib.error):
        raise CurveError(
            f"{path}: the sealed answer cannot be opened; the file was changed: make a new "
            "practice curve"
        ) from None


def _read_answer(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise CurveError(
            f"{path}: there is no answer for this curve; expected the file that was made with it: "
            "put it beside the curve or say where it is"
        ) from None
    except (OSError, ValueError):
        raise CurveError(
            f"{path}: this is no answer file; expected the JSON made with a curve"
        ) from None
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise CurveError(f"{path}: this is no answer file; expected the format '{FORMAT}'")
    if content.get("version") != VERSION:
        raise CurveError(
            f"{path}: the answer has version {content.get('version')}; this program reads version "
            f"{VERSION}: update it, or make a new practice curve"
        )
    missing = [key for key in ("curve", "sha256", "task", "sealed") if key not in content]
    task = content.get("task")
    known = {"mixed_at_s", "capacity_ratio", "room_C", "kind"}
    if missing or not isinstance(task, dict) or set(task) != known:
        raise CurveError(f"{path}: the answer file is not complete; make a new practice curve")
    return content


def _check_student(rise_K: float, u: float | None) -> None:
    if not math.isfinite(rise_K) or abs(rise_K) > 200:
        raise CurveError(
            f"the rise is {rise_K} K; expected a number of kelvin between -200 and 200"
        )
    if u is not None and not (math.isfinite(u) and u > 0):
        raise CurveError(f"its uncertainty is {u} K; expected kelvin, more than 0, or leave it out")


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _cannot_write(path: Path, problem: OSError) -> CurveError:
    return CurveError(
        f"{path}: the file cannot be written ({problem.strerror}); choose another place"
    )
