"""The command starts quickly because it loads only what it needs."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "lmfit", "sqlalchemy", "thermo", "chemicals")


def imported(*words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "calib", *words],
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stderr


def test_help_loads_nothing_heavy():
    report = imported("--help")
    assert not [name for name in HEAVY if f" {name}" in report]


def test_constants_loads_nothing_numeric(cups):
    report = imported("constants")
    assert not [n for n in HEAVY if n != "sqlalchemy" and f" {n}" in report]


def best_of(command: list[str], times: int = 7) -> float:
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        spent.append(time.perf_counter() - start)
    return min(spent)


def test_help_starts_within_twice_the_time_of_its_libraries():
    """Target of issue 2: twice a bare import of typer and rich; a loose second for busy machines."""
    bare = best_of([sys.executable, "-c", "import typer, rich"])
    ours = best_of([sys.executable, "-m", "calib", "--help"])
    assert ours <= 2.0 * bare + 0.05


@pytest.mark.parametrize("words", [[], ["apparatus"], ["constants"], ["correct"], ["enthalpy"]])
def test_every_command_has_help(cupledger, words):
    done = cupledger(*words, "--help")
    assert done.code == 0
    assert "Usage" in done.out
