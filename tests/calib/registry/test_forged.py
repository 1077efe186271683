"""A small run of tests/benchmarks/forged_registries.py; for full figures see FIGURES.md there."""

from __future__ import annotations

from tests.benchmarks.forged_registries import run


def test_forged_and_damaged_registries_leave_all_that_is_good_to_be_read() -> None:
    outcomes = run({"imports": 8, "merges": 8, "flips": 4, "own": 6}, seed=11)
    for outcome in outcomes.values():
        assert outcome.failures == []
        assert outcome.unnamed_absurd == 0
    assert outcomes["imports"].refused > 0
    assert sum(outcome.came_in for outcome in outcomes.values()) > 0
    assert outcomes["own"].named > 0
