"""The one writer: every file that this program makes is asked about here and written from here.

A call declares all that it reads and all that it will write before it does any work. Refused are

- an ending that does not fit the kind of output;
- a file that the call reads, under whatever spelling, link or hard link, and on systems that do
  not tell capitals apart;
- a file that another output of the same call takes;
- for ever, whatever is asked: a database such as a registry, and a logged curve;
- unless ``overwrite`` is set: every other file that is not this program's own output of that kind.

An output is written beside its place and renamed over it, so that it appears whole or not at all.
"""

from __future__ import annotations

import os
import stat
import tempfile
import unicodedata
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from fitting.errors import CurveError, OutputError

__all__ = ["Kind", "OutputError", "Outputs", "begins_with"]

_SQLITE = b"SQLite format 3\0"  # sqlite.org/fileformat2.html, 1.3.1
BEGINNING = 4096
"""Bytes in which an output says what it is."""


def never_own(path: Path) -> bool:
    """No file that is there is taken for this program's own."""
    return False


def begins_with(*marks: str) -> Callable[[Path], bool]:
    """Whether a file holds one of these texts in its first bytes."""
    wanted = [mark.encode("utf-8") for mark in marks]

    def is_own(path: Path) -> bool:
        beginning = first_bytes(path)
        return any(mark in beginning for mark in wanted)

    return is_own


def first_bytes(path: Path, many: int = BEGINNING) -> bytes:
    """The first bytes of a file; none where it cannot be read."""
    try:
        with path.open("rb") as stream:
            return stream.read(many)
    except OSError:
        return b""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of output.

    Attributes:
        name: what it is called in a sentence, such as "class page".
        endings: of its file's name, in small letters.
        is_own: whether a file that is there was written by this program as this kind.
        asks: own ones, too, are replaced only with ``overwrite``, since people go on with them.
    """

    name: str
    endings: tuple[str, ...]
    is_own: Callable[[Path], bool] = never_own
    asks: bool = False


@dataclass(frozen=True, slots=True)
class _Claim:
    kind: Kind
    path: Path
    option: str


@dataclass(slots=True)
class Outputs:
    """What one call reads and writes. ``overwrite`` allows files of others to be replaced.

    >>> PAGE = Kind("page", (".html",), begins_with("<!-- ours -->"))
    >>> Outputs().claim(PAGE, "page.pdf")
    Traceback (most recent call last):
    fitting.errors.OutputError: page.pdf: the ending '.pdf' is not known; expected .html (page)
    """

    overwrite: bool = False
    _read: list[tuple[str, Path]] = field(default_factory=list)
    _claims: list[_Claim] = field(default_factory=list)

    def reads(self, what: str, *paths: str | os.PathLike[str] | None) -> None:
        """Declare files that were or will be read; ``what`` names them, such as "the table".

        Raises:
            OutputError: an output that was declared before is one of them.
        """
        for path in paths:
            if path is not None and (what, Path(path)) not in self._read:
                self._read.append((what, Path(path)))
                for claim in self._claims:
                    _refuse_input(claim.path, what, Path(path))

    def claim(self, kind: Kind, path: str | os.PathLike[str] | None, option: str = "") -> None:
        """Declare an output, before any work; ``option`` names it, such as "--page".

        Nothing is done where ``path`` is None. The same output may be declared again.

        Raises:
            OutputError: it may not be written; the message says why and what to do.
        """
        if path is None:
            return
        place = Path(path)
        self.check(kind, place)
        one = _Claim(kind, place, option)
        own = (place, kind.name)
        others = [claim for claim in self._claims if (claim.path, claim.kind.name) != own]
        for other in others:
            if same_file(place, other.path):
                names = " and ".join(name for name in (other.option, option) if name)
                raise OutputError(
                    f"{place}: two outputs would be written into one file"
                    f"{f' ({names})' if names else ''}; give each a name of its own"
                )
        if len(others) == len(self._claims):
            self._claims.append(one)

    def check(self, kind: Kind, path: Path) -> None:
        """Refuse an output that may not be written, without declaring it.

        Raises:
            OutputError: see `claim`.
        """
        _refuse_ending(kind, path)
        _refuse_place(kind, path)
        for what, read in self._read:
            _refuse_input(path, what, read)
        self._refuse_to_replace(kind, path)

    def write(self, kind: Kind, path: str | os.PathLike[str], content: str | bytes) -> Path:
        """Write one output whole or not at all; a text as UTF-8. Returns its path.

        Raises:
            OutputError: see `claim`, or the file cannot be written; then nothing was changed.
        """
        return self.write_all([(kind, path, content)])[0]

    def write_all(
        self, files: Iterable[tuple[Kind, str | os.PathLike[str], str | bytes]]
    ) -> list[Path]:
        """Write several outputs, all or none; folders that are not there are not made.

        Raises:
            OutputError: one of them may not or cannot be written; the message says what was.
        """
        wanted = [(kind, Path(path), content) for kind, path, content in files]
        for kind, path, _ in wanted:
            self.claim(kind, path)
        staged: list[tuple[Path, Path, Path]] = []
        done: list[Path] = []
        at = Path()
        try:
            for _, path, content in wanted:
                at = path
                place = Path(os.path.realpath(path))  # what a link means, so that it stays a link
                staged.append((path, place, _staged(place, content)))
            for path, place, part in staged:
                at = path
                os.replace(part, place)
                done.append(path)
        except BaseException as error:
            for _, _, part in staged[len(done) :]:
                part.unlink(missing_ok=True)
            if isinstance(error, OSError | ValueError):
                raise _cannot_write(at, error, done, len(wanted)) from None
            raise
        for folder in {place.parent for _, place, _ in staged}:
            _sync_folder(folder)
        return done

    def write_folder(
        self, folder: str | os.PathLike[str], files: Iterable[tuple[Kind, str, str | bytes]]
    ) -> list[Path]:
        """Write several outputs by name into a folder, which is made where it is not there.

        Raises:
            OutputError: see `write_all`; a folder that was made for nothing is taken away again.
        """
        place = Path(folder)
        refuse_folder(place)
        made = _make_folders(place)
        try:
            return self.write_all([(kind, place / name, content) for kind, name, content in files])
        except BaseException:
            for one in made:
                _take_away(one)
            raise

    def _refuse_to_replace(self, kind: Kind, path: Path) -> None:
        try:
            found = path.stat()
        except FileNotFoundError:
            return
        except (OSError, ValueError) as error:
            raise OutputError(f"{path}: cannot be looked at: {_reason(error)}") from None
        if not stat.S_ISREG(found.st_mode):
            raise OutputError(f"{path}: is a device or a pipe; give the name of a file")
        if first_bytes(path, len(_SQLITE)) == _SQLITE:
            raise OutputError(
                f"{path}: is a database, such as a registry, and is never replaced; name another"
                " file"
            )
        own = kind.is_own(path)
        if not own and _is_log(path):
            raise OutputError(
                f"{path}: is a logged curve, and those are never replaced; name another file"
            )
        if not self.overwrite and (kind.asks or not own):
            why = f"an earlier {kind.name} that may be in use" if own else _whose(kind)
            raise OutputError(
                f"{path}: is there already and is {why}; name another file, or add --overwrite to"
                " replace it"
            )
        if not os.access(path, os.W_OK):
            raise OutputError(f"{path}: is protected against writing; name another file")


def _whose(kind: Kind) -> str:
    return f"no {kind.name} made here, or was changed since"


def same_file(one: Path, other: Path) -> bool:
    """Whether two paths mean one file: by name, link or hard link, capitals overlooked."""
    if _key(one) == _key(other):
        return True
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return False


def _key(path: Path) -> str:
    """One spelling of a path for systems that overlook capitals and the way accents are made."""
    try:
        real = os.path.realpath(path)
    except (OSError, ValueError):
        real = os.path.abspath(path)
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", real).casefold())


def _refuse_input(output: Path, what: str, read: Path) -> None:
    if same_file(output, read):
        raise OutputError(
            f"{output}: is {what} that was read; an output never takes the place of what it came"
            " from: name another file"
        )


def _refuse_ending(kind: Kind, path: Path) -> None:
    if path.is_dir():
        raise OutputError(
            f"{path}: is a folder; give the name of a file in it that ends in"
            f" {_listed(kind.endings)}"
        )
    if path.suffix.casefold() not in kind.endings:
        raise OutputError(
            f"{path}: the ending {path.suffix!r} is not known; expected"
            f" {_listed(kind.endings)} ({kind.name})"
        )


def _refuse_place(kind: Kind, path: Path) -> None:
    try:
        folder = Path(os.path.realpath(path)).parent
    except (OSError, ValueError) as error:
        raise OutputError(f"{path}: cannot be looked up: {_reason(error)}") from None
    if not folder.is_dir():
        raise OutputError(
            f"{path}: the {kind.name} cannot be written: the folder {path.parent} does not exist;"
            " make it first or choose another"
        )
    if not os.access(folder, os.W_OK):
        raise OutputError(
            f"{path}: the {kind.name} cannot be written: nothing may be written into the folder"
            f" {path.parent}; choose another"
        )


def refuse_folder(folder: Path) -> None:
    """Refuse a place for a folder of outputs where none can be.

    Raises:
        OutputError: it is a file, or its own folder cannot be made or written into.
    """
    above = next((one for one in (folder, *folder.parents) if one.exists()), folder)
    if above.exists() and not above.is_dir():
        which = "" if above == folder else f"{folder}: "
        raise OutputError(f"{which}{above}: is a file; name a folder")
    if not os.access(above, os.W_OK):
        raise OutputError(f"{folder}: nothing may be written into {above}; choose another folder")


def _listed(endings: tuple[str, ...]) -> str:
    return " or ".join(filter(None, (", ".join(endings[:-1]), endings[-1])))


_MOST_LOG_COLUMNS = 4
"""Of a log that cannot be read as it stands; a table of runs, which is no log, has more."""


def _is_log(path: Path) -> bool:
    """Whether a file reads as a logged curve, or has the headings of one."""
    from fitting.files.curve_files import list_columns, read_curve

    with suppress(CurveError):
        read_curve(path)
        return True
    with suppress(CurveError):
        columns = list_columns(path)
        named = {column.quantity for column in columns}
        return len(columns) <= _MOST_LOG_COLUMNS and {"time", "temperature"} <= named
    return False


# --- onto the disk ---------------------------------------------------------------------------


def _staged(place: Path, content: str | bytes) -> Path:
    """The content in a file beside its place, on the disk, with the mode that it shall have."""
    if isinstance(content, str):  # the name of a file need not be UTF-8: its odd bytes are shown
        content = content.encode("utf-8", errors="backslashreplace")
    handle, name = tempfile.mkstemp(prefix=f".{place.name[:40]}.", suffix=".part", dir=place.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        part.chmod(_mode(place))
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return part


def _mode(place: Path) -> int:
    """The mode of the file that is replaced, or what a new file gets here."""
    try:
        return stat.S_IMODE(place.stat().st_mode)
    except OSError:
        mask = os.umask(0o022)
        os.umask(mask)
        return 0o666 & ~mask


def _sync_folder(folder: Path) -> None:
    """Bring a renaming onto the disk where the system can (POSIX; elsewhere it does so itself)."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _make_folders(folder: Path) -> list[Path]:
    """Make a folder and those above it; returns those that were made, the innermost first."""
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        for one in missing:
            _take_away(one)
        raise OutputError(f"{folder}: the folder cannot be made: {_reason(error)}") from None
    return missing


def _take_away(folder: Path) -> None:
    """Remove a folder if it is empty."""
    try:
        folder.rmdir()
    except OSError:
        return


def _cannot_write(path: Path, error: Exception, done: list[Path], many: int) -> OutputError:
    kept = "nothing was changed"
    if done:
        kept = f"written before that: {', '.join(map(str, done))}; not written: {many - len(done)}"
    return OutputError(f"{path}: cannot be written: {_reason(error)}; {kept}: choose another place")


def _reason(error: Exception) -> str:
    return str(getattr(error, "strerror", None) or error)
