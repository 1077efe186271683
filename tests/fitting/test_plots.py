"""Drawings: on the Axes that is given, true to the numbers, told apart without colour vision."""

from __future__ import annotations

import itertools
import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import pytest

from fitting.corrections import correct
from fitting.curve import Curve
from fitting.drawings.curves import (
    drawing_style,
    drawn_fits,
    new_figure,
    plot_correction,
    plot_heat_release,
    plot_methods,
    plot_residuals,
    plot_stability,
    thinned,
)
from fitting.drawings.style import DARK, DATA_NAMES, LIGHT

RATE, T_INF, START, RISE, MIXED = 0.01 / 60, 21.5, 22.0, 6.0, 300.0


def fast_curve() -> Curve:
    """Exact Newton cooling with a release of 3 per minute; closed form of two first-order steps."""
    time = np.arange(0.0, 1200.5, 2.0)
    s = np.clip(time - MIXED, 0.0, None)
    kappa = 3.0 / 60
    before = T_INF + (START - T_INF) * np.exp(-RATE * np.minimum(time, MIXED))
    released = RISE * kappa / (kappa - RATE) * (np.exp(-RATE * s) - np.exp(-kappa * s))
    after = T_INF + (before[-1] - T_INF) * np.exp(-RATE * s) + released
    return Curve.from_arrays(time, np.where(time < MIXED, before, after), resolution_K=0.0)


@pytest.fixture(scope="module")
def curve():
    return fast_curve()


@pytest.fixture(scope="module")
def corrected(curve):
    return correct(curve, mixed_at_s=MIXED)


def test_the_loss_put_back_ends_at_the_corrected_end(curve, corrected):
    fits = drawn_fits(curve, corrected)
    assert fits.without_loss is not None
    late = fits.without_loss.temperature_C[fits.without_loss.time_s > 900]
    assert late == pytest.approx(corrected.final_C, abs=0.02)
    assert corrected.chosen.holds(RISE)


def test_lines_follow_the_readings(curve, corrected):
    fits = drawn_fits(curve, corrected)
    quiet = (fits.residual_time_s < MIXED) | (fits.residual_time_s > 800)
    assert np.abs(fits.residual_K[quiet]).max() < 8e-3  # what the straight fore line leaves, and k
    assert fits.fore is not None
    assert fits.fore.time_s[-1] == pytest.approx(MIXED)
    assert fits.extrapolated.time_s[0] == pytest.approx(MIXED)
    assert fits.after.time_s[0] >= fits.after_from_s


def test_a_method_without_a_cooling_rate_gets_a_straight_line(curve):
    corrected = correct(curve, mixed_at_s=MIXED, method="straight-line")
    fits = drawn_fits(curve, corrected)
    bend = np.diff(fits.after.temperature_C, 2)
    assert np.abs(bend).max() < 1e-9


def test_the_drawn_end_is_the_result(curve, corrected):
    _, ax = new_figure()
    plot_correction(ax, curve, corrected)
    ends = [line for line in ax.lines if line.get_marker() == "D"]
    assert [float(line.get_ydata()[0]) for line in ends] == [pytest.approx(corrected.final_C)]
    assert float(ends[0].get_xdata()[0]) == 0.0
    assert ax.get_xlabel() == "time since mixing / min"
    assert ax.get_ylabel() == "temperature / °C"


def test_residuals_in_millikelvin(curve, corrected):
    _, ax = new_figure()
    plot_residuals(ax, curve, corrected)
    fits = drawn_fits(curve, corrected)
    drawn = max(np.abs(line.get_ydata()).max() for line in ax.lines if len(line.get_xdata()) > 2)
    assert drawn == pytest.approx(1000 * np.abs(fits.residual_K).max(), rel=0.3)


def test_methods_hollow_where_not_admissible(corrected):
    _, ax = new_figure()
    plot_methods(ax, corrected)
    marks = [line for line in ax.lines if line.get_marker() in {"o", "D"}]
    assert len(marks) == len(corrected.methods)
    hollow = sum(mark.get_markerfacecolor() == "none" for mark in marks)
    assert hollow == sum(not m.admissible for m in corrected.methods)
    low, high = ax.get_xlim()
    assert all(low < m.rise_K < high for m in corrected.methods)


def test_a_boundless_interval_does_not_flatten_the_others(corrected):
    from dataclasses import replace

    wild = replace(corrected.methods[0], interval95_K=(-np.inf, np.inf), admissible=False)
    _, ax = new_figure()
    plot_methods(ax, replace(corrected, methods=(wild, *corrected.methods[1:])))
    assert np.ptp(ax.get_xlim()) < 5.0


def test_stability_shows_band_and_all_values(corrected):
    rise = corrected.chosen.rise_K
    scan = SimpleNamespace(
        title="shift / s", values=[-5, 0, 5], rise_K=[rise - 0.1, rise, np.nan], used=0.0
    )
    _, ax = new_figure()
    plot_stability(ax, scan, corrected)
    low, high = ax.get_ylim()
    assert low < rise - 0.1 < high
    assert low < corrected.chosen.interval95_K[0]
    assert ax.get_xlabel() == "shift / s"


def test_heat_release_refuses_an_unknown_view(curve, corrected):
    from fitting.release.heat_release import heat_release

    release = heat_release(curve, corrected)
    _, ax = new_figure()
    plot_heat_release(ax, release, show="flow")
    assert ax.get_ylabel() == "heat flow / (mK/s)"
    with pytest.raises(ValueError, match="one of temperature, fraction, flow"):
        plot_heat_release(ax, release, show="both")


def test_thinning_keeps_ends_and_the_main_period(curve):
    time, temperature = thinned(curve, MIXED, most=100)
    assert (time[0], time[-1]) == (curve.time_s[0], curve.time_s[-1])
    assert time.size == temperature.size <= 140
    near = np.diff(time[(time > MIXED) & (time < MIXED + 60)])
    assert near.max() <= 2 * curve.step_s


def test_settings_stay_inside():
    import matplotlib as mpl

    before = mpl.rcParams["svg.fonttype"]
    with drawing_style():
        assert mpl.rcParams["svg.fonttype"] == "none"
        assert mpl.rcParams["text.parse_math"] is False
    assert mpl.rcParams["svg.fonttype"] == before


def test_no_global_list_of_figures():
    code = (
        "import sys, fitting.drawings.curves\n"
        "from fitting.drawings.curves import new_figure\n"
        "new_figure()\n"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291,
# severity 1.0, applied to linear RGB (from memory; each row sums to 1, as it must to keep greys).
SIGHT = {
    "all cones": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
         [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
         [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
         [0.004733, 0.691367, 0.303900]]
    ),
}  # fmt: skip


def linear(colour: str) -> np.ndarray:
    """sRGB to linear light (IEC 61966-2-1)."""
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* under D65 (CIE 15:2004)."""
    to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
         [0.0193339, 0.1191920, 0.9503041]]
    )  # fmt: skip
    f = np.cbrt(to_xyz @ np.clip(light, 0, 1) / np.array([0.95047, 1.0, 1.08883]))
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a: str, b: str) -> float:
    """Contrast ratio (W3C WCAG 2.2, relative luminance)."""
    bright = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b))
    return (bright[1] + 0.05) / (bright[0] + 0.05)


@pytest.mark.parametrize(("palette", "paper"), [(LIGHT, "#ffffff"), (DARK, "#14181c")])
def test_contrast_with_the_paper(palette, paper):
    """4.5 for text (WCAG 2.2, 1.4.3); data colours reach it too, where 3 is asked (1.4.11)."""
    assert all(contrast(palette[name], paper) >= 4.5 for name in (*DATA_NAMES, "ink"))


@pytest.mark.parametrize("palette", [LIGHT, DARK])
@pytest.mark.parametrize("sight", SIGHT)
def test_colours_differ_for_every_sight(palette, sight):
    seen = {name: lab(SIGHT[sight] @ linear(palette[name])) for name in DATA_NAMES}
    for a, b in itertools.combinations(DATA_NAMES, 2):
        assert np.linalg.norm(seen[a] - seen[b]) > 15, (a, b)


def test_each_line_has_a_style_of_its_own(curve, corrected):
    _, ax = new_figure()
    plot_correction(ax, curve, corrected)
    handles, labels = ax.get_legend_handles_labels()
    assert len(set(labels)) == len(labels)
    looks = {
        (h.get_linestyle(), h.get_marker(), h.get_color())
        for h in handles
        if hasattr(h, "get_color")
    }
    assert len(looks) >= len(labels) - 1
