"""Planned rises against the simulated cup's: within the stated spread in 95 of 100 draws."""

from __future__ import annotations

import pytest

from tests.benchmarks.planned_rises import run_draws


def shares(draws, seed):
    tallies = run_draws(draws, seed).values()
    held = [[h for pair in tallies for h in pair[which].held] for which in (0, 1)]
    return [sum(one) / len(one) for one in held]


def test_sixty_draws():
    """With 95 of 100 true, 53 or fewer of 60 happen in 1 of 40 tries; the seed is fixed."""
    rise, shown = shares(60, seed=7)
    assert rise >= 54 / 60
    assert shown >= 54 / 60


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_a_thousand_draws():
    rise, shown = shares(1000, seed=1)
    assert rise >= 0.95
    assert shown >= 0.95
