"""Practice curves: make one with a sealed answer, or open the answer and score a value."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from calib.errors import InputError


def practise(
    curve: Path | None,
    *,
    difficulties: Iterable[str] = (),
    seed: int | None = None,
    overwrite: bool = False,
    reveal: bool = False,
    rise_K: float | None = None,
    u_rise_K: float | None = None,
    answer: Path | None = None,
) -> dict[str, Any]:
    """Make a practice curve, or with ``reveal`` open its answer; returns the object of ``--json``.

    Args:
        curve: the file to write (``practice-SEED.csv`` in this folder where None), or to reveal.
        difficulties: names, also several in one text with commas between them.
        seed, overwrite: see `fitting.practice.exercise.make_practice`.
        reveal: open the answer of ``curve``.
        rise_K, u_rise_K: the student's rise and its standard uncertainty, K.
        answer: the sealed answer's file, where it does not lie beside the curve.

    Raises:
        InputError: options that do not go together.
        CurveError: see `make_practice` and `reveal` of `fitting.practice.exercise`.
    """
    from fitting.practice import exercise as practice

    wanted = [name for text in difficulties for name in text.split(",") if name.strip()]
    if reveal:
        _check_reveal(curve, making=bool(wanted) or seed is not None or overwrite)
        opened = practice.reveal(curve or "", rise_K, u_rise_K, answer_path=answer)
        return {"curve": str(curve), **opened.to_json()}
    if rise_K is not None or u_rise_K is not None or answer is not None:
        raise InputError(
            "--rise, --u and --answer belong to an answer that is opened; add --reveal and the "
            "practice curve's file"
        )
    folder, name = (Path(), "") if curve is None else (curve.parent, curve.name)
    made = practice.make_practice(folder, wanted, seed, name=name, overwrite=overwrite)
    return {
        "curve": str(made.curve_path),
        "answer": str(made.answer_path),
        "seed": made.seed,
        "difficulties": list(made.difficulties),
        "task": asdict(made.task),
        "invented": "a simulated cup; no one measured this",
    }


def difficulties() -> dict[str, str]:
    """What a practice curve can be made harder with: name and what it does."""
    from fitting.practice.truth import DIFFICULTIES

    return dict(DIFFICULTIES)


def _check_reveal(curve: Path | None, *, making: bool) -> None:
    if curve is None:
        raise InputError("which curve? give the practice curve's file: practice CURVE --reveal")
    if making:
        raise InputError(
            "--with, --seed and --overwrite make a curve; leave them out to open an answer"
        )
