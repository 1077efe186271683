"""What a notebook sees: names from the package itself, tables, drawings, HTML."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

import fitting
from fitting.corrections import correct
from fitting.curve import Curve
from fitting.drawings.curves import VIEWS, draw, new_figure
from fitting.drawings.lines import frame
from fitting.practice.simulated_cup import draw_experiment, simulate


@pytest.fixture(scope="module")
def case():
    run = simulate(draw_experiment("slow", np.random.default_rng(4)), 4)
    curve = Curve.from_arrays(run.time_s, run.temperature_C, source="<b>.csv")
    return curve, correct(curve, mixed_at_s=run.mixed_at_s)


def test_every_exported_name_is_there():
    for name in fitting.__all__:
        assert getattr(fitting, name) is not None
    assert set(fitting.__all__) <= set(dir(fitting))
    with pytest.raises(AttributeError, match=r"has no attribute 'nonsense'$"):
        _ = fitting.nonsense


def test_importing_the_package_loads_nothing_heavy():
    code = (
        "import sys, fitting\n"
        "heavy = ('numpy', 'scipy', 'pandas', 'matplotlib', 'lmfit')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("what", VIEWS)
def test_every_view_draws_on_the_given_axes(case, what):
    _, ax = new_figure()
    draw(ax, *case, what)
    assert ax.lines
    assert ax.get_xlabel()


def test_unknown_view(case):
    _, ax = new_figure()
    with pytest.raises(ValueError, match=r"what is 'x'; expected one of correction, residuals"):
        draw(ax, *case, "x")


def test_frame_keeps_every_reading(case):
    curve, corrected = case
    table = frame(curve, corrected)
    assert len(table) == len(curve)
    assert table["temperature_C"].to_numpy() == pytest.approx(curve.temperature_C)
    assert table["since_mixing_s"].iloc[0] == pytest.approx(curve.time_s[0] - corrected.mixed_at_s)
    late = table["without_loss_C"].iloc[-50:].mean()
    assert late == pytest.approx(corrected.final_C, abs=0.1)
    assert table["without_loss_C"].iloc[:5].isna().all()
