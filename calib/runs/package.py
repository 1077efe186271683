"""Workbooks as the zip packages they are: what may be unpacked, and what must not.

XLSX is ECMA-376 part 2 (Open Packaging Conventions), ODS is OASIS OpenDocument part 2. Both are zip
files of XML parts. Sizes are checked in the directory before anything is unpacked, then while a
part is unpacked, since a directory can lie. No part may be there twice (names differ by more than
case), so that every reader of the package reads the same; XML is UTF-8 without a document type, so
that no entity is ever declared; and a part is read element by element, what was read being dropped.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError, iterparse

from calib.errors import TableError
from fitting.files.bounded import TABLE

MAX_UNPACKED = TABLE.most_unpacked
MAX_PARTS = 5_000
MAX_RATIO = 400  # XML of a real sheet packs 5 to 30 times; deflate's own bound is 1032
_RATIO_FROM = 20_000_000
MAX_ELEMENTS = 12_000_000
MAX_WITHIN = 200_000  # elements of one row, or of one shared string
_WIDE = (b"\xff\xfe", b"\xfe\xff", b"<\x00", b"\x00<", b"\x00\x00")


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
            self._parts = {_key(info.filename): info for info in self._zip.infolist()}
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
        if len(self._parts) < len(parts):
            raise TableError(
                f"{self.path}: a damaged workbook: two parts have one name; save it anew"
            )
        if any(info.flag_bits & 1 for info in parts):
            raise TableError(f"{self.path}: the workbook is encrypted; save it without a password")
        usual = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
        if any(info.compress_type not in usual for info in parts):
            raise TableError(f"{self.path}: packed in a way no workbook is; save it anew")

    def _check_content(self, info: zipfile.ZipInfo) -> None:
        """Unpack in small pieces, keeping nothing, to see that the directory does not lie."""
        is_xml = info.filename.casefold().endswith((".xml", ".rels"))
        before = b""
        try:
            with self._zip.open(info) as stream:
                while piece := stream.read(1 << 20):
                    if is_xml:
                        self._check_xml(info.filename, piece, before)
                        before = piece[-16:]
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

    def _check_xml(self, name: str, piece: bytes, before: bytes) -> None:
        if not before and (
            piece.startswith(_WIDE) or _OTHER_ENCODING.match(piece[:200]) is not None
        ):
            raise TableError(
                f"{self.path}: part {name!r} is not in UTF-8, which is refused; save the workbook"
                " anew"
            )
        if _DECLARES.search(before + piece):
            raise TableError(f"{self.path}: part {name!r} declares entities, which is refused")

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
        return _key(name) in self._parts

    def elements(self, name: str, whole: Sequence[str] = ()) -> Iterator[Element]:
        """The elements of a part's XML as they end, each dropped once it was looked at.

        Those named in ``whole`` (without namespace) come with all that is in them, and what is in
        them does not come by itself.

        Raises:
            TableError: the part is missing, is no XML, or has more elements than a table can need.
        """
        try:
            part = self._zip.open(self._parts[_key(name)])
        except (KeyError, zipfile.BadZipFile) as error:
            raise self._damaged(name, error) from error
        path: list[Element] = []
        inside = count = 0  # depth at which a whole element began; elements since then
        total = 0
        with part:
            events = iter(iterparse(part, events=("start", "end")))
            while True:
                try:
                    event, element = next(events)
                except StopIteration:
                    return
                except (ParseError, zipfile.BadZipFile, zlib.error, ValueError, LookupError,
                        EOFError, OSError) as error:  # fmt: skip
                    raise self._damaged(name, error) from error
                if event == "start":
                    path.append(element)
                    total, count = total + 1, count + 1
                    if total > MAX_ELEMENTS or (inside and count > MAX_WITHIN):
                        raise self._too_large(f"part {name!r} has too many elements")
                    if not inside and local(element) in whole:
                        inside, count = len(path), 0
                    continue
                path.pop()
                if inside and len(path) >= inside:
                    continue
                inside = 0
                yield element
                element.clear()
                if path:
                    del path[-1][:]

    def _damaged(self, name: str, error: Exception) -> TableError:
        return TableError(f"{self.path}: a damaged workbook, part {name!r}: {error}; save it anew")


_DECLARES = re.compile(rb"<!(?:doctype|entity)", re.IGNORECASE)
_OTHER_ENCODING = re.compile(
    rb"""\s*<\?xml[^>]*?encoding\s*=\s*["'](?!utf-?8["']|us-ascii["'])""", re.IGNORECASE
)


def _key(name: str) -> str:
    """A part's name as readers of workbooks look it up: by either slash, whatever its case."""
    return name.replace("\\", "/").casefold()


def local(element: Element) -> str:
    """An element's name without its namespace."""
    return element.tag.rpartition("}")[2]


def attribute(element: Element, name: str) -> str | None:
    """An attribute by its name without namespace."""
    for key, value in element.attrib.items():
        if key.rpartition("}")[2] == name:
            return value
    return None
