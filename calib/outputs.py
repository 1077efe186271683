"""Every kind of file that the commands write: its endings, and how one of our own is recognised.

Pages say what they are in ``<meta name="generator" …>``, Markdown in a comment, workbooks in the
property "last modified by" (which every other program that saves them changes), text tables by
their row of headings, charts in their metadata, exports by their first line. So an own output is
replaced without asking, and a file of somebody else's, or a table that was filled in, is not.
How files are written: `fitting.files.outputs`.
"""

from __future__ import annotations

import csv
import os
import re
import zipfile
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from calib.version import __version__
from fitting.files.outputs import BEGINNING, Kind, Outputs, begins_with, first_bytes

if TYPE_CHECKING:
    from calib.runs.model import Table

__all__ = [
    "CERTIFICATE", "CHART", "CLASS_PAGE", "COOLDOWN_PAGE", "CURVE_PAGE", "EXPORT", "KEY_MARKDOWN",
    "KEY_PAGE", "MARKS", "RESULTS", "SHEETS_MARKDOWN", "SHEETS_PAGE", "SUMMARY", "TABLE", "Kind",
    "Outputs", "made_by", "markdown_mark", "outputs_beside", "page_kind", "reads_table",
    "table_kind",
]  # fmt: skip

HTML = (".html", ".htm")
MARKDOWN = (".md", ".markdown")
TABLES = (".csv", ".tsv", ".txt", ".xlsx")


def made_by(name: str) -> str:
    """What an output says of itself where its format has a place for it."""
    return f"cupledger {__version__}: {name}"


# --- pages and Markdown ------------------------------------------------------------------------


def page_kind(name: str) -> Kind:
    """The kind of a self-contained page."""
    wanted = re.compile(rf'<meta name="generator" content="cupledger [^":]*: {re.escape(name)}">')
    return Kind(name, HTML, lambda path: bool(wanted.search(_beginning(path))))


def markdown_mark(name: str) -> str:
    """The first line of a Markdown file: a comment, which is not shown."""
    return f"<!-- {made_by(name)} -->\n\n"


def _markdown_kind(name: str) -> Kind:
    wanted = re.compile(rf"<!-- cupledger [^:\n]*: {re.escape(name)} -->\n")
    return Kind(name, MARKDOWN, lambda path: bool(wanted.match(_beginning(path))))


def _beginning(path: Path) -> str:
    return first_bytes(path).decode("utf-8-sig", errors="replace")


CURVE_PAGE = page_kind("curve page")
COOLDOWN_PAGE = page_kind("cooling page")
CLASS_PAGE = page_kind("class page")
CERTIFICATE = page_kind("certificate")
SHEETS_PAGE = page_kind("feedback sheets")
SHEETS_MARKDOWN = _markdown_kind("feedback sheets")
KEY_PAGE = page_kind("worked answer")
KEY_MARKDOWN = _markdown_kind("worked answer")
PAGE = Kind("page", HTML, begins_with('<meta name="generator" content="cupledger '))

TEMPLATES = {
    "curve": CURVE_PAGE.name,
    "cooldown": COOLDOWN_PAGE.name,
    "class": CLASS_PAGE.name,
    "certificate": CERTIFICATE.name,
    "feedback": SHEETS_PAGE.name,
    "key": KEY_PAGE.name,
}
"""The kind of page that each template makes."""


# --- tables ------------------------------------------------------------------------------------


def table_kind(name: str, *headings: str) -> Kind:
    """The kind of a table: in text known by headings that no other table has together.

    A workbook is known by its properties; one that another program saved since is not own.
    """

    def is_own(path: Path) -> bool:
        if path.suffix.casefold() == ".xlsx":
            return workbook_is(path, name)
        return bool(headings) and set(headings) <= set(headings_of(path))

    return Kind(name, TABLES, is_own)


def headings_of(path: Path, delimiters: str = ",;\t") -> list[str]:
    """The first row of a text table, whichever of the delimiters it has."""
    lines = first_bytes(path, 16 * BEGINNING).decode("utf-8-sig", errors="replace").splitlines()
    rows = [next(csv.reader(lines[:1], delimiter=mark), []) for mark in delimiters]
    return max(rows, key=len)


_PROPERTIES = "docProps/core.xml"
_MOST_BYTES = 100_000


def workbook_is(path: Path, name: str) -> bool:
    """Whether a workbook was written here as this kind and was not saved since.

    The file's own properties (ISO/IEC 29500-2, core properties) tell both: who saved it last, and
    that this was when it was made.
    """
    try:
        with zipfile.ZipFile(path) as package, package.open(_PROPERTIES) as part:
            text = part.read(_MOST_BYTES).decode("utf-8")
    except (OSError, ValueError, KeyError, RuntimeError, zipfile.BadZipFile, NotImplementedError):
        return False
    if not re.search(rf"lastModifiedBy>cupledger [^<:]*: {re.escape(name)}<", text):
        return False
    made, saved = (_moment(text, word) for word in ("created", "modified"))
    return made is not None and saved is not None and abs((saved - made).total_seconds()) <= 2.0


def _moment(properties: str, word: str) -> datetime | None:
    found = re.search(rf"<dcterms:{word}[^>]*>([^<]*)<", properties)
    try:
        return datetime.fromisoformat(found[1].replace("Z", "")) if found else None
    except ValueError:
        return None


TABLE = table_kind("table")
RESULTS = table_kind("results", "constant_id", "heat_J", "dH_kJ_per_mol", "not_used_because")
SUMMARY = table_kind("means", "reaction", "runs", "mean", "u_mean", "u_shared", "robust_mean")
MARKS = table_kind("marks", "answer_as_typed", "verdict", "slips", "not_marked_because")


# --- charts and exports ------------------------------------------------------------------------


def _is_chart(path: Path) -> bool:
    try:
        with path.open("rb") as stream:
            beginning = stream.read(BEGINNING)
            stream.seek(max(stream.seek(0, 2) - BEGINNING, 0))
            return bool(re.search(rb"cupledger [^:\n]*: control chart", beginning + stream.read()))
    except OSError:
        return False


CHART = Kind("control chart", (".svg", ".png", ".pdf"), _is_chart)
EXPORT = Kind("export of constants", (".json",), begins_with('"format": "cupledger constants"'))


# --- what a call reads -------------------------------------------------------------------------


def outputs_beside(
    registry: str | None = None,
    *,
    overwrite: bool = False,
    table: Path | str | None = None,
    curve: Path | str | None = None,
) -> Outputs:
    """The outputs of a call that uses this registry, and a table or a curve.

    The registry's file, the files that SQLite keeps beside it, the table and the
    ``readings.toml`` beside it are declared as read; the table's curves are once it is read
    (`reads_table`).
    """
    from calib.registry.errors import RegistryError
    from calib.registry.place import find_place
    from calib.runs.readings_file import FILE_NAME

    outputs = Outputs(overwrite=overwrite)
    try:
        place = find_place(registry).path
    except RegistryError:  # said by whatever opens it
        place = None
    if place is not None:
        outputs.reads("the registry", place)
        for base in (place, Path(os.path.realpath(place))):  # SQLite follows a link
            parts = (base.with_name(base.name + end) for end in ("-journal", "-wal", "-shm"))
            outputs.reads("a part of the registry", *parts)
    if table is not None:
        outputs.reads("the table", table)
        outputs.reads("the instruments' file", Path(table).parent / FILE_NAME)
    outputs.reads("the curve", curve)
    return outputs


def reads_table(outputs: Outputs, table: Table) -> Outputs:
    """Declare all that a table was or will be read from: itself, its instruments, its curves.

    Raises:
        OutputError: one of the outputs that were declared is among them.
    """
    from calib.runs.readings_file import FILE_NAME

    outputs.reads("the table", table.path)
    outputs.reads("the instruments' file", table.path.parent / FILE_NAME)
    outputs.reads("a curve of the table", *table.curves)
    return outputs
