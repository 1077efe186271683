"""The pooled value of a kind: a published example, exact limits, and what its interval holds."""

from __future__ import annotations

import math
import random
from datetime import date

import pytest

from calib.registry import NoConstant, Registry
from calib.registry.pooling import Member, moments, pool

AUTUMN = date(2026, 9, 1)


def test_method_of_moments_on_a_published_data_set() -> None:
    # Thirteen log risk ratios and variances of Colditz et al., JAMA 271 (1994) 698, the usual example
    # of the method of moments; its published result: mean -0.7141, standard error 0.1787,
    # between-study variance 0.3088 (M: all from memory; the data have four decimals).
    y = [-0.8893, -1.5854, -1.3481, -1.4416, -0.2175, -0.7861, -1.6209, 0.0120, -0.4694, -1.3713,
         -0.3394, 0.4459, -0.0173]  # fmt: skip
    v = [0.3256, 0.1946, 0.4154, 0.0200, 0.0512, 0.0069, 0.2230, 0.0040, 0.0564, 0.0730, 0.0124,
         0.5325, 0.0714]  # fmt: skip
    mean, u_mean, tau = moments(y, [math.sqrt(value) for value in v])
    assert mean == pytest.approx(-0.7141, abs=5e-4)
    assert u_mean == pytest.approx(0.1787, abs=5e-4)
    assert tau**2 == pytest.approx(0.3088, abs=2e-3)


def test_limits_of_the_method_of_moments() -> None:
    # Equal uncertainties: tau² = s² - u² exactly, and never below zero.
    values = [20.0, 22.0, 24.0]
    mean, u_mean, tau = moments(values, [0.5] * 3)
    assert (mean, tau) == (pytest.approx(22.0), pytest.approx(math.sqrt(4.0 - 0.25)))
    assert u_mean == pytest.approx(2.0 / math.sqrt(3.0))
    mean, u_mean, tau = moments(values, [5.0] * 3)
    assert tau == 0.0
    assert u_mean == pytest.approx(5.0 / math.sqrt(3.0))


def test_the_interval_holds_one_more_cup() -> None:
    """A cup that was never calibrated lies within ± 1.96 u in 95 % of sets, or a little more."""
    chance = random.Random(4)
    for n, spread, u in ((2, 1.5, 0.6), (4, 1.5, 0.6), (6, 0.3, 0.6)):
        trials = 600
        held = 0
        for _ in range(trials):
            members = [
                Member(f"H{k}", k, chance.gauss(chance.gauss(21.0, spread), u), u) for k in range(n)
            ]
            found = pool("foam cup", members)
            one_more = chance.gauss(21.0, spread)
            held += abs(one_more - found.constant_J_per_K) <= 1.96 * found.u_constant_J_per_K
        # three standard errors of a share of 0.95 in 600 are 0.027
        assert held / trials > 0.95 - 0.027, (n, spread)


def test_a_kind_in_the_registry(cups: Registry, constant) -> None:
    kind = "double foam cup, foam lid"
    with pytest.raises(
        NoConstant, match=r"has 0 cups with a constant in force on 2026-09-01, and two"
    ):
        cups.kind_pooled(kind, AUTUMN)
    for name, value in (("H1", 20.0), ("H2", 22.0), ("H3", 24.0)):
        cups.add_drafts([constant(apparatus=name, constant_J_per_K=value)], approve=True)
        if name == "H1":
            with pytest.raises(NoConstant, match=r"has 1 cup with a constant in force on"):
                cups.kind_pooled(kind, AUTUMN)
    found = cups.kind_pooled(kind, AUTUMN)
    assert (found.cups, found.constant_J_per_K) == (3, pytest.approx(22.0))
    assert [member.apparatus for member in found.members] == ["H1", "H2", "H3"]
    assert found.heat_loss_W_per_K == pytest.approx(0.081)
    assert found.why == (
        "pooled value of the kind 'double foam cup, foam lid': mean of 3 cups (H1, H2, H3), which"
        " differ by 1.9 J/K (standard deviation)"
    )
    cups.retire("H3", "lost", on=AUTUMN)
    assert cups.kind_pooled(kind, AUTUMN).cups == 2
    with pytest.raises(NoConstant):
        cups.kind_pooled(kind, date(2026, 8, 1))


def test_fewer_than_two_cannot_be_pooled() -> None:
    with pytest.raises(ValueError, match="two cups are needed"):
        pool("foam cup", [Member("H1", 1, 21.0, 0.5)])
