"""Certificates: one page per cup, what is on file for its constant."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import RegistryError
from calib.outputs import CERTIFICATE, Outputs, outputs_beside
from fitting.files.outputs import refuse_folder

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
    outputs: Outputs | None = None,
) -> dict[str, Any]:
    """Write the certificate of each cup's constant in force, or of constants by number.

    Without ``cups`` and ``numbers``: of every cup that has a constant in force on ``on`` (default:
    today). Each page is called after cup and number, so that an older constant's stays. A cup
    without a constant stands in ``errors``; so does one whose constant, cup or trail is not as it
    was left, or disagrees with its own interval: no certificate is written for it. The others are,
    all or none.

    Raises:
        OutputError: the folder is a file, or a page may not or cannot be written.
        RegistryError: there is no constant of that number, or the registry cannot be opened.
    """
    from calib.pages import certificate_page
    from calib.registry import open_registry

    refuse_folder(folder)
    outputs = outputs or outputs_beside(registry)
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
    sound = []
    for one in {page_name(one): one for one in wanted}.values():
        if against := verdict.against(one.id, one.apparatus):
            why = (
                f"no certificate of constant {one.id}: {against[0]}; see cupledger constants verify"
            )
            errors.append(_error(one.apparatus, why))
        else:
            sound.append(one)
    for one in sound if folder.is_dir() else ():
        outputs.check(CERTIFICATE, folder / page_name(one))
    pages = [
        (CERTIFICATE, page_name(one), certificate_page(one, chain_head=verdict.head))
        for one in sound
    ]
    paths = outputs.write_folder(folder, pages) if pages else []
    written = [
        {"apparatus": one.apparatus, "constant_id": one.id, "page": str(path)}
        for one, path in zip(sound, paths, strict=True)
    ]
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
