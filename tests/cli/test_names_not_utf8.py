"""File names that are not UTF-8, as old memory sticks have them, in every command."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest

from tests.benchmarks.in_process import call

SAMPLES = Path(__file__).parents[2] / "sample_runs"
ODD = os.fsdecode(b"n\xe9")

pytestmark = pytest.mark.skipif(
    sys.platform in ("win32", "darwin"), reason="no such name can be made here"
)


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder of such a name, with the sample runs and a registry of such names in it."""
    folder = tmp_path_factory.mktemp("names") / ODD
    folder.mkdir()
    shutil.copytree(SAMPLES / "curves", folder / "curves")
    for name in ("calibrations", "class_readings", "class_curves", "class_answers"):
        shutil.copy(SAMPLES / f"{name}.csv", folder / f"{ODD}_{name}.csv")
    shutil.copy(SAMPLES / "curves" / "class_bench01.csv", folder / f"{ODD}.csv")
    shutil.copy(SAMPLES / "curves" / "cooling_P1.csv", folder / f"{ODD}_cooling.csv")
    cups = [f"P{n}" for n in range(1, 8)]
    assert (
        call(["apparatus", "add", *cups, "--kind", "foam cup"], folder / f"{ODD}.sqlite").code == 0
    )
    return folder


COMMANDS = [
    ["calibrate", "{o}_calibrations.csv", "--approve"],
    ["enthalpy", "{o}_class_readings.csv", "--record", "--page", "{o}.html", "--out", "{o}_r.csv"],
    ["enthalpy", "{o}_class_readings.csv", "--out", "{o}_r.xlsx", "--summary", "{o}_s.csv"],
    ["enthalpy", "{o}_class_curves.csv", "--page", "{o}_c.html"],
    ["correct", "{o}.csv", "--page", "{o}_curve.html"],
    ["cooldown", "{o}_cooling.csv", "--page", "{o}_cooling.html"],
    ["mark", "{o}_class_answers.csv", "--sheets", "{o}_sheets", "--out", "{o}_m.csv"],
    ["key", "{o}_class_answers.csv", "--run", "pair 1", "--out", "{o}_key.html"],
    ["cycles", "{o}_class_answers.csv"],
    ["constants", "check", "{o}_calibrations.csv"],
    ["constants"],
    ["constants", "--history"],
    ["constants", "export", "{o}_export.json"],
    ["constants", "import", "{o}_export.json"],
    ["constants", "merge", "{o}.sqlite"],
    ["constants", "certificate", "--folder", "{o}_certificates"],
    ["constants", "drift"],
    ["constants", "impact", "1"],
    ["apparatus", "list"],
    ["template", "{o}_t.xlsx", "--benches", "2", "--in-cup", "water", "--added", "KNO3(s)"],
    ["practice", "{o}_p.csv", "--seed", "5"],
    ["practice", "--reveal", "{o}_p.csv"],
    ["plan", "100 g water", "5 g KNO3(s)", "--readings", "{o}/readings.toml"],
    ["plan", "100 g {o}", "5 g KNO3(s)"],
    ["reference", "{o}"],
    ["demo", "{o}_demo"],
]


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: " ".join(words[:2]))
def test_works_or_is_refused_in_a_sentence(words, place, monkeypatch):
    monkeypatch.chdir(place)
    done = call([word.replace("{o}", ODD) for word in words], place / f"{ODD}.sqlite")
    assert not done.faults, done.err.decode("utf-8", "replace") + done.stack
    assert done.code in (0, 1) or b"error: " in done.err, done.err.decode()


@pytest.mark.parametrize(
    "place_of", ["{o}/none.sqlite", "postgresql://{o}:pw1@h/d", "{o}.sqlite?x"]
)
def test_registries_of_such_names(place_of, place, monkeypatch):
    monkeypatch.chdir(place)
    done = call(["constants", "--registry", place_of.replace("{o}", ODD)], place / "unused.sqlite")
    assert not done.faults
    assert done.code == 2
    assert b"pw1" not in done.out + done.err
