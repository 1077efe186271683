"""The curve type: what it holds, what it refuses, how it shows itself."""

from __future__ import annotations

from datetime import datetime
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitting.curve import Curve, reading_step
from fitting.errors import CupledgerError, CurveError


@pytest.fixture
def curve() -> Curve:
    return Curve.from_arrays(
        [0, 1, 2, 4, 5],
        [20.0, 20.1, 20.1, 20.3, 20.2],
        source="bench <4>",
        guesses=["time unit taken as s"],
        digest="ab",
        started=datetime(2026, 3, 2, 10),
    )


def test_what_it_holds(curve):
    assert len(curve) == 5
    assert curve.step_s == 1.0
    assert curve.duration_s == 5.0
    assert curve.resolution_K == 0.1
    assert curve.guesses == ("time unit taken as s",)
    assert curve.time_s.dtype == curve.temperature_C.dtype == np.float64


def test_it_cannot_be_changed(curve):
    with pytest.raises(AttributeError):
        curve.source = "other"
    with pytest.raises(ValueError, match="read-only"):
        curve.temperature_C[0] = 99


def test_it_keeps_its_own_copy():
    temperature = np.array([20.0, 21.0])
    curve = Curve.from_arrays([0, 1], temperature)
    temperature[0] = 99
    assert curve.temperature_C[0] == 20


def test_a_window_is_a_curve_on_the_same_clock(curve):
    part = curve.window(1, 4)
    assert part.time_s.tolist() == [1, 2, 4]
    assert (part.source, part.digest, part.guesses, part.resolution_K) == (
        curve.source,
        curve.digest,
        curve.guesses,
        curve.resolution_K,
    )
    assert part.started == curve.started


def test_an_empty_window_is_refused(curve):
    with pytest.raises(CurveError) as refusal:
        curve.window(2.5, 3.5)
    assert str(refusal.value) == (
        "bench <4>: no reading lies between 2.5 s and 3.5 s; the curve runs from 0 s to 5 s: "
        "choose a window in it"
    )


def test_as_a_table(curve):
    frame = curve.to_frame()
    assert list(frame.columns) == ["time_s", "temperature_C"]
    assert frame["temperature_C"].tolist() == curve.temperature_C.tolist()
    assert frame.attrs["guesses"] == ["time unit taken as s"]


def test_notebook_view_is_well_formed_and_escaped(curve):
    html = curve._repr_html_()
    ElementTree.fromstring(html)
    assert "bench &lt;4&gt;" in html
    assert "<4>" not in html
    assert "time unit taken as s" in html
    ElementTree.fromstring(Curve.from_arrays([0], [20.0])._repr_html_())


def test_text_view(curve):
    assert repr(curve) == (
        "Curve(5 readings, 0 to 5 s, 20 to 20.3 °C, resolution_K=0.1, source='bench <4>')"
    )


@pytest.mark.parametrize(
    ("time", "temperature", "message"),
    [
        ([], [], "no readings; expected at least one"),
        (
            [0, 1],
            [20],
            "time has shape (2,) and temperature (1,); expected two equally long sequences of "
            "numbers",
        ),
        (
            [[0, 1]],
            [[20, 21]],
            "time has shape (1, 2) and temperature (1, 2); expected two equally long sequences of "
            "numbers",
        ),
        (
            [0, 1],
            [20, float("nan")],
            "temperature of reading 2 is nan; expected a finite number: leave readings without a "
            "value out",
        ),
        (
            [0, float("inf")],
            [20, 20],
            "time of reading 2 is inf; expected a finite number: leave readings without a value out",
        ),
        (
            [0, 2, 2],
            [20, 20, 20],
            "time does not increase: reading 2 is at 2 s and reading 3 at 2 s; expected strictly "
            "increasing time: sort the readings, or average those of equal time",
        ),
        (
            ["a"],
            [20],
            "the time values cannot be read as numbers; expected a sequence of numbers, one per "
            "reading",
        ),
    ],
)
def test_refusals(time, temperature, message):
    with pytest.raises(CurveError) as refusal:
        Curve.from_arrays(time, temperature)
    assert str(refusal.value) == message
    with pytest.raises(CupledgerError) as named:
        Curve.from_arrays(time, temperature, source="x.csv")
    assert str(named.value) == f"x.csv: {message}"


@pytest.mark.parametrize("step", [-1.0, float("nan"), float("inf")])
def test_a_step_is_a_number_of_kelvin(step):
    with pytest.raises(CurveError, match=r"expected a number of kelvin, 0 or more \(0: no step"):
        Curve.from_arrays([0, 1], [20, 20], resolution_K=step)


@given(
    step=st.sampled_from([0.5, 0.25, 0.1, 0.0625, 0.05, 0.02, 0.01, 0.001]),
    offset=st.floats(-5, 60),
    noise=st.floats(0.3, 3.0),
    seed=st.integers(0, 1000),
)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_the_step_of_a_quantised_reading_is_found(step, offset, noise, seed):
    rng = np.random.default_rng(seed)
    drift = np.linspace(0, 20 * step, 400)
    readings = np.round((offset + drift + rng.normal(0, noise * step, 400)) / step) * step
    assert reading_step(readings) == pytest.approx(step, rel=1e-6)


@given(seed=st.integers(0, 1000))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_readings_without_a_step_have_none(seed):
    assert reading_step(20 + np.random.default_rng(seed).normal(0, 0.1, 300)) == 0


@pytest.mark.parametrize("unit", ["K", "°F"])
def test_a_step_survives_a_change_of_unit(unit):
    shown = np.repeat(np.arange(60.0, 70.0, 0.2), 3)
    celsius = (shown - 32) / 1.8 if unit == "°F" else (shown + 200) - 273.15
    expected = 0.2 / 1.8 if unit == "°F" else 0.2
    assert reading_step(celsius) == pytest.approx(expected, rel=1e-5)


def test_a_constant_reading_shows_no_step():
    assert reading_step([20.0] * 50) == 0
