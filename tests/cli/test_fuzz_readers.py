"""A sample of the cases of ``tests.benchmarks.fuzz_readers``, and inputs that once went wrong."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import pytest

from tests.benchmarks.damaged_files import bench
from tests.benchmarks.fuzz_readers import READERS, one_case, shares
from tests.benchmarks.in_process import call

REGISTRIES = ("import", "merge", "open")
"""What a registry or an export may hold is judged by tests of the registry's own validator."""


@pytest.mark.parametrize("reader", [name for name in READERS if name not in REGISTRIES])
def test_a_sample(reader):
    for number in range(100, 100 + shares(300)[reader]):
        done = one_case(reader, number)
        faults = set(done.faults) - {"slow"}  # the machine may be busy
        assert not faults, (reader, number, done.stack[-2000:], done.err.decode("utf-8", "replace"))


@pytest.fixture
def place():
    folder = Path(tempfile.mkdtemp(dir=bench().folder))
    yield folder
    shutil.rmtree(folder)


@pytest.mark.parametrize(
    "command", [["enthalpy"], ["calibrate"], ["constants", "check"], ["cycles"]]
)
def test_a_table_with_headings_only(command, place):
    (place / "t.csv").write_text("run,apparatus,in_cup,in_cup_g,added\n", encoding="utf-8")
    done = call([*command, str(place / "t.csv")], bench().registry)
    assert done.code == 2
    assert "no run below them; expected one row per run" in done.err.decode()


def test_runs_above_the_headings_are_named(place):
    text = "run,in_cup_g,added_g,in_cup_C\nlate,50,5,21\n"
    (place / "t.csv").write_text("early,50,5,21\nClass 3b,,,\n" + text, encoding="utf-8")
    done = call(["enthalpy", str(place / "t.csv")], bench().registry)
    said = done.err.decode()
    assert "rows above passed over (row 1: 'early', row 2: 'Class 3b')" in said
    assert "sheet row 1, column run: stands above the headings" in said
    assert "sheet row 2" not in said
