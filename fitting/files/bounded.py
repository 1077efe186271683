"""How much of a file is read at most: one home for every bound, and the one way to read within it.

A name may lead to a pipe that never ends, a device, or a file that fills the memory. So a reader
asks for the bytes of a *regular* file, opened without waiting, and takes one byte more than its
bound at most: what is longer is refused, never cut. A text of a few kilobytes can also grow when
it is taken apart; for JSON the values, their nesting and their digits are bounded, for packed bytes
what they unpack to.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import re
import stat
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitting.errors import CupledgerError, CurveError


@dataclass(frozen=True, slots=True)
class Bound:
    """What a kind of file may hold at most.

    Attributes:
        what: the file as a person names it, with its article.
        most_bytes: of the file as it lies on the disk.
        remedy: what to do with a larger one.
        most_values: of a JSON text: lists, objects and what stands in them.
        most_unpacked: bytes that packed content may unpack to.
    """

    what: str
    most_bytes: int
    remedy: str
    most_values: int = 0
    most_unpacked: int = 0


CURVE = Bound(
    "a logger's text export", 80_000_000, "export fewer readings per second, or one run per file"
)
TABLE = Bound("a table of runs", 60_000_000, "split it", most_unpacked=150_000_000)
SETTINGS = Bound("readings.toml", 100_000, "name each instrument once")
EXPORT = Bound(
    "an export of constants",
    60_000_000,
    "export fewer cups at a time (--apparatus)",
    most_values=3_000_000,
)
ANSWER = Bound(
    "an answer file",
    1_000_000,
    "make a new practice curve",
    most_values=10_000,
    most_unpacked=1_000_000,
)
MOST_LINES, LONGEST_LINE = 6_000_000, 100_000
"""Of a logged curve: more than an hour at 1 kHz; a line of thousands of columns."""
MOST_NESTED = 20
"""Lists and objects within one another: what this program writes has four."""
MOST_DIGITS = 4000
"""Of a number in a text: Python itself refuses more than 4300 for a whole one."""


def read_bytes(
    path: str | os.PathLike[str], bound: Bound, error: type[CupledgerError] = CurveError
) -> bytes:
    """The bytes of a regular file that is not larger than its bound.

    Raises:
        error: no such file, a folder, a pipe or device, no right to read it, or too large.
    """
    file = Path(path)
    try:
        handle = os.open(
            file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
    except (OSError, ValueError) as problem:
        raise error(_not_opened(file, bound, problem)) from None
    status = os.fstat(handle)
    if not stat.S_ISREG(status.st_mode):
        os.close(handle)
        raise error(_no_regular(file, bound, status.st_mode))
    with os.fdopen(handle, "rb") as stream:
        try:
            # one byte more than it says it has: a file that grows is too large, not cut
            most = min(status.st_size, bound.most_bytes) + 1
            content = b"" if status.st_size > bound.most_bytes else stream.read(most)
        except OSError as problem:
            raise error(_not_opened(file, bound, problem)) from None
    size = max(status.st_size, len(content))
    if size > bound.most_bytes:
        raise error(
            f"{file}: the file has {_size(size)}; expected at most"
            f" {_size(bound.most_bytes)}: {bound.remedy}"
        )
    return content


def digest(
    path: str | os.PathLike[str], bound: Bound, error: type[CupledgerError] = CurveError
) -> str:
    """SHA-256 of a file's bytes. Raises as `read_bytes`."""
    return hashlib.sha256(read_bytes(path, bound, error)).hexdigest()


def legible(name: str | os.PathLike[str]) -> str:
    """A file's name as text that can be written anywhere: bytes that are no UTF-8 become U+FFFD."""
    return re.sub("[\ud800-\udfff]", "\ufffd", os.fspath(name))


def read_json(content: bytes | str, bound: Bound) -> Any:
    """What a JSON text says, within the bound.

    Raises:
        ValueError: it is no JSON in UTF-8, holds NaN, infinity or a whole number beyond 64 bits,
            is nested deeper than ``MOST_NESTED``, or has more values than the bound.
    """
    text = content.decode("utf-8-sig") if isinstance(content, bytes) else content
    if sum(map(text.count, "[{,")) > bound.most_values:
        raise ValueError(f"more than {bound.most_values:,} values")
    try:
        found = json.loads(text, parse_constant=_refuse, parse_int=_whole, parse_float=_finite)
    except RecursionError:
        raise ValueError("lists within lists within lists") from None
    _check_nesting(found)
    return found


def unpack(packed: bytes, bound: Bound) -> bytes:
    """What zlib packed (RFC 1950), as far as the bound.

    Raises:
        ValueError: it would unpack to more, breaks off, or is not packed so.
    """
    unpacker = zlib.decompressobj()
    try:
        found = unpacker.decompress(packed, bound.most_unpacked + 1)
    except zlib.error as problem:
        raise ValueError(str(problem)) from None
    if len(found) > bound.most_unpacked:
        raise ValueError(f"unpacks to more than {_size(bound.most_unpacked)}")
    if not unpacker.eof:
        raise ValueError("breaks off")
    return found


def _not_opened(file: Path, bound: Bound, problem: Exception) -> str:
    if file.is_dir():
        return f"{file}: this is a folder; expected {bound.what}: name the file in it"
    if isinstance(problem, FileNotFoundError):
        return (
            f"{file}: there is no such file; expected {bound.what}: check the name and the folder"
        )
    reason = getattr(problem, "strerror", None) or str(problem)
    if getattr(problem, "errno", 0) == errno.ENXIO:
        reason = "it is no file on a disk"
    return (
        f"{file}: the file cannot be opened ({reason}); expected {bound.what} that can be read: "
        "check the name and its permissions, or close the program that holds it"
    )


def _no_regular(file: Path, bound: Bound, mode: int) -> str:
    kinds = (
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe, which may never end"),
        (stat.S_ISCHR, "a device, which may never end"),
        (stat.S_ISBLK, "a device"),
    )
    found = next((name for is_kind, name in kinds if is_kind(mode)), "no file on a disk")
    remedy = "name the file in it" if found == "a folder" else "save its content as a file first"
    return f"{file}: this is {found}; expected {bound.what}: {remedy}"


def _size(size: int) -> str:
    if size < 1_000_000:
        return f"{size / 1e3:.0f} kB"
    return f"{size / 1e6:.0f} MB" if size >= 10_000_000 else f"{size / 1e6:.1f} MB"


def _refuse(text: str) -> float:
    raise ValueError(f"{text}, which is no number")


def _whole(text: str) -> int:
    if len(text) > 20 or not -(2**63) <= int(text) < 2**63:
        raise ValueError(f"a whole number of {len(text)} digits, beyond 64 bits")
    return int(text)


def _finite(text: str) -> float:
    value = float(text) if len(text) <= MOST_DIGITS else float("inf")
    if value in (float("inf"), float("-inf")):
        raise ValueError(f"{text[:20]}, which is no finite number")
    return value


def _check_nesting(found: Any) -> None:
    level = [found] if isinstance(found, dict | list) else []
    for _ in range(MOST_NESTED):
        level = [
            inner
            for outer in level
            for inner in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(inner, dict | list)
        ]
        if not level:
            return
    raise ValueError(f"lists or objects more than {MOST_NESTED} deep")
