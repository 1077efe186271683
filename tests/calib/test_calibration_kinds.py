"""Kinds of cups: pooled values, one more cup, shrinkage."""

from __future__ import annotations

import numpy as np
import pytest

from calib.calibration.kinds import pool_kind, shrink
from calib.errors import InputError

SET = {"H1": (12.0, 0.5), "H2": (9.5, 0.5), "H3": (11.2, 0.5), "H4": (13.0, 0.5), "H5": (10.9, 0.5)}


def test_one_more_cup_falls_into_its_interval():
    """150 sets of six cups: the seventh lies in the 95 % interval for one more in 90 to 99 %."""
    rng, hits = np.random.default_rng(8), 0
    for _ in range(150):
        truth = rng.normal(12.0, 1.5, 7)
        cups = {str(i): (truth[i] + rng.normal(0, 0.5), 0.5) for i in range(6)}
        low, high = pool_kind(cups).interval95_one_more
        hits += low <= truth[6] <= high
    assert 0.90 <= hits / 150 <= 0.99


def test_equal_cups_have_no_spread():
    kind = pool_kind({str(i): (12.0 + 0.01 * i, 0.5) for i in range(5)})
    assert kind.between_cup_sd_J_per_K == pytest.approx(0.0, abs=1e-6)
    assert kind.mean_J_per_K == pytest.approx(12.02)


def test_shrinkage_lowers_the_error_of_badly_known_cups():
    """James–Stein: mean-square error of cups with u as large as the spread falls."""
    rng, own, drawn = np.random.default_rng(2), [], []
    for _ in range(100):
        truth = rng.normal(12.0, 1.0, 6)
        u = np.array([2.0, 0.4, 0.4, 0.4, 0.4, 0.4])
        cups = {str(i): (truth[i] + rng.normal(0, u[i]), u[i]) for i in range(6)}
        found = shrink("0", cups)
        own.append(cups["0"][0] - truth[0])
        drawn.append(found.value_J_per_K - truth[0])
        assert found.u_J_per_K < 2.0
    assert np.mean(np.square(drawn)) < 0.6 * np.mean(np.square(own))


def test_a_well_known_cup_keeps_its_value():
    found = shrink("H1", {**SET, "H1": (12.0, 0.05)})
    assert found.weight > 0.99
    assert "drawn towards the kind's" in found.sentence


def test_refusals():
    with pytest.raises(
        InputError, match=r"1 cup\(s\) cannot tell how cups of a kind differ; need 2"
    ):
        pool_kind({"H1": (12.0, 0.5)})
    with pytest.raises(InputError, match=r"'H9' has no constant to draw anywhere; known: H1, H2"):
        shrink("H9", SET)
    with pytest.raises(InputError, match=r"1 other cups tell too little of the kind; at least 3"):
        shrink("H1", {"H1": (12.0, 0.5), "H2": (11.0, 0.5)})


def test_a_drawn_cup_states_an_interval_that_holds():
    """Five other cups say little of the spread between cups: 95 % intervals hold 91 to 99 %."""
    import dataclasses

    from calib.calibration.leaning import lean_on_kind
    from tests.calib.test_calibration import calibrated, mixing

    (constant,) = calibrated(mixing("a"), mixing("b")).constants
    rng, hits = np.random.default_rng(4), 0
    for _ in range(100):
        truth = rng.normal(12.0, 1.0, 6)
        others = {str(i): (truth[i] + rng.normal(0, 0.4), 0.4) for i in range(1, 6)}
        own = dataclasses.replace(
            constant.combined, value=truth[0] + rng.normal(0, 1.5), u=1.5, dof=np.inf
        )
        drawn, how = lean_on_kind(dataclasses.replace(constant, combined=own), others)
        low, high = drawn.combined.interval95
        hits += low <= truth[0] <= high
        assert drawn.drawn is how
    assert 0.91 <= hits / 100 <= 0.99


@pytest.mark.usefixtures("settled_readings")
def test_a_constant_that_failed_its_checks_leans_on_nothing():
    from calib.calibration.leaning import lean_on_kind
    from tests.calib.test_calibration import calibrated, mixing

    (constant,) = calibrated(mixing("a", C=-9.0), mixing("b", C=-9.0)).constants
    with pytest.raises(InputError, match=r"drawing it towards its kind would hide that$"):
        lean_on_kind(constant, {str(i): (12.0, 0.4) for i in range(4)})
