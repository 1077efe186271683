"""Bombs of every kind are refused in a sentence, in little memory and time.

The whole table is made by ``python -m tests.benchmarks.bounded_memory``; these are the quick ones.
"""

from __future__ import annotations

import sys

import pytest

from tests.benchmarks.bounded_memory import MOST_MB, MOST_S, run

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes and devices of Unix")

BOMBS = {
    "curve, /dev/zero": "device",
    "curve, a pipe": "pipe",
    "readings.toml, a key of 49,000 dots": "dots",
    "readings.toml, 49,000 brackets": "cannot be read as TOML",
    "readings.toml, 10,000 digits": "cannot be read as TOML",
    "readings.toml, a link to /dev/zero": "device",
    "table, a pipe": "pipe",
    "XLSX, 1 MB of shared text in 20,000 cells": "characters",
    "XLSX, UTF-16 parts": "not in UTF-8",
    "ODS, 100 kB of text in 300,000 cells": "characters",
    "ODS, a cell repeated 16 billion times": "reaches as far as",
    "answer, 5 MB that unpack to 5 GB": "unpacks to more",
    "answer, 9,000 brackets": "lists within lists",
    "export, /dev/zero": "device",
    "registry, a pipe": "pipe or a device",
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused(name):
    one = run(name)
    assert one.code == 2
    assert BOMBS[name] in one.said
    assert one.peak_MB < MOST_MB / 4
    assert one.cpu_s < MOST_S
