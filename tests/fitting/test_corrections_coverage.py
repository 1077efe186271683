"""Simulated curves that no model describes: bias, rmse and coverage of the default method."""

from __future__ import annotations

import pytest

from tests.benchmarks.coverage import score


@pytest.mark.parametrize(
    ("family", "rmse_percent"),
    [("fast", 0.25), ("mixing", 0.20), ("slow", 0.45), ("pellets", 0.60)],
)
def test_a_few_curves_of_each_family(family, rmse_percent):
    """Loose bounds on 40 curves at 0.01 K; the table in DEVELOPERS.md has the figures of many."""
    cells = score(family, 40, resolution_K=0.01)
    default = cells["default"]
    assert default.rmse <= rmse_percent
    assert default.rmse < cells["extreme"].rmse
    assert default.coverage >= 0.85


def test_the_moment_of_mixing_may_be_found():
    cells = score("slow", 25, resolution_K=0.01, given=False)
    assert cells["default"].rmse <= 0.6
    assert cells["default"].coverage >= 0.8
