"""What the registry refuses, each with the facts that a caller may want to act on."""

from __future__ import annotations

from calib.errors import RegistryError

__all__ = [
    "NewerRegistry",
    "NoConstant",
    "NotARegistry",
    "RegistryBusy",
    "RegistryError",
    "RegistryNotWritten",
    "RegistryReadOnly",
    "RegistryUnreachable",
    "UnknownApparatus",
]


class NoConstant(RegistryError):  # noqa: N818 - named for what is the matter
    """No constant is in force for this apparatus on this date; the message says what mends it."""

    def __init__(self, message: str, *, apparatus: str = "") -> None:
        super().__init__(message)
        self.apparatus = apparatus


class UnknownApparatus(NoConstant):
    """An identifier that nobody has registered; the message lists those that exist."""


class NotARegistry(RegistryError):  # noqa: N818 - named for what is the matter
    """The file or database holds something else, or is damaged."""


class NewerRegistry(RegistryError):  # noqa: N818 - named for what is the matter
    """Made by a later release: the schema's version is higher than this release reads."""

    def __init__(self, message: str, *, found: int, known: int) -> None:
        super().__init__(message)
        self.found = found
        self.known = known


class RegistryNotWritten(RegistryError):  # noqa: N818 - named for what is the matter
    """A change was right but could not be stored: no room, no right, no server, no turn."""


class RegistryReadOnly(RegistryNotWritten):
    """A change was asked of a registry that can only be read."""


class RegistryBusy(RegistryNotWritten):
    """Others held the registry for longer than the waiting time; nothing was changed."""


class RegistryUnreachable(RegistryNotWritten):
    """The database server cannot be reached, or went away.

    ``done`` says whether the change under way was kept: True, False, or None where nobody could be
    asked.
    """

    def __init__(self, message: str, *, done: bool | None = False) -> None:
        super().__init__(message)
        self.done = done
