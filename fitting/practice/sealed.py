"""The sealed answer of a practice curve: a JSON file beside it, encoded and not encrypted.

Keys (UTF-8)::

    format   "cupledger practice answer"
    version  1
    note     a sentence for whoever opens it
    curve    name of the curve file
    sha256   SHA-256 of the curve file's bytes
    task     what the student may know: mixed_at_s, capacity_ratio, room_C, kind
    sealed   Base64 (RFC 4648) of the zlib-compressed (RFC 1950) JSON of the answer
"""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fitting.errors import CurveError

FORMAT = "cupledger practice answer"
VERSION = 1
NOTE = "The answer is sealed so that it is not read by accident; cupledger practice opens it."


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
        "curve": curve_name,
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
        answer = json.loads(zlib.decompress(base64.b64decode(sealed, validate=True)))
        return {**answer, "rise_K": float(answer["rise_K"])}
    except (ValueError, TypeError, KeyError, zlib.error):
        raise CurveError(
            f"{path}: the sealed answer cannot be opened; the file was changed: make a new "
            "practice curve"
        ) from None


def read_answer(path: Path) -> dict[str, Any]:
    """Content of an answer file, its answer still sealed.

    Raises:
        CurveError: no such file, no answer file, another version, or not complete.
    """
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
