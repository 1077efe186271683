"""The main job on the invented sample runs, start to finish."""

from __future__ import annotations

import csv
import hashlib
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from calib.errors import InputError, OutputError
from calib.jobs.calibrating import calibrate_table
from calib.jobs.evaluating import evaluate_table
from calib.jobs.pages import write_certificate, write_class_page
from calib.jobs.results_file import write_results
from fitting.files.outputs import refuse_folder

Progress = Callable[[int, int, str], None]
CUPS = ("P1", "P2", "P3", "P4", "P5", "P6", "P7")
KIND = "double foam cup, foam lid"
MARK = "made-by-cupledger-demo.txt"
MARK_TEXT = "This folder was written by `cupledger demo`, which may write it anew.\n"
_TRUE_NAME = {"HNO3": "neutralization", "KNO3(s)": "KNO3", "NH4Cl(s)": "NH4Cl"}


def sample_runs() -> Path:
    """The folder of sample runs: in the installed package, else beside it in a checkout.

    Raises:
        InputError: it is in neither place.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "sample_runs", package.parent / "sample_runs"):
        if (folder / "calibrations.csv").is_file():
            return folder
    raise InputError(f"the sample runs are not beside {package}; install cupledger again")


def run_demo(folder: Path, *, progress: Progress | None = None) -> dict[str, Any]:
    """Register cups, calibrate them, apply the constants to two classes, write the pages.

    Everything goes into ``folder``, which must be new, empty or an earlier demo's of which nothing
    was changed since. It is made beside its place first: it appears whole, or nothing does.

    Raises:
        OutputError: the folder holds something else, or it cannot be written.
    """
    earlier = _require_own(folder)
    above = folder.absolute().parent
    try:
        above.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".cupledger-demo-", dir=above) as spare:
            made = Path(spare) / "demo"
            facts = _make(made, progress)
            _move(made, folder, earlier)
    except OSError as error:
        raise OutputError(
            f"the demo cannot be written into {folder}: {error.strerror or error}; choose another"
            " place"
        ) from None
    return {**facts, "files": [str(folder / name) for name in facts["files"]]}


def _make(folder: Path, progress: Progress | None) -> dict[str, Any]:
    """The demo in a folder that is not there yet; the files are named from inside it."""
    from calib.registry import open_registry

    runs = folder / "sample_runs"
    shutil.copytree(sample_runs(), runs, ignore=shutil.ignore_patterns("__pycache__", "*.py"))
    place = str(folder / "registry.sqlite")
    with open_registry(place) as store:
        store.register_all(CUPS, KIND, "invented", by="demo")
    made = calibrate_table(
        runs / "calibrations.csv", place, approve=True, by="demo", progress=progress
    )
    truth = _truth(runs / "invented_truth.csv")
    for constant in made["constants"]:
        constant["invented_truth"] = truth[f"constant of {constant['apparatus']}, J/K"]
    files = [folder / "registry.sqlite"]
    with open_registry(place) as store:
        first, head = store.constant_for(CUPS[0]), store.verify().head
    files.append(write_certificate(folder / f"certificate_{CUPS[0]}.html", first, head))
    results: list[dict[str, Any]] = []
    summary: list[dict[str, Any]] = []
    errors = list(made["errors"])
    for name in ("class_curves", "class_readings"):
        done = evaluate_table(runs / f"{name}.csv", place, progress=progress)
        files.append(write_class_page(folder / f"{name}.html", done))
        files.append(write_results(folder / f"{name}_results.csv", done))
        results += done.facts["runs"]
        summary += done.facts["summary"]
        errors += done.facts["errors"]
    for line in summary:
        line["invented_truth"] = _true_enthalpy(line["reaction"], truth)
    written = "".join(f"{digest}  {name}\n" for name, digest in _digests(folder).items())
    (folder / MARK).write_text(MARK_TEXT + written, encoding="utf-8", newline="\n")
    return {
        "constants": made["constants"],
        "runs": results,
        "summary": summary,
        "errors": errors,
        "files": [path.relative_to(folder).as_posix() for path in files],
    }


def _digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file of a demo but its mark, by its name from inside the folder."""
    files = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != MARK)
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in files
    }


def _require_own(folder: Path) -> dict[str, str]:
    """Refuse a folder of others, and an earlier demo of which a file was changed since.

    Returns the files of the earlier demo with their digests; other files in it are left alone.
    """
    refuse_folder(folder)
    if not folder.is_dir() or not any(folder.iterdir()):
        return {}
    try:
        mark = (folder / MARK).read_text(encoding="utf-8")
    except (OSError, ValueError):
        mark = ""
    if not mark.startswith(MARK_TEXT):
        raise OutputError(
            f"the folder {folder} is not empty and not an earlier demo's; nothing was written;"
            " name a new folder: cupledger demo FOLDER"
        )
    lines = mark[len(MARK_TEXT) :].splitlines()
    written = {name: digest for digest, _, name in (line.partition("  ") for line in lines)}
    found = _digests(folder)
    _refuse_changed(folder, [name for name in written if found.get(name, "") != written[name]])
    return written


def _refuse_changed(folder: Path, names: list[str]) -> None:
    names = [name for name in names if (folder / name).exists()]
    if names:
        more = f" and {len(names) - 3} more" if len(names) > 3 else ""
        raise OutputError(
            f"in the folder {folder} {', '.join(names[:3])}{more} was changed since the demo wrote"
            " it, or is no file of the demo; nothing was written; name a new folder: cupledger demo"
            " FOLDER"
        )


def _move(made: Path, folder: Path, earlier: dict[str, str]) -> None:
    """Put a finished demo in its place; over an earlier one file by file."""
    if not folder.exists():
        made.rename(folder)
        return
    names = [path.relative_to(made).as_posix() for path in made.rglob("*") if path.is_file()]
    _refuse_changed(folder, [name for name in names if name not in earlier and name != MARK])
    for name in sorted(names, key=lambda one: one != MARK):  # the list of files comes first
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (made / name).replace(folder / name)


def _truth(path: Path) -> dict[str, str]:
    with path.open(encoding="utf-8", newline="") as file:
        return {row["what"]: row["value"] for row in csv.DictReader(file)}


def _true_enthalpy(reaction: str, truth: dict[str, str]) -> str:
    for sign, name in _TRUE_NAME.items():
        if reaction.startswith(sign):
            return truth[f"{name}, kJ/mol"]
    return ""
