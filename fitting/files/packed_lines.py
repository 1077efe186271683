"""Lines of a large text kept as bytes: a list of millions of strings takes ten times as much."""

from __future__ import annotations

from collections.abc import Sequence
from typing import overload

import numpy as np
import numpy.typing as npt

LARGE_BYTES = 4_000_000  # from which on lines are kept packed
_PART_BYTES = 8_000_000


class PackedLines(Sequence[str]):
    """The lines of a UTF-8 text, decoded when asked for; a slice shares the bytes."""

    def __init__(self, content: bytes, ends: npt.NDArray[np.int64] | None = None) -> None:
        self._content = content
        self._ends = _line_ends(content) if ends is None else ends  # n + 1 places around n lines

    def __len__(self) -> int:
        return self._ends.size - 1

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[str]: ...
    def __getitem__(self, index: int | slice) -> str | Sequence[str]:
        if isinstance(index, slice):
            start, stop, step = index.indices(len(self))
            if step == 1:
                return PackedLines(self._content, self._ends[start : max(stop, start) + 1])
            return [self[i] for i in range(start, stop, step)]
        place = index + len(self) if index < 0 else index
        if not 0 <= place < len(self):
            raise IndexError(index)
        return self._content[self._ends[place] + 1 : self._ends[place + 1]].decode()

    def to_list(self) -> list[str]:
        """All lines at once."""
        if len(self) == 0:
            return []
        return self._content[self._ends[0] + 1 : self._ends[-1]].decode().split("\n")


def _line_ends(content: bytes) -> npt.NDArray[np.int64]:
    """Places of the line feeds, −1 before the first line, the text's length after the last."""
    found = [np.array([-1])]
    for start in range(0, len(content), _PART_BYTES):
        part = np.frombuffer(content, np.uint8, min(_PART_BYTES, len(content) - start), start)
        found.append(np.flatnonzero(part == ord("\n")) + start)
    found.append(np.array([len(content)]))
    return np.concatenate(found)
