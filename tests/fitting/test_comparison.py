"""Every method side by side, with scans of the choices; truth from the simulated cup."""

from __future__ import annotations

import numpy as np
import pytest

from fitting import METHODS, compare
from fitting.comparison import VIEWS
from fitting.curve import Curve
from fitting.drawings.curves import new_figure
from fitting.errors import CurveError
from fitting.practice.simulated_cup import draw_experiment, simulate


@pytest.fixture(scope="module")
def run():
    experiment = draw_experiment("fast", np.random.default_rng(12), resolution_K=0.01)
    return simulate(experiment, 12)


@pytest.fixture(scope="module")
def found(run):
    curve = Curve.from_arrays(run.time_s, run.temperature_C, source="<i>.csv")
    return compare(
        curve, mixed_at_s=run.mixed_at_s, room_C=run.room_C, capacity_ratio=run.capacity_ratio
    )


def test_every_method_is_there_in_the_order_of_the_list(found):
    assert [m.method for m in found.methods] == list(METHODS)
    assert list(found.to_frame().index) == list(METHODS)
    assert found.to_frame()["chosen"].sum() == 1


def test_the_chosen_one_holds_the_truth(found, run):
    assert found.chosen.holds(run.true_rise_K)
    assert found.verdict.startswith("rise ")


@pytest.mark.parametrize("what", VIEWS)
def test_views(found, what):
    _, ax = new_figure()
    found.plot(ax, what)
    assert ax.get_xlabel()


def test_unknown_view(found):
    _, ax = new_figure()
    with pytest.raises(ValueError, match="expected one of methods"):
        found.plot(ax, "x")


def test_html_is_escaped(found):
    text = found._repr_html_()
    assert "<i>.csv" not in text
    assert "newton-integral" in text


def test_scans_go_through_the_value_in_use(found):
    for scan in found.stability.scans:
        assert scan.used in scan.values
        assert len(scan.values) == len(scan.rise_K) == len(scan.u_rise_K) >= 2
        at = scan.values.index(scan.used)
        assert scan.rise_K[at] == pytest.approx(found.chosen.rise_K, abs=1e-6)
    assert found.stability.u_rise_K == found.chosen.u_rise_K
    assert len(found.stability.to_frame()) == 3


def test_a_wrong_argument_is_named(run):
    curve = Curve.from_arrays(run.time_s, run.temperature_C)
    with pytest.raises(CurveError, match="there is no method 'x'"):
        compare(curve, method="x")
