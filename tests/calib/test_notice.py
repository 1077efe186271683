"""The one notice of all data: in the package, naming every data file, nothing under a copyleft licence."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

import calib

PACKAGE = Path(calib.__file__).parent
NOTICE = resources.files("calib").joinpath("NOTICE.md").read_text(encoding="utf-8")


def test_there_is_one_and_it_names_every_data_file():
    assert [one.name for one in PACKAGE.rglob("NOTICE*")] == ["NOTICE.md"]
    files = {one.name for one in PACKAGE.glob("*/data/*.tsv")}
    assert len(files) >= 12
    assert {name for name in files if f"{name}`" not in NOTICE} == set()


def test_it_names_no_file_that_is_not_there():
    named = set(re.findall(r"[\w/]+\.(?:tsv|py)(?=`)", NOTICE))
    there = {one.name for one in PACKAGE.rglob("*.*")}
    assert {name for name in named if name.rsplit("/", 1)[-1] not in there} == set()


def test_no_data_is_told_to_come_from_a_copyleft_file():
    for one in [*PACKAGE.glob("*/data/*"), *PACKAGE.glob("reactions/*.py")]:
        text = one.read_text(encoding="utf-8")
        assert "GPL" not in text, one
        assert "CHNOSZ" not in text, one
