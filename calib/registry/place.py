"""Where a registry lives: a path or a database URL, and how to name it without its password.

An address that is not wholly understood is refused without a word of it: an unescaped @ or /, a
slash that is missing, or a connection string in another form puts a part of a password where a
host, a database or a folder would stand, and would be printed as one.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import TYPE_CHECKING
from urllib.parse import quote, quote_plus, unquote

from calib.registry.errors import RegistryError

if TYPE_CHECKING:
    from sqlalchemy import URL

ENVIRONMENT = "CUPLEDGER_REGISTRY"
FORMS = "a path such as cups.sqlite, sqlite:///cups.sqlite, or postgresql://user@host/database"
PASSWORD = (
    "keep the password out of the address, which other users of this machine can see (ps): set it"
    " as PGPASSWORD, or write it into a pgpass file (~/.pgpass)"
)
_NOT_SHOWN = "the registry's address is not shown here, since it may hold a password: it "
_WORDS = (
    r"(?:pass(?:w|wd|word|wort|phrase|file|code)?|pg\w*|sslpassword|kennwort|pwd?|pin|secret|token"
    r"|key|auth|user(?:name| id)?|uid|host(?:addr)?|server|data source|dbname|database)"
)
_PAIRS = re.compile(rf"(?i)(?:^|[^\w]){_WORDS}\s*=")
_SCHEMES = (
    r"(?:postgres(?:ql)?|psql|pgsql|pg|mysql|mariadb|mssql|sqlserver|oracle|mongodb|redis|odbc|jdbc"
    r"|https?|s?ftp)"
)
_SCHEME = re.compile(rf"(?i)[\s'\"]*{_SCHEMES}\b")
_KNOWN_OPTIONS = re.compile(
    "application_name|channel_binding|client_encoding|connect_timeout|dbname|gssencmode|host"
    "|hostaddr|keepalives(_count|_idle|_interval)?|krbsrvname|load_balance_hosts|options|passfile"
    "|password|port|require_auth|service|ssl(cert|compression|crl|key|mode|password|rootcert|sni)"
    "|target_session_attrs|tcp_user_timeout|user"
)  # PostgreSQL manual 34.1.2, "Parameter Key Words"


@dataclass(frozen=True, slots=True)
class Place:
    """One registry's address. ``shown`` is what may be printed: never a password.

    A SQLite file has ``path``; a registry in memory has neither ``path`` nor ``url``; PostgreSQL
    has ``url``. ``secrets`` are the texts of it that are never to be printed.
    """

    shown: str
    path: Path | None = None
    url: URL | None = None
    is_default: bool = False
    secrets: tuple[str, ...] = field(default=(), repr=False)

    def hide(self, text: str) -> str:
        """A driver's words, unless a password is among them."""
        if any(secret in text for secret in self.secrets):
            return "the driver's own words are not shown, since the password is among them"
        return mask(text)

    @property
    def is_sqlite(self) -> bool:
        """Whether the registry is a SQLite file, or in memory."""
        return self.url is None

    @property
    def not_yet_made(self) -> bool:
        """Whether it is the default file, and nobody has made it yet: an empty list, no error."""
        return self.is_default and self.path is not None and not self.path.exists()


def default_path() -> Path:
    """The SQLite file in the platform's data folder for this user (nothing is created)."""
    from platformdirs import user_data_path

    return user_data_path("cupledger", appauthor=False) / "registry.sqlite"


def mask(text: str) -> str:
    """The same text with any password of a URL in it replaced by ``***``."""
    text = re.sub(r"(?<=://)([^/\s:@]*):(\S*)@", r"\1:***@", text)
    return re.sub(r"(?i)((?:password|passwd|pwd)\s*[=:]\s*)[^&\s]+", r"\1***", text)


def find_place(url_or_path: str | os.PathLike[str] | None = None) -> Place:
    """Read an address; without one take CUPLEDGER_REGISTRY, and without that the default file.

    Raises RegistryError where the address cannot be read, naming the forms that can.
    """
    if url_or_path is None:
        url_or_path = os.environ.get(ENVIRONMENT, "").strip() or None
    if url_or_path is None:
        path = default_path()
        return Place(shown=str(path), path=path, is_default=True)
    text = os.fspath(url_or_path).strip()
    if not text:
        raise RegistryError(f"the registry's address is empty; expected {FORMS}")
    if text == ":memory:":
        return Place(shown="registry in memory")
    if "://" in text:
        return _from_url(text)
    if _may_hold_password(text):
        raise _refusal("is no path and no database URL that can be read")
    return _from_path(text)


def shows_password(text: str) -> bool:
    """Whether an address as given would show a password to whoever lists the processes."""
    return re.search(r"://[^/@]*:[^@]+@|(?i:pass\w*=)", text) is not None


def hold_back(message: str, words: Iterable[str]) -> str:
    """A message without those of the words typed that may hold a password."""
    for word in words:
        if word in message and (shows_password(word) or _may_hold_password(word)):
            message = message.replace(word, "…")
    return message


def _refusal(why: str) -> RegistryError:
    return RegistryError(f"{_NOT_SHOWN}{why}; expected {FORMS}; {PASSWORD}")


def _may_hold_password(text: str) -> bool:
    """Whether what is no URL looks like one that went wrong, or like another kind of address."""
    try:
        if Path(text).expanduser().is_file():
            return False
    except (OSError, ValueError, RuntimeError):
        pass
    plain = unicodedata.normalize("NFKC", unquote(unquote(text)))
    at = plain.rfind("@")
    without_drive = re.sub(r"^[A-Za-z]:(?=[\\/])", "", plain)
    return (
        _PAIRS.search(plain) is not None
        or "://" in plain
        or (_SCHEME.match(plain) is not None and (":" in plain or "//" in plain or at >= 0))
        or (at >= 0 and re.search(r"[:;,|\s][^@]*@", without_drive) is not None)
    )


def _from_path(text: str) -> Place:
    path = Path(text).expanduser()
    return Place(shown=str(path), path=path.absolute())


def _from_url(text: str) -> Place:
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    scheme, _, rest = text.partition("://")
    family = scheme.split("+")[0].casefold()
    if family in {"postgresql", "postgres"}:
        rest = f"postgresql+psycopg://{rest}"
    elif family == "sqlite":
        rest = f"sqlite://{rest}"
    elif re.fullmatch(_SCHEMES, family):
        raise RegistryError(
            f"{family!r} is no kind of database that can hold a registry; expected {FORMS}"
        )
    else:
        raise _refusal("begins with no kind of database that can hold a registry")
    try:
        url = make_url(rest)
    except (ArgumentError, ValueError):
        raise _refusal(
            "cannot be read as a database URL (inside a password @, : and / are written %40, %3A"
            " and %2F)"
        ) from None
    if family == "sqlite":
        return _from_sqlite_url(url)
    if text.count("@") > 1:
        raise _refusal(
            "holds more than one @, so that it cannot be told where a password ends (inside one, @"
            " is written %40)"
        )
    if not _is_plain(url):
        raise _refusal(
            "has signs that no name of a user, host or database has, or options that are not known"
            " (inside a password @, : and / are written %40, %3A and %2F)"
        )
    if not url.database:
        raise _refusal("names no database")
    shown = url.set(drivername="postgresql", query={}).render_as_string(hide_password=True)
    found = [url.password, *(v for k, v in url.query.items() if "pass" in k)]
    words = [word for word in found if isinstance(word, str) and word]
    secrets = {form(word) for word in words for form in (str, quote, quote_plus)}
    return Place(shown=shown, url=url, secrets=tuple(sorted(secrets)))


def _from_sqlite_url(url: URL) -> Place:
    if url.username or url.password or url.host or url.port:
        raise _refusal("names a user or a host, which a SQLite file does not have")
    if url.query:
        raise RegistryError(
            "options after '?' are not taken for a SQLite registry; give the path alone"
        )
    if not url.database or url.database == ":memory:":
        return Place(shown="registry in memory")
    if _may_hold_password(url.database):
        raise _refusal("is no path that can be read")
    return _from_path(url.database)


def _is_plain(url: URL) -> bool:
    """Whether every part that is printed can be what it stands for."""
    host = url.host or ""
    return (
        re.fullmatch(r"[\w.$-]*", url.username or "") is not None
        and re.fullmatch(r"[\w.-]*|[0-9A-Fa-f:.]+", host) is not None
        and re.fullmatch(r"[\w.$ -]*", url.database or "") is not None
        and all(_KNOWN_OPTIONS.fullmatch(key) for key in url.query)
    )


def sqlite_uri(path: PurePath, mode: str) -> str:
    """SQLite's own file address, which can say that a file must exist or must not be written.

    ``mode`` is ``ro`` (read), ``rw`` (read and write a file that exists) or ``rwc`` (make it).
    Source: SQLite documentation, "Uniform Resource Identifiers".
    """
    posix = path.as_posix()
    if posix.startswith("//"):  # a network share: //server/folder/file
        posix = "//" + posix
    elif not posix.startswith("/"):  # a drive letter: C:/folder/file
        posix = "/" + posix
    return f"file:{quote(os.fsencode(posix), safe='/:')}?mode={mode}"
