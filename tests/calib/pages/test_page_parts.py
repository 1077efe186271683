"""Small parts of the pages: numbers, names, ticks, inline drawings."""

from __future__ import annotations

import itertools
import math
import re

from hypothesis import given
from hypothesis import strategies as st

from calib.pages.figures import draw_svg
from calib.pages.names import Naming
from calib.pages.rendering import _equation, _sentence
from calib.pages.small_drawings import Mark, Point, class_points, ticks
from calib.pages.typeset import minus, plus_minus, reaction_text, signed, span
from fitting.drawings.style import LIGHT


def test_minus_signs():
    assert minus("-5.3 to -5.1") == "−5.3 to −5.1"
    assert minus("2026-03-02, H-3, 1e-5") == "2026-03-02, H-3, 1e-5"
    assert plus_minus(-1.234, 0.05) == "−1.234 ± 0.050"
    assert plus_minus(None, 0.1) == "–"
    assert span(None) == "–"
    assert span((-2.0, -1.0)) == "−2.00 to −1.00"
    assert signed(-0.04) == "0.0"
    assert signed(-0.06) == "−0.1"
    assert signed(1.25, 2) == "+1.25"


def test_reaction_text():
    assert reaction_text("2 KOH(aq) + H2SO4(aq) -> K2SO4(aq) + 2 H2O(l)") == (
        "2 KOH(aq) + H₂SO₄(aq) → K₂SO₄(aq) + 2 H₂O(l)"
    )
    assert reaction_text("Cu^2+ + Zn(s) -> Cu(s) + Zn^2+") == "Cu^2+ + Zn(s) → Cu(s) + Zn^2+"


def test_sentences_and_equations():
    assert _sentence("k is known to 4 %") == "k is known to 4 %."
    assert _sentence("only 3 readings") == "Only 3 readings."
    assert _sentence("") == ""
    assert str(_equation("T_end < T_2")) == "T<sub>end</sub> &lt; T<sub>2</sub>"


def test_names_are_replaced_as_words_only():
    naming = Naming(["Larch", "Larch 2", "7"])
    html = str(naming.masked("Larch 2 and Larch, not Larchwood; 7 g"))
    assert re.findall(r'data-number="(\d)">([^<]+)<', html) == [("2", "Larch 2"), ("1", "Larch")]
    assert str(naming.masked("cup 7 & more", "7")) == "cup 7 &amp; more"
    hidden = Naming(["Larch"], anonymous=True)
    assert hidden.shown("Larch") == "1"
    assert "Larch" not in str(hidden.masked("Larch is late"))
    assert hidden.shown_text("who else") == "a row"


@given(
    st.floats(-1e6, 1e6, allow_nan=False),
    st.floats(1e-6, 1e6, allow_nan=False),
    st.integers(2, 12),
)
def test_ticks_lie_in_the_range_and_are_not_too_many(low, width, most):
    high = low + width
    if not high > low:
        return
    found = ticks(low, high, most)
    assert len(found) <= most + 1
    slack = 1e-6 * width + 1e-9 * abs(low)
    assert all(low - slack <= value <= high + slack for value in found)
    steps = [b - a for a, b in itertools.pairwise(found)]
    if len(steps) > 1 and width > 1e-4 * abs(low):
        assert math.isclose(min(steps), max(steps), rel_tol=1e-3)


def test_a_drawing_becomes_part_of_the_page():
    def draw(ax):
        ax.plot(
            [0, 1], [-2.123456789, 3], "o-", color=LIGHT["fore"], label='<i> "id=" 1.23456789 $a_1$'
        )
        ax.legend()

    svg = str(draw_svg(draw, "one", "a < b", "c & d"))
    assert svg.count("<svg") == 2
    assert "1.23456789 $a_1$" in svg  # a text's own digits stay
    assert "&lt;i&gt;" in svg
    assert '<title id="one-wide-t">a &lt; b</title>' in svg
    assert "stroke: var(--fore)" in svg
    assert not re.search(r": ?#[0-9a-f]{6}", svg)
    other = str(draw_svg(draw, "two", "a", "b"))
    ids = re.findall(r' id="([\w-]+)"', svg + other)
    assert len(ids) == len(set(ids))
    assert str(draw_svg(draw, "one", "a < b", "c & d")) == svg


def test_points_far_off_do_not_squeeze_the_others():
    """An interval a thousand times wider than the points' spread runs out of the drawing."""
    points = [Point(1, "a", 1.0, 0.9, 1.1), Point(2, "b", 1.2, -1000.0, 1000.0)]
    svg = str(class_points(points, [Mark("m", 1.1, 0.1, "after")], "p", "wide", "t", "d", "x"))
    xs = [float(x) for x in re.findall(r'cx="([\d.]+)"', svg)]
    assert abs(xs[1] - xs[0]) > 60


def test_no_points_no_failure():
    assert "<svg" in str(class_points([], [], "p", "narrow", "t", "d", "x"))


def test_numbers_leave_no_name_in_any_sentence():
    """A name in a file's name, in a found cell, in the label of a row that was not used."""
    naming = Naming(["Anna Krueger", "Lou"], anonymous=True, unused=["Zoe Adler"])
    for text in (
        "curve 'curves/Anna_Krueger_log.txt' not found; 'curves/anna.csv' taken",
        "Zoe Adler.csv, line 1: no line holds two numbers (it reads 'Zoe and Kim')",
        "curves/Peter.csv: the file is empty; Peter Meier.txt: there is no such file",
        'row Zoe Adler has the label of "Lou\'s" row; Anna Krueger too',
        "the file curves\\Anna.csv, the file Peter.log and Lou",
    ):
        html = str(naming.masked(text))
        assert not any(
            n in html for n in ("Anna", "Krueger", "Zoe", "Adler", "Peter", "Lou", "Kim")
        )
    shown = str(Naming(["Lou"]).masked("curve 'curves/Lou.txt' of Zoe"))
    assert "curves/" in shown
    assert "of Zoe" in shown
