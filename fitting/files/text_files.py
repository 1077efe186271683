"""From a file's bytes to its lines of text: refuses what is no text, tells encodings apart."""

from __future__ import annotations

import codecs
import hashlib
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fitting.errors import CurveError
from fitting.files.bounded import CURVE, LONGEST_LINE, MOST_LINES, read_bytes
from fitting.files.packed_lines import LARGE_BYTES, PackedLines

_SAMPLE_BYTES = 8192
_BLANKS = b" \t\r\n\0\xef\xbb\xbf\xff\xfe"

_SIGNATURES = (
    (b"\x89PNG\r\n", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "an old-style spreadsheet or document (XLS, DOC)"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"SQLite format 3", "an SQLite database"),
)
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# The byte that stands for the degree sign tells the three one-byte encodings apart.
_DEGREE_BYTES = ((b"\xb0", "cp1252"), (b"\xa1", "mac_roman"), (b"\xf8", "cp850"))
_TITLES = {
    "cp1252": "Latin-1 (Windows-1252)",
    "latin_1": "Latin-1",
    "mac_roman": "Mac Roman",
    "cp850": "DOS code page 850",
    "utf-16-le": "UTF-16, little endian, without mark",
    "utf-16-be": "UTF-16, big endian, without mark",
}


@dataclass(frozen=True)
class TextFile:
    """Lines of one text file (line 1 is ``lines[0]``), with what was assumed to decode them."""

    name: str
    lines: Sequence[str]
    digest: str
    notes: tuple[str, ...] = ()


def read_text(path: str | os.PathLike[str]) -> TextFile:
    """Read a text file in UTF-8, UTF-16, UTF-32, Latin-1, Mac Roman or DOS code page 850.

    Raises:
        CurveError: missing, a folder, unreadable, empty, larger than its bound, or no text.
    """
    file = Path(path)
    content = read_bytes(file, CURVE)
    if not content[:_SAMPLE_BYTES].strip(_BLANKS) and not content.strip(_BLANKS):
        raise CurveError(
            f"{file.name}: the file is empty; expected a table of time and temperature: "
            "export the readings again"
        )
    encoding, why = _encoding_of(content, file.name)
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        text = content.decode(encoding, errors="replace")
        why = why or f"text is damaged: some characters could not be decoded as {encoding}"
    digest = hashlib.sha256(content).hexdigest()
    large = len(content) > LARGE_BYTES
    _check_lines(file.name, content, text)
    del content  # a large text is held once at a time
    text = text.removeprefix("\ufeff").rstrip("\0\x1a")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = PackedLines(text.encode()) if large else text.split("\n")
    return TextFile(file.name, lines, digest, (why,) if why else ())


def _check_lines(name: str, content: bytes, text: str) -> None:
    """Refuse what would be taken apart into more lines, or more cells a line, than a log has."""
    count = max(text.count("\n"), text.count("\r"))
    if count > MOST_LINES:
        raise CurveError(
            f"{name}: {count:,} lines; expected at most {MOST_LINES:,}: export fewer readings per "
            "second, or one run per file"
        )
    if len(text) <= LONGEST_LINE:
        return
    longest = max(map(len, re.split("[\r\n]", text))) if count < 10_000 else _longest(content)
    if longest > LONGEST_LINE:
        raise CurveError(
            f"{name}: a line of {longest:,} characters; expected one reading a line: export the "
            "readings as text (CSV)"
        )


def _longest(content: bytes) -> int:
    """Most bytes between two line ends."""
    codes = np.frombuffer(content, np.uint8)
    ends = np.flatnonzero((codes == ord("\n")) | (codes == ord("\r")))
    return int(np.diff(ends, prepend=-1, append=codes.size).max())


def _encoding_of(content: bytes, name: str) -> tuple[str, str]:
    """Codec of the text, and the sentence that says so where it had to be guessed."""
    for mark, codec in _BOMS:
        if content.startswith(mark):
            return codec, ""
    _refuse_known_formats(content, name)
    head = content[:_SAMPLE_BYTES]
    for offset, codec in ((1, "utf-16-le"), (0, "utf-16-be")):
        if head[offset::2].count(0) > 0.7 * len(head) / 2 and 0 not in head[1 - offset :: 2]:
            return codec, f"text read as {_TITLES[codec]}: every second byte is zero"
    _refuse_control_characters(content, name)
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return _one_byte_encoding(content)
    return "utf-8", ""


def _refuse_known_formats(content: bytes, name: str) -> None:
    kind = next((title for mark, title in _SIGNATURES if content.startswith(mark)), "")
    if content.startswith(b"PK\x03\x04"):
        workbook = b"[Content_Types].xml" in content[:4096] or b"xl/" in content
        kind = "a spreadsheet (XLSX)" if workbook else "a ZIP archive or spreadsheet"
    if kind:
        raise CurveError(
            f"{name}: the file is {kind}; expected text: open it in the program that made it "
            "and export the readings as text (CSV)"
        )


def _refuse_control_characters(content: bytes, name: str) -> None:
    control = sum(content[:_SAMPLE_BYTES].count(code) for code in range(32))
    control -= sum(content[:_SAMPLE_BYTES].count(code) for code in b"\t\n\v\f\r\x1a")
    if control > 0.02 * len(content[:_SAMPLE_BYTES]) or b"\0" in content.rstrip(b"\0\x1a"):
        raise CurveError(
            f"{name}: the file holds binary data; expected text: open it in the program that "
            "made it and export the readings as text (CSV)"
        )


def _one_byte_encoding(content: bytes) -> tuple[str, str]:
    lines = re.findall(rb"[^\r\n]*[\x80-\xff][^\r\n]*", content)[:200]
    sample = b"\n".join(lines)
    for byte, codec in _DEGREE_BYTES:
        if re.search(re.escape(byte) + rb" ?[CF](?![A-Za-z])", sample):
            reason = f"byte {byte.hex().upper()} stands where a degree sign belongs"
            return codec, f"text read as {_TITLES[codec]}: {reason}"
    codec = _detected(sample)
    return codec, f"text read as {_TITLES[codec]}: it is not UTF-8, and this fits its letters"


def _detected(sample: bytes) -> str:
    from charset_normalizer import from_bytes

    isolation = ["cp1252", "mac_roman", "cp850"]
    best = from_bytes(sample[:_SAMPLE_BYTES], cp_isolation=isolation).best()
    codec = best.encoding if best is not None else "latin_1"
    try:
        sample.decode(codec)
    except UnicodeDecodeError:
        return "latin_1"
    return codec if codec in _TITLES else "latin_1"
