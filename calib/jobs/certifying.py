"""Certificates: one page per cup, what is on file for its constant."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError, RegistryError
from calib.jobs.pages import write_certificate

if TYPE_CHECKING:
    from calib.registry import Registry, StoredConstant

_NOT_IN_NAMES = re.compile(r"[^\w.-]+")


def certify(
    folder: Path,
    registry: str | None = None,
    *,
    cups: Sequence[str] = (),
    numbers: Sequence[int] = (),
    on: date | None = None,
) -> dict[str, Any]:
    """Write the certificate of each cup's constant in force, or of constants by number.

    Without ``cups`` and ``numbers``: of every cup that has a constant in force on ``on`` (default:
    today). Each page is called after cup and number, so that an older constant's stays. A cup
    without a constant stands in ``errors``; so does one whose constant, cup or trail is not as it
    was left, or disagrees with its own interval: no certificate is written for it. The others are.

    Raises:
        InputError: the folder is a file, or a page cannot be written.
        RegistryError: there is no constant of that number, or the registry cannot be opened.
    """
    from calib.registry import open_registry

    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file; name a folder for the certificates")
    day = on or date.today()
    errors: list[dict[str, Any]] = []
    with open_registry(registry, create=False) as store:
        wanted = [store.constant(number) for number in numbers]
        wanted += _of_cups(cups, store, day, errors)
        if not cups and not numbers:
            every, bad = store.constants_apart()
            wanted += [k for k in every if k.in_force_on(day)]
            errors += [_error(one.apparatus, str(one)) for one in bad]
        verdict = store.verify()
    written = []
    for constant in wanted:
        against = verdict.against(constant.id, constant.apparatus)
        if against:
            errors.append(
                _error(
                    constant.apparatus,
                    f"no certificate of constant {constant.id}: {against[0]}; see cupledger"
                    " constants verify",
                )
            )
            continue
        folder.mkdir(parents=True, exist_ok=True)
        path = write_certificate(folder / page_name(constant), constant, verdict.head)
        written.append(
            {"apparatus": constant.apparatus, "constant_id": constant.id, "page": str(path)}
        )
    return {
        "certificates": written,
        "errors": errors,
        "on": day,
        "chain_head": verdict.head,
    }


def _error(cup: str, message: str) -> dict[str, Any]:
    return {"row": cup, "column": "apparatus", "message": message}


def page_name(constant: StoredConstant) -> str:
    """A file name that every system takes, from the cup and the number."""
    return f"certificate_{_NOT_IN_NAMES.sub('-', constant.apparatus)}_{constant.id}.html"


def _of_cups(
    cups: Sequence[str], store: Registry, day: date, errors: list[dict[str, Any]]
) -> list[StoredConstant]:
    found = []
    for cup in dict.fromkeys(cups):
        try:
            found.append(store.constant_for(cup, day))
        except RegistryError as error:
            errors.append(_error(cup, str(error)))
    return found
