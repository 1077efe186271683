"""The file that a ``curve`` cell names: inside the table's folder, or refused.

A table may come from anywhere, so a name in it must not make the program open what the table's
sender could not reach: nothing outside the folder, no device, no address on a network.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from calib.runs.cells import CellError

EXPECTED = "the name of a file in the table's folder"
_DEVICES = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9]|conin\$|conout\$) *(?:\..*)?", re.I)


def find_curve(name: str, folder: Path) -> tuple[str, Path, str]:
    """The name with forward slashes, the file it means, and a note where case was overlooked.

    Raises:
        CellError: the name leads out of the folder, or is no file there.
    """
    inside = "put the file beside the table and write its name alone"
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]+://|(?i:file|data|mailto):", name):
        raise CellError("is an address, and nothing is fetched", EXPECTED, inside)
    slashed = name.replace("\\", "/")
    if slashed.startswith("/") or re.match(r"[A-Za-z]:", slashed):
        raise CellError("is a full path, which could lead anywhere", EXPECTED, inside)
    parts = [part for part in slashed.split("/") if part not in ("", ".")]
    if not parts or any("\x00" in p or _DEVICES.fullmatch(p.rstrip(" .")) for p in parts):
        raise CellError("is no name of a file", EXPECTED, inside)
    try:
        return _inside(slashed, parts, folder, inside)
    except (OSError, ValueError, RuntimeError) as error:
        raise CellError(f"cannot be looked up: {error}", EXPECTED, inside) from error


def named_curves(
    rows: Iterable[tuple[Mapping[str, Any], Mapping[str, Any]]], folder: Path
) -> tuple[Path, ...]:
    """The files that the cells of rows name, each once; a row is its fields and its extra cells."""
    found: dict[Path, None] = {}
    for fields, extra in rows:
        if "curve_path" in fields:
            found[fields["curve_path"]] = None
        name = str(extra.get("added_curve") or "").strip()
        if name:
            with suppress(CellError):
                found[find_curve(name, folder)[1]] = None
    return tuple(found)


def _inside(name: str, parts: list[str], folder: Path, remedy: str) -> tuple[str, Path, str]:
    root = folder.resolve()
    _stay_inside(parts, remedy)
    path, note = folder.joinpath(*parts), ""
    if not path.exists():
        other = _other_case(folder, parts)
        if other is not None:
            note = f"curve {name!r} not found; {other.relative_to(folder).as_posix()!r} taken"
            path = other
    if not path.resolve().is_relative_to(root):
        raise CellError("leads out of the table's folder", EXPECTED, remedy)
    if not path.exists():
        raise CellError(
            "is not there", EXPECTED, "correct the name, or clear the cell to use extreme_C"
        )
    if not path.is_file():
        raise CellError("is not a file", EXPECTED, remedy)
    return "/".join(parts), path, note


def _stay_inside(parts: list[str], remedy: str) -> None:
    depth = 0
    for part in parts:
        depth += -1 if part == ".." else 1
        if depth < 0:
            raise CellError("leads out of the table's folder", EXPECTED, remedy)


def _other_case(folder: Path, parts: list[str]) -> Path | None:
    """The one file whose name differs in case only, as names do between operating systems."""
    here = folder
    for part in parts:
        if part == "..":
            return None
        if not here.is_dir():
            return None
        same = [entry for entry in here.iterdir() if entry.name.casefold() == part.casefold()]
        if len(same) != 1:
            return None
        here = same[0]
    return here
