"""Small runs of tests/benchmarks/kill_registry.py and kill_commands.py; for full figures see
tests/benchmarks/FIGURES.md."""

from __future__ import annotations

import os
from itertools import count
from pathlib import Path

import pytest

from tests.benchmarks.kill_commands import kill_commands
from tests.benchmarks.kill_registry import crowd, kill_writers

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL")


def test_killed_writers_leave_a_whole_file(tmp_path: Path) -> None:
    numbers = count()
    outcome = kill_writers(lambda: str(tmp_path / f"{next(numbers)}.sqlite"), 20)
    assert outcome.failures == []
    assert outcome.kills == 20
    assert outcome.in_mid_change >= 10
    assert sum(outcome.done.values()) > 0


@pytest.mark.postgres
def test_killed_writers_leave_a_whole_database(postgres) -> None:
    outcome = kill_writers(postgres.new_database, 20)
    assert outcome.failures == []
    assert outcome.in_mid_change >= 10


def test_many_writers_lose_and_double_nothing(address: str) -> None:
    outcome = crowd(address, processes=4, changes=25)
    assert outcome.failures == []
    assert (outcome.reported, outcome.lost, outcome.doubled) == (100, 0, 0)


@pytest.mark.postgres
def test_a_server_killed_under_the_writers(postgres) -> None:
    server = type(postgres)()
    try:
        server.start()
        outcome = crowd(
            server.new_database(), processes=4, changes=100, server=server, kill_every_s=1.5
        )
    finally:
        server.remove()
    assert outcome.failures == []
    assert (outcome.reported, outcome.lost, outcome.doubled) == (400, 0, 0)
    assert outcome.server_kills >= 1


def test_killed_commands_leave_a_whole_file(tmp_path: Path) -> None:
    """Real processes of calibrate --approve, approve, withdraw and import."""
    numbers = count()
    outcome = kill_commands(lambda: str(tmp_path / f"{next(numbers)}.sqlite"), 6)
    assert outcome.failures == []
    assert outcome.kills == 6
    assert all(outcome.done.values())
    assert len(outcome.done) == 4  # one of each kind is let live, and must be there in the end
