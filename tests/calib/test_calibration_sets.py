"""Many simulated sets of cups: bias, scatter against the Cramér–Rao figure, coverage."""

from __future__ import annotations

import pytest

from tests.benchmarks.calibration_sets import run_sets


def test_twelve_sets_of_six_cups():
    """The short form: 72 cups; the limits allow for its own scatter."""
    scores = run_sets(12, seed=3)
    for count, score in scores.items():
        assert abs(score.bias) < 0.3, count
        assert score.over_best < 1.35, count
        assert score.coverage > 0.88, count


@pytest.mark.long
@pytest.mark.timeout(3000)
def test_two_hundred_sets_of_six_cups():
    """Bias under 0.1 J/K, rms within 20 % of the best attainable, intervals holding 92 to 98 %."""
    scores = run_sets(200)
    for count, score in scores.items():
        assert abs(score.bias) < 0.1, count
        assert score.over_best < 1.2, count
        assert 0.92 <= score.coverage <= 0.98, count
