"""The command starts quickly because it loads only what it needs."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from typer.main import get_command

from calib.cli.main import COMMANDS, app

HEAVY = (
    *("numpy", "scipy", "pandas", "matplotlib", "lmfit", "sqlalchemy", "thermo", "chemicals"),
    "pydantic",  # typer's conversion of options; it takes longer to load than the command itself
)


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
    assert not [name for name in HEAVY if f" {name}" in report]


def test_a_listing_loads_its_own_command_only(cups):
    report = imported("constants")
    assert " calib.cli.constants" in report
    assert " calib.cli.enthalpy" not in report
    assert " calib.cli.constants_watch" not in report


def least_cpu_s(command: list[str], times: int = 7) -> float:
    """Least processor time of a command: unlike a clock, it does not see what else runs."""
    spent = []
    for _ in range(times):
        before = os.times()
        subprocess.run(command, check=True, capture_output=True)
        after = os.times()
        spent.append(
            after.children_user
            + after.children_system
            - before.children_user
            - before.children_system
        )
    return min(spent)


def test_help_and_listing_start_within_reach_of_their_libraries(cups):
    """Targets of the issues: 2 and 3.5 times a bare import of typer and rich."""
    bare = least_cpu_s([sys.executable, "-c", "import typer, rich"])
    assert least_cpu_s([sys.executable, "-m", "calib", "--help"]) <= 2.0 * bare
    assert least_cpu_s([sys.executable, "-m", "calib", "constants"]) <= 3.5 * bare


def everything() -> list[list[str]]:
    """Every command and every command of a group, with nothing after it."""
    found: list[list[str]] = [[]]
    for name in COMMANDS:
        found.append([name])
        command = get_command(app).commands[name]
        found += [[name, inner] for inner in getattr(command, "commands", ())]
    return found


@pytest.mark.parametrize("words", everything(), ids=" ".join)
def test_every_command_has_help(cupledger, words):
    done = cupledger(*words, "--help")
    assert done.code == 0
    assert "Usage" in done.out


def test_the_help_lists_every_command_with_what_it_does(cupledger):
    told = cupledger("--help").out
    listed = told.split("Commands:")[1]
    for name in COMMANDS:
        (line,) = [line for line in listed.splitlines() if line.split()[:1] == [name]]
        assert len(line.split()) > 3
    assert "merge " in cupledger("constants", "--help").out


def test_a_mistyped_command_is_answered_with_the_right_one(cupledger):
    done = cupledger("constnts")
    assert done.code == 2
    assert "Did you mean 'constants'?" in done.err
    assert "Did you mean 'recheck'" in cupledger("constants", "rechek").err


@pytest.mark.parametrize(
    "words",
    [["constants", "recheck", "--within", "soon"], ["constants", "withdraw", "x", "--reason", "y"]],
)
def test_what_is_no_number_is_still_refused(cupledger, words):
    assert cupledger(*words).code == 2
