"""The way from the textbook integral to the average: in text, in JSON and on the page."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from calib.cli.correct import _show_steps
from calib.cli.output import Output
from calib.jobs.correcting import CurveReport
from calib.pages import curve_page
from fitting import correct
from tests.plain_cups import draw

STEPS = (
    ("put in for a wall that no curve shows", -0.0081, 0.0092),
    ("heat still being released", 0.0013, 0.0021),
    ("rest", -0.0002, 0.0004),
)


@pytest.fixture(scope="module")
def stepped():
    run = draw("one-body", 1, seed=4)[0]
    found = correct(run.curve, mixed_at_s=run.mixed_at_s, capacity_ratio=run.capacity_ratio)
    chosen = replace(found.chosen, steps=STEPS)
    methods = tuple(chosen if m.method == chosen.method else m for m in found.methods)
    return run.curve, replace(found, chosen=chosen, methods=methods)


def test_text_shows_each_cause_between_integral_and_average(stepped, capsys):
    found = stepped[1]
    _show_steps(Output(as_json=False), found)
    said = capsys.readouterr().out
    assert re.search(r"put in for a wall that no curve shows +-8.1 ± 9.2\n", said)
    assert f"{found.named('integral').rise_K:.4f}" in said
    assert f"{found.chosen.rise_K:.4f}" in said


def test_text_says_nothing_without_steps(stepped, capsys):
    _, found = stepped
    _show_steps(Output(as_json=False), replace(found, chosen=replace(found.chosen, steps=())))
    assert capsys.readouterr().out == ""


def test_json_has_them_in_millikelvin(stepped):
    facts = CurveReport(*stepped).to_json()
    assert [one["cause"] for one in facts["steps"]] == [cause for cause, _, _ in STEPS]
    assert facts["steps"][0]["mK"] == pytest.approx(-8.1)
    assert facts["steps"][0]["u_mK"] == pytest.approx(9.2)
    integral = next(m for m in facts["methods"] if m["name"] == "integral")
    worked = integral["worked"]
    assert worked["end_C"] - worked["start_C"] + worked["rate_per_s"] * worked["area_Ks"] == (
        pytest.approx(integral["rise_K"], abs=1e-9)
    )
    areas = next(m for m in facts["methods"] if m["name"] == "equal-areas")
    assert 180.0 < areas["equal_areas_at_s"] < 210.0


def test_the_page_shows_them_with_the_integral_by_hand_and_the_equal_areas(stepped):
    html = curve_page(*stepped)
    assert "From the textbook integral to the average" in html
    assert "−8.1 ± 9.2" in html
    assert "The integral by hand" in html
    assert 'id="figure-areas"' in html
    assert "Method: Average over models of cup, wall, room and release." in html


def test_residuals_on_the_page_are_those_of_the_table(stepped):
    """One number for one thing: the figure's rms of the after period is the table's."""
    html = curve_page(*stepped)
    rms = f"{1000 * stepped[1].chosen.residual_rms_K:.1f}"
    assert f"after period {rms} mK rms" in html
