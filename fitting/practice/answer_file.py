"""The file that holds a practice curve's answer: written, read within bounds, checked.

The sealed answer is JSON. Keys (UTF-8)::

    format   "cupledger practice answer"
    version  1
    note     a sentence for whoever opens it
    curve    name of the curve file
    sha256   SHA-256 of the curve file's bytes
    task     what the student may know: mixed_at_s, capacity_ratio, room_C, kind
    sealed   Base64 (RFC 4648) of the zlib-compressed (RFC 1950) JSON of the answer

The answer itself: ``rise_K, before_C, rise_unspilt_K`` (numbers), ``difficulties`` (names),
``seed`` (a whole number), ``facts`` (numbers by name). A file may come from anywhere, so nothing in
it is taken for what it should be before it was looked at.
"""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitting.errors import CurveError
from fitting.files.bounded import ANSWER, legible, read_bytes, read_json, unpack
from fitting.practice.truth import DIFFICULTIES

FORMAT = "cupledger practice answer"
VERSION = 1
NOTE = "The answer is sealed so that it is not read by accident; cupledger practice opens it."


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


def answer_beside(curve_path: Path) -> Path:
    """Where the answer of a curve lies: ``x.csv`` has ``x.answer.json``."""
    return curve_path.with_suffix(".answer.json")


def answer_text(
    curve_name: str, curve_bytes: bytes, task: Mapping[str, Any], answer: Mapping[str, Any]
) -> str:
    """The whole text of an answer file."""
    content = {
        "format": FORMAT,
        "version": VERSION,
        "note": NOTE,
        "curve": legible(curve_name),
        "sha256": hashlib.sha256(curve_bytes).hexdigest(),
        "task": dict(task),
        "sealed": seal(answer),
    }
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


def seal(answer: Mapping[str, Any]) -> str:
    """The answer as text that nobody reads by accident."""
    packed = zlib.compress(json.dumps(answer).encode("utf-8"), 9)
    return base64.b64encode(packed).decode("ascii")


def unseal(sealed: str, path: Path) -> dict[str, Any]:
    """The answer again.

    Raises:
        CurveError: it was changed.
    """
    try:
        packed = base64.b64decode(sealed, validate=True)
        return _answer(read_json(unpack(packed, ANSWER), ANSWER))
    except (ValueError, TypeError) as why:
        raise CurveError(
            f"{path}: the sealed answer cannot be opened ({why}); the file was changed: make a "
            "new practice curve"
        ) from None


def read_answer(path: Path) -> dict[str, Any]:
    """Content of an answer file (curve, sha256, task, sealed), its answer still sealed.

    Raises:
        CurveError: no such file, no answer file, another version, or not complete.
    """
    if not path.exists():
        raise CurveError(
            f"{path}: there is no answer for this curve; expected the file that was made with it: "
            "put it beside the curve or say where it is"
        )
    try:
        content = read_json(read_bytes(path, ANSWER), ANSWER)
    except ValueError:
        raise CurveError(
            f"{path}: this is no answer file; expected the JSON made with a curve"
        ) from None
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise CurveError(f"{path}: this is no answer file; expected the format '{FORMAT}'")
    if content.get("version") != VERSION:
        raise CurveError(
            f"{path}: the answer has version {_kind(content.get('version'))}; this program reads "
            f"version {VERSION}: update it, or make a new practice curve"
        )
    try:
        texts = {key: _text(content, key) for key in ("curve", "sha256", "sealed")}
        return {**texts, "task": _task(content.get("task"))}
    except ValueError as why:
        raise CurveError(
            f"{path}: the answer file is not complete ({why}); make a new practice curve"
        ) from None


def _task(found: Any) -> Task:
    if not isinstance(found, dict) or set(found) != set(Task.__slots__):
        raise ValueError(f"expected task with {', '.join(Task.__slots__)}")
    return Task(
        mixed_at_s=_number(found, "mixed_at_s", 1e9),
        capacity_ratio=_number(found, "capacity_ratio", 1e3),
        room_C=_number(found, "room_C", 1e3),
        kind=_text(found, "kind"),
    )


def _answer(found: Any) -> dict[str, Any]:
    """The answer with every value of its own kind. Raises ValueError where one is not."""
    if not isinstance(found, dict):
        raise ValueError(f"expected the answer's values by name, found {_kind(found)}")
    rises = {key: _number(found, key, 1e3) for key in ("rise_K", "before_C", "rise_unspilt_K")}
    if rises["rise_K"] == 0:
        raise ValueError("rise_K is zero")
    difficulties, seed, facts = (found.get(key) for key in ("difficulties", "seed", "facts"))
    if not isinstance(difficulties, list) or not all(
        isinstance(name, str) and name in DIFFICULTIES for name in difficulties
    ):
        raise ValueError("difficulties is no list of their names")
    if not isinstance(seed, int) or isinstance(seed, bool):
        raise ValueError(f"seed is {_kind(seed)}, no whole number")
    if not isinstance(facts, dict):
        raise ValueError(f"facts is {_kind(facts)}, no numbers by name")
    return {
        **rises,
        "difficulties": difficulties,
        "seed": seed,
        "facts": {name: _number(facts, name, 1e15) for name in facts},
    }


def _number(found: Mapping[str, Any], key: str, most: float) -> float:
    value = found.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= most:
        raise ValueError(f"{key[:40]} is {_kind(value)}, expected a number up to {most:g}")
    return float(value)


def _text(found: Mapping[str, Any], key: str) -> str:
    value = found.get(key)
    if not isinstance(value, str):
        raise ValueError(f"{key} is {_kind(value)}, no text")
    return value


def _kind(value: Any) -> str:
    """A value of a JSON text in words, never all of it."""
    kinds = {dict: "an object", list: "a list", str: "a text", type(None): "missing"}
    return kinds.get(type(value)) or f"{value!r:.20}"
