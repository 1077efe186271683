"""Workbooks as the zip packages they are: what may be unpacked, and what must not.

XLSX is ECMA-376 part 2 (Open Packaging Conventions), ODS is OASIS OpenDocument part 2. Both are zip
files of XML parts. Sizes are checked in the directory before anything is unpacked, then while a
part is unpacked, since a directory can lie.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal
from xml.etree.ElementTree import Element, ParseError, iterparse

from calib.errors import TableError

Event = Literal["start", "end"]

MAX_UNPACKED = 150_000_000
MAX_PARTS = 5_000
MAX_RATIO = 400  # XML of a real sheet packs 5 to 30 times; deflate's own bound is 1032
_RATIO_FROM = 20_000_000


class Package:
    """A zip package whose sizes have been checked.

    Raises:
        TableError: the package is damaged, encrypted, or unpacks to more than a table can need.
    """

    def __init__(self, path: Path, data: bytes) -> None:
        self.path = path
        self._data = data
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
            self._parts = {info.filename: info for info in self._zip.infolist()}
        except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, EOFError) as error:
            raise TableError(f"{path}: a damaged workbook: {error}; save it anew") from error
        self._check_directory(len(data))
        for info in self._zip.infolist():
            self._check_content(info)

    def _check_directory(self, packed: int) -> None:
        parts = self._zip.infolist()
        total = sum(info.file_size for info in parts)
        if len(parts) > MAX_PARTS:
            raise self._too_large(f"it has {len(parts):,} parts")
        if total > MAX_UNPACKED or (total > _RATIO_FROM and total > MAX_RATIO * packed):
            raise self._too_large(f"{packed:,} bytes would unpack to {total:,}")
        if any(info.flag_bits & 1 for info in parts):
            raise TableError(f"{self.path}: the workbook is encrypted; save it without a password")
        usual = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
        if any(info.compress_type not in usual for info in parts):
            raise TableError(f"{self.path}: packed in a way no workbook is; save it anew")

    def _check_content(self, info: zipfile.ZipInfo) -> None:
        """Unpack in small pieces, keeping nothing, to see that the directory does not lie."""
        try:
            with self._zip.open(info) as stream:
                while stream.read(1 << 20):
                    pass
            lies = self._true_size_exceeds(info)
        except (
            zipfile.BadZipFile,
            zlib.error,
            EOFError,
            OSError,
            NotImplementedError,
            ValueError,
            RuntimeError,
        ) as error:
            raise TableError(
                f"{self.path}: a damaged workbook, part {info.filename!r}: {error}; save it anew"
            ) from error
        if lies:
            raise self._too_large(f"part {info.filename!r} is larger than its directory says")

    def _true_size_exceeds(self, info: zipfile.ZipInfo) -> bool:
        """Whether a part unpacks to more bytes than its directory entry admits."""
        if info.compress_type != zipfile.ZIP_DEFLATED:
            return False
        start = info.header_offset
        head = self._data[start : start + 30]
        begin = start + 30 + int.from_bytes(head[26:28], "little")
        begin += int.from_bytes(head[28:30], "little")
        unpacker = zlib.decompressobj(-15)
        packed = self._data[begin : begin + info.compress_size]
        seen = 0
        while packed and not unpacker.eof:
            seen += len(unpacker.decompress(packed, 1 << 20))
            packed = unpacker.unconsumed_tail
            if seen > info.file_size:
                return True
        return False

    def _too_large(self, why: str) -> TableError:
        return TableError(
            f"{self.path}: refused before unpacking: {why}; expected a table of runs, at most "
            f"{MAX_UNPACKED // 1_000_000} MB unpacked; copy the readings into a new workbook"
        )

    def __contains__(self, name: str) -> bool:
        return name in self._parts

    def elements(
        self, name: str, events: Sequence[Event] = ("end",)
    ) -> Iterator[tuple[str, Element]]:
        """The elements of a part's XML as they end (and, if asked for, as they start).

        Raises:
            TableError: the part is missing, declares entities, or is no XML.
        """
        try:
            content = self._zip.read(name)
            head = content[:4096].upper()
            if b"<!DOCTYPE" in head or b"<!ENTITY" in content:
                raise TableError(f"{self.path}: part {name!r} declares entities, which is refused")
            yield from iterparse(io.BytesIO(content), events=events)
        except (KeyError, ParseError, zipfile.BadZipFile, ValueError, LookupError) as error:
            raise TableError(
                f"{self.path}: a damaged workbook, part {name!r}: {error}; save it anew"
            ) from error


def local(element: Element) -> str:
    """An element's name without its namespace."""
    return element.tag.rpartition("}")[2]


def attribute(element: Element, name: str) -> str | None:
    """An attribute by its name without namespace."""
    for key, value in element.attrib.items():
        if key.rpartition("}")[2] == name:
            return value
    return None
