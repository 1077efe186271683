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
    without a constant stands in ``errors``; the others are written, all or none.

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
            wanted += [k for k in store.constants() if k.in_force_on(day)]
    wanted = list({page_name(one): one for one in wanted}.values())
    for one in wanted if folder.is_dir() else ():
        outputs.check(CERTIFICATE, folder / page_name(one))
    pages = [(CERTIFICATE, page_name(one), certificate_page(one)) for one in wanted]
    paths = outputs.write_folder(folder, pages) if pages else []
    written = [
        {"apparatus": one.apparatus, "constant_id": one.id, "page": str(path)}
        for one, path in zip(wanted, paths, strict=True)
    ]
    return {"certificates": written, "errors": errors, "on": day}


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
            errors.append({"row": cup, "column": "apparatus", "message": str(error)})
    return found
