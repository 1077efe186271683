"""The main job on the invented sample runs, start to finish."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from calib.errors import InputError
from calib.jobs.calibrating import calibrate_table
from calib.jobs.evaluating import evaluate_table
from calib.jobs.pages import write_certificate, write_class_page
from calib.jobs.results_file import write_results

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

    Everything goes into ``folder``, which must be new, empty or an earlier demo's.

    Raises:
        InputError: the folder holds something else.
    """
    from calib.registry import open_registry

    runs = folder / "sample_runs"
    _prepare(folder)
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
    return {
        "constants": made["constants"],
        "runs": results,
        "summary": summary,
        "errors": errors,
        "files": [str(path) for path in files],
    }


def _prepare(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file; name a new folder: cupledger demo FOLDER")
    if folder.is_dir() and any(folder.iterdir()):
        if not (folder / MARK).is_file():
            raise InputError(
                f"the folder {folder} is not empty and not an earlier demo's; nothing was written;"
                " name a new folder: cupledger demo FOLDER"
            )
        shutil.rmtree(folder / "sample_runs", ignore_errors=True)
        (folder / "registry.sqlite").unlink(missing_ok=True)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / MARK).write_text(MARK_TEXT, encoding="utf-8")


def _truth(path: Path) -> dict[str, str]:
    with path.open(encoding="utf-8", newline="") as file:
        return {row["what"]: row["value"] for row in csv.DictReader(file)}


def _true_enthalpy(reaction: str, truth: dict[str, str]) -> str:
    for sign, name in _TRUE_NAME.items():
        if reaction.startswith(sign):
            return truth[f"{name}, kJ/mol"]
    return ""
