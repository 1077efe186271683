"""A fast sample of tests/benchmarks/slips_in_classes.py: slips named, honest classes left in peace."""

from __future__ import annotations

from collections import Counter

import numpy as np

from tests.benchmarks.simulated_classes import CURVE_KINDS, KINDS, draw_class
from tests.benchmarks.slips_in_classes import evaluated, slips

PLAIN = tuple(k for k in KINDS if k not in CURVE_KINDS and not k.startswith("another bench"))


def test_slips_in_classes_of_eight_are_refused_or_named(tmp_path):
    found = slips(2 * len(PLAIN), 8, 11, tmp_path, PLAIN)
    total: Counter[str] = sum(found.values(), Counter())
    assert sum(total.values()) == 2 * len(PLAIN)
    assert total["refused"] + total["named"] >= 0.8 * sum(total.values())
    assert total["wrong"] <= 1


def test_curves_of_another_bench_and_moments_off_the_jump_are_named(tmp_path):
    found = slips(len(CURVE_KINDS), 3, 11, tmp_path, CURVE_KINDS)
    total: Counter[str] = sum(found.values(), Counter())
    assert total["refused"] + total["named"] == len(CURVE_KINDS)


def test_honest_classes_are_not_accused():
    rng = np.random.default_rng(12)
    for number in range(24):
        one = evaluated(draw_class(rng, (3, 8, 12)[number % 3]))
        said = [test.reason for test in one.tests(one.results) if test.reason]
        assert said == [], said
